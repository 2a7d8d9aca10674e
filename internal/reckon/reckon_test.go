package reckon

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/fault"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const testdata = "../../testdata/reckon"

var update = flag.Bool("update", false, "write the answers of testdata/reckon/vectors anew; read the difference before it is kept")

func builtin(t testing.TB) *formulary.Edition {
	t.Helper()
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// clinic is an edition of a clinic whose lead set what nobody published: 5 % for an injection, 3 % between sides, 0.1 mL for an injection, touch-ups after 14
// to 28 days. The figures are invented.
func clinic(t testing.TB) *formulary.Edition {
	t.Helper()
	lead := &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD}
	e, err := formulary.Derive(builtin(t), &formularyv1.FormularyEdition{
		Version: proto.String("clinic-1"),
		Tolerances: []*formularyv1.ToleranceEntry{{Value: &formularyv1.Tolerance{Code: "whole_face", InjectionPermille: proto.Int32(50),
			SideDifferencePermille: proto.Int32(30), Level: formularyv1.Level_LEVEL_CAUTION, Provenance: lead}}},
		Limits: []*formularyv1.LimitEntry{{Value: &formularyv1.Limit{Code: "injection", Basis: formularyv1.DoseBasis_DOSE_BASIS_INJECTION,
			VolumeNanoliters: proto.Int64(100_000), Level: formularyv1.Level_LEVEL_CAUTION, Provenance: lead}}},
		Dilutions: []*formularyv1.DilutionEntry{{Value: &formularyv1.Dilution{Code: "ours", Product: "onabotulinumtoxinA", ContentMilliunits: 100_000,
			DiluentNanoliters: 2_000_001, Diluent: "sodium_chloride_0_9", Standing: formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED, Use: "aesthetic",
			Provenance: lead}}},
		UseByRules: []*formularyv1.UseByRuleEntry{{Value: &formularyv1.UseByRule{Code: "ours", Product: "daxibotulinumtoxinA", Seconds: 3600,
			Storage: "at 2 to 8 C", Provenance: lead}}, {Value: &formularyv1.UseByRule{Code: "sooner", Product: "onabotulinumtoxinA", Seconds: 7200,
			Storage: "at 2 to 8 C", Provenance: lead}}},
		TouchUpRules: []*formularyv1.TouchUpRuleEntry{{Value: &formularyv1.TouchUpRule{Code: "ours", Earliest: &formularyv1.Period{Days: 14},
			Latest: &formularyv1.Period{Days: 28}, Level: formularyv1.Level_LEVEL_CAUTION, Provenance: lead}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func prepareRequest(t testing.TB, text string) *dosev1.PrepareRequest {
	t.Helper()
	r := &dosev1.PrepareRequest{}
	if err := UnmarshalJSON([]byte(text), r); err != nil {
		t.Fatal(err)
	}
	return r
}

func drawRequest(t testing.TB, text string) *dosev1.PlanDrawRequest {
	t.Helper()
	r := &dosev1.PlanDrawRequest{}
	if err := UnmarshalJSON([]byte(text), r); err != nil {
		t.Fatal(err)
	}
	return r
}

func readFile(t testing.TB, path ...string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// missing lists what want holds and got does not: objects may hold more, lists may not.
func missing(path string, want, got any) []string {
	switch want := want.(type) {
	case map[string]any:
		object, _ := got.(map[string]any)
		var all []string
		for name, value := range want {
			all = append(all, missing(path+"."+name, value, object[name])...)
		}
		return all
	case []any:
		list, ok := got.([]any)
		if !ok || len(list) != len(want) {
			return []string{path + ": want a list of the same length"}
		}
		var all []string
		for i := range want {
			all = append(all, missing(path+"[]", want[i], list[i])...)
		}
		return all
	default:
		if want != got {
			return []string{path}
		}
		return nil
	}
}

// The example that those who build on the calculator are promised: the answer holds at least this JSON.
func TestPromisedExample(t *testing.T) {
	request := drawRequest(t, string(readFile(t, testdata, "design_request.json")))
	response, err := PlanDraw(builtin(t), request)
	if err != nil {
		t.Fatal(err)
	}
	data, err := MarshalJSON(response)
	if err != nil {
		t.Fatal(err)
	}
	var want, got any
	if err := errors.Join(json.Unmarshal(readFile(t, testdata, "design_at_least.json"), &want), json.Unmarshal(data, &got)); err != nil {
		t.Fatal(err)
	}
	if m := missing("", want, got); len(m) > 0 {
		t.Errorf("missing or different: %v\n%s", m, data)
	}
	if len(missing("", map[string]any{"findings": []any{"x"}}, got)) == 0 {
		t.Error("the comparison finds nothing missing where something is")
	}
}

// method is one answer of this package: its empty request, and what answers it.
type method struct {
	request func() proto.Message
	answer  func(*formulary.Edition, proto.Message) (proto.Message, error)
}

func methodOf[Q, R any, PQ interface {
	*Q
	proto.Message
}, PR interface {
	*R
	proto.Message
}](answer func(*formulary.Edition, PQ) (PR, error)) method {
	return method{func() proto.Message { return PQ(new(Q)) }, func(e *formulary.Edition, m proto.Message) (proto.Message, error) { return answer(e, m.(PQ)) }}
}

func methods() map[string]method {
	return map[string]method{
		"Prepare": methodOf(Prepare), "PlanDraw": methodOf(PlanDraw), "AdviseDilution": methodOf(AdviseDilution),
		"GetToxinHistory": methodOf(GetToxinHistory), "CompareProducts": methodOf(CompareProducts), "GetAsymmetry": methodOf(GetAsymmetry),
	}
}

type vector struct {
	About   string            `json:"about"`
	Method  string            `json:"method"`
	Clinic  bool              `json:"clinic,omitempty"` // reckoned with the edition of clinic, not with the built-in one
	Request json.RawMessage   `json:"request"`
	Answer  json.RawMessage   `json:"answer,omitempty"`
	Refused map[string]string `json:"refused,omitempty"`
}

// answer runs a vector's method. Refusals are written by field, as reason and text.
func (v *vector) answer(t *testing.T) {
	t.Helper()
	m, ok := methods()[v.Method]
	if !ok {
		t.Fatalf("no method %s", v.Method)
	}
	e := builtin(t)
	if v.Clinic {
		e = clinic(t)
	}
	request := m.request()
	if err := UnmarshalJSON(v.Request, request); err != nil {
		t.Fatal(err)
	}
	response, err := m.answer(e, request)
	v.Answer, v.Refused = nil, nil
	if err != nil {
		v.Refused = make(map[string]string)
		for _, refused := range fault.All(err) {
			v.Refused[refused.Field] += strings.TrimPrefix(refused.Reason.String(), "REASON_") + " " + refused.Error() + " "
		}
		return
	}
	if v.Answer, err = MarshalJSON(response); err != nil {
		t.Fatal(err)
	}
}

// The vectors are the same bytes natively and as WebAssembly.
func TestVectors(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(testdata, "vectors", "*.json"))
	if err != nil || len(paths) < 30 {
		t.Fatalf("%d vectors, %v", len(paths), err)
	}
	for _, path := range paths {
		kept := readFile(t, path)
		var v vector
		if err := json.Unmarshal(kept, &v); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		v.answer(t)
		var out bytes.Buffer
		encoder := json.NewEncoder(&out)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", "  ")
		if err := encoder.Encode(v); err != nil {
			t.Fatal(err)
		}
		if *update {
			if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		} else if !bytes.Equal(out.Bytes(), kept) {
			t.Errorf("%s (%s): the answer differs; run with -update and read the difference\n%s", path, v.About, out.Bytes())
		}
	}
}

// Each field at fault is named as the request names it, with its reason.
func TestRefusals(t *testing.T) {
	e := builtin(t)
	quantity, field := faultv1.Reason_REASON_BAD_QUANTITY, faultv1.Reason_REASON_INVALID_FIELD
	for _, c := range []struct {
		change func(*dosev1.PlanDrawRequest)
		field  string
		reason faultv1.Reason
	}{
		{func(r *dosev1.PlanDrawRequest) { r.Product = "aqua" }, "product", faultv1.Reason_REASON_UNKNOWN_PRODUCT},
		{func(r *dosev1.PlanDrawRequest) { r.Product = "" }, "product", field},
		{func(r *dosev1.PlanDrawRequest) { r.Product = "rimabotulinumtoxinB" }, "product", faultv1.Reason_REASON_UNKNOWN_PRODUCT},
		{func(r *dosev1.PlanDrawRequest) { r.Vial = nil }, "vial", field},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.ContentUnits = "0" }, "vial.content_units", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.ContentUnits = "100 units" }, "vial.content_units", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.DiluentMl = proto.String("0") }, "vial.diluent_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.DiluentMl = nil }, "vial.diluent_ml", field},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.LiquidMl = proto.String("1") }, "vial.liquid_ml", field},
		{func(r *dosev1.PlanDrawRequest) { r.Vial.Diluent = proto.String("Saline!") }, "vial.diluent", field},
		{func(r *dosev1.PlanDrawRequest) { r.Syringe = nil }, "syringe", field},
		{func(r *dosev1.PlanDrawRequest) { r.Syringe.GraduationMl = "2" }, "syringe.graduation_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Syringe.CapacityMl = "0.995" }, "syringe.capacity_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Syringe.Code = proto.String("insulin_u100_0_5_by_0_01") }, "syringe.capacity_ml", field},
		{func(r *dosev1.PlanDrawRequest) { r.Syringe.Code = proto.String("insulin_u100_1_by_0_01") }, "syringe.insulin_scale", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses = nil }, "doses", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses = make([]*dosev1.PlannedDose, 201) }, "doses", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1] = nil }, "doses[1].ref", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].Ref = "1" }, "doses[1].ref", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[0].DoseUnits = "1e3" }, "doses[0].dose_units", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].DoseUnits = "" }, "doses[1].dose_units", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].DoseUnits = "0" }, "doses[1].dose_units", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].DoseUnits = "50" }, "doses[1].dose_units", faultv1.Reason_REASON_CANNOT_RECKON},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].Side = chartv1.Side(9).Enum() }, "doses[1].side", field},
		{func(r *dosev1.PlanDrawRequest) { r.Doses[1].Muscle = proto.String("") }, "doses[1].muscle", field},
		{func(r *dosev1.PlanDrawRequest) { r.InjectionNeedleDeadSpaceMl = proto.String("-1") }, "injection_needle_dead_space_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Tolerance = &dosev1.DrawTolerance{InjectionPercent: proto.String("5%")}
		}, "tolerance.injection_percent", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Tolerance = &dosev1.DrawTolerance{SideDifferencePercent: proto.String("1001")}
		}, "tolerance.side_difference_percent", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Resume = &dosev1.DrawResumption{PlungerMl: "0", Loss: &dosev1.DrawLoss{LostMl: proto.String("all")}}
		}, "resume.loss.lost_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.PrimingMl = proto.String("2") }, "priming_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.MostMlPerInjection = proto.String("0") }, "most_ml_per_injection", quantity},
		{func(r *dosev1.PlanDrawRequest) { r.Formulary = &dosev1.FormularyChoice{Market: "us"} }, "formulary.market", field},
		{func(r *dosev1.PlanDrawRequest) { r.Formulary = &dosev1.FormularyChoice{EditionId: proto.String("x")} }, "formulary.edition_id", field},
		{func(r *dosev1.PlanDrawRequest) { r.Resume = &dosev1.DrawResumption{PlungerMl: "0.005"} }, "resume.plunger_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Resume = &dosev1.DrawResumption{PlungerMl: "0", Given: []*dosev1.SideGiven{{ExactMl: "0.1", DeliveredMl: "0.1"}, {ExactMl: "0.1", DeliveredMl: "0.1"}}}
		}, "resume.given[1].side", field},
		{func(r *dosev1.PlanDrawRequest) {
			r.Resume = &dosev1.DrawResumption{PlungerMl: "0", Given: []*dosev1.SideGiven{{ExactMl: "2/240", DeliveredMl: "0.1"}}}
		}, "resume.given[0].exact_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Resume = &dosev1.DrawResumption{PlungerMl: "0", Given: []*dosev1.SideGiven{{ExactMl: "0.000001", DeliveredMl: "0"}}}
		}, "resume.given[0].exact_ml", quantity},
		{func(r *dosev1.PlanDrawRequest) {
			r.Resume = &dosev1.DrawResumption{PlungerMl: "0", Given: []*dosev1.SideGiven{{ExactMl: "0", DeliveredMl: "0.1"}}}
		}, "resume.given[0].exact_ml", field},
	} {
		r := drawRequest(t, string(readFile(t, testdata, "design_request.json")))
		c.change(r)
		before := proto.CloneOf(r)
		_, err := PlanDraw(e, r)
		refused := fault.Of(err)
		if refused == nil || refused.Field != c.field || refused.Reason != c.reason {
			t.Errorf("want %s %v, got %v (%v)", c.field, c.reason, err, refused)
		}
		if !proto.Equal(before, r) {
			t.Errorf("%s: the request was changed", c.field)
		}
	}
}
