package reckon

import (
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// findings says what there is to say of a plan: of the vial, of each injection in order, of the sides, of the syringes.
func (in *drawReader) findings(r *dosev1.PlanDrawRequest, plan dose.Plan) ([]*dosev1.Finding, error) {
	m := newMixed(in.edition, in.product, in.vial, r.GetVial().GetDiluent(), in.market, defaultUse)
	found, err := m.findings(plan.Concentration)
	if err != nil {
		return nil, err
	}
	k := 0
	for _, s := range plan.Syringes {
		for _, mark := range s.Marks {
			found = append(found, in.ofInjection(mark, in.injections[k].Muscle, plan)...)
			k++
		}
	}
	found, err = in.ofSides(found, plan)
	if err != nil {
		return nil, err
	}
	found = in.withoutTolerance(found, plan)
	if f := in.notPrimed(plan); f != nil {
		found = append(found, f)
	}
	for _, f := range plan.Findings {
		switch f.Code {
		case dose.CodeMuscleSplit:
			found = append(found, muscleSplit(f))
		case dose.CodeLossUnknown:
			found = append(found, lossUnknown(plan.Syringes[0].DrawTo))
		}
	}
	return found, nil
}

func muscleSplit(f dose.Finding) *dosev1.Finding {
	return &dosev1.Finding{Code: CodeMuscleSplit, Level: formularyv1.Level_LEVEL_NOTE, About: f.Refs,
		Text: "The injections of " + strings.ReplaceAll(f.Muscle, "_", " ") + " come from more than one syringe, since no one syringe holds them. " +
			"A syringe's own tolerance then differs between them."}
}

// notPrimed says that the needle holds more than what priming pushes out. A syringe in hand is primed already.
func (in *drawReader) notPrimed(plan dose.Plan) *dosev1.Finding {
	f := &dosev1.Finding{Code: CodeNotPrimed, Level: formularyv1.Level_LEVEL_CAUTION}
	var primed dose.Volume
	for _, s := range plan.Syringes {
		if primed = s.DrawTo - s.Drawn; in.needle != nil && !s.InHand && primed < *in.needle && len(s.Marks) > 0 {
			f.About = append(f.About, s.Marks[0].Ref)
		}
	}
	if len(f.About) == 0 {
		return nil
	}
	f.Text = "The injection needle holds " + in.needle.Display() + " and " + primed.Display() + " is pushed out to prime it: injection " +
		strings.Join(f.About, ", ") + " would fill the needle first and deliver so much less."
	f.Figures = map[string]string{"needle_ml": in.needle.Decimal(), "primed_ml": primed.Decimal()}
	return f
}

func lossUnknown(reading dose.Volume) *dosev1.Finding {
	return &dosev1.Finding{Code: CodeLossUnknown, Level: formularyv1.Level_LEVEL_NOTE, About: []string{"resume.loss"},
		Text: "Something left the syringe without being given, and nobody knows how much. It is not counted as zero. The rest is reckoned from where the plunger stands, " +
			reading.Display() + ".",
		Figures: map[string]string{"plunger_ml": reading.Decimal()}}
}

// ofInjection says what there is to say of one injection.
func (in *drawReader) ofInjection(m dose.Mark, muscle string, plan dose.Plan) []*dosev1.Finding {
	var found []*dosev1.Finding
	if m.Delivered == 0 {
		found = append(found, &dosev1.Finding{Code: CodeDeliversNothing, Level: formularyv1.Level_LEVEL_HOLD, About: []string{m.Ref},
			Text: "Injection " + m.Ref + " would deliver nothing: " + string(in.product) + ", " + m.Dose.Display() + ", is " + m.Exact.Display() +
				", and the syringe is read to " + plan.Syringe.Graduation.Display() + ". Change the dose, the syringe or the dilution.",
			Figures: map[string]string{"dose_units": m.Dose.Decimal(), "exact_ml": millilitres(m.Exact.ML()),
				"graduation_ml": plan.Syringe.Graduation.Decimal()}})
	}
	if l, ok := in.injectionLimitOf(muscle); ok && l.over(m.ErrorPercent) {
		found = append(found, &dosev1.Finding{Code: CodeInjectionError, Level: l.level, About: []string{m.Ref},
			Text: "Injection " + m.Ref + " delivers " + m.DeliveredUnits.Display() + " of " + string(in.product) + " where " + m.Dose.Display() +
				" are planned: " + m.ErrorPercent.Number().Decimal + " %, more than the " + l.most.Number().Decimal + " % allowed.",
			Figures: map[string]string{"planned_units": m.Dose.Decimal(), "delivered_units": m.DeliveredUnits.Number().Decimal,
				"error_percent": m.ErrorPercent.Number().Decimal, "tolerance_percent": l.most.Number().Decimal},
			Source: cite(in.edition, l.provenance)})
	}
	return append(found, in.volumeAboveMost(m)...)
}

// volumeAboveMost holds an injection's volume against the request's limit, or else against the formulary's.
func (in *drawReader) volumeAboveMost(m dose.Mark) []*dosev1.Finding {
	if in.most > 0 {
		return aboveMost(m, in.most, formularyv1.Level_LEVEL_CAUTION, nil)
	}
	for _, l := range in.edition.Limits(string(in.product)) {
		if limitsVolume(l) {
			level := formulary.Weaker(l.GetLevel(), formulary.MostLevel(l.GetProvenance()))
			if found := aboveMost(m, dose.Volume(l.GetVolumeNanoliters()), level, cite(in.edition, l.GetProvenance())); found != nil {
				return found
			}
		}
	}
	return nil
}

// limitsVolume reports whether a limit is one of an injection's volume, wherever it is given.
func limitsVolume(l *formularyv1.Limit) bool {
	return l.GetBasis() == formularyv1.DoseBasis_DOSE_BASIS_INJECTION && l.VolumeNanoliters != nil && l.Target == nil
}

func aboveMost(m dose.Mark, most dose.Volume, level formularyv1.Level, source *dosev1.Citation) []*dosev1.Finding {
	if m.Exact.ML().Cmp(most.Exact().ML()) <= 0 && m.Delivered <= most {
		return nil
	}
	return []*dosev1.Finding{{Code: CodeVolumeAboveMost, Level: level, About: []string{m.Ref}, Source: source,
		Text:    "Injection " + m.Ref + " is " + m.Exact.Display() + " and delivers " + m.Delivered.Display() + ", more than " + most.Display() + ".",
		Figures: map[string]string{"exact_ml": millilitres(m.Exact.ML()), "delivered_ml": m.Delivered.Decimal(), "most_ml": most.Decimal()}}}
}

// ofSides compares right and left where they are planned equal. By the rule of rounding they differ only where a plan was resumed.
func (in *drawReader) ofSides(found []*dosev1.Finding, plan dose.Plan) ([]*dosev1.Finding, error) {
	l, ok := in.sideLimitOf()
	right, left := sideTotal(plan, dose.SideRight), sideTotal(plan, dose.SideLeft)
	if !ok || right == nil || left == nil || right.Planned != left.Planned {
		return found, nil
	}
	difference, err := right.DeliveredUnits.Sub(left.DeliveredUnits)
	if err != nil {
		return nil, err
	}
	percent, err := percentOf(difference.Units().Abs(), right.Planned.Exact().Units())
	if err != nil {
		return nil, err
	}
	if !l.over(percent) {
		return found, nil
	}
	return append(found, &dosev1.Finding{Code: CodeSidesDiffer, Level: l.level,
		About: []string{chartv1.Side_SIDE_RIGHT.String(), chartv1.Side_SIDE_LEFT.String()},
		Text: "Right and left are planned equal, " + right.Planned.Display() + " of " + string(in.product) + " each; right gets " +
			right.DeliveredUnits.Display() + " and left " + left.DeliveredUnits.Display() + ".",
		Figures: map[string]string{"planned_units": right.Planned.Decimal(), "right_units": right.DeliveredUnits.Number().Decimal,
			"left_units": left.DeliveredUnits.Number().Decimal, "difference_percent": percent.Number().Decimal,
			"tolerance_percent": l.most.Number().Decimal},
		Source: cite(in.edition, l.provenance)}), nil
}

func sideTotal(plan dose.Plan, side dose.Side) *dose.SideTotal {
	for i := range plan.Sides {
		if plan.Sides[i].Side == side {
			return &plan.Sides[i]
		}
	}
	return nil
}

// withoutTolerance says that nobody set how far a dose may be off, where rounding changes one whose muscle has no tolerance. A blank never permits.
func (in *drawReader) withoutTolerance(found []*dosev1.Finding, plan dose.Plan) []*dosev1.Finding {
	var about []string
	worst := dose.Percent{}
	k := 0
	for _, s := range plan.Syringes {
		for _, m := range s.Marks {
			_, limited := in.injectionLimitOf(in.injections[k].Muscle)
			k++
			if m.ErrorPercent.Value().Sign() == 0 || limited {
				continue
			}
			about = append(about, m.Ref)
			if m.ErrorPercent.Value().Abs().Cmp(worst.Value().Abs()) > 0 {
				worst = m.ErrorPercent
			}
		}
	}
	if len(about) == 0 {
		return found
	}
	return append(found, &dosev1.Finding{Code: CodeNoTolerance, Level: formularyv1.Level_LEVEL_NOTE, About: about,
		Text: "Rounding to the syringe's graduation changes doses by up to " + dose.NewPercent(worst.Value().Abs()).Number().Decimal +
			" %. How much may be: no published figure; set by the medical lead.",
		Figures: map[string]string{"worst_error_percent": worst.Number().Decimal}})
}
