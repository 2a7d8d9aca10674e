package gs1

import (
	"fmt"
	"strconv"
)

// kind is the set of characters of an element's data.
type kind int

const (
	// digits are 0 to 9.
	digits kind = iota
	// set82 is the GS1 AI encodable character set 82 of the General Specifications.
	set82
)

// shape is what the data has to be beyond its length and characters.
type shape int

const (
	plain shape = iota
	// checked data ends with the standard check digit.
	checked
	// date is YYMMDD, where the day may be 00.
	date
	// minute is YYMMDDhhmm.
	minute
	// hour is YYMMDDhh with mm, or mm and ss, behind it or not.
	hour
	// country is three digits of ISO 3166 before the rest. Whether there is such a country is not looked up.
	country
)

// format is what the General Specifications say of one application identifier, or of a range of them.
type format struct {
	// first and last bound the range; a single identifier is both.
	first, last string
	// title is the specification's data title in words.
	title string
	kind  kind
	// least and most bound the length of the data.
	least, most int
	shape       shape
}

// formats is every application identifier that is read.
func formats() []format {
	return []format{
		{"00", "00", "SSCC", digits, 18, 18, checked},
		{"01", "01", "GTIN", digits, 14, 14, checked},
		{"02", "02", "GTIN of the content", digits, 14, 14, checked},
		{"03", "03", "GTIN of a made-to-order item", digits, 14, 14, checked},
		{"10", "10", "lot", set82, 1, 20, plain},
		{"11", "11", "production date", digits, 6, 6, date},
		{"12", "12", "due date", digits, 6, 6, date},
		{"13", "13", "packaging date", digits, 6, 6, date},
		{"15", "15", "best before", digits, 6, 6, date},
		{"16", "16", "sell by", digits, 6, 6, date},
		{"17", "17", "expiry", digits, 6, 6, date},
		{"20", "20", "variant", digits, 2, 2, plain},
		{"21", "21", "serial", set82, 1, 20, plain},
		{"22", "22", "consumer product variant", set82, 1, 20, plain},
		{"235", "235", "third-party serial", set82, 1, 28, plain},
		{"240", "240", "additional id", set82, 1, 30, plain},
		{"241", "241", "customer part number", set82, 1, 30, plain},
		{"242", "242", "made-to-order variant", digits, 1, 6, plain},
		{"243", "243", "packaging component", set82, 1, 20, plain},
		{"250", "250", "secondary serial", set82, 1, 30, plain},
		{"251", "251", "reference to source", set82, 1, 30, plain},
		{"30", "30", "variable count", digits, 1, 8, plain},
		{"37", "37", "count", digits, 1, 8, plain},
		{"400", "400", "order number", set82, 1, 30, plain},
		{"403", "403", "route", set82, 1, 30, plain},
		{"410", "417", "location or party", digits, 13, 13, checked},
		{"420", "420", "ship-to postal code", set82, 1, 20, plain},
		{"421", "421", "ship-to country and postal code", set82, 4, 12, country},
		{"422", "422", "country of origin", digits, 3, 3, country},
		{"7003", "7003", "expiry date and time", digits, 10, 10, minute},
		{"7004", "7004", "active potency", digits, 1, 4, plain},
		{"710", "716", "national healthcare reimbursement number", set82, 1, 20, plain},
		{"7240", "7240", "protocol", set82, 1, 20, plain},
		{"8008", "8008", "production date and time", digits, 8, 12, hour},
		{"8012", "8012", "software version", set82, 1, 20, plain},
		{"90", "90", "agreed between partners", set82, 1, 30, plain},
		{"91", "99", "company internal", set82, 1, 90, plain},
	}
}

// lookUp is the format of an application identifier, and false when it is not one that is read.
func lookUp(known []format, ai string) (format, bool) {
	for _, f := range known {
		if len(ai) == len(f.first) && f.first <= ai && ai <= f.last {
			return f, true
		}
	}
	return format{}, false
}

// aiLength is how many digits an application identifier has that begins with these two.
func aiLength(two string) int {
	switch {
	case "23" <= two && two <= "25", "40" <= two && two <= "42", two == "71":
		return 3
	case "31" <= two && two <= "36", two == "39", two == "43", two == "70", two == "72", "80" <= two && two <= "82":
		return 4
	}
	return 2
}

// predefined says whether the identifier is among those whose data has a length predefined by its first two digits, so that no separator need follow.
func predefined(ai string) bool {
	two := ai[:2]
	return two <= "04" || "11" <= two && two <= "20" || "31" <= two && two <= "36" || two == "41"
}

// check gives the offset in value of the first fault and its reason; no reason when value is right. year is the current one.
func (f format) check(value string, year int) (int, error) {
	if !f.fits(len(value)) {
		return 0, ErrLength
	}
	for i := range len(value) {
		digit := f.kind == digits || f.shape == country && i < 3
		if digit && !isDigit(value[i]) || !inSet82(value[i]) {
			return i, ErrCharacter
		}
	}
	switch f.shape {
	case checked:
		if !checkDigitFits(value) {
			return len(value) - 1, ErrCheckDigit
		}
	case date, minute, hour:
		return f.checkTime(value, year)
	}
	return 0, nil
}

func (f format) fits(length int) bool {
	return f.least <= length && length <= f.most && (f.shape != hour || length%2 == 0)
}

// checkTime looks for the first part that is out of range: month, day, hour, minute, second.
func (f format) checkTime(value string, year int) (int, error) {
	if at, wrong := dateFault(value[:6], year, f.shape == date); wrong {
		return at, ErrDate
	}
	for at := 6; at < len(value); at += 2 {
		most := 59
		if at == 6 {
			most = 23
		}
		if number(value[at:at+2]) > most {
			return at, ErrDate
		}
	}
	return 0, nil
}

// want says what would have been right where reason was found; nothing when the reason says it.
func (f format) want(reason error) string {
	switch reason {
	case ErrLength:
		return f.length()
	case ErrCharacter:
		if f.kind == digits {
			return "digits"
		}
		return "the characters of GS1 set 82"
	case ErrDate:
		return map[shape]string{date: "YYMMDD", minute: "YYMMDDhhmm", hour: "YYMMDDhh and mm or mmss"}[f.shape]
	}
	return ""
}

func (f format) length() string {
	unit := " characters"
	if f.kind == digits {
		unit = " digits"
	}
	if f.shape == hour {
		return "8, 10 or 12" + unit
	}
	if f.least == f.most {
		return strconv.Itoa(f.least) + unit
	}
	return fmt.Sprintf("%d to %d", f.least, f.most) + unit
}

// inSet82 says whether b is one of the 82 characters: letters, digits and ! " % & ' ( ) * + , - . / : ; < = > ? _
func inSet82(b byte) bool {
	switch {
	case 'A' <= b && b <= 'Z', 'a' <= b && b <= 'z', b == '_', b == '!', b == '"':
		return true
	}
	return '%' <= b && b <= '?'
}
