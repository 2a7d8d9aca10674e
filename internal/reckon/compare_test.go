package reckon

import (
	"encoding/csv"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

func readRows(t testing.TB, name string) []map[string]string {
	t.Helper()
	lines, err := csv.NewReader(strings.NewReader(string(readFile(t, testdata, name)))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := make(map[string]string, len(line))
		for i, cell := range line {
			row[lines[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

// Every row of the table of published ratios (S62, S63, S64) is shown with its figures, meaning and source, whichever product is named first; the row that
// says that there is no ratio (S01, S07, S65, S66) is the statement and its citations.
func TestEveryPublishedRatioIsShown(t *testing.T) {
	e := builtin(t)
	shown := 0
	for _, row := range readRows(t, "ratios.csv") {
		if row["ratio"] == "none" {
			continue
		}
		a, b, _ := strings.Cut(row["pair"], " : ")
		low, high, isBand := strings.Cut(strings.TrimSuffix(row["ratio"], " : 1"), "-")
		if !isBand {
			high = low
		}
		for _, r := range []*dosev1.CompareProductsRequest{{Product: a, OtherProduct: b}, {Product: b, OtherProduct: a}} {
			c, err := CompareProducts(e, r)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.ContainsFunc(c.GetBands(), func(p *dosev1.PublishedBand) bool {
				return p.GetProduct() == a && p.GetOtherProduct() == b && rat(t, p.GetLowestRatio()).Cmp(rat(t, low)) == 0 &&
					rat(t, p.GetHighestRatio()).Cmp(rat(t, high)) == 0 && citesOneOf(p.GetSource(), row["source"])
			}) {
				t.Errorf("%s %s (%s): not among %v", row["pair"], row["ratio"], row["source"], c.GetBands())
			}
			if c.GetStatement() != NotInterchangeable || len(c.GetLabels()) != 5 || !citesOneOf(c.GetLabels()[0], "S01") || !citesOneOf(c.GetLabels()[1], "S07") {
				t.Errorf("statement %q, labels %v", c.GetStatement(), c.GetLabels())
			}
			shown++
		}
	}
	if shown != 14 {
		t.Errorf("%d bands looked at", shown)
	}
}

// Nothing of a comparison can be fed a dose, and nothing of its answer is one: no field of either is in units.
func TestComparisonHoldsNoDose(t *testing.T) {
	for _, m := range []string{"CompareProductsRequest", "CompareProductsResponse", "PublishedBand"} {
		fields := dosev1.File_needlebook_dose_v1_dose_service_proto.Messages().ByName(protoreflect.Name(m)).Fields()
		for i := range fields.Len() {
			if name := string(fields.Get(i).Name()); strings.Contains(name, "unit") || strings.Contains(name, "dose") {
				t.Errorf("%s.%s", m, name)
			}
		}
	}
}

func TestCompareFindings(t *testing.T) {
	e := builtin(t)
	for _, c := range []struct{ a, b, want string }{
		{"onabotulinumtoxinA", "abobotulinumtoxinA", CodeRatiosDiffer},
		{"onabotulinumtoxinA", "incobotulinumtoxinA", ""}, // one band, one figure
		{"abobotulinumtoxinA", "incobotulinumtoxinA", CodeNoRatio},
	} {
		r, err := CompareProducts(e, &dosev1.CompareProductsRequest{Product: c.a, OtherProduct: c.b})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(codes(r.GetFindings()), " "); got != c.want {
			t.Errorf("%s, %s: %q, want %q", c.a, c.b, got, c.want)
		}
	}
}
