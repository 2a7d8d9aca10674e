package formulary

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/anatomy"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// The muscles, areas, regions, frames and landmarks that the edition names are the anatomy's, in every row.
func TestCodesAreTheAnatomys(t *testing.T) {
	looked := 0
	e := builtin(t)
	eachEntry(e, func(name string, value protoreflect.Message, _ *formularyv1.Provenance) {
		if field := value.Descriptor().Fields().ByName("target"); field != nil && value.Has(field) {
			looked++
			if target := value.Get(field).String(); !anatomy.KnownTarget(target) {
				t.Errorf("%s: the anatomy does not know %q", name, target)
			}
		}
	})
	for _, z := range e.Zones("") {
		frame, ok := anatomy.FrameByCode(anatomy.FrameCode(z.GetFrame()))
		if _, has := frame.Landmark(z.GetLandmark()); !ok || !has {
			t.Errorf("%s: no landmark %s in frame %s", z.GetCode(), z.GetLandmark(), z.GetFrame())
		}
	}
	if rows := len(e.message.GetDoseRanges()) + len(e.message.GetZones()) + len(e.message.GetDepthRules()); looked < rows {
		t.Errorf("looked at %d of %d rows", looked, rows)
	}
}

// Every zone of the anatomy is in the edition; that figures agree is tested there.
func TestEveryZoneOfTheAnatomyIsHere(t *testing.T) {
	e := builtin(t)
	for _, z := range anatomy.Zones() {
		if !slices.ContainsFunc(e.Zones(""), func(v *formularyv1.Zone) bool { return v.GetCode() == z.Code }) {
			t.Errorf("no zone %s", z.Code)
		}
	}
	for _, n := range anatomy.Neighbours() {
		for _, source := range n.Provenance.Sources {
			if _, ok := e.Source(source); !ok {
				t.Errorf("no source %s, which the anatomy cites", source)
			}
		}
	}
}

// The built-in edition itself, given as a clinic's, has no problem but its name.
func TestTheBuiltinEditionKeepsItsOwnRules(t *testing.T) {
	empty, err := seal(&formularyv1.FormularyEdition{Version: proto.String("empty")})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range Check(empty, builtin(t).Message()) {
		if p.Blocks && p.List != "version" {
			t.Error(p)
		}
	}
}

func lead(remark string) *formularyv1.Provenance {
	return &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: remark}
}

func memory() *formularyv1.Provenance {
	return &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_MEMORY}
}

func cites(o formularyv1.Obtained, sources ...string) *formularyv1.Provenance {
	return &formularyv1.Provenance{Obtained: o, Sources: sources}
}

func i32(n int32) *int32 { return &n }

func i64(n int64) *int64 { return &n }

