package guard

import (
	"slices"

	"needlebook/internal/anatomy"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// sides compares right and left of each muscle that has both. It describes and names no side to treat.
func (c *checker) sides() {
	var seen []dosed
	for k := range c.injections {
		i := &c.injections[k]
		at := dosed{i.product, i.muscle}
		if !i.hasDose || !i.known || i.about.Nature == anatomy.Midline || slices.Contains(seen, at) {
			continue
		}
		seen = append(seen, at)
		right, _ := c.sum(at.product, func(j *injection) bool { return j.muscle == at.muscle && j.side == chartv1.Side_SIDE_RIGHT })
		left, _ := c.sum(at.product, func(j *injection) bool { return j.muscle == at.muscle && j.side == chartv1.Side_SIDE_LEFT })
		if right == left || c.uneven(at.muscle) {
			continue
		}
		c.say(said{code: CodeSidesUnequal, about: []string{"injections"}, of: at.product + "/" + at.muscle,
			figures: []string{"right_units", unitsDecimal(right), "left_units", unitsDecimal(left), "difference_units",
				unitsDecimal(max(right, left) - min(right, left))},
			text: at.product + ", " + i.about.Name + ": right " + unitsText(at.product, right) + " and left " + unitsText(at.product, left) +
				", and no reason is given why they differ."})
	}
}

// uneven reports whether a reason is given why the sides of a muscle differ: of an injection, of a deviation, or of the touch-up.
func (c *checker) uneven(muscle string) bool {
	if c.f.Session.GetKind() == chartv1.SessionKind_SESSION_KIND_TOUCH_UP && c.f.Session.GetParent().GetReason() != "" {
		return true
	}
	for k := range c.injections {
		i := &c.injections[k]
		if i.muscle != muscle {
			continue
		}
		if i.of.GetUnevenReason() != "" || slices.ContainsFunc(c.f.Session.GetDeviations(), func(d *chartv1.Deviation) bool {
			return d.GetReason() != nil && (d.GetReason().InjectionId == nil || d.GetReason().GetInjectionId() == i.of.GetId())
		}) {
			return true
		}
	}
	return false
}
