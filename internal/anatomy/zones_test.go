package anatomy_test

import (
	"encoding/csv"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"needlebook/internal/anatomy"
)

// edge is a point on a zone's edge, on the patient's left, and the step of a micrometre that leads inside. Figures are reckoned by hand from the
// vertices of the mesh in micrometres (mouth corner 24562 out; the corners' height -43426, and so on) and the zone's bounds.
type edge struct {
	zone       string
	frame      anatomy.FrameCode
	x, y       anatomy.Micrometre
	inX, inY   anatomy.Micrometre
	scale      anatomy.Scale
	byDefault  bool
	otherBound bool // the zone's greatest distance rather than its least
}

func edges() []edge {
	measured := func(measure string, distance anatomy.Micrometre) anatomy.Scale {
		return anatomy.Scale{Measure: measure, Measured: distance}
	}
	return []edge{
		// Brow: the middle of the brow is 51095-41422 up, the ridge's medial end 45247-41422.
		{zone: "glabella_above_brow", frame: "brow", x: 1, y: 9673 + 10000, inY: 1, byDefault: true},
		{zone: "corrugator_above_ridge", frame: "brow", x: 1, y: 3825 + 10000, inY: 1, byDefault: true},
		// Orbit: where the rim passes vertex 282, 37350-44459 out and 45082-26640 up. Forehead and brow: the rim is a level.
		{zone: "frontalis_above_rim", frame: "orbit", x: -7109, y: 18442 + 20000, inY: 1, byDefault: true},
		{zone: "frontalis_above_rim", frame: "forehead", x: 30000, y: 20000, inY: 1},
		{zone: "frontalis_above_rim", frame: "forehead", x: 30000, y: 20000, inY: 1, scale: measured("forehead_height", 52345)},
		{zone: "frontalis_above_rim", frame: "brow", x: 1, y: 3660 + 20000, inY: 1, byDefault: true},
		{zone: "frontalis_convergence_men", frame: "forehead", x: 1, y: 30450, inY: 1, scale: measured("forehead_height", 50000)},
		{zone: "frontalis_convergence_women", frame: "forehead", x: 1, y: 30300, inY: 1, scale: measured("forehead_height", 50000)},
		{zone: "lateral_canthus_policy", frame: "orbit", x: 10000, y: -3000, inX: 1},
		{zone: "lateral_canthus_policy", frame: "orbit", x: 15000, y: -3000, inX: -1, otherBound: true},
		{zone: "lateral_canthus_us", frame: "orbit", x: 15000, inX: 1},
		{zone: "lateral_canthus_us", frame: "orbit", x: 20000, inX: -1, otherBound: true},
		{zone: "lateral_canthus_eu", frame: "orbit", x: 5000 + 10000, inX: 1, byDefault: true},
		{zone: "depressor_anguli_oris_below_corner", frame: "mouth", x: 30000, y: -2000, inY: -1},
		{zone: "depressor_anguli_oris_lateral", frame: "mouth", x: 24562 + 10000, y: -5000, inX: 1, byDefault: true},
		{zone: "depressor_anguli_oris_lateral", frame: "mouth", x: 26000 + 10000, y: -5000, inX: 1, scale: measured("mouth_width", 52000)},
		// The jaw passes vertex 378, 32107 out and 85333-43426 below the corners.
		{zone: "depressor_anguli_oris_finger_width", frame: "mouth", x: 32107, y: -41907 + 12000, inY: 1, byDefault: true},
		{zone: "depressor_anguli_oris_finger_width", frame: "mouth", x: 32107, y: -41907 + 15000, inY: -1, byDefault: true, otherBound: true},
		{zone: "mentalis_off_midline", frame: "chin", x: 5000, y: 9000, inX: 1},
		{zone: "mentalis_off_midline", frame: "chin", x: 10000, y: 9000, inX: -1, otherBound: true},
		// Chin: the corners are 94034-43426 up, the lower lip's middle 94034-53651.
		{zone: "mentalis_below_line", frame: "chin", x: 5000, y: 50608 - 20000, inY: -1, byDefault: true},
		{zone: "mentalis_below_line", frame: "chin", x: 5000, y: 50608 - 30000, inY: 1, byDefault: true, otherBound: true},
		{zone: "mentalis_below_line", frame: "mouth", x: 5000, y: -20000, inY: -1},
		{zone: "mentalis_below_lip", frame: "chin", x: 6996, y: 41115 - 10000, inY: -1, byDefault: true},
		// The upper lip's border passes vertex 267, 7115 out and 43426-33294 above the corners.
		{zone: "orbicularis_oris_above_vermilion", frame: "mouth", x: 7115, y: 10132 + 2000, inY: 1, byDefault: true},
		{zone: "orbicularis_oris_corner_10", frame: "mouth", x: 24562 - 10000, y: 11000, inX: -1, byDefault: true},
		{zone: "orbicularis_oris_corner_10", frame: "mouth", x: 26000 - 10000, y: 11000, inX: -1, scale: measured("mouth_width", 52000)},
		{zone: "orbicularis_oris_corner_15", frame: "mouth", x: 24562 - 15000, y: 11000, inX: -1, byDefault: true},
		{zone: "orbicularis_oris_corner_15", frame: "mouth", x: 26000 - 15000, y: -11000, inX: -1, scale: measured("mouth_width", 52000)},
		{zone: "orbicularis_oris_midline", frame: "mouth", x: 5000, y: 11000, inX: 1},
		{zone: "masseter_anterior_border", frame: "cheek", x: -40000 + 10000, y: 9000, inX: 1, scale: measured("masseter_width", 40000)},
		// In front of the mouth corner the line goes on level, 62236-43426 up; behind the angle of the mandible its border does, at 0.
		{zone: "masseter_below_line", frame: "cheek", x: -70000, y: 18810, inY: -1, byDefault: true},
		{zone: "masseter_above_border", frame: "cheek", x: 2000, y: 0, inY: 1, byDefault: true},
	}
}

