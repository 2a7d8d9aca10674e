package guard

import (
	"cmp"
	"slices"
	"strconv"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// limits compares the visit, and windows of time that it is in, with the ceilings of the formulary.
func (c *checker) limits() {
	for _, product := range c.named {
		for _, l := range c.e.Limits(product) {
			if l.DoseMilliunits == nil {
				continue
			}
			switch l.GetBasis() {
			case formularyv1.DoseBasis_DOSE_BASIS_SESSION:
				c.sessionLimit(product, l)
			case formularyv1.DoseBasis_DOSE_BASIS_WINDOW:
				c.windowLimit(product, l)
			}
		}
	}
}

func (c *checker) sessionLimit(product string, l *formularyv1.Limit) {
	most := int64(l.GetDoseMilliunits())
	total, _ := c.sum(product, func(i *injection) bool { return l.Target == nil || c.body.covers(l.GetTarget(), i.muscle) })
	if total <= most {
		return
	}
	c.say(said{code: CodeSessionLimit, level: l.GetLevel(), about: []string{"injections"}, of: l.GetCode(), source: l.GetProvenance(),
		figures: []string{"total_units", unitsDecimal(total), "most_units", unitsDecimal(most)},
		text: product + ", " + unitsText(product, total) + c.inTarget(l) + " in this visit, is more than the limit of " + unitsText(product, most) +
			"."})
}

func (c *checker) inTarget(l *formularyv1.Limit) string {
	if l.Target == nil {
		return ""
	}
	return " in the " + c.body.text(l.GetTarget())
}

// windowLimit counts all that the patient had in the window that ends on the day, this visit among it. What only something unknown may lift above the limit is
// a caution at most.
func (c *checker) windowLimit(product string, l *formularyv1.Limit) {
	period := periodOf(l.GetWindow())
	if period == (dose.Period{}) || l.Product == nil || c.f.History == nil {
		return
	}
	most := int64(l.GetDoseMilliunits())
	from := period.Since(c.day)
	sum := c.f.History.Window(dose.Product(product), l.GetTarget(), from, c.day)
	if !sum.Exceeds(most) {
		return
	}
	s := said{code: CodeWindowLimit, level: l.GetLevel(), about: []string{"injections"}, of: l.GetCode(), source: l.GetProvenance(),
		figures: []string{"least_units", sum.Least(), "limit_units", unitsDecimal(most)}}
	text := sum.Least() + " units"
	if decimal, known := sum.Most(); known {
		s.figures = append(s.figures, "most_units", decimal)
		if decimal != sum.Least() {
			text = "from " + sum.Least() + " to " + decimal + " units"
		}
	} else {
		text = "at least " + sum.Least() + " units and an unknown dose more"
		if !sum.Known().Exceeds(most) {
			s.level = formulary.Weaker(s.level, caution)
		}
	}
	s.text = product + ", " + text + c.inTarget(l) + " from " + from.String() + " to " + c.day.String() + ", this visit included: the limit is " +
		unitsText(product, most) + " in " + periodText(l.GetWindow().GetDays(), l.GetWindow().GetMonths()) + "."
	c.say(s)
}

func periodOf(p *formularyv1.Period) dose.Period {
	return dose.Period{Days: int(p.GetDays()), Months: int(p.GetMonths())}
}

// LongestLookBack is the first day whose treatments the edition's intervals and windows can reach from a day. Older ones decide nothing.
func LongestLookBack(e *formulary.Edition, day dose.Day) dose.Day {
	first := day
	for _, r := range e.IntervalRulesAfter("", "") {
		first = min(first, periodOf(r.GetLeast()).Since(day))
	}
	for _, p := range e.Products() {
		for _, l := range e.Limits(p.GetName()) {
			first = min(first, periodOf(l.GetWindow()).Since(day))
		}
	}
	return first - 1
}

// intervals says how long ago the patient was treated, at whatever clinic, and how far that is known.
func (c *checker) intervals() {
	c.knowledge()
	h := c.f.History
	if h == nil {
		c.say(said{code: CodeHistoryUnknown, about: []string{"history"},
			text: "What the patient had before is not known here, so intervals and sums were not checked."})
		return
	}
	after := dose.FirstDay
	if c.f.Self >= 0 {
		parent, not := h.Parent(c.f.Self)
		if not != dose.TouchUpHolds {
			c.say(said{code: CodeTouchUp, about: []string{"kind"},
				text: "This touch-up counts as a treatment of its own: " +
					"the window, product or area does not match the visit that it belongs to."})
		}
		if parent >= 0 {
			_, after = h.Days(parent)
			after++
		}
	}
	last := make(map[dose.Product]int)
	for i := range h.Len() {
		from, until := h.Days(i)
		if i == c.f.Self || from > c.day || !h.Possible(i) {
			continue
		}
		c.doubtful(i, from)
		if p, _ := h.Parent(i); p >= 0 || until < after {
			continue
		}
		for _, sum := range h.Sums(i) {
			had := sum.Given.Product()
			if j, ok := last[had]; !ok || c.latest(i) >= c.latest(j) {
				last[had] = i
			}
		}
	}
	for _, had := range sortedProducts(last) {
		c.interval(had, last[had])
	}
}

// latest is the latest day on which a treatment can have been, the day that is judged on at most.
func (c *checker) latest(i int) dose.Day {
	_, until := c.f.History.Days(i)
	return min(until, c.day)
}

func sortedProducts(last map[dose.Product]int) []dose.Product {
	all := make([]dose.Product, 0, len(last))
	for p := range last {
		all = append(all, p)
	}
	slices.Sort(all)
	return all
}

// doubtful cautions where a treatment's day, product or dose is not known. Unknown is never zero.
func (c *checker) doubtful(i int, from dose.Day) {
	what := ""
	if from == dose.FirstDay {
		what = "the day"
	}
	for _, sum := range c.f.History.Sums(i) {
		if _, known := sum.Given.Most(); !known || sum.Given.Product() == "" {
			what = "product or dose"
		}
	}
	if what == "" {
		return
	}
	c.say(said{code: CodeHistoryUnknown, about: []string{c.treatment(i)},
		text: "Of an earlier treatment " + what + " is not known. It counts for intervals and is never counted as zero."})
}

func (c *checker) treatment(i int) string {
	if i < len(c.f.Treatments) {
		return c.f.Treatments[i]
	}
	return "history[" + strconv.Itoa(i) + "]"
}

// interval looks for the rule that waits longest of the strongest that are not met: those of the product to be given after any, and those that count from the
// product that was had.
func (c *checker) interval(had dose.Product, i int) {
	first, _ := c.f.History.Days(i)
	from := c.latest(i)
	rules := c.rulesAfter(string(had))
	var worst *formularyv1.IntervalRule
	for _, r := range rules {
		if periodOf(r.GetLeast()).After(from) <= c.day {
			continue
		}
		if worst == nil || c.longer(r, worst, from) {
			worst = r
		}
	}
	name := string(had)
	if name == "" {
		name = "a product that is not known"
	}
	switch {
	case len(rules) == 0:
		c.say(said{code: CodeIntervalUnset, about: []string{c.treatment(i)}, of: string(had),
			text: "How long to wait after " + name + ": no published figure in the formulary; set by the medical lead."})
	case worst != nil:
		was := " was on "
		if first != from {
			was = " may have been as late as "
		}
		earliest := periodOf(worst.GetLeast()).After(from)
		s := said{code: CodeInterval, level: worst.GetLevel(), about: []string{c.treatment(i)}, of: string(had), source: worst.GetProvenance(),
			figures: []string{"since_days", strconv.FormatInt(int64(c.day-from), 10)}}
		if n := worst.GetLeast().GetDays(); n > 0 {
			s.figures = append(s.figures, "least_days", strconv.Itoa(int(n)))
		}
		if n := worst.GetLeast().GetMonths(); n > 0 {
			s.figures = append(s.figures, "least_months", strconv.Itoa(int(n)))
		}
		s.text = "The last treatment with " + name + was + from.String() + ", " + strconv.FormatInt(int64(c.day-from), 10) + " days before " +
			c.day.String() +
			"; the rule of " + periodText(worst.GetLeast().GetDays(), worst.GetLeast().GetMonths()) + " is met from " + earliest.String() + " on."
		c.say(s)
	}
}

// rulesAfter are the rules that count from a treatment with a product to one with the products of this visit.
func (c *checker) rulesAfter(had string) []*formularyv1.IntervalRule {
	rules := c.e.IntervalRulesAfter(had, c.f.Market)
	for _, product := range c.named {
		for _, r := range c.e.IntervalRules(product, c.f.Market) {
			if r.OtherProduct == nil && !slices.Contains(rules, r) {
				rules = append(rules, r)
			}
		}
	}
	return rules
}

func (c *checker) longer(a, b *formularyv1.IntervalRule, from dose.Day) bool {
	level := func(r *formularyv1.IntervalRule) formularyv1.Level {
		return formulary.Weaker(r.GetLevel(), formulary.MostLevel(r.GetProvenance()))
	}
	return cmp.Or(cmp.Compare(level(b), level(a)), cmp.Compare(periodOf(a.GetLeast()).After(from), periodOf(b.GetLeast()).After(from))) > 0
}

// knowledge says of which clinics it is not known whether their records are here.
func (c *checker) knowledge() {
	c.say(said{code: CodeElsewhere, about: []string{"knowledge"},
		text: "Other clinics not checked: what was done outside these records is known only where it was reported."})
	if len(c.f.Knowledge) == 0 {
		c.say(said{code: CodeClinicUnchecked, about: []string{"knowledge"}, text: "It is not known of any clinic until when its records are here."})
	}
	for _, k := range c.f.Knowledge {
		if _, ok := moment(k.GetCompleteUntil()); !ok {
			c.say(said{code: CodeClinicUnchecked, about: []string{keyOf(optionsv1.RecordKind_RECORD_KIND_CLINIC, k.GetClinicId())},
				text: UncheckedText(k.GetClinicId(), k.GetClinicName())})
		}
	}
}

// UncheckedText says that a clinic was not checked, by its name where that is known.
func UncheckedText(id, name string) string {
	return cmp.Or(name, "Clinic "+id) + " was not checked: it is not known whether all that was recorded there is here."
}
