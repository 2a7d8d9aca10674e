package figure

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
)

// Tally counts visits. Its zero value is ready once Step is set. It is for one goroutine.
type Tally struct {
	Step       tracev1.FigureStep // unspecified means months
	kinds      map[chartv1.SessionKind]uint32
	units      map[cell]*amount
	rates      map[string]*tracev1.RegionRate
	intervals  map[string][]uint32
	inConflict uint32
}

// cell is a product, muscle and side in one step of time.
type cell struct {
	chart.Target
	from time.Time
}

type amount struct {
	chart.Range
	sessions uint32
}

// Add takes a visit in.
func (t *Tally) Add(v *Visit) {
	if t.kinds == nil {
		t.kinds, t.units = map[chartv1.SessionKind]uint32{}, map[cell]*amount{}
		t.rates, t.intervals = map[string]*tracev1.RegionRate{}, map[string][]uint32{}
	}
	t.kinds[v.Kind]++
	if v.InConflict {
		t.inConflict++
	}
	for _, target := range v.Given.Targets() {
		at := cell{target, stepOf(v.On, t.Step)}
		if t.units[at] == nil {
			t.units[at] = &amount{}
		}
		given := v.Given.To(target)
		t.units[at].Least += given.Least
		t.units[at].Most += given.Most
		t.units[at].sessions++
	}
}

// Followed takes in how a treatment went on: by the visits that name it as the one they follow up.
func (t *Tally) Followed(treatment *Visit, by []*Visit) {
	for _, region := range treatment.Regions() {
		r := t.rates[region]
		if r == nil {
			r = &tracev1.RegionRate{Region: region}
			t.rates[region] = r
		}
		r.Treatments++
		var touched, reviewed, unlike bool
		for _, f := range by {
			touched = touched || f.Kind == chartv1.SessionKind_SESSION_KIND_TOUCH_UP && slices.Contains(f.Regions(), region)
			differs, seen := f.Unlike(region)
			reviewed, unlike = reviewed || seen, unlike || differs
		}
		r.TouchedUp += count(touched)
		r.Reviewed += count(reviewed)
		r.Unlike += count(unlike)
	}
}

func count(is bool) uint32 {
	if is {
		return 1
	}
	return 0
}

// Interval takes in how many days lie between two treatments of one patient with a product.
func (t *Tally) Interval(product string, days int) {
	if days >= 0 {
		t.intervals[product] = append(t.intervals[product], uint32(days))
	}
}

// stepOf is the first day of the step that a day is in.
func stepOf(on time.Time, step tracev1.FigureStep) time.Time {
	y, m, _ := on.Date()
	switch step {
	case tracev1.FigureStep_FIGURE_STEP_YEAR:
		return time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC)
	case tracev1.FigureStep_FIGURE_STEP_WEEK:
		return on.AddDate(0, 0, -(int(on.Weekday())+6)%7)
	}
	return time.Date(y, m, 1, 0, 0, 0, 0, time.UTC)
}

// Fill writes the figures into an answer.
func (t *Tally) Fill(out *tracev1.GetFiguresResponse) {
	for _, k := range slices.Sorted(maps.Keys(t.kinds)) {
		out.Kinds = append(out.Kinds, &tracev1.KindCount{Kind: k, Sessions: t.kinds[k]})
	}
	cells := slices.SortedFunc(maps.Keys(t.units), func(a, b cell) int {
		return cmp.Or(cmp.Compare(a.Product, b.Product), a.from.Compare(b.from), cmp.Compare(a.Muscle, b.Muscle), cmp.Compare(a.Side, b.Side))
	})
	for _, c := range cells {
		row := &tracev1.UnitsOverTime{Product: c.Product, Muscle: c.Muscle, StepFrom: dateOf(c.from), Dose: Span(t.units[c].Range), Sessions: t.units[c].sessions}
		if c.Side != chartv1.Side_SIDE_UNSPECIFIED {
			row.Side = c.Side.Enum()
		}
		out.Units = append(out.Units, row)
	}
	for _, region := range slices.Sorted(maps.Keys(t.rates)) {
		r := t.rates[region]
		r.TouchedUpPercent, r.UnlikePercent = percent(r.GetTouchedUp(), r.GetTreatments()), percent(r.GetUnlike(), r.GetReviewed())
		out.Rates = append(out.Rates, r)
	}
	for _, product := range slices.Sorted(maps.Keys(t.intervals)) {
		days := t.intervals[product]
		slices.Sort(days)
		out.Intervals = append(out.Intervals, &tracev1.IntervalFigure{
			Product: product, Count: uint32(len(days)), LeastDays: days[0], MedianDays: days[(len(days)-1)/2], MostDays: days[len(days)-1], Days: days,
		})
	}
	out.InConflict = t.inConflict
}

// percent is part of whole in per cent, to one decimal, a half going to the even digit; empty of nothing.
func percent(part, whole uint32) string {
	if whole == 0 {
		return ""
	}
	n, rest := uint64(part)*1000/uint64(whole), uint64(part)*1000%uint64(whole)
	if 2*rest > uint64(whole) || 2*rest == uint64(whole) && n%2 == 1 {
		n++
	}
	return strconv.FormatUint(n/10, 10) + "." + strconv.FormatUint(n%10, 10)
}

// Span is a range of milliunits as a message.
func Span(r chart.Range) *dosev1.DoseSpan {
	most := chart.Units(r.Most)
	return &dosev1.DoseSpan{LeastUnits: chart.Units(r.Least), MostUnits: &most, Certain: r.Certain()}
}

func dateOf(t time.Time) *recordv1.Date {
	return &recordv1.Date{Year: int32(t.Year()), Month: int32(t.Month()), Day: int32(t.Day())}
}