func TestEveryZoneOnBothSidesOfItsEdge(t *testing.T) {
	tried := map[string]bool{}
	for _, e := range edges() {
		z, ok := anatomy.ZoneByCode(e.zone)
		if !ok {
			t.Fatalf("no zone %s", e.zone)
		}
		tried[e.zone+strconv.FormatBool(e.otherBound)] = true
		for step, want := range map[anatomy.Micrometre]int{-1: -1, 0: 0, 1: 1} {
			p := anatomy.Place{Frame: e.frame, Side: anatomy.SideLeft, X: e.x + step*e.inX, Y: e.y + step*e.inY, Scale: e.scale}
			bound := z.Least.Distance
			if e.otherBound {
				bound = z.Most.Distance
			}
			for _, p := range []anatomy.Place{p, anatomy.Mirror(p)} {
				where := locate(t, p, z)
				if len(where.Readings) != 1 {
					t.Fatalf("%s: %v", e.zone, where.Unmeasured)
				}
				r := where.Readings[0]
				if r.Margin.Sign != want || r.Margin.Distance != step || r.Inside() != (want >= 0) || r.Bound != bound || r.ByDefault != e.byDefault || where.Crossed {
					t.Errorf("%s at %v, %v: margin %v, sign %d, bound %v, by default %v", e.zone, p.X, p.Y, r.Margin.Distance, r.Margin.Sign, r.Bound, r.ByDefault)
				}
			}
		}
	}
	for _, z := range anatomy.Zones() {
		if z.Least.Set && !tried[z.Code+"false"] || z.Most.Set && !tried[z.Code+"true"] {
			t.Errorf("%s: an edge was not tried", z.Code)
		}
	}
}

func TestZonesAreWellFormed(t *testing.T) {
	seen := map[string]bool{}
	for _, z := range anatomy.Zones() {
		if seen[z.Code] {
			t.Errorf("%s is there twice", z.Code)
		}
		seen[z.Code] = true
		f, ok := anatomy.FrameByCode(z.Frame)
		if _, has := f.Landmark(z.Landmark); !ok || !has {
			t.Errorf("%s: no landmark %s in frame %s", z.Code, z.Landmark, z.Frame)
		}
		if !anatomy.KnownTarget(z.Target) || !z.Least.Set && !z.Most.Set {
			t.Errorf("%s: target %s, no bound", z.Code, z.Target)
		}
		if z.Level < z.Provenance.Obtained.Strongest() || z.Offered() != z.Level {
			t.Errorf("%s: a figure that is %s makes a %s", z.Code, z.Provenance.Obtained.Text(), z.Level)
		}
		if z.Level == anatomy.Hold {
			t.Errorf("%s: no label was read from end to end, so none holds", z.Code)
		}
		if len(z.Provenance.Sources) == 0 && !slices.Contains([]anatomy.Obtained{anatomy.Memory, anatomy.CommonPractice}, z.Provenance.Obtained) {
			t.Errorf("%s: %s without a source", z.Code, z.Provenance.Obtained)
		}
		for _, other := range z.Disagrees {
			o, ok := anatomy.ZoneByCode(other)
			if !ok || !slices.Contains(o.Disagrees, z.Code) || o.Target != z.Target {
				t.Errorf("%s disagrees with %s, which does not know", z.Code, other)
			}
		}
	}
}

