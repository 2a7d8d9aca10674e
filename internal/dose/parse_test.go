package dose_test

import (
	"errors"
	"strings"
	"testing"

	"needlebook/internal/dose"

	"pgregory.net/rapid"
)

const ona = dose.Product("onabotulinumtoxinA")

// refusals are texts that no decimal field takes, with the rule each breaks.
var refusals = []struct {
	text string
	rule dose.Rule
}{
	{"", dose.RuleEmpty},
	{strings.Repeat("1", 25), dose.RuleTooLong},
	{"+1", dose.RuleNoSign}, {"-1", dose.RuleNoSign}, {"-0", dose.RuleNoSign},
	{" 1", dose.RuleNoSpace}, {"1 ", dose.RuleNoSpace}, {"1\n", dose.RuleNoSpace},
	{"1,5", dose.RuleNoComma}, {"1,000", dose.RuleNoComma},
	{"1e3", dose.RuleNoExponent}, {"1E-2", dose.RuleNoExponent},
	{"4U", dose.RuleNoUnitText}, {"4units", dose.RuleNoUnitText}, {"NaN", dose.RuleNoUnitText}, {"0x10", dose.RuleNoUnitText}, {"5%", dose.RuleNoUnitText},
	{"1.2.3", dose.RuleCharacter}, {"1_0", dose.RuleCharacter}, {"½", dose.RuleCharacter}, {"１", dose.RuleCharacter}, {"1\u00a0", dose.RuleCharacter},
	{"1/2", dose.RuleCharacter}, {"\x00", dose.RuleCharacter},
	{".5", dose.RuleDigitBefore}, {".", dose.RuleDigitBefore}, {"1.", dose.RuleDigitAfter},
	{"007", dose.RuleLeadingZero}, {"00", dose.RuleLeadingZero}, {"01.5", dose.RuleLeadingZero},
	{"1.0", dose.RuleTrailingZero}, {"2.50", dose.RuleTrailingZero}, {"0.0", dose.RuleTrailingZero},
	{"0.0000001", dose.RuleDecimals},
	{"99999999999999999999", dose.RuleTooLarge}, {"9223372036854775808", dose.RuleTooLarge},
}

func TestDecimalsRefused(t *testing.T) {
	parsers := map[dose.Kind]func(string) error{
		dose.KindUnits:   func(s string) error { _, err := dose.ParseAmount(ona, s); return err },
		dose.KindML:      func(s string) error { _, err := dose.ParseVolume(s); return err },
		dose.KindPercent: func(s string) error { _, err := dose.ParsePercent(s); return err },
	}
	edges := map[dose.Kind][]struct {
		text string
		rule dose.Rule
	}{
		dose.KindUnits:   {{"0.0001", dose.RuleDecimals}, {"100000.001", dose.RuleTooLarge}},
		dose.KindML:      {{"0.0000001", dose.RuleDecimals}, {"100.000001", dose.RuleTooLarge}},
		dose.KindPercent: {{"0.00001", dose.RuleDecimals}, {"1000.0001", dose.RuleTooLarge}},
	}
	for kind, parse := range parsers {
		for _, c := range append(edges[kind], refusals...) {
			var e *dose.ParseError
			if err := parse(c.text); !errors.As(err, &e) {
				t.Errorf("%s %q: %v", kind, c.text, err)
			} else if e.Kind != kind || e.Rule != c.rule || !strings.HasPrefix(c.text, e.Read) {
				t.Errorf("%s %q: got %+v, want rule %q", kind, c.text, *e, c.rule)
			}
		}
	}
}

func TestDecimalsTaken(t *testing.T) {
	for text, want := range map[string]int64{"0": 0, "0.001": 1, "2.5": 2500, "10": 10_000, "1000.25": 1_000_250, "100000": dose.MaxMilliunits} {
		if a, err := dose.ParseAmount(ona, text); err != nil || a.Milliunits() != want || a.Decimal() != text {
			t.Errorf("%q: %v, %v", text, a, err)
		}
	}
	for text, want := range map[string]dose.Volume{"0": 0, "0.000001": 1, "0.0125": 12_500, "2.5": 2_500_000, "100": dose.MaxVolume} {
		if v, err := dose.ParseVolume(text); err != nil || v != want || v.Decimal() != text {
			t.Errorf("%q: %v, %v", text, v, err)
		}
	}
}

