package dose_test

import (
	"encoding/csv"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"needlebook/internal/dose"
)

const testdata = "../../testdata/dose"

// readTable reads a table of testdata/dose, where README.md says what each is and each row names its source.
func readTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := make(map[string]string)
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func rat(t testing.TB, s string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("not a number: %q", s)
	}
	return r
}

func ratOf(f dose.Fraction) *big.Rat { return big.NewRat(f.Num(), f.Den()) }

// near says whether a table's figure, printed with so many decimals, is f rounded to them.
func near(t testing.TB, printed string, f dose.Fraction, decimals int) bool {
	t.Helper()
	half := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Mul(big.NewInt(2), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)))
	d := new(big.Rat).Sub(rat(t, printed), ratOf(f))
	return d.Abs(d).Cmp(half) <= 0
}

func tableProduct(row map[string]string) dose.Product {
	if row["product"] == "(any)" {
		return ona
	}
	return dose.Product(row["product"])
}

// Dilutions as labels and pages state them, beside the exact figure; sources per row.
func TestDilutionTable(t *testing.T) {
	rows := readTable(t, "dilution.csv")
	if len(rows) != 66 {
		t.Fatalf("%d rows", len(rows))
	}
	rounded := 0
	for _, row := range rows {
		product := tableProduct(row)
		vial := dose.Vial{Content: amount(t, product, row["vial_units"]), Diluent: volume(t, row["diluent_mL"])}
		if strings.HasPrefix(row["context"], "ready-to-use liquid") {
			vial.Diluent, vial.Liquid = 0, vial.Diluent
		}
		p, err := dose.Prepare(vial, dose.Millilitre/100)
		if err != nil {
			t.Fatalf("%s: %v", row["id"], err)
		}
		printed := dose.Statement{Units: amount(t, product, row["labelled_units"]), Volume: volume(t, row["labelled_per_mL_volume"])}
		check, err := p.Concentration.Check(printed)
		if err != nil {
			t.Fatalf("%s: %v", row["id"], err)
		}
		if !check.Equal {
			rounded++
		}
		exact := new(big.Rat).Quo(rat(t, row["vial_units"]), rat(t, row["diluent_mL"]))
		inLabel := new(big.Rat).Mul(exact, rat(t, row["labelled_per_mL_volume"]))
		for what, ok := range map[string]bool{
			"units per mL":           near(t, row["exact_units_per_mL"], p.PerML.Units(), 6) && ratOf(p.PerML.Units()).Cmp(exact) == 0,
			"units per 0.1 mL":       near(t, row["exact_units_per_0.1mL"], p.PerTenthML.Units(), 6),
			"units per graduation":   ratOf(p.PerGraduation.Units()).Cmp(new(big.Rat).Quo(exact, big.NewRat(100, 1))) == 0,
			"units in label volume":  near(t, row["exact_units_in_labelled_volume"], check.Exact.Units(), 6) && ratOf(check.Exact.Units()).Cmp(inLabel) == 0,
			"label equals exact":     check.Equal == (row["label_equals_exact"] == "yes"),
			"label kept as printed":  check.Printed == printed,
			"label over exact":       near(t, row["label_minus_exact_percent"], check.PrintedOver.Value(), 3),
			"same product all along": check.Exact.Product() == product && p.PerML.Product() == product,
		} {
			if !ok {
				t.Errorf("%s (%s): %s: %+v", row["id"], row["provenance"], what, check)
			}
		}
	}
	if rounded != 6 { // D021, D022, D024, D033, D035 and the trade page D066
		t.Errorf("%d rows whose printed figure is not exact", rounded)
	}
}

// The example that shows why both figures are kept: 10 units in 0.08 mL is printed, 9.6 is exact (facts row D024, source S12).
func TestLabelRoundingIsShown(t *testing.T) {
	c := concentration(t, "abobotulinumtoxinA", "300", "2.5")
	check, err := c.Check(dose.Statement{Units: amount(t, "abobotulinumtoxinA", "10"), Volume: volume(t, "0.08")})
	if err != nil {
		t.Fatal(err)
	}
	if check.Equal || check.Exact.Number() != (dose.Number{Decimal: "9.6"}) || check.Printed.Units.Decimal() != "10" ||
		check.ExactVolume.Number() != (dose.Number{Decimal: "0.0833", Fraction: "1/12"}) ||
		check.PrintedOver.Number() != (dose.Number{Decimal: "4.1667", Fraction: "25/6"}) {
		t.Errorf("%+v", check)
	}
}

