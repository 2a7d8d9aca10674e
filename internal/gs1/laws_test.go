package gs1_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/gs1"
)

const set82 = `[!"%-?A-Z_a-z]`

// drawElements makes elements of different identifiers, in any order.
func drawElements(t *rapid.T) []gs1.Element {
	text := func(most string) *rapid.Generator[string] { return rapid.StringMatching(set82 + "{1," + most + "}") }
	day := rapid.StringMatching(`[0-9]{2}(0[1-9]|1[0-2])([01][0-9]|2[0-8])`)
	number := func(digits string) *rapid.Generator[string] {
		return rapid.Map(rapid.StringMatching("[0-9]{"+digits+"}"), func(s string) string { return s + slowCheckDigit(s) })
	}
	all := []gs1.Element{}
	for _, kind := range []struct {
		ai   string
		data *rapid.Generator[string]
	}{
		{"00", number("17")}, {"01", number("13")}, {"02", number("13")}, {"10", text("20")}, {"11", day}, {"13", day}, {"15", day}, {"17", day},
		{"20", rapid.StringMatching(`[0-9]{2}`)}, {"21", text("20")}, {"22", text("20")}, {"30", rapid.StringMatching(`[0-9]{1,8}`)},
		{"240", text("30")}, {"414", number("12")}, {"421", rapid.StringMatching(`[0-9]{3}` + set82 + `{1,9}`)},
		{"7003", rapid.StringMatching(`2[0-9]0[1-9]1[0-9]2[0-3][0-5][0-9]`)}, {"712", text("20")},
		{"8008", rapid.StringMatching(`2[0-9]0[1-9]1[0-9]2[0-3]`)},
		{"90", text("30")}, {"99", text("90")},
	} {
		if rapid.IntRange(0, 2).Draw(t, "has "+kind.ai) > 0 {
			all = append(all, gs1.Element{AI: kind.ai, Value: kind.data.Draw(t, kind.ai)})
		}
	}
	if len(all) == 0 {
		all = append(all, gs1.Element{AI: "10", Value: "A"})
	}
	return rapid.Permutation(all).Draw(t, "order")
}

// scanned writes the elements as a scanner gives them: which identifiers need no separator is read from the dictionary's excerpt, not from the code.
func scanned(elements []gs1.Element, predefined map[string]bool) string {
	var b strings.Builder
	for i, e := range elements {
		b.WriteString(e.AI + e.Value)
		if i+1 < len(elements) && !predefined[e.AI] {
			b.WriteString(gs)
		}
	}
	return b.String()
}

func predefinedAIs(t *testing.T) map[string]bool {
	t.Helper()
	set := map[string]bool{}
	for _, e := range dictionary(t) {
		for _, ai := range e.ais(t) {
			set[ai] = e.predefined
		}
	}
	return set
}

// What stands in a symbol is read, each element once, in any order and either form; what is printed reads back to the same; nothing is lost.
func TestLaw_RoundTrip(t *testing.T) {
	predefined := predefinedAIs(t)
	rapid.Check(t, func(t *rapid.T) {
		elements := drawElements(t)
		text := rapid.SampledFrom([]string{"", "]d2", "]C1", "]Q3"}).Draw(t, "symbology") + scanned(elements, predefined)
		e, err := gs1.Parse([]byte(text), 2026)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range elements {
			if got, ok := e.Value(want.AI); !ok || got != want.Value {
				t.Fatalf("%q: (%s) is %q, want %q", text, want.AI, got, want.Value)
			}
		}
		shuffled, err := gs1.Parse([]byte(scanned(rapid.Permutation(elements).Draw(t, "other order"), predefined)), 2026)
		if err != nil || !shuffled.SameContent(e) || shuffled.ElementString() != e.ElementString() {
			t.Fatalf("%q in another order: %q, %v", text, shuffled.Raw, err)
		}
		for _, printed := range []string{e.ElementString(), e.Bracketed()} {
			again, err := gs1.Parse([]byte(printed), 2026)
			if err != nil || !again.SameContent(e) || again.ElementString() != e.ElementString() || again.Bracketed() != e.Bracketed() {
				t.Fatalf("%q printed as %q: %v", text, printed, err)
			}
		}
	})
}