func TestProducts(t *testing.T) {
	for _, s := range []string{"onabotulinumtoxinA", "letibotulinumtoxinA-wlbg"} {
		if p, err := dose.ParseProduct(s); err != nil || string(p) != s {
			t.Errorf("%q: %v", s, err)
		}
	}
	for s, rule := range map[string]dose.Rule{"": dose.RuleEmpty, "1a": dose.RuleProductName, "a b": dose.RuleProductName, "toxin\u0391": dose.RuleProductName,
		strings.Repeat("a", 65): dose.RuleTooLong} {
		var e *dose.ParseError
		if _, err := dose.ParseProduct(s); !errors.As(err, &e) || e.Rule != rule {
			t.Errorf("%q: %v", s, err)
		}
	}
}

// Printing and parsing are inverses over the whole range.
func TestPrintParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Int64Range(0, dose.MaxMilliunits).Draw(t, "milliunits")
		a, err := dose.NewAmount(ona, m)
		if err != nil {
			t.Fatal(err)
		}
		if b, err := dose.ParseAmount(ona, a.Decimal()); err != nil || b != a {
			t.Fatalf("%s: %v, %v", a.Decimal(), b, err)
		}
		v := dose.Volume(rapid.Int64Range(0, int64(dose.MaxVolume)).Draw(t, "nanolitres"))
		if w, err := dose.ParseVolume(v.Decimal()); err != nil || w != v {
			t.Fatalf("%s: %v, %v", v.Decimal(), w, err)
		}
	})
}

func TestProductsNeverMix(t *testing.T) {
	a, b := amount(t, ona, "4"), amount(t, "abobotulinumtoxinA", "4")
	if a == b {
		t.Error("4 units of two products are equal")
	}
	calls := map[string]func() error{
		"Add":           func() error { _, err := a.Add(b); return err },
		"Compare":       func() error { _, err := a.Compare(b); return err },
		"exact Add":     func() error { _, err := a.Exact().Add(b.Exact()); return err },
		"exact Sub":     func() error { _, err := a.Exact().Sub(b.Exact()); return err },
		"exact Compare": func() error { _, err := a.Exact().Compare(b.Exact()); return err },
		"VolumeFor":     func() error { _, err := concentration(t, ona, "100", "2.5").VolumeFor(b); return err },
		"Check": func() error {
			_, err := concentration(t, ona, "100", "2.5").Check(dose.Statement{Units: b, Volume: dose.Millilitre})
			return err
		},
		"PlanDraw": func() error {
			_, err := dose.PlanDraw(dose.DrawRequest{Concentration: concentration(t, ona, "100", "2.5"), Syringe: millilitreSyringe,
				Injections: []dose.Injection{{Ref: "1", Dose: a}, {Ref: "2", Dose: b}}})
			return err
		},
	}
	for name, call := range calls {
		var e *dose.MixedProductsError
		if err := call(); !errors.As(err, &e) || e.Want != ona || e.Got != b.Product() {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func amount(t tb, p dose.Product, s string) dose.Amount {
	t.Helper()
	a, err := dose.ParseAmount(p, s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func volume(t tb, s string) dose.Volume {
	t.Helper()
	v, err := dose.ParseVolume(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func concentration(t tb, p dose.Product, content, ml string) dose.Concentration {
	t.Helper()
	c, err := dose.NewConcentration(amount(t, p, content), volume(t, ml))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// fuzzDecimal is the law of every decimal parser: what it takes prints back to the same bytes, what it refuses names a rule.
func fuzzDecimal(f *testing.F, decimal func(string) (string, error)) {
	for _, c := range refusals {
		f.Add(c.text)
	}
	for _, s := range []string{"0", "0.001", "2.5", "100", "99999.999", "0.000001"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		back, err := decimal(s)
		var e *dose.ParseError
		switch {
		case err == nil && back != s:
			t.Fatalf("%q prints as %q", s, back)
		case err != nil && (!errors.As(err, &e) || e.Rule == ""):
			t.Fatalf("%q: %v", s, err)
		}
	})
}

func FuzzParseAmount(f *testing.F) {
	fuzzDecimal(f, func(s string) (string, error) { a, err := dose.ParseAmount(ona, s); return a.Decimal(), err })
}

func FuzzParseVolume(f *testing.F) {
	fuzzDecimal(f, func(s string) (string, error) { v, err := dose.ParseVolume(s); return v.Decimal(), err })
}

func FuzzParsePercent(f *testing.F) {
	fuzzDecimal(f, func(s string) (string, error) { p, err := dose.ParsePercent(s); return p.Number().Decimal, err })
}

func FuzzParseProduct(f *testing.F) {
	f.Add("onabotulinumtoxinA")
	f.Fuzz(func(t *testing.T, s string) {
		if p, err := dose.ParseProduct(s); err == nil && string(p) != s {
			t.Fatalf("%q became %q", s, p)
		}
	})
}

// tb is what the helpers need of a test, a benchmark or a drawn case.
type tb interface {
	Helper()
	Fatal(...any)
}