// sound is a clinic's edition without any problem.
func sound() *formularyv1.FormularyEdition {
	return &formularyv1.FormularyEdition{
		Label: proto.String("Harbour"), Version: proto.String("harbour-1"),
		DoseRanges: []*formularyv1.DoseRangeEntry{{Id: "a", Value: &formularyv1.DoseRange{Code: "own", Product: "incobotulinumtoxinA", Target: "mentalis",
			Basis: formularyv1.DoseBasis_DOSE_BASIS_SIDE, LowestMilliunits: i32(2000), HighestMilliunits: i32(4000), Provenance: lead("our own")}}},
		Limits: []*formularyv1.LimitEntry{{Id: "b", Value: &formularyv1.Limit{Code: "volume", Basis: formularyv1.DoseBasis_DOSE_BASIS_INJECTION,
			VolumeNanoliters: i64(100_000), Level: formularyv1.Level_LEVEL_HOLD, Provenance: lead("our own")}}},
		Zones: []*formularyv1.ZoneEntry{{Id: "c", Value: &formularyv1.Zone{Code: "chin_low", Target: "mentalis", Frame: "chin", Landmark: "lower_vermilion",
			Direction: "below", LeastMicrometers: i32(12_000), Level: formularyv1.Level_LEVEL_CAUTION, Provenance: lead("our own")}}},
		Sources: []*formularyv1.SourceEntry{{Id: "d", Value: &formularyv1.Source{Code: "H1", Title: "Our audit",
			Obtained: formularyv1.Obtained_OBTAINED_READ_COPY}}},
		TouchUpRules: []*formularyv1.TouchUpRuleEntry{{Id: "e", Value: &formularyv1.TouchUpRule{Code: "own", Earliest: &formularyv1.Period{Days: 14},
			Latest: &formularyv1.Period{Days: 28}, Level: formularyv1.Level_LEVEL_CAUTION, Provenance: lead("our own")}}},
		RatingScales: []*formularyv1.RatingScaleEntry{{Id: "f", Value: &formularyv1.RatingScale{Code: "own", Label: "Own", Version: "1",
			Regions: []string{"whole_face"}, Highest: 2, HigherIs: formularyv1.ScaleDirection_SCALE_DIRECTION_WORSE,
			Grades: []*formularyv1.ScaleGrade{{Grade: 2, Text: "much"}}, Provenance: lead("our own")}}},
		Dilutions: []*formularyv1.DilutionEntry{{Id: "g", Value: &formularyv1.Dilution{Code: "own", Product: "onabotulinumtoxinA", ContentMilliunits: 100_000,
			DiluentNanoliters: 2_000_000, Diluent: "sodium_chloride_0_9", Standing: formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED, Use: "aesthetic",
			Provenance: lead("our own")}}},
	}
}

