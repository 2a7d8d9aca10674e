package export

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// Places of the numbers that records hold: thousandths of a unit, nanolitres in a millilitre, micrometres in a millimetre.
const (
	unitPlaces = 3
	mlPlaces   = 6
	mmPlaces   = 3
)

// decimal is v × 10^-places, exactly: a digit before the point, none needless after it.
func decimal(v int64, places int) string {
	sign := ""
	n := uint64(v)
	if v < 0 {
		sign, n = "-", -n
	}
	digits := strconv.FormatUint(n, 10)
	if missing := places + 1 - len(digits); missing > 0 {
		digits = strings.Repeat("0", missing) + digits
	}
	whole, part := digits[:len(digits)-places], strings.TrimRight(digits[len(digits)-places:], "0")
	if part == "" {
		return sign + whole
	}
	return sign + whole + "." + part
}

// dateText is a day as ISO 8601 writes it; empty when there is none, or when no calendar has it.
func dateText(d *recordv1.Date) string {
	if d == nil || d.GetYear() < 1 || d.GetYear() > 9999 {
		return ""
	}
	t := time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, time.UTC)
	if t.Year() != int(d.GetYear()) || int32(t.Month()) != d.GetMonth() || int32(t.Day()) != d.GetDay() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// approximateText is as much of a day as is known.
func approximateText(d *recordv1.ApproximateDate) string {
	switch {
	case d == nil || d.GetYear() < 1 || d.GetYear() > 9999:
		return ""
	case d.Month == nil || d.GetMonth() < 1 || d.GetMonth() > 12:
		return fmt.Sprintf("%04d", d.GetYear())
	case d.Day == nil:
		return fmt.Sprintf("%04d-%02d", d.GetYear(), d.GetMonth())
	}
	full := dateText(&recordv1.Date{Year: d.GetYear(), Month: d.GetMonth(), Day: d.GetDay()})
	if full == "" {
		return fmt.Sprintf("%04d-%02d", d.GetYear(), d.GetMonth())
	}
	return full
}

// momentText is a device's claim of a moment, in UTC, as far as it was recorded; empty when there is none.
func momentText(t *timestamppb.Timestamp) string {
	if t == nil || t.CheckValid() != nil {
		return ""
	}
	return t.AsTime().Format("2006-01-02T15:04:05.999999999Z07:00")
}

// sideName is a side, the patient's own; empty when it is not stated.
func sideName(s chartv1.Side) string { return enumName(s.String(), "SIDE_") }

// enumName is an enum's value as a code: without its prefix, in lower case; empty for the unspecified one.
func enumName(value, prefix string) string {
	if name := strings.TrimPrefix(value, prefix); name != value && name != "UNSPECIFIED" {
		return strings.ToLower(name)
	}
	return ""
}

// spaced is a code as people read it.
func spaced(code string) string { return strings.ReplaceAll(code, "_", " ") }

// line is text as FHIR may hold it: characters that it excludes become U+FFFD, and text of blanks alone is none.
func line(s string) string {
	if strings.TrimSpace(s) == "" {
		return ""
	}
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\r' && r != '\t' && unicode.IsControl(r) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// derivedID is the id of a resource that is a part of a record: a UUID of version 8 (RFC 9562) of the path to the part. Element ids are unique within
// their collection only, so they do not serve alone.
func derivedID(path string) string {
	sum := sha256.Sum256([]byte("urn:needlebook:" + path))
	b := sum[:16]
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}
