package dose_test

import (
	"math/big"
	"strconv"
	"strings"
	"testing"

	"needlebook/internal/dose"
)

// labelledMix is the dilution at which a label states its doses, by product, and the rows of dilution.csv that say so.
func labelledMix(product dose.Product) (content, volume string) {
	switch product {
	case "abobotulinumtoxinA":
		return "300", "1.5"
	case "daxibotulinumtoxinA":
		return "100", "1.2"
	case "relabotulinumtoxinA":
		return "150", "1.5" // a ready liquid of 100 units in 1 mL
	}
	return "100", "2.5"
}

// printedOtherwise are totals whose printed volume is not the exact one, with what is exact at the labelled dilution: the label rounds, or prints the volume of
// another dilution beside it. Neither figure is corrected.
func printedOtherwise() map[string]string {
	return map[string]string{
		"daxibotulinumtoxinA glabellar lines 40":                             "12/25", // 0.48 mL, printed 0.5
		"onabotulinumtoxinA platysma bands: 1 + 2 bands 31":                  "31/40", // 0.775 mL, printed 0.78
		"abobotulinumtoxinA glabellar lines 50":                              "1/4",   // printed 0.25, and 0.4 for a dilution in 2.5 mL
		"incobotulinumtoxinA horizontal forehead lines 10 to 20":             "1/4 1/2",
		"incobotulinumtoxinA glabellar frown lines 20 (may be raised to 30)": "1/2",
	}
}

// TestLabelledTotals plans every labelled treatment of testdata/dose/label_doses.csv injection by injection: the units of the sites add up to the label's total,
// and their exact volume at the labelled dilution stands beside the printed one. Each row names its source, and says where a figure is from memory.
func TestLabelledTotals(t *testing.T) {
	rows, planned, fromMemory, rounded := readTable(t, "label_doses.csv"), 0, 0, 0
	for _, row := range rows {
		product := tableProduct(row)
		name := row["product"] + " " + row["indication"] + " " + row["total_units"]
		if row["source"] == "" || row["provenance"] == "" {
			t.Errorf("%s: no source, or not how it was come by", name)
		}
		if strings.Contains(row["provenance"], "memory") {
			fromMemory++
		}
		sites, err := strconv.Atoi(row["n_sites"])
		each, wanted := row["units_per_site"], strings.Fields(row["total_units"])[0]
		if err != nil {
			sites, each = 1, row["total_units"] // bands of which only the total was read
		}
		if strings.Contains(each, "/") { // 2 / 3 / 4 units a site: the least and the most make the label's span
			each = strings.TrimSpace(each[:strings.Index(each, "/")])
		}
		content, volume := labelledMix(product)
		plan := plannedSites(t, product, content, volume, sites, each)
		if plan.units.Cmp(rat(t, wanted)) != 0 {
			t.Errorf("%s: %d sites of %s units are %s", name, sites, each, plan.units.RatString())
		}
		exact := plan.ml.RatString()
		printed := row["total_mL"]
		same := printed == "" || !strings.ContainsAny(printed, "ot") && rat(t, printed).Cmp(plan.ml) == 0
		if want, listed := printedOtherwise()[name]; !same && (!listed || !strings.HasPrefix(want, exact)) {
			t.Errorf("%s: %s mL exactly, %s printed", name, exact, printed)
		} else if !same {
			rounded++
		}
		planned++
		t.Logf("%-20s %-5s %-48s printed %-12s exact %-6s %s, %s", product, row["region"], row["indication"], printed, exact, row["provenance"], row["source"])
	}
	if planned != 26 || fromMemory != 5 || rounded < 3 {
		t.Errorf("%d rows planned, %d with a figure from memory, %d whose printed volume is another", planned, fromMemory, rounded)
	}
}

// plannedTotal is what a plan gives in all, exactly.
type plannedTotal struct{ units, ml *big.Rat }

func plannedSites(t *testing.T, product dose.Product, content, volume string, sites int, each string) plannedTotal {
	t.Helper()
	vial, err := dose.ParseAmount(product, content)
	if err != nil {
		t.Fatal(err)
	}
	in, err := dose.ParseVolume(volume)
	if err != nil {
		t.Fatal(err)
	}
	c, err := dose.NewConcentration(vial, in)
	if err != nil {
		t.Fatal(err)
	}
	a, err := dose.ParseAmount(product, each)
	if err != nil {
		t.Fatal(err)
	}
	r := dose.DrawRequest{Concentration: c, Syringe: millilitreSyringe}
	for i := range sites {
		r.Injections = append(r.Injections, dose.Injection{Ref: strconv.Itoa(i), Dose: a})
	}
	p, err := dose.PlanDraw(r)
	if err != nil {
		t.Fatal(err)
	}
	total := plannedTotal{new(big.Rat), new(big.Rat)}
	for _, s := range p.Syringes {
		for _, m := range s.Marks {
			total.units.Add(total.units, units(m.Dose))
			total.ml.Add(total.ml, ratOf(m.Exact.ML()))
		}
	}
	return total
}