// Each problem is named where it is, and one that blocks keeps the edition from being published.
func TestCheckNamesEachProblem(t *testing.T) {
	base := builtin(t)
	if problems := Check(base, sound()); len(problems) != 0 {
		t.Fatalf("a sound edition has problems: %v", problems)
	}
	dose := func(m *formularyv1.FormularyEdition) *formularyv1.DoseRange { return m.GetDoseRanges()[0].GetValue() }
	zone := func(m *formularyv1.FormularyEdition) *formularyv1.Zone { return m.GetZones()[0].GetValue() }
	limit := func(m *formularyv1.FormularyEdition) *formularyv1.Limit { return m.GetLimits()[0].GetValue() }
	for _, c := range []struct {
		name, list, key, field string
		blocks                 bool
		change                 func(m *formularyv1.FormularyEdition)
	}{
		{"no label", "label", "", "", true, func(m *formularyv1.FormularyEdition) { m.Label = nil }},
		{"no version", "version", "", "", true, func(m *formularyv1.FormularyEdition) { m.Version = nil }},
		{"a shipped version", "version", "", "", true, func(m *formularyv1.FormularyEdition) { m.Version = proto.String("builtin-9") }},
		{"another base", "base", "", "", true, func(m *formularyv1.FormularyEdition) {
			m.Base = &formularyv1.EditionReference{Version: "harbour-0"}
		}},
		{"another hash of the base", "base", "", "", true, func(m *formularyv1.FormularyEdition) {
			m.Base = &formularyv1.EditionReference{Version: BuiltinVersion, Hash: make([]byte, 32)}
		}},
		{"twice", "dose_ranges", "own", "", true, func(m *formularyv1.FormularyEdition) {
			m.DoseRanges = append(m.DoseRanges, &formularyv1.DoseRangeEntry{Id: "z", Value: proto.CloneOf(dose(m))})
		}},
		{"an id twice", "dose_ranges", "other", "id", true, func(m *formularyv1.FormularyEdition) {
			d := proto.CloneOf(dose(m))
			d.Code = "other"
			m.DoseRanges = append(m.DoseRanges, &formularyv1.DoseRangeEntry{Id: "a", Value: d})
		}},
		{"nothing", "zones", "[1]", "", true, func(m *formularyv1.FormularyEdition) { m.Zones = append(m.Zones, &formularyv1.ZoneEntry{Id: "z"}) }},
		{"no code", "zones", "[0]", "", true, func(m *formularyv1.FormularyEdition) { zone(m).Code = "" }},
		{"removed and there", "zones", "chin_low", "", true, func(m *formularyv1.FormularyEdition) { m.Zones[0].Removed = &recordv1.Void{} }},
		{"removes nothing", "zones", "[1]", "removed", true, func(m *formularyv1.FormularyEdition) {
			m.Zones = append(m.Zones, &formularyv1.ZoneEntry{Id: "z", Removed: &recordv1.Void{}})
		}},
		{"no such product", "dose_ranges", "own", "product", true, func(m *formularyv1.FormularyEdition) { dose(m).Product = "otherbotulinumtoxinA" }},
		{"the base's rows lose their product", "presentations", "prabotulinumtoxina_us_100", "product", true, func(m *formularyv1.FormularyEdition) {
			m.Products = append(m.Products, &formularyv1.ProductEntry{Id: builtinID("products", "prabotulinumtoxinA"), Removed: &recordv1.Void{}})
		}},
		{"the base's rows lose their source", "zones", "frontalis_above_rim", "provenance.sources", true, func(m *formularyv1.FormularyEdition) {
			m.Sources = append(m.Sources, &formularyv1.SourceEntry{Id: builtinID("sources", "S16"), Removed: &recordv1.Void{}})
		}},
		{"no such muscle", "dose_ranges", "own", "target", true, func(m *formularyv1.FormularyEdition) { dose(m).Target = "musculus" }},
		{"no such region", "after_cares", "own", "region", true, func(m *formularyv1.FormularyEdition) {
			m.AfterCares = []*formularyv1.AfterCareEntry{{Value: &formularyv1.AfterCare{Code: "own", Region: proto.String("lips"), Provenance: lead("x")}}}
		}},
		{"no such frame", "zones", "chin_low", "frame", true, func(m *formularyv1.FormularyEdition) { zone(m).Frame = "ear" }},
		{"no such landmark", "zones", "chin_low", "landmark", true, func(m *formularyv1.FormularyEdition) { zone(m).Landmark = "mole" }},
		{"no such direction", "zones", "chin_low", "direction", true, func(m *formularyv1.FormularyEdition) { zone(m).Direction = "north" }},
		{"not that way", "zones", "chin_low", "direction", true, func(m *formularyv1.FormularyEdition) { zone(m).Landmark = "midline" }},
		{"no bound", "zones", "chin_low", "", true, func(m *formularyv1.FormularyEdition) { zone(m).LeastMicrometers = nil }},
		{"least above most", "zones", "chin_low", "least_micrometers", true, func(m *formularyv1.FormularyEdition) { zone(m).MostMicrometers = i32(11_999) }},
		{"a habit that holds", "zones", "chin_low", "level", false, func(m *formularyv1.FormularyEdition) {
			zone(m).Level, zone(m).Provenance = formularyv1.Level_LEVEL_HOLD, cites(formularyv1.Obtained_OBTAINED_COMMON_PRACTICE)
		}},
		{"lowest above highest", "dose_ranges", "own", "lowest_milliunits", true, func(m *formularyv1.FormularyEdition) { dose(m).LowestMilliunits = i32(4001) }},
		{"no figure", "dose_ranges", "own", "", false, func(m *formularyv1.FormularyEdition) { dose(m).LowestMilliunits, dose(m).HighestMilliunits = nil, nil }},
		{"no provenance", "dose_ranges", "own", "provenance", true, func(m *formularyv1.FormularyEdition) { dose(m).Provenance = nil }},
		{"read nowhere", "dose_ranges", "own", "provenance.sources", true, func(m *formularyv1.FormularyEdition) {
			dose(m).Provenance = cites(formularyv1.Obtained_OBTAINED_READ)
		}},
		{"no such source", "dose_ranges", "own", "provenance.sources", true, func(m *formularyv1.FormularyEdition) {
			dose(m).Provenance = cites(formularyv1.Obtained_OBTAINED_READ_COPY, "H2")
		}},
		{"better than its source", "dose_ranges", "own", "provenance.obtained", true, func(m *formularyv1.FormularyEdition) {
			dose(m).Provenance = cites(formularyv1.Obtained_OBTAINED_READ, "H1")
		}},
		{"memory with a source", "dose_ranges", "own", "provenance.sources", true, func(m *formularyv1.FormularyEdition) {
			dose(m).Provenance = cites(formularyv1.Obtained_OBTAINED_MEMORY, "H1")
		}},
		{"no reason of the lead's", "dose_ranges", "own", "provenance.remark", false, func(m *formularyv1.FormularyEdition) { dose(m).Provenance = lead("") }},
		{"a hold on memory", "limits", "volume", "level", true, func(m *formularyv1.FormularyEdition) { limit(m).Provenance = memory() }},
		{"a caution on a trade page", "zones", "chin_low", "level", true, func(m *formularyv1.FormularyEdition) {
			zone(m).Provenance = cites(formularyv1.Obtained_OBTAINED_TRADE, "H1")
		}},
		{"a limit of nothing", "limits", "volume", "", true, func(m *formularyv1.FormularyEdition) { limit(m).VolumeNanoliters = nil }},
		{"a limit of units of no product", "limits", "volume", "product", true, func(m *formularyv1.FormularyEdition) {
			limit(m).VolumeNanoliters, limit(m).DoseMilliunits = nil, i32(1)
		}},
		{"a window without one", "limits", "volume", "window", true, func(m *formularyv1.FormularyEdition) {
			limit(m).Basis = formularyv1.DoseBasis_DOSE_BASIS_WINDOW
		}},
		{"days and months", "touch_up_rules", "own", "latest", true, func(m *formularyv1.FormularyEdition) { m.TouchUpRules[0].Value.Latest.Months = 1 }},
		{"neither days nor months", "touch_up_rules", "own", "latest", true, func(m *formularyv1.FormularyEdition) {
			m.TouchUpRules[0].Value.Latest = &formularyv1.Period{}
		}},
		{"closes before it opens", "touch_up_rules", "own", "earliest", true, func(m *formularyv1.FormularyEdition) { m.TouchUpRules[0].Value.Earliest.Days = 29 }},
		{"an age limit of nothing", "age_limits", "own", "", true, func(m *formularyv1.FormularyEdition) {
			m.AgeLimits = []*formularyv1.AgeLimitEntry{{Value: &formularyv1.AgeLimit{Code: "own", Level: formularyv1.Level_LEVEL_NOTE, Provenance: lead("x")}}}
		}},
		{"a tolerance of nothing", "tolerances", "own", "", true, func(m *formularyv1.FormularyEdition) {
			m.Tolerances = []*formularyv1.ToleranceEntry{{Value: &formularyv1.Tolerance{Code: "own", Level: formularyv1.Level_LEVEL_NOTE, Provenance: lead("x")}}}
		}},
		{"a grade beyond the scale", "rating_scales", "own", "grades", true, func(m *formularyv1.FormularyEdition) { m.RatingScales[0].Value.Highest = 1 }},
		{"a diluent of none", "dilutions", "own", "diluent", true, func(m *formularyv1.FormularyEdition) { m.Dilutions[0].Value.Diluent = "none" }},
	} {
		m := sound()
		c.change(m)
		problems := Check(base, m)
		if !slices.ContainsFunc(problems, func(p Problem) bool {
			return p.List == c.list && p.Key == c.key && p.Field == c.field && p.Blocks == c.blocks
		}) {
			t.Errorf("%s: want it at %s %s %s, read %v", c.name, c.list, c.key, c.field, problems)
		}
		if Blocking(problems) != c.blocks {
			t.Errorf("%s: blocks %v: %v", c.name, !c.blocks, problems)
		}
		if _, err := Derive(base, m); err != nil && !c.blocks {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// All problems are named, not the first alone.
func TestCheckNamesAllProblems(t *testing.T) {
	m := sound()
	m.Label = nil
	m.DoseRanges[0].Value.Target, m.DoseRanges[0].Value.Product = "musculus", "x"
	m.Zones[0].Value.Frame = "ear"
	if problems := Check(builtin(t), m); len(problems) != 4 {
		t.Errorf("read %v, want four", problems)
	}
}

// Two zones that hold or caution and share no place contradict each other; notes may disagree, and a market of its own does not meet another.
func TestZonesThatContradict(t *testing.T) {
	base := builtin(t)
	for _, c := range []struct {
		name            string
		least, most     *int32
		level           formularyv1.Level
		market          string
		blocks, remarks bool
	}{
		{"none in both", nil, i32(14_999), formularyv1.Level_LEVEL_CAUTION, "", true, false},
		{"the edge alone", nil, i32(15_000), formularyv1.Level_LEVEL_CAUTION, "", false, true},
		{"a note", nil, i32(14_999), formularyv1.Level_LEVEL_NOTE, "", false, false},
		{"stricter", i32(16_000), nil, formularyv1.Level_LEVEL_HOLD, "EU", false, true},
	} {
		m := sound()
		// The built-in edition has 15 mm medial of the mouth corner as a caution (S109).
		m.Zones[0].Value = &formularyv1.Zone{Code: "own", Target: "orbicularis_oris", Frame: "mouth", Landmark: "mouth_corner", Direction: "medial",
			LeastMicrometers: c.least, MostMicrometers: c.most, Level: c.level, Market: c.market, Provenance: lead("x")}
		problems := Check(base, m)
		if Blocking(problems) != c.blocks || (len(problems) > 0) != (c.blocks || c.remarks) {
			t.Errorf("%s: %v", c.name, problems)
		}
	}
	for _, c := range []struct {
		a, b string
		want bool
	}{{"", "US", true}, {"EU/UK", "UK", true}, {"US", "EU/UK", false}, {"US/EU", "EU/UK", true}} {
		if marketsMeet(c.a, c.b) != c.want || marketsMeet(c.b, c.a) != c.want {
			t.Errorf("%q and %q: want %v", c.a, c.b, c.want)
		}
	}
}

// What the built-in edition leaves blank on purpose: facts that were not recovered.
func TestBlanks(t *testing.T) {
	base := builtin(t)
	has := func(e *Edition, list, about string) bool {
		return slices.ContainsFunc(e.Blanks(), func(b Blank) bool { return b.List == list && strings.Contains(b.About, about) })
	}
	for _, b := range []Blank{
		{"products", "incobotulinumtoxinA"}, {"use_by_rules", "relabotulinumtoxinA"}, {"use_by_rules", "daxibotulinumtoxinA"},
		{"dose_ranges", "doses of letibotulinumtoxinA in frontalis, orbicularis oculi, nasalis, "}, {"dose_ranges", "doses of incobotulinumtoxinA in nasalis, "},
		{"limits", "greatest volume"}, {"touch_up_rules", "touch-up"}, {"tolerances", "delivered dose"}, {"review_rules", "two_weeks"},
		{"dilutions", "unstated"}, {"syringes", "general_1_by_0_01"},
	} {
		if !has(base, b.List, b.About) {
			t.Errorf("%s: want %q among the blanks", b.List, b.About)
		}
	}
	for _, b := range []Blank{{"dose_ranges", "of onabotulinumtoxinA in frontalis"}, {"interval_rules", ""}, {"use_by_rules", "of onabotulinumtoxinA"}} {
		if has(base, b.List, b.About) {
			t.Errorf("%s: %q is no blank", b.List, b.About)
		}
	}
	own, err := Derive(base, sound())
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range []Blank{{"limits", ""}, {"touch_up_rules", ""}} {
		if has(own, b.List, b.About) {
			t.Errorf("%s: %q was set", b.List, b.About)
		}
	}
	if !has(base, "dose_ranges", "of incobotulinumtoxinA in nasalis, depressor septi nasi, levator labii superioris alaeque nasi, masseter, orbicularis oris, "+
		"depressor anguli oris, depressor labii inferioris, mentalis, platysma") ||
		!has(own, "dose_ranges", "depressor labii inferioris, platysma") {
		t.Errorf("doses: %v, and %v", base.Blanks(), own.Blanks())
	}
}