// What is weaker than its level claims is offered at what its provenance allows.
func TestMemoryNeverBlocks(t *testing.T) {
	for obtained, want := range map[anatomy.Obtained]anatomy.Level{anatomy.Memory: anatomy.Note, anatomy.Trade: anatomy.Note, "": anatomy.Note,
		anatomy.CommonPractice: anatomy.Caution, anatomy.Read: anatomy.Hold, anatomy.Lead: anatomy.Hold} {
		if got := (anatomy.Zone{Level: anatomy.Hold, Provenance: anatomy.Provenance{Obtained: obtained}}).Offered(); got != want {
			t.Errorf("%q: offered as a %v, want a %v", obtained, got, want)
		}
	}
}

// The stricter of two published figures for lip lines is the caution, the other its note (sources: S109, and common practice, no source).
func TestLipLinesKeepBothFigures(t *testing.T) {
	at := anatomy.Place{Frame: anatomy.FrameMouth, Side: anatomy.SideRight, X: -12_000, Y: 11_000,
		Scale: anatomy.Scale{Measure: "mouth_width", Measured: 50_000}}
	where := locate(t, at, anatomy.ZonesFor("orbicularis_oris", anatomy.Zones())...)
	got := map[string]string{}
	for _, r := range where.Readings {
		got[r.Zone.Code] = r.Zone.Level.String() + " " + r.Margin.Distance.Display()
	}
	for code, want := range map[string]string{"orbicularis_oris_corner_10": "note 3 mm", "orbicularis_oris_corner_15": "caution -2 mm",
		"orbicularis_oris_midline": "caution 7 mm"} {
		if got[code] != want {
			t.Errorf("%s: %q, want %q", code, got[code], want)
		}
	}
}

// What cannot be measured is said, each zone once.
func TestABlankNeverPermits(t *testing.T) {
	for _, c := range []struct {
		zone   string
		place  anatomy.Place
		reason anatomy.Reason
	}{
		{"frontalis_convergence_men", anatomy.Place{Frame: anatomy.FrameForehead, Y: 60_000}, anatomy.NotMeasured},
		{"masseter_anterior_border", anatomy.Place{Frame: anatomy.FrameCheek, Side: anatomy.SideLeft}, anatomy.NotMeasured},
		{"masseter_anterior_border", anatomy.Place{Frame: anatomy.FrameCheek, Side: anatomy.SideLeft,
			Scale: anatomy.Scale{Measure: "corner_height", Measured: 20_000}},
			anatomy.NotMeasured},
		{"orbicularis_oris_above_vermilion", anatomy.Place{Frame: anatomy.FrameMouth, Y: -15_000}, anatomy.OtherLip},
		{"mentalis_off_midline", anatomy.Place{Frame: anatomy.FrameCheek, Side: anatomy.SideLeft}, anatomy.OtherFrame},
		{"lateral_canthus_eu", anatomy.Place{Frame: anatomy.FrameForehead}, anatomy.NoDirection},
	} {
		z, _ := anatomy.ZoneByCode(c.zone)
		where := locate(t, c.place, z)
		if len(where.Readings) != 0 || len(where.Unmeasured) != 1 || where.Unmeasured[0].Reason != c.reason || where.Unmeasured[0].Zone.Code != c.zone {
			t.Errorf("%s: %v, want %q", c.zone, where.Unmeasured, c.reason)
		}
	}
	for _, z := range []anatomy.Zone{{}, {Least: anatomy.At(300_001)}, {Least: anatomy.At(0), Most: anatomy.At(-1 << 63)}} {
		z.Landmark, z.Direction = "midline", anatomy.From
		if where := locate(t, anatomy.Place{Frame: anatomy.FrameMouth}, z); len(where.Unmeasured) != 1 || where.Unmeasured[0].Reason != anatomy.NoBound {
			t.Errorf("bounds %v and %v: %v", z.Least, z.Most, where)
		}
	}
}

// The upper lip reaches down to the height of the corners, that height included.
func TestTheUpperLipEndsAtTheCorners(t *testing.T) {
	z, _ := anatomy.ZoneByCode("orbicularis_oris_above_vermilion")
	for y, want := range map[anatomy.Micrometre]int{0: 1, -1: 0} {
		if where := locate(t, anatomy.Place{Frame: anatomy.FrameMouth, X: 30_000, Y: y}, z); len(where.Readings) != want {
			t.Errorf("at %v: %d readings", y, len(where.Readings))
		}
	}
}

