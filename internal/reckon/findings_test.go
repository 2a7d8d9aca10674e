package reckon

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

func codes(findings []*dosev1.Finding) []string {
	var all []string
	for _, f := range findings {
		all = append(all, f.GetCode())
	}
	return all
}

// findingsOf runs a request, told apart by its fields.
func findingsOf(t *testing.T, e *formulary.Edition, request string) []*dosev1.Finding {
	t.Helper()
	if strings.Contains(request, `"doses"`) {
		r, err := PlanDraw(e, drawRequest(t, request))
		if err != nil {
			t.Fatal(err)
		}
		return r.GetFindings()
	}
	r, err := Prepare(e, prepareRequest(t, request))
	if err != nil {
		t.Fatal(err)
	}
	return r.GetFindings()
}

func prepareJSON(product, vial string) string {
	return fmt.Sprintf(`{"product":%q,"vial":{%s}}`, product, vial)
}

func drawJSON(rest string) string {
	return `{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2.5"},` + rest + `}`
}

func oneDose(units, more string) string {
	return drawJSON(`"syringe":{"capacity_ml":"1","graduation_ml":"0.01"},"doses":[{"ref":"a","dose_units":"` + units + `"}]` + more)
}

func twoDoses(first, second, most string) string {
	return drawJSON(`"syringe":{"capacity_ml":"1","graduation_ml":"0.01"},"doses":[{"ref":"a","dose_units":"` + first + `"},{"ref":"b","dose_units":"` + second +
		`"}],"most_ml_per_injection":"` + most + `"`)
}

func pairs(n int, capacity, units string) string {
	var doses []string
	for i := range n {
		doses = append(doses, fmt.Sprintf(`{"ref":"%d","dose_units":%q,"muscle":"masseter"}`, i, units))
	}
	return drawJSON(`"syringe":{"capacity_ml":"` + capacity + `","graduation_ml":"0.01"},"doses":[` + strings.Join(doses, ",") + `]`)
}

// resumed has right and left planned equal; the left got so much of the same 0.1 mL.
func resumed(leftDelivered string) string {
	return drawJSON(`"syringe":{"capacity_ml":"1","graduation_ml":"0.001"},"doses":[{"ref":"r","dose_units":"4","side":"SIDE_RIGHT"},` +
		`{"ref":"l","dose_units":"4","side":"SIDE_LEFT"}],"resume":{"plunger_ml":"0.2","given":[{"side":"SIDE_RIGHT","exact_ml":"0.1","delivered_ml":"0.1"},` +
		`{"side":"SIDE_LEFT","exact_ml":"0.1","delivered_ml":"` + leftDelivered + `"}]}`)
}

// tolerating is a request to draw with the lead's 3 % between sides.
func tolerating(request string) string {
	return strings.TrimSuffix(request, "}") + `,"tolerance":{"side_difference_percent":"3"}}`
}

