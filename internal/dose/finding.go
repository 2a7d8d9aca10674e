package dose

// Level is what a finding asks of the clinician.
type Level uint8

// The levels, from the least.
const (
	LevelNote Level = iota + 1
	LevelCaution
	LevelHold
)

// Code names a kind of finding. It is stable.
type Code string

// The findings of PlanDraw.
const (
	// CodeDeliversNothing is a hold: the plunger would not move for this injection.
	CodeDeliversNothing Code = "injection_delivers_nothing"
	// CodeInjectionError is a caution: an injection's rounding error passes the tolerance.
	CodeInjectionError Code = "injection_error_over_tolerance"
	// CodeSideError is a caution: the error of a side's total passes the tolerance.
	CodeSideError Code = "side_error_over_tolerance"
	// CodeMuscleSplit is a note: the injections of one muscle come from more than one syringe of this plan.
	CodeMuscleSplit Code = "muscle_in_several_syringes"
	// CodeLossUnknown is a note: something was lost and nobody knows how much; it is not counted as zero.
	CodeLossUnknown Code = "loss_unknown"
)

// Figure is a named number of a finding. The unit is in the name.
type Figure struct {
	Name  string
	Value Fraction
}

// Finding is something the clinician should know about a plan, as plain data; the words are made elsewhere.
type Finding struct {
	Code  Code
	Level Level
	// Refs are the injections it is about, in their order.
	Refs []string
	// Side is the side it is about when Code is CodeSideError, Muscle the muscle when it is CodeMuscleSplit.
	Side    Side
	Muscle  string
	Figures []Figure
}

// findings lists what there is to say about a plan: per injection in order, then per side, per muscle, and the loss.
func (p *Plan) findings(r *DrawRequest) []Finding {
	var found []Finding
	for i := range p.Syringes {
		for j := range p.Syringes[i].Marks {
			found = p.Syringes[i].Marks[j].findings(found, r.Tolerance.Injection, p.Syringe.Graduation)
		}
	}
	for i := range p.Sides {
		s := &p.Sides[i]
		if limit := r.Tolerance.Side; limit != nil && s.ErrorPercent.over(*limit) {
			found = append(found, Finding{Code: CodeSideError, Level: LevelCaution, Refs: refsOf(r.Injections, s.Side), Side: s.Side,
				Figures: errorFigures(s.Planned.Exact(), s.DeliveredUnits, s.ErrorPercent, *limit)})
		}
	}
	found = p.splitMuscles(found, r.Injections)
	if r.InHand != nil && r.InHand.Lost.Unknown {
		found = append(found, Finding{Code: CodeLossUnknown, Level: LevelNote,
			Figures: []Figure{{"reading_ml", r.InHand.Reading.Exact().ml}}})
	}
	return found
}

// findings appends what there is to say about one injection.
func (m *Mark) findings(found []Finding, limit *Percent, graduation Volume) []Finding {
	if m.Delivered == 0 {
		found = append(found, Finding{Code: CodeDeliversNothing, Level: LevelHold, Refs: []string{m.Ref}, Figures: []Figure{
			{"dose_units", m.Dose.Exact().units}, {"exact_ml", m.Exact.ml}, {"graduation_ml", graduation.Exact().ml}}})
	}
	if limit != nil && m.ErrorPercent.over(*limit) {
		found = append(found, Finding{Code: CodeInjectionError, Level: LevelCaution, Refs: []string{m.Ref},
			Figures: errorFigures(m.Dose.Exact(), m.DeliveredUnits, m.ErrorPercent, *limit)})
	}
	return found
}

func errorFigures(planned, delivered ExactAmount, err, limit Percent) []Figure {
	return []Figure{{"planned_units", planned.units}, {"delivered_units", delivered.units},
		{"error_percent", err.value}, {"tolerance_percent", limit.value}}
}

func refsOf(injections []Injection, side Side) []string {
	var refs []string
	for i := range injections {
		if injections[i].Side == side {
			refs = append(refs, injections[i].Ref)
		}
	}
	return refs
}

// splitMuscles appends a note for each muscle that more than one syringe serves, in the order of their first injections.
func (p *Plan) splitMuscles(found []Finding, injections []Injection) []Finding {
	type use struct {
		syringe int
		refs    []string
		split   bool
	}
	uses := make(map[string]*use)
	var order []string
	k := 0
	for i := range p.Syringes {
		for range p.Syringes[i].Marks {
			in := &injections[k]
			k++
			if in.Muscle == "" {
				continue
			}
			u := uses[in.Muscle]
			if u == nil {
				u = &use{syringe: i}
				uses[in.Muscle], order = u, append(order, in.Muscle)
			}
			u.split = u.split || u.syringe != i
			u.refs = append(u.refs, in.Ref)
		}
	}
	for _, muscle := range order {
		if u := uses[muscle]; u.split {
			found = append(found, Finding{Code: CodeMuscleSplit, Level: LevelNote, Refs: u.refs, Muscle: muscle})
		}
	}
	return found
}
