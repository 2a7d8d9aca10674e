package dose_test

import (
	"errors"
	"slices"
	"strconv"
	"testing"

	"needlebook/internal/dose"
)

// base is a request that is planned, for tests that spoil one thing of it.
func base(t *testing.T) dose.DrawRequest {
	t.Helper()
	return dose.DrawRequest{Concentration: concentration(t, ona, "100", "2.5"), Syringe: millilitreSyringe,
		Injections: []dose.Injection{{Ref: "1", Side: dose.SideRight, Dose: amount(t, ona, "4")}, {Ref: "2", Side: dose.SideLeft, Dose: amount(t, ona, "4")}},
		Given:      []dose.Given{{Ref: "0", Dose: amount(t, ona, "2"), Delivered: volume(t, "0.05")}},
		InHand:     &dose.InHand{Reading: volume(t, "0.2")}}
}

// Every rule of a request has one case that breaks it; the error names the field and the rule.
func TestRequestsRefused(t *testing.T) {
	if _, err := dose.PlanDraw(base(t)); err != nil {
		t.Fatal(err)
	}
	most := amount(t, ona, "100000")
	for _, c := range []struct {
		field string
		rule  dose.Rule
		spoil func(r *dose.DrawRequest)
	}{
		{"vial", dose.RuleMissing, func(r *dose.DrawRequest) { r.Concentration = dose.Concentration{} }},
		{"syringe.capacity_ml", dose.RulePositive, func(r *dose.DrawRequest) { r.Syringe.Capacity = 0 }},
		{"syringe.capacity_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Syringe.Capacity = dose.MaxVolume + 10_000 }},
		{"syringe.capacity_ml", dose.RuleGraduations, func(r *dose.DrawRequest) { r.Syringe.Capacity++ }},
		{"syringe.graduation_ml", dose.RulePositive, func(r *dose.DrawRequest) { r.Syringe.Graduation = 0 }},
		{"syringe.graduation_ml", dose.RulePositive, func(r *dose.DrawRequest) { r.Syringe.Graduation = -10_000 }},
		{"syringe.graduation_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Syringe.Graduation = 2 * r.Syringe.Capacity }},
		{"syringe.dead_space_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Syringe.DeadSpace = -1 }},
		{"syringe.priming_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Syringe.Priming = r.Syringe.Capacity + 1 }},
		{"syringe.mark_volume_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Syringe.MarkVolume = -1 }},
		{"taken_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Taken = -1 }},
		{"doses[1].ref", dose.RuleEmpty, func(r *dose.DrawRequest) { r.Injections[1].Ref = "" }},
		{"doses[1].ref", dose.RuleUnique, func(r *dose.DrawRequest) { r.Injections[1].Ref = "1" }},
		{"doses[1].side", dose.RuleOneOf, func(r *dose.DrawRequest) { r.Injections[1].Side = 4 }},
		{"doses[1].dose_units", dose.RulePositive, func(r *dose.DrawRequest) { r.Injections[1].Dose = amount(t, ona, "0") }},
		{"given[0].side", dose.RuleOneOf, func(r *dose.DrawRequest) { r.Given[0].Side = 200 }},
		{"given[0].dose_units", dose.RulePositive, func(r *dose.DrawRequest) { r.Given[0].Dose = amount(t, ona, "0") }},
		{"given[0].delivered_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.Given[0].Delivered = -1 }},
		{"in_hand.reading_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.InHand.Reading = -10_000 }},
		{"in_hand.reading_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.InHand.Reading = r.Syringe.Capacity + 10_000 }},
		{"in_hand.reading_ml", dose.RuleGraduations, func(r *dose.DrawRequest) { r.InHand.Reading++ }},
		{"in_hand.lost_ml", dose.RuleRange, func(r *dose.DrawRequest) { r.InHand.Lost.Volume = -1 }},
		{"in_hand.lost_ml", dose.RuleUnknownAmount, func(r *dose.DrawRequest) { r.InHand.Lost = dose.Loss{Unknown: true, Volume: 1} }},
		{"doses", dose.RuleTotal, func(r *dose.DrawRequest) { // little volume, many units
			r.Concentration = concentration(t, ona, "100000", "0.1")
			r.Injections[0].Dose, r.Injections[1].Dose = most, most
		}},
		{"doses", dose.RuleTotal, func(r *dose.DrawRequest) { // 4,001 units are 100.025 mL
			r.Given = append(r.Given, dose.Given{Dose: amount(t, ona, "3991")})
		}},
		{"given", dose.RuleTotal, func(r *dose.DrawRequest) {
			r.Given[0].Delivered = dose.MaxVolume
			r.Given = append(r.Given, r.Given[0])
		}},
		{"doses", dose.RuleTooMany, func(r *dose.DrawRequest) {
			for i := range dose.MaxInjections {
				r.Injections = append(r.Injections, dose.Injection{Ref: "more" + strconv.Itoa(i), Dose: amount(t, ona, "1")})
			}
		}},
	} {
		r := base(t)
		c.spoil(&r)
		var e *dose.InputError
		if _, err := dose.PlanDraw(r); !errors.As(err, &e) || e.Field != c.field || e.Rule != c.rule {
			t.Errorf("%s %s: got %v", c.field, c.rule, err)
		}
	}
}

func TestVialsRefused(t *testing.T) {
	content := amount(t, ona, "100")
	for _, c := range []struct {
		field      string
		vial       dose.Vial
		graduation dose.Volume
	}{
		{"vial.diluent_ml", dose.Vial{Content: content}, 0},
		{"vial.diluent_ml", dose.Vial{Content: content, Diluent: 1, Liquid: 1}, 0},
		{"vial.diluent_ml", dose.Vial{Content: content, Diluent: -1}, 0},
		{"vial.liquid_ml", dose.Vial{Content: content, Liquid: dose.MaxVolume + 1}, 0},
		{"vial.content_units", dose.Vial{Content: amount(t, ona, "0"), Diluent: 1}, 0},
		{"product", dose.Vial{Diluent: 1}, 0},
		{"syringe.graduation_ml", dose.Vial{Content: content, Diluent: 1}, -1},
	} {
		var e *dose.InputError
		if _, err := dose.Prepare(c.vial, c.graduation); !errors.As(err, &e) || e.Field != c.field {
			t.Errorf("%s: %v", c.field, err)
		}
	}
}

func TestAmountsStayInRange(t *testing.T) {
	var e *dose.InputError
	if _, err := amount(t, ona, "100000").Add(amount(t, ona, "0.001")); !errors.As(err, &e) || e.Rule != dose.RuleRange {
		t.Errorf("sum above the bound: %v", err)
	}
	if _, err := dose.NewAmount(ona, -1); !errors.As(err, &e) {
		t.Errorf("negative: %v", err)
	}
	if _, err := dose.NewAmount("", 1); !errors.As(err, &e) || e.Rule != dose.RuleMissing {
		t.Errorf("no product: %v", err)
	}
	for _, den := range []int64{0, -1} {
		if _, err := dose.NewFraction(1, den); err != dose.ErrDenominator {
			t.Errorf("1/%d: %v", den, err)
		}
	}
	if _, err := dose.NewFraction(-1<<63, 1); err != dose.ErrOverflow {
		t.Errorf("smallest int64: %v", err)
	}
}

// A dose that no syringe of the kind holds is named, with priming counted; the last that fits is planned.
func TestTooMuchForASyringe(t *testing.T) {
	r := base(t)
	r.Given, r.InHand, r.Syringe.Priming = nil, nil, volume(t, "0.041") // primed with 0.05
	r.Injections[1].Dose = amount(t, ona, "38")
	if p, err := dose.PlanDraw(r); err != nil || p.Syringes[1].DrawTo != r.Syringe.Capacity {
		t.Errorf("0.95 mL with 0.05 to prime: %+v, %v", p.Syringes, err)
	}
	r.Injections[1].Dose = amount(t, ona, "38.001")
	var e *dose.DoesNotFitError
	if _, err := dose.PlanDraw(r); !errors.As(err, &e) || e.Ref != "2" || e.Needs != volume(t, "1.01") || e.Capacity != dose.Millilitre {
		t.Errorf("%v", err)
	}
}

// What only the primed syringe in hand can hold is planned from it.
func TestSyringeInHandHoldsMoreThanANewOne(t *testing.T) {
	r := base(t)
	r.Given, r.Syringe.Priming, r.InHand.Reading = nil, volume(t, "0.1"), dose.Millilitre
	r.Injections[0].Dose = amount(t, ona, "39") // 0.975 mL, a half that goes down
	p, err := dose.PlanDraw(r)
	if err != nil || len(p.Syringes) != 2 || !p.Syringes[0].InHand || p.Syringes[0].Left != volume(t, "0.03") || len(p.Syringes[1].Marks) != 1 {
		t.Errorf("%+v, %v", p.Syringes, err)
	}
}

// runs lists how many injections each syringe serves.
func runs(p dose.Plan) []int {
	var n []int
	for _, s := range p.Syringes {
		n = append(n, len(s.Marks))
	}
	return n
}

// The syringe in hand: a muscle whose sides it cannot both serve waits for the next; one that was begun from it is finished from it.
func TestMusclesAndTheSyringeInHand(t *testing.T) {
	in := func(ref, muscle string, side dose.Side) dose.Injection {
		return dose.Injection{Ref: ref, Muscle: muscle, Side: side, Dose: amount(t, ona, "4")} // 0.1 mL
	}
	given := []dose.Given{{Muscle: "b", Side: dose.SideRight, Dose: amount(t, ona, "4"), Delivered: volume(t, "0.1")}}
	for _, c := range []struct {
		about      string
		reading    string
		given      []dose.Given
		injections []dose.Injection
		want       []int
	}{
		{"both sides fit", "0.2", nil, []dose.Injection{in("1", "a", dose.SideRight), in("2", "a", dose.SideLeft)}, []int{2}},
		{"one side would fit", "0.1", nil, []dose.Injection{in("1", "a", dose.SideRight), in("2", "a", dose.SideLeft)}, []int{0, 2}},
		{"another muscle first", "0.2", nil,
			[]dose.Injection{in("1", "", dose.SideRight), in("2", "a", dose.SideRight), in("3", "a", dose.SideLeft)}, []int{1, 2}},
		{"finishes what was begun, though that splits another", "0.2", given,
			[]dose.Injection{in("1", "a", dose.SideRight), in("2", "b", dose.SideLeft), in("3", "a", dose.SideLeft)}, []int{2, 1}},
		{"the same, not begun", "0.2", nil,
			[]dose.Injection{in("1", "a", dose.SideRight), in("2", "b", dose.SideLeft), in("3", "a", dose.SideLeft)}, []int{0, 3}},
	} {
		r := base(t)
		r.Given, r.Injections, r.InHand.Reading = c.given, c.injections, volume(t, c.reading)
		if p, err := dose.PlanDraw(r); err != nil || !slices.Equal(runs(p), c.want) {
			t.Errorf("%s: %v, %v", c.about, runs(p), err)
		}
	}
}

// A tolerance is passed by what is more than it, whatever the sign, and not by what equals it.
func TestToleranceIsPassedByMore(t *testing.T) {
	r := base(t)
	r.Given, r.InHand = nil, nil
	r.Injections = []dose.Injection{{Ref: "low", Side: dose.SideRight, Dose: amount(t, ona, "1")}, // 0.02 of 0.025 mL: -20 per cent
		{Ref: "high", Side: dose.SideLeft, Dose: amount(t, ona, "0.64")}} // 0.02 of 0.016 mL: +25 per cent
	for limit, want := range map[string][]string{"25": nil, "24.9999": {"high"}, "20": {"high"}, "19.9999": {"low", "high"}} {
		for code, tolerance := range map[dose.Code]func(*dose.Percent) dose.Tolerance{
			dose.CodeInjectionError: func(p *dose.Percent) dose.Tolerance { return dose.Tolerance{Injection: p} },
			dose.CodeSideError:      func(p *dose.Percent) dose.Tolerance { return dose.Tolerance{Side: p} },
		} {
			percent, err := dose.ParsePercent(limit)
			if err != nil {
				t.Fatal(err)
			}
			r.Tolerance = tolerance(&percent)
			p, err := dose.PlanDraw(r)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, f := range p.Findings {
				if f.Code == code && f.Level == dose.LevelCaution {
					got = append(got, f.Refs...)
				}
			}
			if len(got) != len(p.Findings) || !slices.Equal(got, want) {
				t.Errorf("%s over %s: %v", code, limit, got)
			}
		}
	}
}
