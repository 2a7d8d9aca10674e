package gs1_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"needlebook/internal/gs1"
)

// entry is one line of the dictionary's excerpt.
type entry struct {
	first, last string
	predefined  bool
	data        string
}

func dictionary(t *testing.T) []entry {
	t.Helper()
	file, err := os.Open("testdata/formats.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var entries []entry
	for _, row := range rows[1:] {
		entries = append(entries, entry{row[0], row[1], row[2] == "yes", row[3]})
	}
	return entries
}

// ais are the identifiers of the entry's range.
func (e entry) ais(t *testing.T) []string {
	t.Helper()
	first, err := strconv.Atoi(e.first)
	if err != nil {
		t.Fatal(err)
	}
	last, err := strconv.Atoi(e.last)
	if err != nil {
		t.Fatal(err)
	}
	var ais []string
	for n := first; n <= last; n++ {
		ais = append(ais, fmt.Sprintf("%0*d", len(e.first), n))
	}
	return ais
}

// samples are the shortest and the longest data that the entry allows.
func (e entry) samples(t *testing.T) (string, string) {
	t.Helper()
	switch e.data {
	case "N6 date or month":
		return "260131", "260100"
	case "N6 date, N2 hour, N2 minute":
		return "2601312359", "2601310000"
	case "N6 date, N2 hour, [N2] minute, [N2] second":
		return "26013123", "260131235959"
	case "N3 X..9":
		return "111A", "111ABCDEFGHI"
	}
	text, isChecked := strings.CutSuffix(e.data, " check digit")
	count, variable := strings.CutPrefix(text[1:], "..")
	n, err := strconv.Atoi(count)
	if err != nil {
		t.Fatalf("%s: %v", e.data, err)
	}
	longest := strings.Repeat("7", n)
	if isChecked {
		longest = longest[:n-1] + slowCheckDigit(longest[:n-1])
	}
	if variable {
		return "7", longest
	}
	return longest, longest
}

func wantReason(t *testing.T, text string, want error) {
	t.Helper()
	if got, err := gs1.Parse([]byte(text), 2026); !errors.Is(err, want) {
		t.Errorf("%q is %v, %v; want %v", text, got.Bracketed(), err, want)
	}
}

// Every identifier takes the lengths and characters of GS1's own dictionary and no other, and needs a separator exactly where that says so.
func TestFormats_Dictionary(t *testing.T) {
	seen := 0
	for _, e := range dictionary(t) {
		shortest, longest := e.samples(t)
		for _, ai := range e.ais(t) {
			seen++
			for _, data := range []string{shortest, longest} {
				next := "13260131"
				if ai == "13" {
					next = "15260131"
				}
				got, err := gs1.Parse([]byte(ai+data+gs+next), 2026)
				if value, _ := got.Value(ai); err != nil || value != data {
					t.Errorf("(%s)%s: %q, %v", ai, data, value, err)
				}
			}
			wantReason(t, "("+ai+")"+shortest[:len(shortest)-1], gs1.ErrLength)
			wantReason(t, "("+ai+")"+longest+"1", gs1.ErrLength)
			wantReason(t, "("+ai+")"+longest[:len(longest)-1]+" ", gs1.ErrCharacter)
			if e.data[0] == 'N' {
				wantReason(t, "("+ai+")A"+longest[1:], gs1.ErrCharacter)
			}
			if strings.HasSuffix(e.data, "check digit") {
				wantReason(t, "("+ai+")8"+longest[1:], gs1.ErrCheckDigit)
			}
			if _, err := gs1.Parse([]byte(ai+longest+"2242"), 2026); (err == nil) != e.predefined {
				t.Errorf("(%s) with (22) behind it and no separator: %v; predefined is %t", ai, err, e.predefined)
			}
		}
	}
	if want := 58; seen != want {
		t.Errorf("%d identifiers were checked, want %d", seen, want)
	}
}

// Identifiers that the dictionary has and this package does not read are named whole, though they have two, three or four digits.
func TestUnknownAI_NamedWhole(t *testing.T) {
	for ai := range strings.FieldsSeq("04 05 14 18 19 253 254 255 26 29 3100 3695 38 3900 401 402 418 423 427 4300 4333 50 60 7001 7010 " +
		"7040 717 7230 7258 8003 8005 8018 8030 8110 8200 83 89") {
		for _, text := range []string{"10LOT" + gs + ai + "777777", "(10)LOT(" + ai + ")777777"} {
			got, err := gs1.Parse([]byte(text), 2026)
			var fault *gs1.Error
			if !errors.As(err, &fault) || fault.Reason != gs1.ErrUnknownAI || fault.AI != ai || fault.Position != strings.LastIndex(text, ai)+1 {
				t.Errorf("%q: %+v", text, fault)
			}
			if got.Lot != "LOT" || string(got.Raw) != text {
				t.Errorf("%q: kept lot %q, raw %q", text, got.Lot, got.Raw)
			}
		}
	}
}

// The 82 characters, as the General Specifications print them (section "GS1 AI encodable character set 82"; from memory), and no other byte.
func TestCharacterSet82(t *testing.T) {
	const set = `!"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz`
	if len(set) != 82 {
		t.Fatalf("the set has %d characters", len(set))
	}
	for b := range 256 {
		text := "10A" + string([]byte{byte(b)}) + "B"
		_, err := gs1.Parse([]byte(text), 2026)
		want := strings.IndexByte(set, byte(b)) >= 0
		if byte(b) == gs[0] {
			continue // ends the lot, and B begins no identifier
		}
		if (err == nil) != want {
			t.Errorf("byte %d in a lot: %v", b, err)
		}
	}
}
