package reckon

import (
	"strconv"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// answerProducts writes the history of each product that was ever given, with its sum over the window. Intervals and limits look at all that is known.
func (in *historyReader) answerProducts(response *dosev1.GetToxinHistoryResponse) {
	inWindow := make(map[dose.Product]dose.ProductSum)
	for _, sum := range in.history.Totals(in.from, in.until) {
		inWindow[sum.Given.Product()] = sum
	}
	for _, all := range in.history.Totals(dose.FirstDay, dose.LastDay) {
		product := all.Given.Product()
		if !all.Given.Possible() {
			continue
		}
		total, ok := inWindow[product]
		if !ok {
			total.Given, _ = dose.NewSpan(product, 0, 0) // nothing was in the window; zero is in range
		}
		p := &dosev1.ProductHistory{Product: string(product), Total: totalOf(total)}
		if last, ok := in.history.Last(dose.Which{Product: product}); ok {
			_, on := in.history.Days(last)
			p.LastOn, p.DaysSinceLast = dateOf(on), in.daysSince(on)
		}
		if last, ok := in.history.Last(dose.Which{Product: product, Full: true}); ok {
			_, on := in.history.Days(last)
			p.LastFullOn, p.DaysSinceLastFull = dateOf(on), in.daysSince(on)
		}
		response.Findings = append(response.Findings, in.intervals(p, product)...)
		response.Findings = append(response.Findings, in.windows(p, product)...)
		response.Products = append(response.Products, p)
	}
}

// intervals writes each rule that counts from this product, as written, with the first day that meets it. It counts from the last treatment of its own, by
// the latest day on which that can have been; one whose product nobody knows may have been this one. A touch-up that belongs to its parent moves nothing.
func (in *historyReader) intervals(p *dosev1.ProductHistory, product dose.Product) []*dosev1.Finding {
	rules := in.edition.IntervalRulesAfter(string(product), in.market)
	var worst *dosev1.Finding
	var worstDay dose.Day
	for _, rule := range rules {
		period := dose.Period{Days: int(rule.GetLeast().GetDays()), Months: int(rule.GetLeast().GetMonths())}
		which := dose.Which{Product: product, Unknown: true, Full: true, AnyProduct: rule.Product == nil && rule.OtherProduct == nil}
		last, ok := in.history.Last(which)
		if !ok || period == (dose.Period{}) {
			continue
		}
		first, from := in.history.Days(last)
		earliest := period.After(from)
		state := &dosev1.IntervalState{Days: rule.GetLeast().GetDays(), Months: rule.GetLeast().GetMonths(), EarliestOn: dateOf(earliest),
			Met: earliest <= in.on, Market: rule.GetMarket(), Source: cite(in.edition, rule.GetProvenance()), Product: rule.GetProduct(), CountedFrom: dateOf(from)}
		p.Intervals = append(p.Intervals, state)
		level := formulary.Weaker(rule.GetLevel(), formulary.MostLevel(rule.GetProvenance()))
		// Of several rules the strongest speaks, and of those the one that waits longest.
		if !state.Met && (worst == nil || level < worst.Level || level == worst.Level && earliest > worstDay) {
			worst, worstDay = in.intervalNotMet(product, state, level, first, from), earliest
		}
	}
	switch {
	case len(p.Intervals) == 0:
		return []*dosev1.Finding{{Code: CodeNoInterval, Level: formularyv1.Level_LEVEL_NOTE, About: []string{productText(product)},
			Text: "How long to wait after " + productText(product) + ": no published figure in the formulary; set by the medical lead."}}
	case worst != nil:
		return []*dosev1.Finding{worst}
	}
	return nil
}

func (in *historyReader) intervalNotMet(product dose.Product, s *dosev1.IntervalState, level formularyv1.Level, first, from dose.Day) *dosev1.Finding {
	days := int64(in.on - from)
	f := &dosev1.Finding{Code: CodeIntervalNotMet, Level: level, About: []string{productText(product)}, Source: s.GetSource(),
		Figures: map[string]string{"since_days": strconv.FormatInt(days, 10)}}
	if s.GetDays() > 0 {
		f.Figures["least_days"] = strconv.Itoa(int(s.GetDays()))
	}
	if s.GetMonths() > 0 {
		f.Figures["least_months"] = strconv.Itoa(int(s.GetMonths()))
	}
	was := " was on "
	if first != from {
		was = " may have been as late as "
	}
	f.Text = "The last treatment with " + productText(product) + was + from.String() + ", " + strconv.FormatInt(days, 10) +
		" days before " + in.on.String() + "; the rule of " + periodText(s.GetDays(), s.GetMonths()) + " is met from " + dayText(s.GetEarliestOn()) + " on."
	return f
}

func productText(p dose.Product) string {
	if p == "" {
		return "a product that is not known"
	}
	return string(p)
}

// periodText is a rule's time as written.
func periodText(days, months int32) string {
	switch {
	case months == 0:
		return strconv.Itoa(int(days)) + " days"
	case days == 0:
		return strconv.Itoa(int(months)) + " calendar months"
	default:
		return strconv.Itoa(int(months)) + " calendar months and " + strconv.Itoa(int(days)) + " days"
	}
}

// windows writes the sum in each window that a limit watches, touch-ups and treatments for a disease included.
func (in *historyReader) windows(p *dosev1.ProductHistory, product dose.Product) []*dosev1.Finding {
	var found []*dosev1.Finding
	for _, l := range in.edition.Limits(string(product)) {
		period := dose.Period{Days: int(l.GetWindow().GetDays()), Months: int(l.GetWindow().GetMonths())}
		if product == "" || l.GetBasis() != formularyv1.DoseBasis_DOSE_BASIS_WINDOW || l.Product == nil || period == (dose.Period{}) {
			continue
		}
		from := period.Since(in.on)
		sum := in.history.Window(product, l.GetTarget(), from, in.on)
		w := &dosev1.WindowTotal{From: dateOf(from), Until: dateOf(in.on), Given: &dosev1.DoseSpan{}, Target: l.GetTarget(), Source: cite(in.edition, l.GetProvenance())}
		writeSpan(w.Given, sum)
		p.Windows = append(p.Windows, w)
		if l.DoseMilliunits == nil {
			continue
		}
		most, err := dose.NewAmount(product, int64(l.GetDoseMilliunits()))
		if err != nil {
			continue
		}
		w.LimitUnits = most.Decimal()
		if sum.Exceeds(most.Milliunits()) {
			found = append(found, in.windowAboveMost(product, l, w, sum, most))
		}
	}
	return found
}

func (in *historyReader) windowAboveMost(product dose.Product, l *formularyv1.Limit, w *dosev1.WindowTotal, sum dose.Span, most dose.Amount) *dosev1.Finding {
	level := formulary.Weaker(l.GetLevel(), formulary.MostLevel(l.GetProvenance()))
	decimal, known := sum.Most()
	f := &dosev1.Finding{Code: CodeWindowAboveMost, Level: level, About: []string{string(product)}, Source: w.GetSource(),
		Figures: map[string]string{"least_units": sum.Least(), "limit_units": most.Decimal()}}
	if known {
		f.Figures["most_units"] = decimal
	} else if !sum.Known().Exceeds(most.Milliunits()) {
		f.Level = formulary.Weaker(level, formularyv1.Level_LEVEL_CAUTION)
	}
	f.Text = "From " + dayText(w.GetFrom()) + " to " + dayText(w.GetUntil()) + " the patient had " + sum.Display() + " of " + string(product) + "; the limit is " +
		most.Display() + " in " + periodText(l.GetWindow().GetDays(), l.GetWindow().GetMonths()) + "."
	return f
}
