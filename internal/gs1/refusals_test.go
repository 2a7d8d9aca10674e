package gs1_test

import (
	"errors"
	"flag"
	"os"
	"strings"
	"testing"

	"needlebook/internal/gs1"
)

var updateDocs = flag.Bool("gs1.update", false, "write the tables of docs/gs1.md anew; read the difference before it is kept")

const docs = "../../docs/gs1.md"

// refusal is one bad scan: what is wrong, where, and how much of it was read all the same.
type refusal struct {
	text     string
	reason   error
	ai       string
	position int
	kept     string
}

// refusals are what goes wrong at a pack, the numbers invented.
func refusals() []refusal {
	const gtin = "0100614141123452"
	return []refusal{
		{"", gs1.ErrEmpty, "", 1, ""},
		{"]d1" + gtin, gs1.ErrSymbology, "", 1, ""},
		{"]d", gs1.ErrSymbology, "", 1, ""},
		{"]d2", gs1.ErrNoAI, "", 4, ""},
		{"]d2(01)00614141123452", gs1.ErrNoAI, "", 4, ""},
		{"LOT12345", gs1.ErrNoAI, "", 1, ""},
		{gtin + " 10A1", gs1.ErrNoAI, "", 17, "(01)00614141123452"},
		{gtin + gs + gs + "10A1", gs1.ErrNoAI, "", 18, "(01)00614141123452"},
		{gtin + "3103000750" + "10A1", gs1.ErrUnknownAI, "3103", 17, "(01)00614141123452"},
		{"(01)00614141123452(172)270630", gs1.ErrUnknownAI, "172", 20, "(01)00614141123452"},
		{gtin + "05A1", gs1.ErrUnknownAI, "05", 17, "(01)00614141123452"},
		{"0100614141123453", gs1.ErrCheckDigit, "01", 16, ""},
		{"0110614141123452", gs1.ErrCheckDigit, "01", 16, ""},
		{"010061414112345", gs1.ErrLength, "01", 3, ""},
		{"01614141123452" + gs + "10A1", gs1.ErrLength, "01", 3, ""},
		{"01O0614141123452", gs1.ErrCharacter, "01", 3, ""},
		{gtin + "10A1B2C3D4E5" + "17270630" + "2112345678", gs1.ErrLength, "10", 19, "(01)00614141123452"},
		{gtin + "10" + gs + "17270630", gs1.ErrLength, "10", 19, "(01)00614141123452"},
		{gtin + "10A1 B2", gs1.ErrCharacter, "10", 21, "(01)00614141123452"},
		{gtin + "10A1#B2", gs1.ErrCharacter, "10", 21, "(01)00614141123452"},
		{gtin + "10A1|17270630", gs1.ErrCharacter, "10", 21, "(01)00614141123452"},
		{gtin + "10A1\r\n", gs1.ErrCharacter, "10", 21, "(01)00614141123452"},
		{gtin + "17271330" + "10A1", gs1.ErrDate, "17", 21, "(01)00614141123452"},
		{gtin + "17270230" + "10A1", gs1.ErrDate, "17", 23, "(01)00614141123452"},
		{gtin + "17270000" + "10A1", gs1.ErrDate, "17", 21, "(01)00614141123452"},
		{gtin + "7003270600" + "1200", gs1.ErrDate, "7003", 25, "(01)00614141123452"},
		{gtin + "7003270630" + "2400", gs1.ErrDate, "7003", 27, "(01)00614141123452"},
		{gtin + "80082706301260", gs1.ErrDate, "8008", 29, "(01)00614141123452"},
		{gtin + "1727063010A1" + gs + "10A2", gs1.ErrRepeated, "10", 30, "(01)00614141123452(17)270630(10)A1"},
		{gtin + "1727060017270630", gs1.ErrRepeated, "17", 25, "(01)00614141123452(17)270600"},
		{"42175X6A", gs1.ErrCharacter, "421", 6, ""},
		{"(8008)270630123", gs1.ErrLength, "8008", 7, ""},
		{"(10)A1(10)A2", gs1.ErrRepeated, "10", 8, "(10)A1"},
		{"(12345)A1", gs1.ErrNoAI, "", 1, ""},
		{"(01)00614141123452(10)A(1)", gs1.ErrNoAI, "", 24, "(01)00614141123452(10)A"},
		{"(01)00614141123452(10)A(B)", gs1.ErrNoAI, "", 24, "(01)00614141123452(10)A"},
		{`(10)\(\( (17)270630`, gs1.ErrCharacter, "10", 9, ""},
		{`(10)A\`, gs1.ErrCharacter, "10", 6, ""},
		{"]E04012345678905", gs1.ErrCheckDigit, "", 16, ""},
		{"]E4012345678905", gs1.ErrLength, "", 4, ""},
	}
}

func TestParse_Refusals(t *testing.T) {
	for _, row := range refusals() {
		got, err := gs1.Parse([]byte(row.text), 2026)
		var fault *gs1.Error
		if !errors.As(err, &fault) {
			t.Errorf("%q: %v", row.text, err)
			continue
		}
		if fault.Reason != row.reason || !errors.Is(err, row.reason) || fault.AI != row.ai || fault.Position != row.position {
			t.Errorf("%q: %v, want %v of (%s) at %d", row.text, fault, row.reason, row.ai, row.position)
		}
		if got.Bracketed() != row.kept || string(got.Raw) != row.text {
			t.Errorf("%q: kept %q, want %q; raw %q", row.text, got.Bracketed(), row.kept, got.Raw)
		}
	}
}

// What an error repeats of a scan is bounded, whoever wrote the scan.
func TestError_Bounded(t *testing.T) {
	for _, text := range []string{
		strings.Repeat("x", gs1.MaxBytes+1), strings.Repeat("x", gs1.MaxBytes), "10" + strings.Repeat("A", 5000), "(" + strings.Repeat("1", 5000),
	} {
		_, err := gs1.Parse([]byte(text), 2026)
		if err == nil || len(err.Error()) > 240 {
			t.Errorf("%d bytes: an error of %d bytes", len(text), len(err.Error()))
		}
	}
	if e, err := gs1.Parse(make([]byte, gs1.MaxBytes+1), 2026); !errors.Is(err, gs1.ErrTooLong) || e.Raw != nil {
		t.Errorf("too long: %v, %d bytes kept", err, len(e.Raw))
	}
}

func TestParse_CurrentYear(t *testing.T) {
	for _, year := range []int{-1 << 62, -1, 0, 26, 1969, 9950, 1 << 62} {
		if e, err := gs1.Parse([]byte("10A"), year); !errors.Is(err, gs1.ErrYear) || string(e.Raw) != "10A" || e.Lot != "" {
			t.Errorf("year %d: %v", year, err)
		}
		if _, err := gs1.ParseDate("270630", year); !errors.Is(err, gs1.ErrYear) {
			t.Errorf("year %d: %v", year, err)
		}
	}
	for _, year := range []int{1970, 9949} {
		if _, err := gs1.Parse([]byte("17270630"), year); err != nil {
			t.Error(err)
		}
	}
}

// docs/gs1.md reads the bad scans aloud: its table is what the code says, written with -gs1.update.
func TestDocsReadTheRefusals(t *testing.T) {
	var table strings.Builder
	table.WriteString("| scanned | what is said |\n| --- | --- |\n")
	for _, row := range refusals() {
		_, err := gs1.Parse([]byte(row.text), 2026)
		if err == nil {
			t.Fatalf("%q is no refusal", row.text)
		}
		cell := strings.NewReplacer(gs, "⟨GS⟩", "\r", "⟨CR⟩", "\n", "⟨LF⟩", "|", `\|`)
		table.WriteString("| `" + cell.Replace(row.text) + "` | " + cell.Replace(strings.ReplaceAll(err.Error(), `\x1d`, gs)) + " |\n")
	}
	text, err := os.ReadFile(docs)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(text), "<!-- refusals -->\n")
	_, after, closed := strings.Cut(rest, "<!-- end -->")
	if !found || !closed {
		t.Fatal("docs/gs1.md has no table of refusals")
	}
	want := before + "<!-- refusals -->\n\n" + table.String() + "\n<!-- end -->" + after
	if *updateDocs {
		if err := os.WriteFile(docs, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if want != string(text) {
		t.Error("docs/gs1.md does not say what the code says: run the tests with -gs1.update and read the difference")
	}
}
