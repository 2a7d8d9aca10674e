package visit

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// Difference is what was planned of one injection beside what was given of it.
type Difference struct {
	InjectionID string       `json:"injection_id"`
	Muscle      string       `json:"muscle"`
	Side        chartv1.Side `json:"side"`
	// Planned is nil where nobody planned it; Given is empty where nothing was given, and holds each giving that counts.
	Planned *chartv1.Dose     `json:"planned"`
	Given   []*chartv1.Giving `json:"given"`
	// Kinds say in what it differs: not_planned, not_given, given_twice, dose, product, side, place, depth, spilt, voided_plan. Empty: as planned.
	Kinds []string `json:"kinds"`
	// Reasons are those that people gave for this injection, in the order of their ids.
	Reasons []string `json:"reasons"`
}

// ReasonOwed reports whether it differs in what needs a reason, and none was given. A planned injection that was not given needs one only when the visit
// is over; until then it may still be given.
func (d Difference) ReasonOwed() bool {
	return len(d.Reasons) == 0 && slices.ContainsFunc(d.Kinds, func(k string) bool { return k != "spilt" })
}

// Differences lists each injection that was given otherwise than planned, not given, or not planned, in the order in which they are meant to be given.
// Those that are as planned are left out.
func Differences(s *chartv1.Session) []Difference {
	return slices.DeleteFunc(PlanAndGiven(s), func(d Difference) bool { return len(d.Kinds) == 0 })
}

// PlanAndGiven lists every injection with what was planned and what was given side by side, in the order in which they are meant to be given.
func PlanAndGiven(s *chartv1.Session) []Difference {
	injections := slices.Clone(s.GetInjections())
	slices.SortStableFunc(injections, byPosition)
	var out []Difference
	for _, in := range injections {
		d := Difference{InjectionID: in.GetId(), Muscle: in.GetMuscle(), Side: in.GetSide(), Planned: in.GetPlanned(), Reasons: reasonsFor(s, in.GetId())}
		for _, g := range in.GetGivings() {
			if counts(g) {
				d.Given = append(d.Given, g)
			}
		}
		if d.Planned == nil && len(d.Given) == 0 {
			continue // it was never planned, and what was given of it was voided
		}
		d.Kinds = kindsOf(in, d.Given)
		out = append(out, d)
	}
	return out
}

func kindsOf(in *chartv1.Injection, given []*chartv1.Giving) (kinds []string) {
	add := func(kind string, is bool) {
		if is && !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	voided := in.GetVoid() != nil
	add("not_planned", in.GetPlanned() == nil)
	add("voided_plan", voided && len(given) > 0)
	add("not_given", len(given) == 0 && !voided)
	add("given_twice", len(given) > 1)
	for _, g := range given {
		p := in.GetPlanned()
		add("product", p != nil && p.GetProduct() != g.GetGiven().GetDose().GetProduct())
		add("dose", p != nil && p.GetDoseMilliunits() != g.GetGiven().GetDose().GetDoseMilliunits())
		add("side", g.Side != nil && g.GetSide() != in.GetSide())
		add("place", g.GetPlace() != nil && !proto.Equal(g.GetPlace(), in.GetPlace()))
		add("depth", g.GetDepth() != nil && !proto.Equal(g.GetDepth(), in.GetDepth()))
		add("spilt", g.GetSpill() != nil)
	}
	return kinds
}

// differs reports whether a giving is other than planned in what needs a reason.
func differs(in *chartv1.Injection, g *chartv1.Giving) bool {
	return slices.ContainsFunc(kindsOf(in, []*chartv1.Giving{g}), func(k string) bool { return k != "spilt" })
}

func reasonsFor(s *chartv1.Session, injection string) (reasons []string) {
	sorted := slices.Clone(s.GetDeviations())
	slices.SortFunc(sorted, func(a, b *chartv1.Deviation) int { return strings.Compare(a.GetId(), b.GetId()) })
	for _, d := range sorted {
		if d.GetReason().GetInjectionId() == injection && d.GetReason().GetReason() != "" {
			reasons = append(reasons, d.GetReason().GetReason())
		}
	}
	return reasons
}

// GiveReason says why something differs from the plan, after the fact: about one injection, or about the whole plan where injection is empty.
func GiveReason(h Hand, s *chartv1.Session, injection, reason string) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	switch {
	case reason == "":
		return nil, wrong("deviations.reason.reason", "", "why")
	case injection != "" && injectionOf(s, injection) == nil:
		return nil, notThere("injections", injection)
	}
	out := part(s)
	out.Deviations = []*chartv1.Deviation{h.deviation(injection, reason)}
	return out, nil
}
