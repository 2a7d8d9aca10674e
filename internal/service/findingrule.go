package service

import (
	"cmp"
	"slices"

	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/guard"
)

// earliest is the first day of two sessions; nil when neither has one.
func earliest(a, b *chart.Facts) *recordv1.Date {
	days := slices.Concat(a.Days, b.Days)
	if len(days) == 0 {
		return nil
	}
	return slices.MinFunc(days, func(x, y *recordv1.Date) int { return cmp.Compare(dateNumber(x), dateNumber(y)) })
}

// longestInterval is the edition's rule that asks for the most days between two treatments with a product, the first on a day. Rules written in months
// are counted from that day by the calendar. Which market a clinic is of is not asked: the longest speaks.
func longestInterval(e *formulary.Edition, product string, from *recordv1.Date) (longest chart.IntervalRule, ok bool) {
	day, err := dose.NewDay(int(from.GetYear()), int(from.GetMonth()), int(from.GetDay()))
	if err != nil {
		return longest, false
	}
	for _, r := range e.IntervalRules(product, "") {
		if r.OtherProduct != nil && r.GetOtherProduct() != product {
			continue
		}
		least := dose.Period{Days: int(r.GetLeast().GetDays()), Months: int(r.GetLeast().GetMonths())}
		if days := int(least.After(day) - day); days > longest.Days {
			longest, ok = chart.IntervalRule{Product: product, Days: days, Level: r.GetLevel(), Source: guard.Cite(e, r.GetProvenance())}, true
		}
	}
	return longest, ok
}