// Worked doses with stated and exact volumes; sources per row.
func TestDoseVolumeTable(t *testing.T) {
	rows := readTable(t, "dose_volume_examples.csv")
	if len(rows) != 32 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		product := tableProduct(row)
		c := concentration(t, product, row["vial_units"], row["diluent_or_fill_mL"])
		v, err := c.VolumeFor(amount(t, product, row["units"]))
		if err != nil {
			t.Fatalf("%s: %v", row["id"], err)
		}
		held, err := c.UnitsIn(volume(t, row["labelled_volume_mL"]))
		if err != nil {
			t.Fatalf("%s: %v", row["id"], err)
		}
		want := new(big.Rat).Mul(rat(t, row["units"]), rat(t, row["diluent_or_fill_mL"]))
		want.Quo(want, rat(t, row["vial_units"]))
		marks, err := v.ML().Mul(fraction(t, 100, 1))
		if err != nil {
			t.Fatal(err)
		}
		equal := ratOf(v.ML()).Cmp(rat(t, row["labelled_volume_mL"])) == 0
		if !near(t, row["exact_volume_mL"], v.ML(), 6) || ratOf(v.ML()).Cmp(want) != 0 || equal != (row["label_equals_exact"] == "yes") ||
			!near(t, row["exact_units_in_labelled_volume"], held.Units(), 6) || !near(t, row["u100_insulin_syringe_marks_for_exact_volume"], marks, 6) {
			t.Errorf("%s (%s): volume %v, held %v", row["id"], row["provenance"], v.Number(), held.Number())
		}
	}
}

// Syringe scales (fragments of ISO 8537:2007 in a translated copy, and a leaflet; sources per row): the marks of an insulin scale are
// volume, and no text for them says units.
func TestSyringeScales(t *testing.T) {
	tested := 0
	for _, row := range readTable(t, "syringe_scales.csv") {
		perMark := map[string]dose.Volume{"insulin U-100": dose.Millilitre / 100, "insulin U-40": dose.Millilitre / 40}[row["type"]]
		capacity := strings.TrimSuffix(row["nominal_mL"], ".0")
		for i, step := range strings.Split(row["scale_interval_mL"], " or ") {
			if strings.Contains(capacity, "-") {
				continue // "2-3" is a range of sizes, not a syringe
			}
			s := dose.Syringe{Capacity: volume(t, capacity), Graduation: volume(t, step), MarkVolume: perMark}
			if _, err := dose.PlanDraw(dose.DrawRequest{Concentration: concentration(t, ona, "100", "2.5"), Syringe: s}); err != nil {
				t.Errorf("%v: %v", row, err)
			}
			tested++
			if perMark == 0 {
				if got := s.MarkText(s.Graduation); got != step+"\u00a0mL" {
					t.Errorf("%v: %q", row, got)
				}
				continue
			}
			marks := strings.Split(row["scale_interval_marks_units"], " or ")[i]
			if got := s.MarkText(s.Graduation); got != "mark "+marks+" ("+step+"\u00a0mL)" {
				t.Errorf("%v: one step is %q", row, got)
			}
			if got := s.MarkText(s.Capacity); got != "mark "+row["full_scale_units"]+" ("+capacity+"\u00a0mL)" || strings.Contains(got, "unit") {
				t.Errorf("%v: full is %q", row, got)
			}
		}
	}
	if tested != 9 {
		t.Errorf("%d scales tested", tested)
	}
}

func fraction(t testing.TB, num, den int64) dose.Fraction {
	t.Helper()
	f, err := dose.NewFraction(num, den)
	if err != nil {
		t.Fatal(err)
	}
	return f
}
