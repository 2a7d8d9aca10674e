package anatomy_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strings"
	"testing"

	"needlebook/internal/anatomy"
)

// Sides as general anatomy has them, from memory.
func TestMusclesAndTheirSides(t *testing.T) {
	for code, sides := range map[string]string{
		"corrugator_supercilii": "right left", "procerus": "midline", "frontalis": "right left midline", "orbicularis_oculi": "right left",
		"nasalis":                               "right left",
		"levator_labii_superioris_alaeque_nasi": "right left", "masseter": "right left", "depressor_anguli_oris": "right left", "mentalis": "right left",
		"orbicularis_oris": "right left midline", "depressor_labii_inferioris": "right left", "platysma": "right left",
	} {
		m, err := anatomy.ParseMuscle(code)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, s := range anatomy.Sides() {
			err := m.CheckSide(s)
			if m.Allows(s) != (err == nil) || err != nil && !errors.Is(err, anatomy.ErrSide) {
				t.Errorf("%s on the %s: %v", code, s, err)
			}
			if err == nil {
				got = append(got, s.String())
			}
		}
		if strings.Join(got, " ") != sides || m.Allows(anatomy.SideNone) || !m.Target {
			t.Errorf("%s may be %v, want %s", code, got, sides)
		}
	}
}

func TestAPairedMuscleIsNeverOnTheMidline(t *testing.T) {
	mentalis, _ := anatomy.MuscleByCode("mentalis")
	lips, _ := anatomy.MuscleByCode("orbicularis_oris")
	at := func(x anatomy.Micrometre) anatomy.Place {
		return anatomy.Place{Frame: anatomy.FrameChin, Side: anatomy.SideLeft, X: x, Y: 10_000}
	}
	if err := mentalis.CheckPlace(at(0)); !errors.Is(err, anatomy.ErrSide) {
		t.Errorf("mentalis on the midline: %v", err)
	}
	if err := mentalis.CheckPlace(anatomy.Place{}); !errors.Is(err, anatomy.ErrUnknownCode) {
		t.Errorf("no place: %v", err)
	}
	for _, err := range []error{mentalis.CheckPlace(at(1)), lips.CheckPlace(at(0)),
		mentalis.CheckPlace(anatomy.Place{Frame: anatomy.FrameCheek, Side: anatomy.SideLeft})} {
		if err != nil {
			t.Error(err)
		}
	}
}

func TestCodesHoldTogether(t *testing.T) {
	form, seen := regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`), map[string]bool{}
	once := func(kind, code, name string) {
		if !form.MatchString(code) || seen[kind+code] || name == "" {
			t.Errorf("%s %q named %q", kind, code, name)
		}
		seen[kind+code] = true
	}
	for _, r := range anatomy.Regions() {
		once("target", string(r), r.Name())
	}
	for _, m := range anatomy.Muscles() {
		once("target", m.Code, m.Name)
		if _, ok := anatomy.FrameByCode(m.Frame); !ok || m.Action == "" || !anatomy.Covers(string(m.Region), m.Code) {
			t.Errorf("%s: frame %s, action %q, region %s", m.Code, m.Frame, m.Action, m.Region)
		}
		if m.Target == (len(anatomy.NeighboursOf(m.Code)) == 0) && m.Code != "frontalis" && m.Code != "depressor_supercilii" && m.Code != "depressor_septi_nasi" {
			t.Errorf("%s has no neighbours", m.Code)
		}
	}
	for _, a := range anatomy.Areas() {
		once("target", a.Code, a.Name)
		for _, muscle := range a.Muscles {
			if !anatomy.Covers(a.Code, muscle) || anatomy.Covers(a.Code, "platysma") {
				t.Errorf("%s and %s", a.Code, muscle)
			}
		}
	}
	for _, n := range anatomy.Neighbours() {
		_, treated := anatomy.MuscleByCode(n.Muscle)
		_, weakened := anatomy.MuscleByCode(n.Weakened)
		if !treated || !weakened || n.Muscle == n.Weakened || n.Effect == "" || n.Provenance.Obtained == "" {
			t.Errorf("%s weakens %s", n.Muscle, n.Weakened)
		}
	}
	for _, f := range anatomy.Frames() {
		once("frame", string(f.Code), f.Name)
		for _, l := range f.Landmarks {
			once("landmark of "+string(f.Code), l.Code, l.Name)
		}
		for _, m := range f.Measures {
			once("measure of "+string(f.Code), m.Code, m.Name)
		}
	}
}

// Every target that the built-in formulary names is known here.
func TestTheFormularysTargetsAreKnown(t *testing.T) {
	for _, table := range []string{"zones.csv", "dose_ranges.csv", "depth_rules.csv"} {
		for _, row := range rows(t, "../formulary/edition/"+table) {
			if !anatomy.KnownTarget(row["target"]) {
				t.Errorf("%s: nobody knows %q", table, row["target"])
			}
		}
	}
}

// Every publication that a zone or a neighbour rests on is in the list of sources.
func TestSourcesExist(t *testing.T) {
	known := map[string]bool{}
	for _, row := range rows(t, "../../testdata/anatomy/sources.csv") {
		known[row["id"]] = true
	}
	cited := []anatomy.Provenance{}
	for _, z := range anatomy.Zones() {
		cited = append(cited, z.Provenance)
	}
	for _, n := range anatomy.Neighbours() {
		cited = append(cited, n.Provenance)
	}
	for _, p := range cited {
		for _, source := range p.Sources {
			if !known[source] {
				t.Errorf("no source %s", source)
			}
		}
	}
}

func TestMicrometresAsText(t *testing.T) {
	for m, want := range map[anatomy.Micrometre][2]string{0: {"0", "0 mm"}, 3200: {"3.2", "3.2 mm"}, -50: {"-0.05", "-0.1 mm"}, 49: {"0.049", "0 mm"},
		10_000: {"10", "10 mm"}, -12_345: {"-12.345", "-12.3 mm"}, 9_950: {"9.95", "10 mm"}, -1 << 63: {"-9223372036854775.808", ""}} {
		if m.Decimal() != want[0] || want[1] != "" && m.Display() != want[1] {
			t.Errorf("%d: %q and %q, want %q", int64(m), m.Decimal(), m.Display(), want)
		}
	}
}

// No floating point is on a path that decides.
func TestNoFloats(t *testing.T) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		text, err := os.ReadFile(e.Name())
		if err != nil {
			t.Fatal(err)
		}
		checked++
		for _, found := range floats(t, e.Name(), text) {
			t.Errorf("%s: %s", e.Name(), found)
		}
	}
	if checked < 10 {
		t.Errorf("only %d files checked", checked)
	}
	if len(floats(t, "x.go", []byte("package x\nvar a, b = 1.5, float64(1)"))) != 2 {
		t.Error("the check does not see floats")
	}
}

func floats(t *testing.T, name string, text []byte) (found []string) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), name, text, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.Ident:
			if strings.HasPrefix(n.Name, "float") || strings.HasPrefix(n.Name, "complex") {
				found = append(found, n.Name)
			}
		case *ast.BasicLit:
			if n.Kind == token.FLOAT || n.Kind == token.IMAG {
				found = append(found, n.Value)
			}
		}
		return true
	})
	return found
}
