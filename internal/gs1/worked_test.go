package gs1_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"needlebook/internal/gs1"
)

const gs = "\x1d"

// content is what a reading says, without how it came.
type content struct {
	GTIN, Lot, Serial, Expiry, Produced string
	Others                              []gs1.Element
}

func contentOf(e gs1.Elements) content {
	return content{e.GTIN, e.Lot, e.Serial, e.Expiry.String(), e.Produced.String(), e.Others}
}

// Strings that were published elsewhere, read as they say. The current year is the source's own, 2021, or one near the dates.
func TestParse_PublishedStrings(t *testing.T) {
	for name, row := range map[string]struct {
		text string
		year int
		want content
	}{
		// Morovia knowledge base 10644, "Input Format: Creating GS1 DataMatrix", which says the parts in words (read). That it is also in the GS1
		// DataMatrix Guideline is from memory.
		"guideline, brackets": {"(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917", 2010, content{
			GTIN: "03453120000011", Expiry: "2012-05-08", Lot: "ABCD1234", Others: []gs1.Element{{AI: "410", Value: "9501101020917"}}}},
		"guideline, scanned": {"]d201034531200000111712050810ABCD1234" + gs + "4109501101020917", 2010, content{
			GTIN: "03453120000011", Expiry: "2012-05-08", Lot: "ABCD1234", Others: []gs1.Element{{AI: "410", Value: "9501101020917"}}}},
		// GS1 Barcode Syntax Engine, repository gs1/gs1-barcode-engine, src/c-lib/scandata.c, scan data of each symbology (read).
		"GS1 DataMatrix": {"]d2011231231231233310ABC123" + gs + "99TESTING", 2021, content{
			GTIN: "12312312312333", Lot: "ABC123", Others: []gs1.Element{{AI: "99", Value: "TESTING"}}}},
		"GS1-128": {"]C1011231231231233310ABC123" + gs + "99TESTING", 2021, content{
			GTIN: "12312312312333", Lot: "ABC123", Others: []gs1.Element{{AI: "99", Value: "TESTING"}}}},
		"GS1 QR Code": {"]Q3011231231231233310ABC123" + gs + "99TESTING", 2021, content{
			GTIN: "12312312312333", Lot: "ABC123", Others: []gs1.Element{{AI: "99", Value: "TESTING"}}}},
		"GS1 DataBar": {"]e0011231231231233310ABC123" + gs + "1199122598TESTING" + gs + "97XYZ", 2021, content{
			GTIN: "12312312312333", Lot: "ABC123", Produced: "1999-12-25",
			Others: []gs1.Element{{AI: "97", Value: "XYZ"}, {AI: "98", Value: "TESTING"}}}},
		"EAN-13": {"]E02112345678900", 2021, content{GTIN: "02112345678900"}},
		"UPC-A":  {"]E00416000336108", 2021, content{GTIN: "00416000336108"}},
		"EAN-8":  {"]E402345673", 2021, content{GTIN: "00000002345673"}},
		// Scanners that send the first FNC1 as a separator, and GS1 DotCode; from memory.
		"separator first": {gs + "011231231231233310ABC123" + gs, 2021, content{GTIN: "12312312312333", Lot: "ABC123"}},
		"GS1 DotCode":     {"]J1011231231231233310ABC123", 2021, content{GTIN: "12312312312333", Lot: "ABC123"}},
		// The picture of a GS1 DataMatrix symbol in the General Specifications; from memory.
		"general specifications": {"(01)09501101530003(17)150119(10)AB-123", 2015, content{
			GTIN: "09501101530003", Expiry: "2015-01-19", Lot: "AB-123"}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := gs1.Parse([]byte(row.text), row.year)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(row.want, contentOf(got)); diff != "" {
				t.Error(diff)
			}
			if string(got.Raw) != row.text {
				t.Errorf("raw is %q", got.Raw)
			}
		})
	}
}