// Every code has a request that trips it and one that just does not.
func TestFindings(t *testing.T) {
	const ona, abo, rela = "onabotulinumtoxinA", "abobotulinumtoxinA", "relabotulinumtoxinA"
	hold, caution, note := formularyv1.Level_LEVEL_HOLD, formularyv1.Level_LEVEL_CAUTION, formularyv1.Level_LEVEL_NOTE
	for _, c := range []struct {
		code        string
		level       formularyv1.Level
		clinic      bool
		trips, does string
	}{
		{CodeDilutionNotLabelled, note, false, prepareJSON(ona, `"content_units":"100","diluent_ml":"2.4"`), prepareJSON(ona, `"content_units":"100","diluent_ml":"2.5"`)},
		{CodeDilutionNotLabelled, note, true, prepareJSON(ona, `"content_units":"100","diluent_ml":"2.000002"`), prepareJSON(ona, `"content_units":"100","diluent_ml":"2.000001"`)},
		{CodeDilutionUnconfirmed, note, false, prepareJSON("incobotulinumtoxinA", `"content_units":"50","diluent_ml":"0.5"`), prepareJSON("incobotulinumtoxinA", `"content_units":"50","diluent_ml":"1.25"`)},
		{CodeLabelRounds, note, false, prepareJSON(abo, `"content_units":"300","diluent_ml":"2.5"`), prepareJSON(abo, `"content_units":"300","diluent_ml":"1.5"`)},
		{CodeDiluentDiffers, caution, true, prepareJSON(ona, `"content_units":"100","diluent_ml":"2.000001","diluent":"water"`), prepareJSON(ona, `"content_units":"100","diluent_ml":"2.000001","diluent":"sodium_chloride_0_9"`)},
		{CodeContentUnknown, caution, false, prepareJSON(ona, `"content_units":"99.999","diluent_ml":"2.5"`), prepareJSON(ona, `"content_units":"100","diluent_ml":"2.5"`)},
		{CodeLiquidDiffers, caution, false, prepareJSON(rela, `"content_units":"150","diluent_ml":"1.5"`), prepareJSON(rela, `"content_units":"150","liquid_ml":"1.5"`)},
		{CodeUseByUnknown, caution, false, prepareJSON(abo, `"content_units":"300","diluent_ml":"1.5"`), prepareJSON(ona, `"content_units":"100","diluent_ml":"2.5"`)},
		{CodeUseByUnknown, caution, true, prepareJSON(rela, `"content_units":"150","liquid_ml":"1.5"`), prepareJSON("daxibotulinumtoxinA", `"content_units":"100","diluent_ml":"1.2"`)},
		{CodeDeliversNothing, hold, false, oneDose("0.2", ""), oneDose("0.201", "")},    // half a graduation holds 0.2 units, and a half goes down
		{CodeInjectionError, caution, true, oneDose("1.264", ""), oneDose("1.263", "")}, // 1.2 units: 5.0633 % and 4.9881 % off
		{CodeSidesDiffer, caution, true, resumed("0.107"), resumed("0.106")},            // 0.007 and 0.006 of 0.2 mL
		{CodeSidesDiffer, caution, true, resumed("0.107"), strings.Replace(resumed("0.107"), `"l","dose_units":"4"`, `"l","dose_units":"5"`, 1)},
		{CodeDilutionNotLabelled, note, false, prepareJSON(rela, `"content_units":"150","liquid_ml":"1.4"`), prepareJSON(rela, `"content_units":"150","liquid_ml":"1.5"`)},
		{CodeInjectionError, caution, false, oneDose("1.264", `,"tolerance":{"injection_percent":"5"}`), oneDose("1.263", `,"tolerance":{"injection_percent":"5"}`)},
		{CodeSidesDiffer, caution, false, tolerating(resumed("0.107")), tolerating(resumed("0.106"))},
		{CodeLossUnknown, note, false, oneDose("4", `,"resume":{"plunger_ml":"0.3","loss":{}}`), oneDose("4", `,"resume":{"plunger_ml":"0.3","loss":{"lost_ml":"0.1"}}`)},
		{CodeNotPrimed, caution, false, oneDose("4", `,"priming_ml":"0.04","injection_needle_dead_space_ml":"0.040001"`),
			oneDose("4", `,"priming_ml":"0.035","injection_needle_dead_space_ml":"0.04"`)}, // priming goes up to the next graduation
		{CodeDilutionUnconfirmed, note, false, `{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2"},"use":"therapeutic"}`,
			`{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2"}}`},
		{CodeNoTolerance, note, false, oneDose("1.001", ""), oneDose("1.2", "")},
		{CodeMuscleSplit, note, false, pairs(3, "0.3", "5"), pairs(2, "0.3", "5")},
		{CodeVolumeAboveMost, caution, false, oneDose("4.001", `,"most_ml_per_injection":"0.1"`), oneDose("4", `,"most_ml_per_injection":"0.1"`)},
		// 0.0125 mL is given as 0.01, so the next 0.0975 mL are given as 0.1.
		{CodeVolumeAboveMost, caution, false, twoDoses("0.5", "3.9", "0.0975"), twoDoses("0.5", "3.9", "0.1")},
		{CodeVolumeAboveMost, caution, true, oneDose("4.001", ""), oneDose("4", "")},
	} {
		e := builtin(t)
		if c.clinic {
			e = clinic(t)
		}
		tripped := findingsOf(t, e, c.trips)
		i := slices.IndexFunc(tripped, func(f *dosev1.Finding) bool { return f.GetCode() == c.code })
		if i < 0 {
			t.Errorf("%s: not raised by %s: %v", c.code, c.trips, codes(tripped))
			continue
		}
		if f := tripped[i]; f.GetLevel() != c.level || f.GetText() == "" || len(f.GetAbout()) == 0 {
			t.Errorf("%s: %v", c.code, f)
		}
		if quiet := findingsOf(t, e, c.does); slices.Contains(codes(quiet), c.code) {
			t.Errorf("%s: raised by %s", c.code, c.does)
		}
	}
}

// A tolerance or a limit that is only remembered makes a note, however its entry is written.
func TestWeakFiguresMakeNotes(t *testing.T) {
	weak := &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_MEMORY}
	e, err := formulary.Derive(builtin(t), &formularyv1.FormularyEdition{
		Version: proto.String("weak"),
		Tolerances: []*formularyv1.ToleranceEntry{{Value: &formularyv1.Tolerance{Code: "a", InjectionPermille: proto.Int32(1),
			Level: formularyv1.Level_LEVEL_HOLD, Provenance: weak}}},
		Limits: []*formularyv1.LimitEntry{{Value: &formularyv1.Limit{Code: "b", Basis: formularyv1.DoseBasis_DOSE_BASIS_INJECTION,
			VolumeNanoliters: proto.Int64(1), Level: formularyv1.Level_LEVEL_HOLD, Provenance: weak}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	found := findingsOf(t, e, oneDose("1.25", ""))
	for _, code := range []string{CodeInjectionError, CodeVolumeAboveMost} {
		i := slices.Index(codes(found), code)
		if i < 0 || found[i].GetLevel() != formularyv1.Level_LEVEL_NOTE {
			t.Errorf("%s: %v", code, found)
		}
	}
}

// An insulin scale's marks are volume: no answer calls them units.
func TestInsulinMarksAreNeverUnits(t *testing.T) {
	r, err := PlanDraw(builtin(t), drawRequest(t, drawJSON(
		`"syringe":{"capacity_ml":"0.5","graduation_ml":"0.01","insulin_scale":true},"doses":[{"ref":"a","dose_units":"4"},{"ref":"b","dose_units":"5.2"}]`)))
	if err != nil {
		t.Fatal(err)
	}
	marks := r.GetSyringes()[0].GetMarks()
	if marks[0].GetScaleMark() != "mark 13 (0.13 mL)" || marks[1].GetScaleMark() != "mark 0 (0 mL)" {
		t.Errorf("marks %q and %q", marks[0].GetScaleMark(), marks[1].GetScaleMark())
	}
}
