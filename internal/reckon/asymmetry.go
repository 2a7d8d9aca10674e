package reckon

import (
	"strconv"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Describes stands in every view of asymmetry: what it does not say.
const Describes = "This describes what each side had and how it responded. It names no side to treat and proposes no dose: too little on one side and spread to " +
	"a neighbour look alike and ask for opposite things."

// mostNamed bounds the muscles and the regions that a request names.
const mostNamed = 64

// GetAsymmetry sets right and left side by side for each treatment: what each had of which product in which muscle, where the needle went in, and how each side
// was graded before and at reviews. The request is only read. For errors see the package comment; as with GetToxinHistory, facts are needed here.
func GetAsymmetry(e *formulary.Edition, r *dosev1.GetAsymmetryRequest) (*dosev1.GetAsymmetryResponse, error) {
	in, err := readAsymmetry(e, r)
	if err != nil {
		return nil, err
	}
	view := &dosev1.AsymmetryView{Statement: Describes}
	response := &dosev1.GetAsymmetryResponse{View: view, Findings: in.ofHeld(), Edition: used(e), Caution: Caution}
	for _, i := range in.inWindow() {
		if in.visits[i].session == nil {
			continue // what was reported from elsewhere has no sides
		}
		sides, err := in.sides(i)
		if err != nil {
			return nil, err
		}
		view.Treatments = append(view.Treatments, sides)
		if sides.InConflict {
			response.Findings = append(response.Findings, &dosev1.Finding{Code: CodeInConflict, Level: formularyv1.Level_LEVEL_CAUTION,
				About: []string{in.about(i)}, Text: in.naming(i) + " holds values in conflict. Sums are ranges until someone settles them."})
		}
	}
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	return response, nil
}

// asymmetryReader is what a request for the view says, read and summed.
type asymmetryReader struct {
	historyReader
	muscles, regions map[string]bool // nil for all
	reviews          map[string][]review
}

func readAsymmetry(e *formulary.Edition, r *dosev1.GetAsymmetryRequest) (*asymmetryReader, error) {
	in := &asymmetryReader{historyReader: historyReader{visitReader: visitReader{reader: &reader{edition: e}, on: dose.LastDay}}}
	in.choice(r.GetFormulary())
	in.readDays(r.GetFrom(), r.GetUntil())
	in.muscles = in.named("muscles", r.GetMuscles())
	in.regions = in.named("regions", r.GetRegions())
	if r.GetFacts() == nil {
		in.refuse(badField, "facts", "", "the facts to look at; patient_id is for the server")
	}
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	in.read(r.GetFacts())
	in.held = in.readHeld(r.GetFacts().GetHeld())
	in.readReviews(r.GetFacts().GetSessions())
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	var err error
	if in.history, err = dose.NewHistory(in.treatments, nil); err != nil {
		return nil, tooDoubtful()
	}
	return in, nil
}

func (r *reader) named(field string, names []string) map[string]bool {
	if len(names) > mostNamed {
		r.refuse(badField, field, strconv.Itoa(len(names)), "at most 64 names")
	}
	var set map[string]bool
	for i, name := range names {
		r.word(field+"["+strconv.Itoa(i)+"]", name)
		if set == nil {
			set = make(map[string]bool, len(names))
		}
		set[name] = true
	}
	return set
}

// sides is right and left of one treatment.
func (in *asymmetryReader) sides(i int) (*dosev1.TreatmentSides, error) {
	v := &in.visits[i]
	t := &dosev1.TreatmentSides{SessionId: v.session.GetId(), ParentSessionId: v.parent, InConflict: v.inConflict}
	if from, until := in.history.Days(i); from == until {
		t.On = dateOf(until)
	}
	for _, sum := range in.history.Sums(i) {
		if err := in.muscleSides(t, i, sum); err != nil {
			return nil, err
		}
	}
	in.responses(t, i)
	return t, nil
}

// muscleSides adds each muscle that something of one product was given to on the right or on the left.
func (in *asymmetryReader) muscleSides(t *dosev1.TreatmentSides, i int, sum dose.ProductSum) error {
	none, err := dose.NewSpan(sum.Given.Product(), 0, 0)
	if err != nil {
		return refusal(err, nil)
	}
	for at := 0; at < len(sum.Targets); {
		muscle, right, left, paired := sum.Targets[at].Muscle, none, none, false
		for ; at < len(sum.Targets) && sum.Targets[at].Muscle == muscle; at++ {
			switch sum.Targets[at].Side {
			case dose.SideRight:
				right, paired = sum.Targets[at].Given, true
			case dose.SideLeft:
				left, paired = sum.Targets[at].Given, true
			}
		}
		if paired && muscle != "" && (in.muscles == nil || in.muscles[muscle]) {
			t.Muscles = append(t.Muscles, in.muscleSide(i, muscle, right, left))
		}
	}
	return nil
}

func (in *asymmetryReader) muscleSide(i int, muscle string, right, left dose.Span) *dosev1.MuscleSides {
	m := &dosev1.MuscleSides{Muscle: muscle, Product: string(right.Product()),
		Right: in.sideDose(i, muscle, dose.SideRight, right), Left: in.sideDose(i, muscle, dose.SideLeft, left)}
	if difference, err := right.Minus(left); err == nil {
		m.Difference = &dosev1.DoseSpan{}
		writeSpan(m.Difference, difference)
	}
	if percent, ok := right.PercentOfLarger(left); ok {
		n := percent.Number()
		m.DifferencePercent, m.DifferencePercentFraction = &n.Decimal, optionalText(n.Fraction)
	}
	m.Pairs, m.UnpairedText = in.pairs(&in.visits[i], right.Product(), muscle)
	return m
}

func (in *asymmetryReader) sideDose(i int, muscle string, side dose.Side, given dose.Span) *dosev1.SideDose {
	d := &dosev1.SideDose{Given: &dosev1.DoseSpan{}}
	writeSpan(d.Given, given)
	last := -1
	for _, w := range in.treatments[i].Ways {
		if w.Giving != last && !w.NotGiven && w.Product == given.Product() && w.Muscle == muscle && w.Side == side {
			d.Injections, last = d.Injections+1, w.Giving
		}
	}
	return d
}

// optionalChartSide is a side as a record has it, as answers have it: nil for none.
func optionalChartSide(s chartv1.Side) *chartv1.Side {
	side, ok := sideOf(s)
	if !ok {
		return nil
	}
	return optionalSide(side)
}
