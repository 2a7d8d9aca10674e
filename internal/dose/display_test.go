package dose_test

import (
	"math/big"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"needlebook/internal/dose"
)

// The form of every shown quantity (ISMP list of error-prone abbreviations: no trailing zero, a leading zero, commas from 1,000, "units" in full).
var shown = regexp.MustCompile(`^(0|[1-9]\d{0,2}(,\d{3})*)(\.\d*[1-9])?\x{00a0}(units|mL)$`)

func TestDisplay(t *testing.T) {
	for text, want := range map[string]string{"0": "0 units", "0.5": "0.5 units", "5": "5 units", "999.999": "999.999 units",
		"1000": "1,000 units", "10000.5": "10,000.5 units", "100000": "100,000 units"} {
		if got := amount(t, ona, text).Display(); got != strings.ReplaceAll(want, " ", "\u00a0") {
			t.Errorf("%s: %q", text, got)
		}
	}
	if got := volume(t, "0.0125").Display(); got != "0.0125\u00a0mL" {
		t.Errorf("%q", got)
	}
	if got := concentration(t, ona, "50", "1.25").Display(); got != "50\u00a0units per 1.25\u00a0mL" {
		t.Errorf("%q", got)
	}
	s := dose.Syringe{MarkVolume: dose.Millilitre / 100}
	for text, want := range map[string]string{"0.13": "mark 13 (0.13\u00a0mL)", "0.005": "mark 0.5 (0.005\u00a0mL)", "0": "mark 0 (0\u00a0mL)"} {
		if got := s.MarkText(volume(t, text)); got != want {
			t.Errorf("%s: %q", text, got)
		}
	}
}

func TestDisplayForm(t *testing.T) {
	rng := rand.New(rand.NewPCG(*oracleSeed, 2))
	for range *oracleCases {
		a, err := dose.NewAmount(ona, rng.Int64N(dose.MaxMilliunits+1)>>rng.IntN(20))
		if err != nil {
			t.Fatal(err)
		}
		v := dose.Volume(rng.Int64N(int64(dose.MaxVolume)+1) >> rng.IntN(20))
		for plain, text := range map[string]string{a.Decimal() + "\u00a0units": a.Display(), v.Decimal() + "\u00a0mL": v.Display()} {
			if !shown.MatchString(text) || strings.ReplaceAll(text, ",", "") != plain {
				t.Fatalf("%q for %q", text, plain)
			}
		}
	}
}

// A figure that does not end is rounded half-even to 4 decimals with its fraction beside it; one that ends is written in full.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		content, ml, dose string
		want              dose.Number
		display           string
	}{
		{"300", "2.5", "7", dose.Number{Decimal: "0.0583", Fraction: "7/120"}, "0.0583\u00a0mL"},
		{"100", "2.5", "0.5", dose.Number{Decimal: "0.0125"}, "0.0125\u00a0mL"},
		{"64", "1", "1", dose.Number{Decimal: "0.015625"}, "0.015625\u00a0mL"},
		{"80", "0.001", "1", dose.Number{Decimal: "0", Fraction: "1/80000"}, "less than 0.0001\u00a0mL"},
		{"100000", "100", "0.001", dose.Number{Decimal: "0.000001"}, "0.000001\u00a0mL"},
		{"3", "10", "2", dose.Number{Decimal: "6.6667", Fraction: "20/3"}, "6.6667\u00a0mL"},
		{"12800", "1", "0.64", dose.Number{Decimal: "0.00005"}, "0.00005\u00a0mL"},
		{"3", "30", "9.999", dose.Number{Decimal: "99.99"}, "99.99\u00a0mL"},
	} {
		v, err := concentration(t, ona, c.content, c.ml).VolumeFor(amount(t, ona, c.dose))
		if err != nil {
			t.Fatal(err)
		}
		if got := v.Number(); got != c.want || v.Display() != c.display {
			t.Errorf("%s of %s in %s: %+v, %q", c.dose, c.content, c.ml, got, v.Display())
		}
	}
	for _, c := range []struct {
		num, den int64
		want     dose.Number
	}{
		{1, 32, dose.Number{Decimal: "0.0312", Fraction: "1/32"}},    // 0.03125, half to even, down
		{3, 32, dose.Number{Decimal: "0.0938", Fraction: "3/32"}},    // 0.09375, half to even, up
		{-3, 32, dose.Number{Decimal: "-0.0938", Fraction: "-3/32"}}, // alike on both sides of zero
		{-1, 100_000, dose.Number{Decimal: "0", Fraction: "-1/100000"}},
		{199_999, 100_000, dose.Number{Decimal: "2", Fraction: "199999/100000"}}, // carries into the whole part
		{-5, 2, dose.Number{Decimal: "-2.5"}},
		{1<<63 - 1, 1<<63 - 2, dose.Number{Decimal: "1", Fraction: "9223372036854775807/9223372036854775806"}},
	} {
		if got := dose.NewPercent(fraction(t, c.num, c.den)).Number(); got != c.want {
			t.Errorf("%d/%d: %+v", c.num, c.den, got)
		}
	}
}

// Rounding against math/big: half-even to 4 decimals, and the fraction there exactly when something was lost.
func TestNumberOracle(t *testing.T) {
	rng := rand.New(rand.NewPCG(*oracleSeed, 3))
	for range *oracleCases {
		den := 1 + rng.Int64()>>rng.IntN(62)
		if rng.IntN(2) == 0 {
			den = []int64{20_000, 100_000, 32, 160_000, 3, 7}[rng.IntN(6)]
		}
		f := fraction(t, rng.Int64()>>rng.IntN(62)*(1-2*rng.Int64N(2)), den)
		scaled := new(big.Rat).Mul(ratOf(f), big.NewRat(10_000, 1))
		got := dose.NewPercent(f).Number()
		off := new(big.Rat).Sub(new(big.Rat).Mul(rat(t, got.Decimal), big.NewRat(10_000, 1)), scaled)
		off.Abs(off)
		last := new(big.Rat).Mul(rat(t, got.Decimal), big.NewRat(10_000, 1))
		side := off.Cmp(big.NewRat(1, 2))
		if !last.IsInt() || side > 0 || side == 0 && last.Num().Bit(0) == 1 || (got.Fraction == "") != scaled.IsInt() ||
			got.Fraction != "" && got.Fraction != ratOf(f).RatString() {
			t.Fatalf("%v: %+v", f, got)
		}
	}
}
