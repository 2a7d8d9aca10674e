package gs1_test

import (
	"bytes"
	"errors"
	"testing"

	"needlebook/internal/gs1"
)

// No input panics. The bytes are kept. What parses prints, in both forms, and parses again to the same; what does not says where.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"]d20112345678901231" + "17270600" + "10A(1)B" + gs + "21S/N_1", `(01)12345678901231(10)A\(1)B(17)270630`, "]E402345673", "]E02112345678900",
		gs + "10A" + gs, "7003260131235910", "800826013123" + gs + "421756AB", "91x" + gs + "91y", "]d1x", "(", "()", "(10)", `(10)\`, "", gs, "]", "0",
	} {
		f.Add([]byte(text), 2026)
	}
	f.Fuzz(func(t *testing.T, raw []byte, year int) {
		year = 1970 + (year%7980+7980)%7980
		e, err := gs1.Parse(raw, year)
		if len(raw) <= gs1.MaxBytes && !bytes.Equal(e.Raw, raw) {
			t.Errorf("raw %q kept as %q", raw, e.Raw)
		}
		var fault *gs1.Error
		if err != nil && (!errors.As(err, &fault) || fault.Position < 1 || len(raw)+1 < fault.Position || len(fault.Read) > 40 || fault.Error() == "") {
			t.Errorf("%q: %v", raw, err)
		}
		if err == nil && e.ElementString() == "" {
			t.Errorf("%q: nothing was read, and no error", raw)
		}
		if e.ElementString() == "" {
			return
		}
		for _, printed := range []string{e.ElementString(), e.Bracketed()} { // what was read before a fault reads back too
			again, err := gs1.Parse([]byte(printed), year)
			if err != nil || !again.SameContent(e) || again.ElementString() != e.ElementString() {
				t.Errorf("%q printed as %q: %v", raw, printed, err)
			}
		}
	})
}

func FuzzParseGTIN(f *testing.F) {
	f.Add("02345673")
	f.Add("1234567890128")
	f.Fuzz(func(t *testing.T, text string) {
		number, err := gs1.ParseGTIN(text)
		if again, twice := gs1.ParseGTIN(number); err == nil && (twice != nil || again != number || len(number) != 14) {
			t.Errorf("%q is %q, then %q, %v", text, number, again, twice)
		}
	})
}
