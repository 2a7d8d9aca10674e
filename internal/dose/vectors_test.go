package dose_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"needlebook/internal/dose"
)

var updateVectors = flag.Bool("dose.update", false, "write the answers of testdata/dose/vectors anew; read the difference before it is kept")

// The vectors' form: requests and answers as decimal strings with the unit in the field's name.
type (
	vectorRequest struct {
		Product string `json:"product"`
		Vial    struct {
			ContentUnits string `json:"content_units"`
			DiluentML    string `json:"diluent_ml,omitempty"`
			LiquidML     string `json:"liquid_ml,omitempty"`
		} `json:"vial"`
		Syringe struct {
			CapacityML   string `json:"capacity_ml"`
			GraduationML string `json:"graduation_ml"`
			MarkVolumeML string `json:"mark_volume_ml,omitempty"`
			DeadSpaceML  string `json:"dead_space_ml,omitempty"`
			PrimingML    string `json:"priming_ml,omitempty"`
		} `json:"syringe"`
		Doses  []vectorDose `json:"doses"`
		Given  []vectorDose `json:"given,omitempty"`
		InHand *struct {
			ReadingML string `json:"reading_ml"`
			LostML    string `json:"lost_ml,omitempty"` // "unknown" when nobody knows
		} `json:"in_hand,omitempty"`
		TakenML          string `json:"taken_ml,omitempty"`
		InjectionPercent string `json:"injection_tolerance_percent,omitempty"`
		SidePercent      string `json:"side_tolerance_percent,omitempty"`
	}
	vectorDose struct {
		Ref         string `json:"ref"`
		Muscle      string `json:"muscle,omitempty"`
		DoseUnits   string `json:"dose_units"`
		Side        string `json:"side,omitempty"`
		DeliveredML string `json:"delivered_ml,omitempty"`
	}
	vector struct {
		About   string          `json:"about"`
		Request vectorRequest   `json:"request"`
		Answer  json.RawMessage `json:"answer"`
	}
	object = map[string]any
)

var vectorSides = map[string]dose.Side{"": dose.SideNone, "SIDE_RIGHT": dose.SideRight, "SIDE_LEFT": dose.SideLeft, "SIDE_MIDLINE": dose.SideMidline}

func orZero(t *testing.T, s string) dose.Volume {
	t.Helper()
	if s == "" {
		return 0
	}
	return volume(t, s)
}

func limit(t *testing.T, s string) *dose.Percent {
	t.Helper()
	if s == "" {
		return nil
	}
	p, err := dose.ParsePercent(s)
	if err != nil {
		t.Fatal(err)
	}
	return &p
}

func (v vectorRequest) read(t *testing.T) (dose.Prepared, dose.DrawRequest) {
	t.Helper()
	product, err := dose.ParseProduct(v.Product)
	if err != nil {
		t.Fatal(err)
	}
	r := dose.DrawRequest{Taken: orZero(t, v.TakenML), Tolerance: dose.Tolerance{Injection: limit(t, v.InjectionPercent), Side: limit(t, v.SidePercent)}}
	r.Syringe = dose.Syringe{Capacity: volume(t, v.Syringe.CapacityML), Graduation: volume(t, v.Syringe.GraduationML),
		MarkVolume: orZero(t, v.Syringe.MarkVolumeML), DeadSpace: orZero(t, v.Syringe.DeadSpaceML), Priming: orZero(t, v.Syringe.PrimingML)}
	vial := dose.Vial{Content: amount(t, product, v.Vial.ContentUnits), Diluent: orZero(t, v.Vial.DiluentML), Liquid: orZero(t, v.Vial.LiquidML)}
	prepared, err := dose.Prepare(vial, r.Syringe.Graduation)
	if err != nil {
		t.Fatal(err)
	}
	r.Concentration = prepared.Concentration
	for _, d := range v.Doses {
		r.Injections = append(r.Injections, dose.Injection{Ref: d.Ref, Muscle: d.Muscle, Side: vectorSides[d.Side], Dose: amount(t, product, d.DoseUnits)})
	}
	for _, d := range v.Given {
		r.Given = append(r.Given, dose.Given{Ref: d.Ref, Muscle: d.Muscle, Side: vectorSides[d.Side], Dose: amount(t, product, d.DoseUnits),
			Delivered: volume(t, d.DeliveredML)})
	}
	if v.InHand != nil {
		r.InHand = &dose.InHand{Reading: volume(t, v.InHand.ReadingML), Lost: dose.Loss{Unknown: v.InHand.LostML == "unknown"}}
		if !r.InHand.Lost.Unknown {
			r.InHand.Lost.Volume = orZero(t, v.InHand.LostML)
		}
	}
	return prepared, r
}

// put writes a number as answers do: the decimal, and the fraction beside it when the decimal is rounded.
func put(o object, name string, n dose.Number) {
	o[name] = n.Decimal
	if n.Fraction != "" {
		o[name+"_fraction"] = n.Fraction
	}
}

