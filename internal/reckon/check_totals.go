package reckon

import (
	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// totals is what the session plans and gave, by product: spans where values are in conflict.
func (in *checkReader) totals() ([]*dosev1.ProductTotal, error) {
	s := in.facts.GetSession()
	of := in.conflicts[s.GetId()]
	maybeVoid, void := in.voided(of, "void", s.GetVoid())
	var given dose.Treatment
	if !void {
		given.Ways = in.ways("facts.session", s, of, maybeVoid)
	}
	h, err := dose.NewHistory([]dose.Treatment{given, {Ways: in.plannedWays(s, of)}}, nil)
	if refused := in.refused.Err(); refused != nil {
		return nil, refused
	}
	if err != nil {
		return nil, tooDoubtful()
	}
	all := totalsOf(h.Sums(0))
	for _, sum := range h.Sums(1) {
		all = plannedInto(all, totalOf(sum))
	}
	return all, nil
}

// plannedWays is every planned injection in every way in which it may be planned.
func (in *checkReader) plannedWays(s *chartv1.Session, of siblings) []dose.Way {
	var ways []dose.Way
	for n, injection := range of.allInjections(s) {
		at := "injections[" + injection.GetId() + "]"
		maybe, never := in.voided(of, at+".void", injection.GetVoid())
		if never {
			continue
		}
		for _, d := range optionsOf(in.reader, of, at+".planned", injection.GetPlanned(), parseMessage[*chartv1.Dose]) {
			way := dose.Way{Giving: n, NotGiven: true}
			if d != nil {
				way = dose.Way{Giving: n, Product: in.productName("facts.conflicts", d.GetProduct()), Muscle: injection.GetMuscle(),
					Most: in.milliunits("facts.conflicts", d.GetDoseMilliunits())}
				way.Least = way.Most
				way.Side, _ = sideOf(injection.GetSide())
			}
			ways = append(ways, way)
		}
		if maybe {
			ways = append(ways, dose.Way{Giving: n, NotGiven: true})
		}
	}
	return ways
}

// plannedInto sets what is planned beside what was given.
func plannedInto(all []*dosev1.ProductTotal, planned *dosev1.ProductTotal) []*dosev1.ProductTotal {
	total := (*dosev1.ProductTotal)(nil)
	for _, t := range all {
		if t.GetProduct() == planned.GetProduct() {
			total = t
		}
	}
	if total == nil {
		total = &dosev1.ProductTotal{Product: planned.GetProduct()}
		all = append(all, total)
	}
	total.Planned = planned.GetGiven()
	for _, p := range planned.GetTargets() {
		target := (*dosev1.TargetTotal)(nil)
		for _, t := range total.GetTargets() {
			if t.GetMuscle() == p.GetMuscle() && t.GetSide() == p.GetSide() {
				target = t
			}
		}
		if target == nil {
			target = &dosev1.TargetTotal{Muscle: p.GetMuscle(), Side: p.Side}
			total.Targets = append(total.Targets, target)
		}
		target.Planned = p.GetGiven()
	}
	return all
}