// A printed element string has a separator behind exactly those elements that need one and are not the last; those of predefined length come first.
func TestLaw_SeparatorsOnlyWhereNeeded(t *testing.T) {
	predefined := predefinedAIs(t)
	rapid.Check(t, func(t *rapid.T) {
		elements := drawElements(t)
		e, err := gs1.Parse([]byte(scanned(elements, predefined)), 2026)
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(elements, func(a, b gs1.Element) int {
			if predefined[a.AI] != predefined[b.AI] {
				if predefined[a.AI] {
					return -1
				}
				return 1
			}
			return strings.Compare(a.AI, b.AI)
		})
		if got, want := e.ElementString(), scanned(elements, predefined); got != want {
			t.Fatalf("printed %q, want %q", got, want)
		}
	})
}

// An element said twice with the same value changes nothing; with another value it is refused, and what stood before is kept.
func TestLaw_Repeated(t *testing.T) {
	predefined := predefinedAIs(t)
	rapid.Check(t, func(t *rapid.T) {
		elements := drawElements(t)
		once := scanned(elements, predefined)
		e, err := gs1.Parse([]byte(once), 2026)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := gs1.Parse([]byte(once+gs+once), 2026)
		if err != nil || !twice.SameContent(e) {
			t.Fatalf("%q twice: %v", once, err)
		}
		other, err := gs1.Parse([]byte(once+gs+"10FIRST"+gs+"10OTHER"), 2026)
		if !errors.Is(err, gs1.ErrRepeated) || other.GTIN != e.GTIN || other.Serial != e.Serial {
			t.Fatalf("%q with another lot: %v", once, err)
		}
	})
}

// A fault anywhere keeps all that stood before it, and the bytes as they came.
func TestLaw_KeepsWhatWasRead(t *testing.T) {
	predefined := predefinedAIs(t)
	rapid.Check(t, func(t *rapid.T) {
		elements := drawElements(t)
		good := scanned(elements, predefined)
		e, err := gs1.Parse([]byte(good), 2026)
		if err != nil {
			t.Fatal(err)
		}
		bad := good + gs + rapid.SampledFrom([]string{"3103000750", "16261301", "0112345678901234", "40", "x", gs, "37123456789", "91ü"}).Draw(t, "fault")
		got, err := gs1.Parse([]byte(bad), 2026)
		var fault *gs1.Error
		if !errors.As(err, &fault) || !got.SameContent(e) || string(got.Raw) != bad || fault.Position <= len(good) || len(bad) < fault.Position {
			t.Fatalf("%q: %+v", bad, fault)
		}
	})
}

// The bytes belong to the caller: changing them later changes nothing that was read.
func TestParse_KeepsNoSlice(t *testing.T) {
	text := []byte("10LOT1")
	e, err := gs1.Parse(text, 2026)
	if err != nil {
		t.Fatal(err)
	}
	copy(text, "21ABCD")
	if e.Lot != "LOT1" || string(e.Raw) != "10LOT1" {
		t.Errorf("lot %q, raw %q", e.Lot, e.Raw)
	}
}

// The longest canonical form that there can be is short enough to be read back.
func TestBracketed_LongestReadsBack(t *testing.T) {
	var b strings.Builder
	for _, entry := range dictionary(t) {
		_, longest := entry.samples(t)
		if strings.HasPrefix(entry.data, "X") {
			longest = strings.Repeat(`\(`, len(longest))
		}
		for _, ai := range entry.ais(t) {
			b.WriteString("(" + ai + ")" + longest)
		}
	}
	e, err := gs1.Parse([]byte(b.String()), 2026)
	if err != nil || len(e.Bracketed()) != b.Len() {
		t.Errorf("%d bytes printed as %d, %v", b.Len(), len(e.Bracketed()), err)
	}
}