// A published string in canonical order.
func TestElementString_Published(t *testing.T) {
	// The same knowledge base: AI 410 has a predefined length, so it stands before the lot here and no separator is left.
	e, err := gs1.Parse([]byte("(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917"), 2010)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := e.ElementString(), "010345312000001117120508410950110102091710ABCD1234"; got != want {
		t.Errorf("wrote %q, want %q", got, want)
	}
	if got, want := e.Bracketed(), "(01)03453120000011(17)120508(410)9501101020917(10)ABCD1234"; got != want {
		t.Errorf("wrote %q, want %q", got, want)
	}
}

// The dates that the GS1 Barcode Syntax Dictionary tests its rule for YYMMDD and YYMM00 with (src/lint_yymmd0.c, read), its current year being 2021.
func TestParseDate_Published(t *testing.T) {
	good := "000606 250606 500606 750606 990606 200131 200229 200331 200430 200531 200630 200731 200831 200930 201031 201130 201231" +
		" 210228 220228 230228 240229 000229 040229 960229 200600"
	for text := range strings.FieldsSeq(good) {
		if _, err := gs1.ParseDate(text, 2021); err != nil {
			t.Error(err)
		}
	}
	for text := range strings.FieldsSeq("200010 201310 209910 200132 200230 200332 200431 200532 200631 200732 200832 200931 201032 201131 201232" +
		" 210229 220229 230229 240230 000230 040230 960230") {
		if got, err := gs1.ParseDate(text, 2021); !errors.Is(err, gs1.ErrDate) || !got.IsZero() {
			t.Errorf("%s is %s, %v", text, got, err)
		}
	}
	for text := range strings.FieldsSeq("x00131 2x0131 20x131 200x31 2001x1 20013x") {
		var fault *gs1.Error
		_, err := gs1.ParseDate(text, 2021)
		if !errors.As(err, &fault) || fault.Reason != gs1.ErrCharacter || fault.Position != strings.Index(text, "x")+1 {
			t.Errorf("%s: %v", text, err)
		}
	}
	for _, text := range []string{"", "1", "11", "111", "1111", "11111", "1111111"} {
		if _, err := gs1.ParseDate(text, 2021); !errors.Is(err, gs1.ErrLength) {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// The century: the same file says that two digits 51 or more ahead of the current year's are of the century before, and 50 or more behind of the
// next. It agrees with the General Specifications, "Determination of century in dates", from memory.
func TestParseDate_Century(t *testing.T) {
	for _, row := range []struct {
		year int
		yy   string
		want int
	}{
		{2021, "71", 2071}, {2021, "72", 1972}, {2021, "00", 2000}, {2021, "99", 1999},
		{2026, "76", 2076}, {2026, "77", 1977}, {2026, "26", 2026}, {2026, "27", 2027},
		{2050, "00", 2100}, {2050, "01", 2001}, {2051, "01", 2101}, {2051, "02", 2002}, {2099, "49", 2149}, {2099, "50", 2050},
		{1999, "49", 2049}, {1999, "50", 1950},
	} {
		got, err := gs1.ParseDate(row.yy+"0101", row.year)
		if err != nil || got.Year != row.want {
			t.Errorf("in %d, %s is %d (%v), want %d", row.year, row.yy, got.Year, err, row.want)
		}
	}
}

// 1900 and 2100 had and have no 29 February, so the window decides whether there is such a day. The calendar's rule is Gregorian.
func TestParseDate_LeapDayOfItsCentury(t *testing.T) {
	if d, err := gs1.ParseDate("000200", 2021); err != nil || d.String() != "2000-02-29" || !d.WholeMonth {
		t.Errorf("got %s, %v", d, err)
	}
	if d, err := gs1.ParseDate("000200", 2060); err != nil || d.String() != "2100-02-28" {
		t.Errorf("got %s, %v", d, err)
	}
	if _, err := gs1.ParseDate("000229", 2060); !errors.Is(err, gs1.ErrDate) {
		t.Errorf("29 February 2100: %v", err)
	}
}
