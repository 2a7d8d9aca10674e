package guard

import (
	"slices"
	"strconv"

	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// bounds are the ends of all ranges of one basis and one target that may decide.
type bounds struct {
	lowest, highest *formularyv1.DoseRange
}

// decide keeps those of the ranges of one group and basis that may do more than note; where there are none, all.
func decide(ranges []*formularyv1.DoseRange) bounds {
	strong := slices.ContainsFunc(ranges, isStrong)
	var b bounds
	for _, r := range ranges {
		if strong && !isStrong(r) {
			continue
		}
		if r.LowestMilliunits != nil && (b.lowest == nil || r.GetLowestMilliunits() < b.lowest.GetLowestMilliunits()) {
			b.lowest = r
		}
		if r.HighestMilliunits != nil && (b.highest == nil || r.GetHighestMilliunits() > b.highest.GetHighestMilliunits()) {
			b.highest = r
		}
	}
	return b
}

func isStrong(r *formularyv1.DoseRange) bool { return formulary.MostLevel(r.GetProvenance()) != note }

// ranges compares each product's doses with what is labelled or published: by injection, side and target. The label of one market does not clear what the
// label of another one does not.
func (c *checker) ranges() {
	for _, product := range c.named {
		all := c.doseRanges(product)
		var seen []string
		for _, r := range all {
			key := c.body.groupOf(r.GetTarget())
			at := key + "/" + r.GetBasis().String()
			if slices.Contains(seen, at) {
				continue
			}
			seen = append(seen, at)
			var group []*formularyv1.DoseRange
			for _, other := range all {
				if c.body.groupOf(other.GetTarget()) == key && other.GetBasis() == r.GetBasis() {
					group = append(group, other)
				}
			}
			c.inBounds(product, key, r.GetBasis(), decide(group))
		}
		c.unpublished(product, all)
	}
}

func (c *checker) inBounds(product, target string, basis formularyv1.DoseBasis, b bounds) {
	switch basis {
	case formularyv1.DoseBasis_DOSE_BASIS_INJECTION:
		for k := range c.injections {
			if i := &c.injections[k]; i.hasDose && i.product == product && c.body.covers(target, i.muscle) {
				c.compare(b, i.milliunits, said{about: []string{i.path}, of: target, text: c.name(i) + ","}, product, "in one injection")
			}
		}
	case formularyv1.DoseBasis_DOSE_BASIS_SIDE:
		for _, side := range []chartv1.Side{chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT} {
			c.compareSum(b, product, target, "/side/"+side.String(), "on one side", c.body.sided(target, side),
				func(i *injection) bool { return i.side == side && c.body.covers(target, i.muscle) })
		}
	case formularyv1.DoseBasis_DOSE_BASIS_TOTAL:
		c.compareSum(b, product, target, "/total", "in all", c.body.text(target), func(i *injection) bool { return c.body.covers(target, i.muscle) })
	case formularyv1.DoseBasis_DOSE_BASIS_SESSION:
		c.compareSum(b, product, target, "/session", "in a visit", c.body.text(target), func(i *injection) bool { return c.body.covers(target, i.muscle) })
	}
}

func (c *checker) compareSum(b bounds, product, target, of, per, where string, match func(*injection) bool) {
	if total, n := c.sum(product, match); n > 0 {
		c.compare(b, total, said{about: []string{"injections"}, of: product + "/" + target + of,
			text: product + ", " + unitsText(product, total) + " in the " + where + ","}, product, per)
	}
}

// compare says where a dose is outside; s carries what it is about and the beginning of the sentence.
func (c *checker) compare(b bounds, milliunits int64, s said, product, per string) {
	switch {
	case b.highest != nil && milliunits > int64(b.highest.GetHighestMilliunits()):
		most := int64(b.highest.GetHighestMilliunits())
		s.code, s.source, s.figures = CodeAboveRange, b.highest.GetProvenance(), []string{"dose_units", unitsDecimal(milliunits), "most_units",
			unitsDecimal(most)}
		s.text += " is more than the highest " + kindText(b.highest) + " dose " + per + ", " + unitsText(product, most) + "."
	case b.lowest != nil && milliunits < int64(b.lowest.GetLowestMilliunits()):
		least := int64(b.lowest.GetLowestMilliunits())
		s.code, s.source, s.figures = CodeBelowRange, b.lowest.GetProvenance(), []string{"dose_units", unitsDecimal(milliunits), "least_units",
			unitsDecimal(least)}
		s.text += " is less than the lowest " + kindText(b.lowest) + " dose " + per + ", " + unitsText(product, least) + "."
	default:
		return
	}
	c.say(s)
}

// kindText says on whose word a range stands.
func kindText(r *formularyv1.DoseRange) string {
	text := "published"
	if r.GetLabelled() {
		text = "labelled"
	}
	if !formulary.Clears(r.GetProvenance()) {
		text += " (" + formulary.ObtainedText(r.GetProvenance().GetObtained()) + ")"
	}
	return text
}

// unpublished notes each muscle of which no range speaks.
func (c *checker) unpublished(product string, all []*formularyv1.DoseRange) {
	var seen []string
	for k := range c.injections {
		i := &c.injections[k]
		if !i.hasDose || i.product != product || slices.Contains(seen, i.muscle) ||
			slices.ContainsFunc(all, func(r *formularyv1.DoseRange) bool { return c.body.covers(r.GetTarget(), i.muscle) }) {
			continue
		}
		seen = append(seen, i.muscle)
		c.say(said{code: CodeRangeUnknown, about: []string{"injections"}, of: product + "/" + i.muscle,
			text: "How much " + product + " is usual in the " + c.body.text(i.muscle) + ": no published figure; set by the medical lead."})
	}
}

// slipFactor is how many times the usual dose looks like a slip of the decimal point, where the lead set no other. A ten-fold guard of five times and a fifth
// is a rule of this product; no source.
const slipFactor = 5

// usual is the usual dose of one injection: from least to most, each divided by its number of injections. level is the strongest that a slip may raise.
type usual struct {
	least, most   int64
	leastN, mostN int64
	source        *formularyv1.Provenance
	text          string
}

// slips stops at a dose that is so far from the usual that the point may have slipped.
func (c *checker) slips() {
	known := make(map[dosed]*usual, 8)
	for k := range c.injections {
		i := &c.injections[k]
		if !i.hasDose {
			continue
		}
		at := dosed{i.product, i.muscle}
		u, seen := known[at]
		if !seen {
			u = c.usualOf(i.product, i.muscle)
			known[at] = u
		}
		if u == nil {
			continue
		}
		factor := c.factor(i.muscle)
		high := u.most > 0 && i.milliunits*u.mostN >= factor*u.most
		low := u.least > 0 && i.milliunits*u.leastN*factor <= u.least
		if !high && !low {
			continue
		}
		s := said{code: CodeSlip, about: []string{i.path}, source: u.source,
			figures: []string{"dose_units", unitsDecimal(i.milliunits), "usual_least_units",
				unitsDecimal(u.least / u.leastN), "usual_most_units", unitsDecimal(u.most / u.mostN), "factor_times", strconv.FormatInt(factor, 10)}}
		s.text = c.name(i) + ", is " + strconv.FormatInt(factor, 10) + " times the usual dose of one injection or more (" + u.text +
			"). Did the point slip?"
		if low {
			s.text = c.name(i) + ", is one " + ordinal(factor) + " of the usual dose of one injection or less (" + u.text + "). Did the point slip?"
		}
		c.say(s)
	}
}

func ordinal(n int64) string {
	if n == slipFactor {
		return "fifth"
	}
	return "part in " + strconv.FormatInt(n, 10)
}

func (c *checker) factor(muscle string) int64 {
	for _, target := range append(slices.Clone(c.body.targetsOf(muscle)), "") {
		if t, ok := c.e.Tolerance(target); ok && t.SlipTimes != nil && t.GetTarget() == target && formulary.MostLevel(t.GetProvenance()) == hold {
			return int64(t.GetSlipTimes())
		}
	}
	return slipFactor
}

// usualOf is the usual dose of one injection: by what is published of an injection, else of a side or a target divided by its injections, else by what this
// patient had before. A figure that may only note decides only where there is nothing else.
func (c *checker) usualOf(product, muscle string) *usual {
	var direct, shared []*formularyv1.DoseRange
	for _, r := range c.doseRanges(product) {
		switch {
		case !c.body.covers(r.GetTarget(), muscle):
		case r.GetBasis() == formularyv1.DoseBasis_DOSE_BASIS_INJECTION:
			direct = append(direct, r)
		case r.InjectionsAtLeast != nil && r.InjectionsAtMost != nil:
			shared = append(shared, r)
		}
	}
	for _, some := range [][]*formularyv1.DoseRange{direct, shared} {
		if slices.ContainsFunc(some, isStrong) {
			return published(product, some)
		}
	}
	if u := c.hadBefore(product, muscle); u != nil {
		return u
	}
	if len(direct) > 0 {
		return published(product, direct)
	}
	return published(product, shared)
}

func published(product string, ranges []*formularyv1.DoseRange) *usual {
	strong := slices.ContainsFunc(ranges, isStrong)
	var u *usual
	for _, r := range ranges {
		if strong && !isStrong(r) || r.LowestMilliunits == nil || r.HighestMilliunits == nil {
			continue
		}
		one := usual{int64(r.GetLowestMilliunits()), int64(r.GetHighestMilliunits()), max(int64(r.GetInjectionsAtMost()), 1),
			max(int64(r.GetInjectionsAtLeast()), 1),
			r.GetProvenance(), ""}
		if r.GetBasis() == formularyv1.DoseBasis_DOSE_BASIS_INJECTION {
			one.leastN, one.mostN = 1, 1
		}
		if u == nil {
			u = &one
			continue
		}
		if one.least*u.leastN < u.least*one.leastN {
			u.least, u.leastN = one.least, one.leastN
		}
		if one.most*u.mostN > u.most*one.mostN {
			u.most, u.mostN, u.source = one.most, one.mostN, one.source
		}
	}
	if u != nil {
		u.text = "published: " + spanText(product, u.least/u.leastN, u.most/u.mostN)
	}
	return u
}

// dosed is a product in a muscle.
type dosed struct{ product, muscle string }

// hadBefore is from the least to the most that this patient had in one injection of the muscle; nil where she had none.
func (c *checker) hadBefore(product, muscle string) *usual {
	if c.had == nil {
		c.readHad()
	}
	u := c.had[dosed{product, muscle}]
	if u != nil {
		u.text = "this patient had " + spanText(product, u.least, u.most)
	}
	return u
}

func (c *checker) readHad() {
	c.had = make(map[dosed]*usual, 16)
	for _, s := range c.f.Earlier {
		if s.GetVoid() != nil {
			continue
		}
		for _, in := range s.GetInjections() {
			for _, g := range in.GetGivings() {
				d := g.GetGiven().GetDose()
				if g.GetVoid() != nil || d.GetDoseMilliunits() <= 0 {
					continue
				}
				n, at := int64(d.GetDoseMilliunits()), dosed{d.GetProduct(), in.GetMuscle()}
				u := c.had[at]
				if u == nil {
					u = &usual{least: n, most: n, leastN: 1, mostN: 1}
					c.had[at] = u
				}
				u.least, u.most = min(u.least, n), max(u.most, n)
			}
		}
	}
}
