package reckon

import (
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// PlanDraw reckons the syringes of a plan and where the plunger stands after each injection. The request is only read. For errors see the package
// comment; an injection that no syringe of the kind can hold is CANNOT_RECKON and names it.
func PlanDraw(e *formulary.Edition, r *dosev1.PlanDrawRequest) (*dosev1.PlanDrawResponse, error) {
	in := readDraw(e, r)
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	prepared, err := dose.Prepare(in.vial, in.syringe.Graduation)
	if err != nil {
		return nil, refusal(err, nil)
	}
	request := dose.DrawRequest{Concentration: prepared.Concentration, Syringe: in.syringe, Injections: in.injections}
	if err := in.resume(&request, r.GetResume()); err != nil {
		return nil, err
	}
	plan, err := dose.PlanDraw(request)
	if err != nil {
		return nil, in.drawRefusal(err, r)
	}
	return in.answer(r, plan)
}

// answer writes the response of a plan.
func (in *drawReader) answer(r *dosev1.PlanDrawRequest, plan dose.Plan) (*dosev1.PlanDrawResponse, error) {
	concentration, err := concentrationOf(plan.Concentration)
	if err != nil {
		return nil, refusal(err, nil)
	}
	need, err := needOf(plan)
	if err != nil {
		return nil, refusal(err, nil)
	}
	bound, err := in.bound(plan)
	if err != nil {
		return nil, refusal(err, nil)
	}
	findings, err := in.findings(r, plan)
	if err != nil {
		return nil, refusal(err, nil)
	}
	response := &dosev1.PlanDrawResponse{
		Concentration: concentration, Total: doseVolume(plan.Total, plan.TotalExact), Vial: need, Rounding: bound, Findings: findings,
		Edition: used(in.edition), Caution: Caution,
	}
	for _, s := range plan.Syringes {
		response.Syringes = append(response.Syringes, syringePlan(s, plan.Syringe))
	}
	for _, s := range plan.Sides {
		response.Sides = append(response.Sides, sidePlan(s))
	}
	return response, nil
}

func syringePlan(s dose.FilledSyringe, kind dose.Syringe) *dosev1.SyringePlan {
	p := &dosev1.SyringePlan{DrawnMl: s.Drawn.Decimal(), DrawToMl: s.DrawTo.Decimal(), LeftMl: s.Left.Decimal(), Continued: s.InHand}
	for _, m := range s.Marks {
		exact, units, off := m.Exact.Number(), m.DeliveredUnits.Number(), m.ErrorUnits.Number()
		mark := &dosev1.Mark{
			Ref: m.Ref, ExactMl: exact.Decimal, ExactMlFraction: optionalText(exact.Fraction), MarkMl: m.Mark.Decimal(),
			DeliveredMl: m.Delivered.Decimal(), DeliveredUnits: units.Decimal, DeliveredUnitsFraction: optionalText(units.Fraction),
			ErrorUnits: off.Decimal, ErrorUnitsFraction: optionalText(off.Fraction), ErrorPercent: m.ErrorPercent.Number().Decimal,
		}
		if kind.MarkVolume > 0 {
			mark.ScaleMark = optionalText(scaleMark(kind, m.Mark))
		}
		p.Marks = append(p.Marks, mark)
	}
	return p
}

// scaleMark is a mark of an insulin scale as the schema shows it, "mark 13 (0.13 mL)": with plain spaces, so that it can be searched for.
func scaleMark(kind dose.Syringe, mark dose.Volume) string {
	return strings.ReplaceAll(kind.MarkText(mark), "\u00a0", " ")
}

func sidePlan(s dose.SideTotal) *dosev1.SidePlan {
	units := s.DeliveredUnits.Number()
	p := &dosev1.SidePlan{
		Planned: doseVolume(s.Planned, s.PlannedExact), DeliveredMl: s.Delivered.Decimal(), DeliveredUnits: units.Decimal,
		DeliveredUnitsFraction: optionalText(units.Fraction), ErrorUnits: s.ErrorUnits.Number().Decimal, ErrorPercent: s.ErrorPercent.Number().Decimal,
	}
	if side := sideMessage(s.Side); side != chartv1.Side_SIDE_UNSPECIFIED {
		p.Side = &side
	}
	return p
}

func sideMessage(s dose.Side) chartv1.Side {
	switch s {
	case dose.SideRight:
		return chartv1.Side_SIDE_RIGHT
	case dose.SideLeft:
		return chartv1.Side_SIDE_LEFT
	case dose.SideMidline:
		return chartv1.Side_SIDE_MIDLINE
	default:
		return chartv1.Side_SIDE_UNSPECIFIED
	}
}

func needOf(plan dose.Plan) (*dosev1.VialNeed, error) {
	units, err := plan.Concentration.UnitsIn(plan.Supply.Taken)
	if err != nil {
		return nil, err
	}
	return &dosev1.VialNeed{
		NeededMl: plan.Supply.Taken.Decimal(), NeededUnits: units.Number().Decimal, Vials: int32(plan.Supply.Vials),
		LeftMl: plan.Supply.LeftInVials.Decimal(), LeftUnits: plan.Supply.LeftUnits.Number().Decimal,
	}, nil
}

// bound is what docs/arithmetic.md proves: half a graduation a side, one an injection.
func (in *drawReader) bound(plan dose.Plan) (*dosev1.RoundingBound, error) {
	half, err := dose.NewFraction(1, 2)
	if err != nil {
		return nil, err
	}
	sideML, err := plan.Syringe.Graduation.Exact().ML().Mul(half)
	if err != nil {
		return nil, err
	}
	sideUnits, err := plan.PerGraduation.Units().Mul(half)
	if err != nil {
		return nil, err
	}
	return &dosev1.RoundingBound{
		SideMl: millilitres(sideML), SideUnits: plain(sideUnits).Decimal, InjectionMl: plan.Syringe.Graduation.Decimal(),
		InjectionUnits: plan.PerGraduation.Number().Decimal, SyringeTolerance: in.tolerance,
	}, nil
}
