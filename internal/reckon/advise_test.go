package reckon

import (
	"math/big"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

func adviceRequest(t testing.TB, text string) *dosev1.AdviseDilutionRequest {
	t.Helper()
	r := &dosev1.AdviseDilutionRequest{}
	if err := UnmarshalJSON([]byte(text), r); err != nil {
		t.Fatal(err)
	}
	return r
}

// exact is a decimal, or the fraction beside it.
func exact(t testing.TB, decimal string, fraction *string) *big.Rat {
	t.Helper()
	if fraction != nil {
		return rat(t, *fraction)
	}
	return rat(t, decimal)
}

// Every option is what PlanDraw answers for the same vial and syringe, and each stands on a label or on the lead, unless its diluent was named. Ranks go by the
// first criterion on which two options differ.
func TestOptionsAreWhatPlanDrawAnswers(t *testing.T) {
	e := clinic(t)
	checked := 0
	rapid.Check(t, func(rt *rapid.T) {
		r := &dosev1.AdviseDilutionRequest{Product: rapid.SampledFrom([]string{"onabotulinumtoxinA", "abobotulinumtoxinA", "daxibotulinumtoxinA"}).Draw(rt, "product"),
			ContentsUnits: []string{"50", "100", "300", "500"}, MostOptions: 100, MostMlPerInjection: proto.String("0.15")}
		for i := range rapid.IntRange(1, 6).Draw(rt, "doses") {
			d := &dosev1.PlannedDose{Ref: string(rune('a' + i)), DoseUnits: rapid.SampledFrom([]string{"0.5", "1", "2.5", "3.333", "6"}).Draw(rt, "dose")}
			d.Side = rapid.SampledFrom([]*chartv1.Side{nil, chartv1.Side_SIDE_RIGHT.Enum(), chartv1.Side_SIDE_LEFT.Enum()}).Draw(rt, "side")
			d.Muscle = rapid.SampledFrom([]*string{nil, proto.String("mentalis"), proto.String("depressor_anguli_oris")}).Draw(rt, "muscle")
			r.Doses = append(r.Doses, d)
		}
		if rapid.Bool().Draw(rt, "asked") {
			r.OtherDiluentsMl = []string{"1", "3.7"}
		}
		a, err := AdviseDilution(e, r)
		if err != nil {
			rt.Fatal(err)
		}
		if int(a.GetOptionCount()) != len(a.GetOptions()) {
			rt.Fatalf("%d of %d options", len(a.GetOptions()), a.GetOptionCount())
		}
		for i, o := range a.GetOptions() {
			checkOption(t, e, r, o)
			if i > 0 && compareOptions(t, a.GetOptions()[i-1], o) > 0 {
				rt.Fatalf("rank %d stands before a better one: %v, %v", i, a.GetOptions()[i-1], o)
			}
			checked++
		}
	})
	if checked < 200 {
		t.Errorf("only %d options looked at", checked)
	}
}

func checkOption(t *testing.T, e *formulary.Edition, r *dosev1.AdviseDilutionRequest, o *dosev1.DilutionOption) {
	t.Helper()
	switch o.GetStanding() {
	case formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED, formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED:
		if o.GetSource() == nil || !formulary.Clears(&formularyv1.Provenance{Obtained: o.GetSource().GetObtained()}) {
			t.Fatalf("%s mL stands on %v", o.GetDiluentMl(), o.GetSource())
		}
	default:
		if !slices.Contains(r.GetOtherDiluentsMl(), o.GetDiluentMl()) {
			t.Fatalf("%s mL was not asked for", o.GetDiluentMl())
		}
		if found := codes(o.GetFindings()); !slices.Contains(found, CodeDilutionNotLabelled) && !slices.Contains(found, CodeDilutionUnconfirmed) {
			t.Fatalf("%s mL is not marked: %v", o.GetDiluentMl(), found)
		}
	}
	code := o.GetSyringe().GetCode()
	s, _ := e.Syringe(code)
	p, err := PlanDraw(e, &dosev1.PlanDrawRequest{Product: r.GetProduct(), Doses: r.GetDoses(),
		Vial: &dosev1.VialContent{ContentUnits: o.GetContentUnits(), DiluentMl: proto.String(o.GetDiluentMl())},
		Syringe: &dosev1.SyringeType{CapacityMl: o.GetSyringe().GetCapacityMl(), GraduationMl: o.GetSyringe().GetGraduationMl(), Code: &code,
			InsulinScale: s.GetInsulinScale()}})
	if err != nil {
		t.Fatalf("%v: %v", o, err)
	}
	if len(p.GetSyringes()) != int(o.GetSyringeCount()) || !proto.Equal(p.GetConcentration(), o.GetConcentration()) {
		t.Fatalf("%v is drawn into %d syringes of %v", o, len(p.GetSyringes()), p.GetConcentration())
	}
	worst, at := new(big.Rat), ""
	for _, syringe := range p.GetSyringes() {
		for _, m := range syringe.GetMarks() {
			planned := rat(t, r.GetDoses()[m.GetRef()[0]-'a'].GetDoseUnits())
			off := new(big.Rat).Sub(exact(t, m.GetDeliveredUnits(), m.DeliveredUnitsFraction), planned)
			if off.Abs(off.Quo(off, planned)).Cmp(worst) > 0 {
				worst, at = off, m.GetRef()
			}
		}
	}
	worst.Mul(worst, big.NewRat(100, 1))
	if worst.Cmp(exact(t, o.GetWorstErrorPercent(), o.WorstErrorPercentFraction)) != 0 || worst.Sign() > 0 && at != o.GetWorstRef() {
		t.Fatalf("%v: the worst error is %s of %s", o, worst.RatString(), at)
	}
}

func compareOptions(t *testing.T, a, b *dosev1.DilutionOption) int {
	t.Helper()
	for _, c := range []int{
		exact(t, a.GetWorstErrorPercent(), a.WorstErrorPercentFraction).Cmp(exact(t, b.GetWorstErrorPercent(), b.WorstErrorPercentFraction)),
		exact(t, a.GetSideDifferenceUnits(), a.SideDifferenceUnitsFraction).Cmp(exact(t, b.GetSideDifferenceUnits(), b.SideDifferenceUnitsFraction)),
		exact(t, a.GetSlipUnits(), a.SlipUnitsFraction).Cmp(exact(t, b.GetSlipUnits(), b.SlipUnitsFraction)),
		int(a.GetSyringeCount() - b.GetSyringeCount()),
		exact(t, a.GetLeftUnits(), a.LeftUnitsFraction).Cmp(exact(t, b.GetLeftUnits(), b.LeftUnitsFraction)),
		rat(t, a.GetDiluentMl()).Cmp(rat(t, b.GetDiluentMl())),
		rat(t, a.GetSyringe().GetCapacityMl()).Cmp(rat(t, b.GetSyringe().GetCapacityMl())),
	} {
		if c != 0 {
			return c
		}
	}
	return 0
}

const oneLip = `{"product":"onabotulinumtoxinA","contents_units":["100"],"doses":[{"ref":"a","dose_units":"4"}]`

// The findings of advice, each with a request that trips it and one that just does not. 4 units of 100 in 2.5 mL are 0.1 mL.
func TestAdviceFindings(t *testing.T) {
	weak := edition(t, &formularyv1.FormularyEdition{Version: proto.String("weak"), Limits: []*formularyv1.LimitEntry{{Value: &formularyv1.Limit{
		Code: "a", Basis: formularyv1.DoseBasis_DOSE_BASIS_INJECTION, VolumeNanoliters: proto.Int64(99_999), Level: formularyv1.Level_LEVEL_HOLD,
		Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_MEMORY}}}}})
	all := func(a *dosev1.AdviseDilutionResponse) []*dosev1.Finding {
		found := slices.Clone(a.GetFindings())
		for _, o := range a.GetOptions() {
			found = append(found, o.GetFindings()...)
		}
		return found
	}
	for _, c := range []struct {
		code        string
		level       formularyv1.Level
		e           *formulary.Edition
		trips, does string
	}{
		{CodeNoMostVolume, formularyv1.Level_LEVEL_NOTE, builtin(t), oneLip + `}`, oneLip + `,"most_ml_per_injection":"1"}`},
		{CodeNoOption, formularyv1.Level_LEVEL_CAUTION, builtin(t), oneLip + `,"most_ml_per_injection":"0.099999"}`, oneLip + `,"most_ml_per_injection":"0.1"}`},
		{CodeNoOption, formularyv1.Level_LEVEL_CAUTION, builtin(t), oneLip + `,"formulary":{"market":"EU"}}`, oneLip + `,"formulary":{"market":"US"}}`},
		{CodeDeliversNothing, formularyv1.Level_LEVEL_HOLD, builtin(t), strings.Replace(oneLip, `"4"`, `"0.2"`, 1) + `}`,
			strings.Replace(oneLip, `"4"`, `"0.401"`, 1) + `}`}, // half of a graduation of 0.02 mL holds 0.4 units
		{CodeVolumeAboveMost, formularyv1.Level_LEVEL_NOTE, weak, oneLip + `}`, strings.Replace(oneLip, `"4"`, `"3.6"`, 1) + `}`},
	} {
		a, err := AdviseDilution(c.e, adviceRequest(t, c.trips))
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(all(a), func(f *dosev1.Finding) bool { return f.GetCode() == c.code })
		if i < 0 || all(a)[i].GetLevel() != c.level || all(a)[i].GetText() == "" || len(all(a)[i].GetAbout()) == 0 {
			t.Errorf("%s: not raised by %s: %v", c.code, c.trips, all(a))
		}
		if a, err = AdviseDilution(c.e, adviceRequest(t, c.does)); err != nil {
			t.Fatal(err)
		}
		if slices.Contains(codes(all(a)), c.code) {
			t.Errorf("%s: raised by %s", c.code, c.does)
		}
	}
}

// A use that nobody labelled is not stretched: the therapeutic dilutions, all from memory, are never advised unasked, and the aesthetic ones not for
// therapeutic use.
func TestAdviceKeepsToTheUse(t *testing.T) {
	a, err := AdviseDilution(builtin(t), adviceRequest(t, oneLip+`,"use":"therapeutic"}`))
	if err != nil {
		t.Fatal(err)
	}
	if len(a.GetOptions()) != 0 {
		t.Errorf("advised: %v", a.GetOptions())
	}
	reasons := map[string]string{}
	for _, r := range a.GetRejected() {
		reasons[r.GetDiluentMl()] = r.GetReason()
	}
	if !strings.Contains(reasons["2.5"], "labelled for aesthetic use, not for therapeutic") || !strings.Contains(reasons["4"], "from memory") {
		t.Errorf("%v", reasons)
	}
}

// edition lays entries over the built-in edition.
func edition(t testing.TB, derived *formularyv1.FormularyEdition) *formulary.Edition {
	t.Helper()
	e, err := formulary.Derive(builtin(t), derived)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
