package dose_test

import (
	"bytes"
	"errors"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"needlebook/internal/dose"
)

// libraryVariable names a folder in which npm @lhncbc/ucum-lhc is installed, for asking the library anew.
const libraryVariable = "NEEDLEBOOK_UCUM"

// nearLibrary reports whether a figure of the library, which reckons in floating point, is the exact one within a part in 10^12.
func nearLibrary(t *testing.T, text string, exact *big.Rat) bool {
	t.Helper()
	got, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%q is no number", text)
	}
	off := new(big.Rat).Abs(new(big.Rat).Sub(got, exact))
	return off.Cmp(new(big.Rat).Mul(new(big.Rat).Abs(exact), big.NewRat(1, 1_000_000_000_000))) <= 0
}

// TestUCUM holds how we count against a library that is not ours: the UCUM library of the U.S. National Library of Medicine (npm @lhncbc/ucum-lhc 7.1.10,
// its answers in testdata/dose/ucum_library.csv), and facts/ucum.csv against it. UCUM's arbitrary units, which toxin is counted in, it converts into
// nothing, as an amount of one product is converted into none of another.
func TestUCUM(t *testing.T) {
	kinds, converted := map[string]string{}, map[string]map[string]string{}
	for _, row := range readTable(t, "ucum_library.csv") {
		switch row["what"] {
		case "code":
			kinds[row["code"]] = row["answer"]
		case "convert":
			converted[row["code"]+" to "+row["to"]] = row
		}
	}
	facts := readTable(t, "ucum.csv")
	for _, row := range facts {
		want := map[string]string{"yes": "arbitrary", "no": "unit"}[row["arbitrary_unit"]]
		if kinds[row["code"]] != want {
			t.Errorf("%s: the library says %q, the facts %q", row["code"], kinds[row["code"]], want)
		}
	}
	if len(facts) != 14 || kinds["units"] != "none" || kinds["IU"] != "none" || kinds["U"] != "unit" {
		t.Errorf("%d facts; a word that is no code, and the enzyme unit, which toxin is not counted in: %v", len(facts), kinds)
	}
	for _, row := range []struct {
		what  string
		exact *big.Rat
	}{
		{"mL to nL", big.NewRat(int64(dose.Millilitre), int64(dose.Nanolitre))},
		{"wk to d", big.NewRat(int64(dose.Period{Days: 84}.After(0)), 1)}, // 12 weeks, as an interval rule is written: 84 days
	} {
		if c := converted[row.what]; c == nil || !nearLibrary(t, c["answer"], row.exact) {
			t.Errorf("%s: the library says %v, we count %s", row.what, c, row.exact.RatString())
		}
	}
	threeMonths(t, converted["mo to d"]["answer"])
	refused := 0
	for what, c := range converted {
		if kinds[c["code"]] != "arbitrary" {
			continue
		}
		if refused++; c["answer"] != "refused" {
			t.Errorf("%s: the library converts an arbitrary unit into %s", what, c["answer"])
		}
	}
	if refused < 12 {
		t.Errorf("only %d conversions of arbitrary units were asked for", refused)
	}
	a, b := amount(t, "onabotulinumtoxinA", "1"), amount(t, "incobotulinumtoxinA", "1")
	var mixed *dose.MixedProductsError
	if _, err := a.Add(b); !errors.As(err, &mixed) {
		t.Errorf("an amount of one product and one of another: %v", err)
	}
}

// threeMonths: UCUM's month is a mean, 30.4375 days, which no calendar has. Three of ours are days of the calendar and lie on both sides of it.
func threeMonths(t *testing.T, mean string) {
	t.Helper()
	if !nearLibrary(t, mean, big.NewRat(91_3125, 10_000)) {
		t.Errorf("three months of the library are %s days", mean)
	}
	shortest, longest := dose.Day(1000), dose.Day(0)
	for day := dose.Day(0); day < 4*366; day++ {
		n := dose.Period{Months: 3}.After(day) - day
		shortest, longest = min(shortest, n), max(longest, n)
	}
	if shortest != 89 || longest != 92 { // such as February 1 to May 1, and July 1 to October 1
		t.Errorf("three months of the calendar are %d to %d days", shortest, longest)
	}
}

// TestUCUMLibraryAnew asks the library again what its recorded answers say. It needs Node and the library, which nothing else does.
func TestUCUMLibraryAnew(t *testing.T) {
	folder := os.Getenv(libraryVariable)
	if folder == "" {
		t.Skipf("SKIPPED: the recorded answers stand. To ask the library anew: npm install @lhncbc/ucum-lhc@7.1.10 in a folder, and %s=FOLDER", libraryVariable)
	}
	tables, err := filepath.Abs(filepath.Join("..", "..", "testdata", "dose"))
	if err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), "node", filepath.Join(tables, "ucum_library.cjs"), filepath.Join(tables, "ucum.csv"))
	c.Dir = folder
	got, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(filepath.Join(tables, "ucum_library.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the library says\n%s", strings.TrimSpace(string(got)))
	}
}
