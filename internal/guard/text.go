package guard

import (
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/dose"

	recordv1 "needlebook/gen/needlebook/record/v1"
)

// unitsText is milliunits for people: "4 units" with a space that does not break. Sums beyond what an amount holds are said as such.
func unitsText(product string, milliunits int64) string {
	a, err := dose.NewAmount(anyProduct(product), min(max(milliunits, 0), dose.MaxMilliunits))
	if err != nil {
		return "an unknown dose"
	}
	if milliunits > dose.MaxMilliunits {
		return "more than " + a.Display()
	}
	return a.Display()
}

// unitsDecimal is milliunits as figures have them.
func unitsDecimal(milliunits int64) string {
	whole, part := milliunits/1000, milliunits%1000
	text := strconv.FormatInt(whole, 10)
	if part == 0 {
		return text
	}
	return text + "." + strings.TrimRight(strconv.FormatInt(1000+part, 10)[1:], "0")
}

// spanText is from the least to the most, or one figure where they are equal.
func spanText(product string, least, most int64) string {
	if least == most {
		return unitsText(product, most)
	}
	return unitsDecimal(least) + " to " + unitsText(product, most)
}

// anyProduct is the product, or a stand-in where none was recorded, so that its number can still be written.
func anyProduct(product string) dose.Product {
	if product == "" {
		return "unknown"
	}
	return dose.Product(product)
}

func mlText(nanolitres int64) string {
	return dose.Volume(min(max(nanolitres, 0), int64(dose.MaxVolume))).Display()
}

func mlDecimal(nanolitres int64) string {
	return dose.Volume(min(max(nanolitres, 0), int64(dose.MaxVolume))).Decimal()
}

// wordText is a name of the schema in words.
func wordText(code string) string { return strings.ReplaceAll(code, "_", " ") }

func momentText(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") + " UTC" }

// moment is a time that is there and valid.
func moment(t *timestamppb.Timestamp) (time.Time, bool) {
	if t == nil || t.CheckValid() != nil {
		return time.Time{}, false
	}
	return t.AsTime(), true
}

// dayOf is a day that is there and in the calendar.
func dayOf(d *recordv1.Date) (dose.Day, bool) {
	if d == nil {
		return 0, false
	}
	day, err := dose.NewDay(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	return day, err == nil
}

// dayAt is the day of a moment, by UTC.
func dayAt(t time.Time) dose.Day {
	year, month, day := t.UTC().Date()
	d, err := dose.NewDay(year, int(month), day)
	if err != nil {
		return 0
	}
	return d
}

func periodText(days, months int32) string {
	if months == 0 {
		return strconv.Itoa(int(days)) + " days"
	}
	if days == 0 {
		return strconv.Itoa(int(months)) + " calendar months"
	}
	return strconv.Itoa(int(months)) + " calendar months and " + strconv.Itoa(int(days)) + " days"
}

// listText joins words: "a, b and c".
func listText(words []string) string { return joined(words, " and ") }

// choiceText joins words of which one is meant: "a, b or c".
func choiceText(words []string) string { return joined(words, " or ") }

func joined(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + last + words[len(words)-1]
}