func TestCrossedSides(t *testing.T) {
	for _, c := range []struct {
		side    anatomy.Side
		x       anatomy.Micrometre
		lies    anatomy.Side
		crossed bool
	}{
		{anatomy.SideRight, -1, anatomy.SideRight, false}, {anatomy.SideRight, 1, anatomy.SideLeft, true}, {anatomy.SideLeft, 0, anatomy.SideMidline, true},
		{anatomy.SideMidline, 0, anatomy.SideMidline, false}, {anatomy.SideMidline, 1, anatomy.SideLeft, true}, {anatomy.SideNone, 1,
			anatomy.SideLeft, false},
	} {
		where := locate(t, anatomy.Place{Frame: anatomy.FrameMouth, Side: c.side, X: c.x})
		if where.Side != c.lies || where.Crossed != c.crossed {
			t.Errorf("%v at %v lies %v, crossed %v", c.side, c.x, where.Side, where.Crossed)
		}
	}
}

func rows(t *testing.T, path string) []map[string]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var found []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		found = append(found, row)
	}
	return found
}

// The built-in formulary carries the same zones under the same codes, so that a lead's edition changes figures and never geometry.
func TestTheFormularyCarriesTheseZones(t *testing.T) {
	for _, row := range rows(t, "../formulary/edition/zones.csv") {
		z, ok := anatomy.ZoneByCode(row["code"])
		if !ok {
			t.Errorf("the formulary's zone %s is not here", row["code"])
			continue
		}
		millimetres := func(b anatomy.Bound) string {
			if !b.Set {
				return ""
			}
			return b.Distance.Decimal()
		}
		got := []string{z.Target, string(z.Frame), z.Landmark, string(z.Direction), millimetres(z.Least), millimetres(z.Most),
			"LEVEL_" + strings.ToUpper(z.Level.String()), z.Market, strings.ToUpper(string(z.Provenance.Obtained)), strings.Join(z.Provenance.Sources, ";")}
		want := []string{row["target"], row["frame"], row["landmark"], row["direction"], row["least_mm"], row["most_mm"], row["level"], row["market"],
			row["provenance.obtained"], row["provenance.sources"]}
		if !slices.Equal(got, want) {
			t.Errorf("%s: here %v, in the formulary %v", z.Code, got, want)
		}
	}
}

// Source: testdata/anatomy/safety_zones.csv, each row with its own source; its figures in millimetres are those of the zones.
func TestZonesHaveThePublishedFigures(t *testing.T) {
	table := rows(t, "../../testdata/anatomy/safety_zones.csv")
	for _, c := range []struct {
		zone, area, rule, value string
		millimetresPerUnit      anatomy.Micrometre
		memory                  bool
	}{
		{"glabella_above_brow", "glabella", "keep injections above the central eyebrow", "1", 10, false},
		{"corrugator_above_ridge", "corrugator, lateral site", "above bony supraorbital ridge", "1", 10, true},
		{"frontalis_above_rim", "frontalis", "above orbital rim", "2", 10, false},
		{"depressor_anguli_oris_lateral", "DAO", "lateral to commissure", "1", 10, true},
		{"depressor_anguli_oris_below_corner", "DAO", "first of three points below the commissure", "2", 1, false},
		{"mentalis_off_midline", "mentalis", "muscle lies lateral to the mid-sagittal line", "5-10", 1, false},
		{"mentalis_below_line", "mentalis", "muscle lies below a horizontal line", "20-30", 1, false},
		{"mentalis_below_lip", "mentalis", "below lower lip margin", "1", 10, true},
		{"orbicularis_oris_above_vermilion", "orbicularis oris", "needle entry above vermilion", "2", 1, false},
		{"orbicularis_oris_corner_10", "orbicularis oris", "from oral commissure", "10", 1, false},
		{"orbicularis_oris_corner_15", "orbicularis oris", "from oral commissure", "15", 1, false},
		{"orbicularis_oris_midline", "orbicularis oris", "from midline", "5", 1, false},
		{"masseter_anterior_border", "masseter", "inside anterior border", "1", 10, true},
	} {
		z, _ := anatomy.ZoneByCode(c.zone)
		at := slices.IndexFunc(table, func(r map[string]string) bool {
			return r["area"] == c.area && r["rule"] == c.rule && r["value"] == c.value
		})
		if at < 0 {
			t.Errorf("%s: no row %q %q %q", c.zone, c.area, c.rule, c.value)
			continue
		}
		bounds := strings.Split(c.value, "-")
		for i, bound := range []anatomy.Bound{z.Least, z.Most}[:len(bounds)] {
			figure, err := strconv.ParseInt(bounds[i], 10, 64)
			if err != nil || bound != anatomy.At(anatomy.Micrometre(figure)*c.millimetresPerUnit*anatomy.Millimetre) {
				t.Errorf("%s: bound %v, published %s", c.zone, bound.Distance, c.value)
			}
		}
		if fromMemory := table[at]["provenance"] == "from memory"; fromMemory != c.memory || c.memory && z.Provenance.Obtained != anatomy.Memory {
			t.Errorf("%s is %s, its row %q", c.zone, z.Provenance.Obtained, table[at]["provenance"])
		}
	}
}
