package reckon

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math/big"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/fault"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const doseTables = "../../testdata/dose"

func rat(t testing.TB, s string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("not a number: %q", s)
	}
	return r
}

// exactly says whether a decimal with its fraction, if it has one, is x; a decimal with a fraction is x rounded to 4 decimals.
func exactly(t testing.TB, x *big.Rat, decimal string, fraction *string) bool {
	t.Helper()
	if fraction == nil {
		return rat(t, decimal).Cmp(x) == 0
	}
	off := new(big.Rat).Sub(rat(t, decimal), x)
	return rat(t, *fraction).Cmp(x) == 0 && off.Abs(off).Cmp(big.NewRat(1, 20000)) <= 0
}

// Every row of the table of dilutions, whose rows name their sources, goes through Prepare: the strength is exact in math/big, the printed statement
// stands beside it as printed with its source, and only rows that were read or computed are called labelled. Rows of another serotype and the one
// without a product are refused by the product. Of D022 the dose was read and the volume was not, so the edition holds it as from memory.
func TestEveryDilutionOfTheTable(t *testing.T) {
	e := builtin(t)
	lines, err := csv.NewReader(strings.NewReader(string(readFile(t, doseTables, "dilution.csv")))).ReadAll()
	if err != nil || len(lines) != 67 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	answered, refused, rounded := 0, 0, 0
	for _, line := range lines[1:] {
		row := make(map[string]string)
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		vial := &dosev1.VialContent{ContentUnits: row["vial_units"], DiluentMl: proto.String(row["diluent_mL"])}
		if strings.HasPrefix(row["context"], "ready-to-use liquid") {
			vial.DiluentMl, vial.LiquidMl = nil, vial.DiluentMl
		}
		r, err := Prepare(e, &dosev1.PrepareRequest{Product: row["product"], Vial: vial})
		if !strings.HasSuffix(row["product"], "A") {
			refused++
			if o := fault.Of(err); o == nil || o.Field != "product" {
				t.Errorf("%s: %v", row["id"], err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", row["id"], err)
			continue
		}
		answered++
		exact := new(big.Rat).Quo(rat(t, row["vial_units"]), rat(t, row["diluent_mL"]))
		c := r.GetConcentration()
		if !exactly(t, exact, c.GetUnitsPerMl(), c.UnitsPerMlFraction) ||
			!exactly(t, new(big.Rat).Quo(exact, big.NewRat(10, 1)), c.GetUnitsPerTenthMl(), c.UnitsPerTenthMlFraction) ||
			!exactly(t, new(big.Rat).Quo(exact, big.NewRat(100, 1)), r.GetUnitsPerGraduation(), r.UnitsPerGraduationFraction) {
			t.Errorf("%s: strength %v, %s in a graduation", row["id"], c, r.GetUnitsPerGraduation())
		}
		i := slices.IndexFunc(r.GetStatements(), func(s *dosev1.LabelledStrength) bool {
			return s.GetPrintedUnits() == row["labelled_units"] && s.GetPrintedMl() == row["labelled_per_mL_volume"] && s.GetMarket() == row["region"] &&
				(s.GetSource().GetObtained() == formularyv1.Obtained_OBTAINED_MEMORY) == (row["provenance"] == "from memory" || row["id"] == "D022") &&
				(row["source"] == "-" || row["id"] == "D022" || citesOneOf(s.GetSource(), row["source"]))
		})
		if i < 0 {
			t.Errorf("%s: no such statement among %v", row["id"], r.GetStatements())
			continue
		}
		s := r.GetStatements()[i]
		inLabel := new(big.Rat).Mul(exact, rat(t, row["labelled_per_mL_volume"]))
		if !exactly(t, inLabel, s.GetExactUnits(), s.ExactUnitsFraction) || (s.GetDifferencePercent() == "0") != (row["label_equals_exact"] == "yes") {
			t.Errorf("%s (%s): %v", row["id"], row["provenance"], s)
		}
		if s.GetDifferencePercent() != "0" {
			rounded++
			if s.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED && !slices.Contains(codes(r.GetFindings()), CodeLabelRounds) {
				t.Errorf("%s: the rounding of the label is not said", row["id"])
			}
		}
		if r.GetCaution() == "" || r.GetEdition().GetHash() != e.Hash() || r.GetEdition().GetVersion() != e.Version() {
			t.Errorf("%s: caution %q, edition %v", row["id"], r.GetCaution(), r.GetEdition())
		}
	}
	if answered != 62 || refused != 4 || rounded != 5 {
		t.Errorf("%d answered, %d refused, %d rounded", answered, refused, rounded)
	}
}

func citesOneOf(c *dosev1.Citation, codes string) bool {
	return slices.ContainsFunc(c.GetSources(), func(s *dosev1.CitedSource) bool {
		return slices.Contains(strings.Split(codes, ";"), s.GetCode()) && s.GetTitle() != "" && s.GetAddress() != ""
	})
}

// A label that nobody has seen permits nothing: neither its dilution nor its use-by.
func TestMemoryClearsNothing(t *testing.T) {
	e := builtin(t)
	for _, c := range []struct {
		product, content, diluent, market string
		labelled, useBy                   bool
	}{
		{"onabotulinumtoxinA", "100", "2.5", "", true, true},     // both read in a copy, S03
		{"onabotulinumtoxinA", "100", "2.5", "US", true, true},   //
		{"onabotulinumtoxinA", "100", "2.5", "EU", false, false}, // the figures are of the US
		{"onabotulinumtoxinA", "100", "4", "US", false, true},    // a trade page, and a therapeutic label from memory
		{"incobotulinumtoxinA", "100", "5", "US", false, true},   // from memory
		{"letibotulinumtoxinA", "50", "1.25", "US", true, true},  // computed from a strength that was read, S10
		{"abobotulinumtoxinA", "300", "1.5", "US", true, false},  // S12; use after mixing from a reseller's page, S39
		{"abobotulinumtoxinA", "500", "5", "US", false, false},   // a card that does not say for which use, S13
		{"daxibotulinumtoxinA", "100", "1.2", "US", true, false}, // S09, S28; 72 hours from memory
		{"daxibotulinumtoxinA", "50", "0.6", "US", false, false}, // from memory
		{"incobotulinumtoxinA", "50", "1.25", "UK", true, false}, // S16; no figure for use after mixing in the UK
		{"onabotulinumtoxinA", "100", "2.25", "US", false, true}, // nobody states it
	} {
		request := prepareRequest(t, `{"product":"`+c.product+`","vial":{"content_units":"`+c.content+`","diluent_ml":"`+c.diluent+
			`"},"mixed_at":"2026-03-01T09:30:00Z","formulary":{"market":"`+c.market+`"}}`)
		r, err := Prepare(e, request)
		if err != nil {
			t.Fatal(err)
		}
		if r.GetLabelled() != c.labelled || (r.GetUseBy() != nil) != c.useBy {
			t.Errorf("%+v: labelled %v, use by %v", c, r.GetLabelled(), r.GetUseBy())
		}
		if r.GetUseBy() != nil && r.GetUseBy().GetSeconds()-request.GetMixedAt().GetSeconds() != 24*3600 {
			t.Errorf("%+v: use by %v", c, r.GetUseBy().AsTime())
		}
		if slices.Contains(codes(r.GetFindings()), CodeUseByUnknown) == c.useBy {
			t.Errorf("%+v: %v", c, codes(r.GetFindings()))
		}
	}
}

// Of several rules that may be relied on, the shortest decides: here the lead's two hours beside the label's 24.
func TestShortestUseByDecides(t *testing.T) {
	r, err := Prepare(clinic(t), prepareRequest(t, `{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2.5"},"mixed_at":"2026-03-01T23:30:00Z"}`))
	if err != nil {
		t.Fatal(err)
	}
	if until := r.GetUseBy().AsTime().Format("2006-01-02T15:04:05Z07:00"); until != "2026-03-02T01:30:00Z" || len(r.GetUseByRules()) != 2 {
		t.Errorf("use by %s of %d rules", until, len(r.GetUseByRules()))
	}
}

// doseVector is a vector of internal/dose, whose figures its own tests reckon anew in math/big.
type doseVector struct {
	Request struct {
		Product string            `json:"product"`
		Vial    map[string]string `json:"vial"`
		Syringe map[string]string `json:"syringe"`
		Doses   []map[string]string
		Given   []map[string]string
		InHand  map[string]string `json:"in_hand"`
		TakenML string            `json:"taken_ml"`
	} `json:"request"`
	Answer struct {
		Concentration, Total map[string]string
		Supply               struct {
			Vials      int32  `json:"vials"`
			TakenML    string `json:"taken_ml"`
			LeftVialML string `json:"left_in_vials_ml"`
			LeftUnits  string `json:"left_units"`
		}
		Sides []struct {
			DeliveredML  string `json:"delivered_ml"`
			ErrorUnits   string `json:"error_units"`
			ErrorPercent string `json:"error_percent"`
			PlannedUnits string `json:"planned_units"`
		}
		Syringes []struct {
			DrawToML string `json:"draw_to_ml"`
			DrawnML  string `json:"drawn_ml"`
			LeftML   string `json:"left_ml"`
			InHand   bool   `json:"in_hand"`
			Marks    []map[string]string
		}
	} `json:"answer"`
}

func (v *doseVector) message(t *testing.T) *dosev1.PlanDrawRequest {
	t.Helper()
	q := &v.Request
	r := &dosev1.PlanDrawRequest{Product: q.Product, Vial: &dosev1.VialContent{ContentUnits: q.Vial["content_units"], DiluentMl: optionalText(q.Vial["diluent_ml"]),
		LiquidMl: optionalText(q.Vial["liquid_ml"])},
		Syringe: &dosev1.SyringeType{CapacityMl: q.Syringe["capacity_ml"], GraduationMl: q.Syringe["graduation_ml"],
			InsulinScale: q.Syringe["mark_volume_ml"] == "0.01", DeadSpaceMl: optionalText(q.Syringe["dead_space_ml"])},
		PrimingMl: optionalText(q.Syringe["priming_ml"])}
	for _, d := range q.Doses {
		r.Doses = append(r.Doses, &dosev1.PlannedDose{Ref: d["ref"], DoseUnits: d["dose_units"], Muscle: optionalText(d["muscle"]), Side: vectorSide(d["side"])})
	}
	if q.InHand != nil {
		r.Resume = &dosev1.DrawResumption{PlungerMl: q.InHand["reading_ml"], Given: v.given(t)}
	}
	return r
}

// given sums what was given to each side as the request of the service wants it: an exact volume and a delivered one.
func (v *doseVector) given(t *testing.T) []*dosev1.SideGiven {
	t.Helper()
	volume := v.Request.Vial["diluent_ml"] + v.Request.Vial["liquid_ml"]
	perUnit := new(big.Rat).Quo(rat(t, volume), rat(t, v.Request.Vial["content_units"]))
	exact, delivered := make(map[string]*big.Rat), make(map[string]*big.Rat)
	var order []string
	for _, g := range v.Request.Given {
		side := g["side"]
		if exact[side] == nil {
			exact[side], delivered[side], order = new(big.Rat), new(big.Rat), append(order, side)
		}
		exact[side].Add(exact[side], new(big.Rat).Mul(perUnit, rat(t, g["dose_units"])))
		delivered[side].Add(delivered[side], rat(t, g["delivered_ml"]))
	}
	var all []*dosev1.SideGiven
	for _, side := range order {
		ml := exact[side].RatString()
		if decimals, ends := exact[side].FloatPrec(); ends && decimals <= 6 {
			ml = exact[side].FloatString(decimals)
		}
		places, _ := delivered[side].FloatPrec()
		all = append(all, &dosev1.SideGiven{Side: vectorSide(side), ExactMl: ml, DeliveredMl: delivered[side].FloatString(places)})
	}
	return all
}

func vectorSide(name string) *chartv1.Side {
	if name == "" {
		return nil
	}
	return chartv1.Side(chartv1.Side_value[name]).Enum()
}

// The vectors of the arithmetic come out of the service's messages with the same marks, sides and supply.
func TestMarksAreThoseOfTheArithmetic(t *testing.T) {
	e := builtin(t)
	paths, err := filepath.Glob(filepath.Join(doseTables, "vectors", "*.json"))
	if err != nil || len(paths) < 10 {
		t.Fatalf("%d vectors, %v", len(paths), err)
	}
	compared := 0
	for _, path := range paths {
		var v doseVector
		if err := json.Unmarshal(readFile(t, path), &v); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		r, err := PlanDraw(e, v.message(t))
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		want := &v.Answer
		if r.GetConcentration().GetUnitsPerMl() != want.Concentration["units_per_ml"] || r.GetTotal().GetVolumeMl() != want.Total["volume_ml"] ||
			len(r.GetSyringes()) != len(want.Syringes) || len(r.GetSides()) != len(want.Sides) {
			t.Errorf("%s: %v", path, r)
			continue
		}
		if v.Request.TakenML == "" && (r.GetVial().GetNeededMl() != want.Supply.TakenML || r.GetVial().GetLeftMl() != want.Supply.LeftVialML ||
			r.GetVial().GetVials() != want.Supply.Vials || r.GetVial().GetLeftUnits() != want.Supply.LeftUnits) {
			t.Errorf("%s: vial %v, want %+v", path, r.GetVial(), want.Supply)
		}
		for i, s := range want.Sides {
			if got := r.GetSides()[i]; got.GetDeliveredMl() != s.DeliveredML || got.GetErrorUnits() != s.ErrorUnits || got.GetErrorPercent() != s.ErrorPercent ||
				got.GetPlanned().GetDoseUnits() != s.PlannedUnits {
				t.Errorf("%s: side %v, want %+v", path, got, s)
			}
		}
		for i, s := range want.Syringes {
			got := r.GetSyringes()[i]
			if got.GetDrawnMl() != s.DrawnML || got.GetDrawToMl() != s.DrawToML || got.GetLeftMl() != s.LeftML || got.GetContinued() != s.InHand ||
				len(got.GetMarks()) != len(s.Marks) {
				t.Errorf("%s: syringe %v, want %+v", path, got, s)
				continue
			}
			for j, m := range s.Marks {
				g := got.GetMarks()[j]
				compared++
				if g.GetRef() != m["ref"] || g.GetMarkMl() != m["mark_ml"] || g.GetExactMl() != m["exact_ml"] || g.GetExactMlFraction() != m["exact_ml_fraction"] ||
					g.GetDeliveredMl() != m["delivered_ml"] || g.GetDeliveredUnits() != m["delivered_units"] ||
					g.GetDeliveredUnitsFraction() != m["delivered_units_fraction"] || g.GetErrorUnits() != m["error_units"] ||
					g.GetErrorPercent() != m["error_percent"] {
					t.Errorf("%s: mark %v, want %v", path, g, m)
				}
			}
		}
	}
	if compared < 30 {
		t.Errorf("only %d marks compared", compared)
	}
}

// Unknown names and values of the wrong kind are named by their path; what is written is read back.
func TestJSONRefusals(t *testing.T) {
	for text, field := range map[string]string{
		`{"prodct":"a"}`:                            "prodct",
		`{"vial":{"content":"1"}}`:                  "vial.content",
		`{"doses":[{"ref":"a"},{"doseUnits":"4"}]}`: "doses[1].doseUnits",
		`{"doses":[{"dose_units":4}]}`:              "doses[0].dose_units",
		`{"doses":{"ref":"a"}}`:                     "doses",
		`{"doses":[{"side":"SIDE_UP"}]}`:            "doses[0].side",
		`{"doses":[{"side":1}]}`:                    "doses[0].side",
		`{"syringe":{"insulin_scale":"yes"}}`:       "syringe.insulin_scale",
		`{"product":null}`:                          "product",
		`[]`:                                        "request",
		``:                                          "request",
		`{"product":"a"} {"product":"b"}`:           "request",
		`{"product":"a","product":"b"}`:             "request",
		`{"product":`:                               "request",
		`{"resume":{"given":[{"exact_ml":true}]}}`:  "resume.given[0].exact_ml",
	} {
		err := UnmarshalJSON([]byte(text), &dosev1.PlanDrawRequest{})
		refused := fault.Of(err)
		if refused == nil || refused.Field != field || refused.Reason != faultv1.Reason_REASON_INVALID_FIELD {
			t.Errorf("%s: want %s, got %v", text, field, err)
		}
	}
}

// FuzzRequest: no request makes a panic; each is refused with a reason of the catalogue, or answered; and what is written as JSON is read back.
func FuzzRequest(f *testing.F) {
	f.Add(readFile(f, testdata, "design_request.json"), "PlanDraw")
	paths, err := filepath.Glob(filepath.Join(testdata, "vectors", "*.json"))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range paths {
		var v vector
		if err := json.Unmarshal(readFile(f, path), &v); err != nil {
			f.Fatal(err)
		}
		f.Add([]byte(v.Request), v.Method)
	}
	e := clinic(f)
	f.Fuzz(func(t *testing.T, data []byte, name string) {
		m, ok := methods()[name]
		if !ok {
			return
		}
		request, back := m.request(), m.request()
		if err := UnmarshalJSON(data, request); err != nil {
			onlyKnown(t, err)
			return
		}
		written, err := MarshalJSON(request)
		if err != nil {
			return // such as a time beyond the year 9999
		}
		if err := UnmarshalJSON(written, back); err != nil || !proto.Equal(request, back) {
			t.Fatalf("%s was read back as %v: %v", written, back, err)
		}
		response, err := m.answer(e, request)
		if err != nil {
			onlyKnown(t, err)
			return
		}
		if _, err := MarshalJSON(response); err != nil {
			t.Fatal(err)
		}
	})
}

// onlyKnown fails on an error that carries no refusal, or that of a defect.
func onlyKnown(t *testing.T, err error) {
	t.Helper()
	if refused := fault.All(err); len(refused) == 0 || fault.Has(err, faultv1.Reason_REASON_INTERNAL) {
		t.Fatalf("%v (%v)", err, errors.Unwrap(err))
	}
}
