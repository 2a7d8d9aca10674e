package guard

import (
	"slices"
	"strconv"

	"needlebook/internal/anatomy"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// nearEdge is how near to an edge, inside a zone, is worth a note: what a hand and a chart can tell apart. Common practice, no source.
const nearEdge = anatomy.Millimetre

// places judges muscle, side and place of each injection.
func (c *checker) places() {
	zones := make(map[string]zones, 8)
	var without []string
	all := c.e.Zones(c.f.Market)
	for k := range c.injections {
		i := &c.injections[k]
		if !i.known {
			c.say(said{code: CodeMuscleUnknown, about: []string{i.path},
				text: "The anatomy does not hold the muscle: " + c.body.text(i.muscle) + ". Zones, sides and regions were not checked."})
			continue
		}
		if !i.about.Allows(sideOf(i.side)) {
			c.say(said{code: CodeSideWrong, about: []string{i.path}, text: "The side of an injection in the " + i.about.Name +
				" is missing, or the muscle does not have it."})
		}
		for_, seen := zones[i.muscle]
		if !seen {
			for_ = c.zonesOf(i.muscle, all)
			zones[i.muscle] = for_
		}
		switch {
		case i.place != nil:
			c.place(i, for_)
		case len(for_.entries) > 0:
			without = append(without, c.body.sided(i.muscle, i.side))
		}
	}
	if len(without) > 0 {
		c.say(said{code: CodeNoPlace, about: []string{"injections"}, figures: []string{"injections_count", strconv.Itoa(len(without))},
			text: "No place is charted, so the zones were not looked at: " + countText(without) + "."})
	}
}

// countText lists words, each once with how often it is there.
func countText(words []string) string {
	var once []string
	times := make(map[string]int, len(words))
	for _, w := range words {
		if times[w] == 0 {
			once = append(once, w)
		}
		times[w]++
	}
	for i, w := range once {
		if times[w] > 1 {
			once[i] = w + " (" + strconv.Itoa(times[w]) + ")"
		}
	}
	return listText(once)
}

func sideOf(s chartv1.Side) anatomy.Side {
	switch s {
	case chartv1.Side_SIDE_RIGHT:
		return anatomy.SideRight
	case chartv1.Side_SIDE_LEFT:
		return anatomy.SideLeft
	case chartv1.Side_SIDE_MIDLINE:
		return anatomy.SideMidline
	default:
		return anatomy.SideNone
	}
}

// zones are entries of the formulary, each beside its geometry.
type zones struct {
	entries  []*formularyv1.Zone
	geometry []anatomy.Zone
}

func (c *checker) zonesOf(muscle string, all []*formularyv1.Zone) (some zones) {
	for _, z := range all {
		if !c.body.covers(z.GetTarget(), muscle) {
			continue
		}
		of := anatomy.Zone{Code: z.GetCode(), Target: z.GetTarget(), Frame: anatomy.FrameCode(z.GetFrame()), Landmark: z.GetLandmark(),
			Direction: anatomy.Direction(z.GetDirection())}
		if z.LeastMicrometers != nil {
			of.Least = anatomy.At(anatomy.Micrometre(z.GetLeastMicrometers()))
		}
		if z.MostMicrometers != nil {
			of.Most = anatomy.At(anatomy.Micrometre(z.GetMostMicrometers()))
		}
		some.entries, some.geometry = append(some.entries, z), append(some.geometry, of)
	}
	return some
}

// place compares where the needle goes in with the zones of the muscle.
func (c *checker) place(i *injection, near zones) {
	at := anatomy.Place{Frame: anatomy.FrameCode(i.place.GetFrame()), Side: sideOf(i.side), X: anatomy.Micrometre(i.place.GetXMicrometers()),
		Y:     anatomy.Micrometre(i.place.GetYMicrometers()),
		Scale: anatomy.Scale{Measure: i.place.GetScale().GetMeasure(), Measured: anatomy.Micrometre(i.place.GetScale().GetMeasuredMicrometers())}}
	where, err := c.body.locate(at, near.geometry)
	if err != nil {
		c.say(said{code: CodePlaceUnreadable, about: []string{i.path},
			text: "The place of an injection cannot be: " + err.Error() + ". Zones were not looked at."})
		return
	}
	if where.Crossed {
		c.say(said{code: CodeSideCrossed, about: []string{i.path},
			text: "An injection is said to be in the " + c.body.sided(i.muscle, i.side) + ", and its place lies " + sideText(where.Side) + "."})
	}
	for _, r := range where.Readings {
		c.reading(i, r, near.entryOf(r.Zone.Code))
	}
	for _, u := range where.Unmeasured {
		c.unmeasured(i, u, near.entryOf(u.Zone.Code))
	}
}

func (z zones) entryOf(code string) *formularyv1.Zone {
	for i := range z.geometry {
		if z.geometry[i].Code == code {
			return z.entries[i]
		}
	}
	return nil
}

func sideText(s anatomy.Side) string {
	if s == anatomy.SideMidline {
		return "on the midline"
	}
	return "on the " + s.String()
}

func (c *checker) reading(i *injection, r anatomy.Reading, z *formularyv1.Zone) {
	if r.Inside() && r.Margin.Distance >= nearEdge {
		return
	}
	s := said{code: CodeOutsideZone, level: z.GetLevel(), about: []string{i.path}, of: z.GetCode(), source: z.GetProvenance(),
		figures: []string{"distance_mm", r.Distance.Decimal(), "bound_mm", r.Bound.Decimal(), "margin_mm", r.Margin.Distance.Decimal()}}
	where := lengthText(-r.Margin.Distance) + " outside"
	if r.Inside() {
		s.code, where = CodeNearEdge, "only "+lengthText(r.Margin.Distance)+" inside"
	}
	s.text = c.name(i) + ": " + where + " the zone's edge; " + r.Distance.Display() + " " + directionText(r.Zone.Direction) + " the " +
		wordText(z.GetLandmark()) +
		", where " + boundText(z, r.Bound) + " is asked for"
	if r.ByDefault {
		s.text += " (by a generic face, not measured on the patient)"
	}
	s.text += "."
	c.say(s)
}

// lengthText is a length that is not zero, even where it is less than is shown.
func lengthText(m anatomy.Micrometre) string {
	if shown := m.Display(); shown != anatomy.Micrometre(0).Display() {
		return shown
	}
	return "less than " + (anatomy.Millimetre / 10).Display()
}

func directionText(d anatomy.Direction) string {
	if d == anatomy.Lateral || d == anatomy.Medial {
		return string(d) + " of"
	}
	return string(d)
}

func boundText(z *formularyv1.Zone, bound anatomy.Micrometre) string {
	if z.MostMicrometers != nil && int64(z.GetMostMicrometers()) == int64(bound) {
		return "at most " + bound.Display()
	}
	return "at least " + bound.Display()
}

// unmeasured notes a zone about which the place says nothing, if it could have cautioned. One of the other lip does not concern the place.
func (c *checker) unmeasured(i *injection, u anatomy.Unmeasured, z *formularyv1.Zone) {
	if u.Reason == anatomy.OtherLip || formulary.Weaker(z.GetLevel(), formulary.MostLevel(z.GetProvenance())) == note {
		return
	}
	c.say(said{code: CodeZoneUnmeasured, about: []string{i.path}, of: z.GetCode(), source: z.GetProvenance(),
		text: c.name(i) + ": the distance from " + wordText(z.GetLandmark()) + " is not known, since " + string(u.Reason) + "."})
}

// depths compares the depth of each injection with the formulary's.
func (c *checker) depths() {
	for _, r := range c.e.DepthRules() {
		var without []string
		for k := range c.injections {
			i := &c.injections[k]
			switch layer := layerText(i.depth.GetLayer()); {
			case !c.body.covers(r.GetTarget(), i.muscle) || slices.Contains(r.GetDepths(), layer):
			case layer == "":
				without = append(without, c.body.sided(i.muscle, i.side))
			default:
				c.say(said{code: CodeDepth, level: r.GetLevel(), about: []string{i.path}, of: r.GetCode(), source: r.GetProvenance(),
					text: c.name(i) + ": " + layer + ", where the formulary says " + choiceText(r.GetDepths()) + "."})
			}
		}
		if len(without) > 0 {
			c.say(said{code: CodeDepthUnknown, about: []string{"injections"}, of: r.GetCode(), source: r.GetProvenance(),
				text: "No depth is charted, and the formulary says " + choiceText(r.GetDepths()) + ": " + countText(without) + "."})
		}
	}
}

// layerText is a layer as the formulary names it; empty where none is charted.
func layerText(l chartv1.DepthLayer) string {
	switch l {
	case chartv1.DepthLayer_DEPTH_LAYER_INTRADERMAL:
		return "intradermal"
	case chartv1.DepthLayer_DEPTH_LAYER_SUBCUTANEOUS:
		return "subcutaneous"
	case chartv1.DepthLayer_DEPTH_LAYER_INTRAMUSCULAR:
		return "intramuscular"
	case chartv1.DepthLayer_DEPTH_LAYER_PERIOSTEAL:
		return "periosteal"
	default:
		return ""
	}
}