func answer(prepared dose.Prepared, p dose.Plan) object {
	concentration, total := object{}, object{"dose_units": p.Total.Decimal()}
	put(concentration, "units_per_ml", prepared.PerML.Number())
	put(concentration, "units_per_tenth_ml", prepared.PerTenthML.Number())
	put(concentration, "units_per_graduation", prepared.PerGraduation.Number())
	put(total, "volume_ml", p.TotalExact.Number())
	out := object{"concentration": concentration, "total": total, "syringes": []object{}, "sides": []object{}, "findings": []object{}}
	for _, s := range p.Syringes {
		out["syringes"] = append(out["syringes"].([]object), answerSyringe(p.Syringe, s))
	}
	for _, s := range p.Sides {
		side := object{"side": s.Side.String(), "planned_units": s.Planned.Decimal(), "delivered_ml": s.Delivered.Decimal(), "given_before_ml": s.GivenBefore.Decimal()}
		put(side, "planned_ml", s.PlannedExact.Number())
		put(side, "delivered_units", s.DeliveredUnits.Number())
		put(side, "error_units", s.ErrorUnits.Number())
		put(side, "error_percent", s.ErrorPercent.Number())
		out["sides"] = append(out["sides"].([]object), side)
	}
	for _, f := range p.Findings {
		figures := object{}
		for _, g := range f.Figures {
			figures[g.Name] = g.Value.String()
		}
		out["findings"] = append(out["findings"].([]object), object{"code": f.Code, "level": f.Level, "refs": f.Refs, "side": f.Side.String(),
			"muscle": f.Muscle, "figures": figures})
	}
	s := p.Supply
	supply := object{"taken_ml": s.Taken.Decimal(), "vials": s.Vials, "left_in_vials_ml": s.LeftInVials.Decimal(), "delivered_ml": s.Delivered.Decimal(),
		"left_in_syringes_ml": s.LeftInSyringes.Decimal(), "primed_ml": s.Primed.Decimal(), "dead_space_ml": s.DeadSpace.Decimal(),
		"lost_ml": s.Lost.Volume.Decimal(), "lost_unknown": s.Lost.Unknown}
	put(supply, "left_units", s.LeftUnits.Number())
	out["supply"] = supply
	return out
}

func answerSyringe(kind dose.Syringe, s dose.FilledSyringe) object {
	out := object{"drawn_ml": s.Drawn.Decimal(), "draw_to_ml": s.DrawTo.Decimal(), "in_hand": s.InHand, "left_ml": s.Left.Decimal(), "marks": []object{}}
	put(out, "exact_ml", s.Exact.Number())
	for _, m := range s.Marks {
		mark := object{"ref": m.Ref, "mark_ml": m.Mark.Decimal(), "mark_text": kind.MarkText(m.Mark), "delivered_ml": m.Delivered.Decimal()}
		put(mark, "exact_ml", m.Exact.Number())
		put(mark, "delivered_units", m.DeliveredUnits.Number())
		put(mark, "error_units", m.ErrorUnits.Number())
		put(mark, "error_percent", m.ErrorPercent.Number())
		out["marks"] = append(out["marks"].([]object), mark)
	}
	return out
}

func marshal(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(b, '\n')
}

func readVector(t *testing.T, path string) (v vector, text []byte) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return v, text
}

// Every vector gives the same bytes on every platform, and the oracle agrees with its figures.
func TestVectors(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(testdata, "vectors", "*.json"))
	if err != nil || len(paths) < 8 {
		t.Fatalf("%d vectors, %v", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".json"), func(t *testing.T) {
			v, text := readVector(t, path)
			prepared, r := v.Request.read(t)
			p, err := dose.PlanDraw(r)
			if err != nil {
				t.Fatal(err)
			}
			newOracle(t, r).check(p)
			checkInvariants(t, r, p)
			v.Answer = marshal(t, answer(prepared, p))
			got := marshal(t, v)
			if *updateVectors {
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if !bytes.Equal(got, text) {
				t.Errorf("got\n%s", got)
			}
		})
	}
}

// The documented example holds every field it prints, with that value.
func TestDesignExample(t *testing.T) {
	v, _ := readVector(t, filepath.Join(testdata, "design_example.json"))
	prepared, r := v.Request.read(t)
	p, err := dose.PlanDraw(r)
	if err != nil {
		t.Fatal(err)
	}
	var want, got any
	if err := json.Unmarshal(v.Answer, &want); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(marshal(t, answer(prepared, p)), &got); err != nil {
		t.Fatal(err)
	}
	contains(t, "answer", got, want)
}

// contains checks that got has all of want: every key of its objects, every element of its lists.
func contains(t *testing.T, path string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		object, _ := got.(map[string]any)
		for key, value := range want {
			contains(t, path+"."+key, object[key], value)
		}
	case []any:
		list, ok := got.([]any)
		if !ok || len(list) != len(want) {
			t.Errorf("%s: got %v, want %v", path, got, want)
			return
		}
		for i := range want {
			contains(t, path, list[i], want[i])
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
}
