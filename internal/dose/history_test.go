package dose_test

import (
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/dose"
)

const inco = dose.Product("incobotulinumtoxinA")

// world is one way in which a whole history may have been: one way of each giving, one day of each treatment.
type world struct {
	ways [][]dose.Way
	days []dose.Day
}

// worlds are all of them, by counting through every choice.
func worlds(treatments []dose.Treatment) []world {
	all := []world{{}}
	for _, t := range treatments {
		var givings [][]dose.Way
		for i, w := range t.Ways {
			if i == 0 || t.Ways[i-1].Giving != w.Giving {
				givings = append(givings, nil)
			}
			givings[len(givings)-1] = append(givings[len(givings)-1], w)
		}
		choices := [][]dose.Way{nil}
		for _, ways := range givings {
			var next [][]dose.Way
			for _, chosen := range choices {
				for _, w := range ways {
					next = append(next, append(append([]dose.Way(nil), chosen...), w))
				}
			}
			choices = next
		}
		var next []world
		for _, w := range all {
			for _, chosen := range choices {
				for d := t.From; d <= t.Until; d++ {
					next = append(next, world{append(append([][]dose.Way(nil), w.ways...), chosen), append(append([]dose.Day(nil), w.days...), d)})
				}
			}
		}
		all = next
	}
	return all
}

// sums are the least and the most of a world by product ("ona"), and by product, muscle and side ("ona m right").
func (w world) sums(from, until dose.Day) (least, most map[string]int64, unknown map[string]bool) {
	least, most, unknown = map[string]int64{}, map[string]int64{}, map[string]bool{}
	for i, ways := range w.ways {
		if w.days[i] < from || w.days[i] > until {
			continue
		}
		for _, g := range ways {
			if g.NotGiven {
				continue
			}
			for _, k := range []string{string(g.Product), fmt.Sprint(g.Product, " ", g.Muscle, " ", g.Side)} {
				least[k] += g.Least
				most[k] += g.Most
				unknown[k] = unknown[k] || g.Unknown
			}
		}
	}
	return least, most, unknown
}

func genWay(t *rapid.T, giving int) dose.Way {
	w := dose.Way{Giving: giving}
	if rapid.IntRange(0, 5).Draw(t, "not given") == 0 {
		w.NotGiven = true
		return w
	}
	w.Product = rapid.SampledFrom([]dose.Product{ona, inco, ""}).Draw(t, "product")
	w.Muscle = rapid.SampledFrom([]string{"", "m", "n"}).Draw(t, "muscle")
	w.Side = dose.Side(rapid.IntRange(0, 3).Draw(t, "side"))
	if w.Unknown = rapid.IntRange(0, 9).Draw(t, "unknown") == 0; !w.Unknown {
		w.Most = rapid.Int64Range(0, 5000).Draw(t, "most")
		w.Least = rapid.Int64Range(0, w.Most).Draw(t, "least")
	}
	return w
}

func genTreatment(t *rapid.T) dose.Treatment {
	from := dose.Day(rapid.IntRange(0, 6).Draw(t, "from"))
	tr := dose.Treatment{From: from, Until: from + dose.Day(rapid.IntRange(0, 2).Draw(t, "longer"))}
	for giving := range rapid.IntRange(0, 2).Draw(t, "givings") {
		for range rapid.IntRange(1, 3).Draw(t, "ways") {
			tr.Ways = append(tr.Ways, genWay(t, giving))
		}
	}
	return tr
}

// Sums against every world there may be: the least of a sum is the least in any world, the most the most in any, and it is open exactly when some world
// holds something unknown.
func TestTotalsAreTheRangeOverAllWorlds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var treatments []dose.Treatment
		for range rapid.IntRange(1, 2).Draw(t, "treatments") {
			treatments = append(treatments, genTreatment(t))
		}
		from := dose.Day(rapid.IntRange(0, 8).Draw(t, "window"))
		until := from + dose.Day(rapid.IntRange(0, 8).Draw(t, "length"))
		h, err := dose.NewHistory(treatments, nil)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]dose.Span{}
		for _, p := range h.Totals(from, until) {
			got[string(p.Given.Product())] = p.Given
			for _, target := range p.Targets {
				got[fmt.Sprint(p.Given.Product(), " ", target.Muscle, " ", target.Side)] = target.Given
			}
		}
		all := worlds(treatments)
		least, most, unknown := map[string]int64{}, map[string]int64{}, map[string]bool{}
		for k := range got {
			least[k] = 1 << 60
		}
		for _, w := range all {
			l, m, u := w.sums(from, until)
			for k := range m {
				most[k] = max(most[k], m[k])
				unknown[k] = unknown[k] || u[k]
				if _, there := got[k]; !there {
					t.Fatalf("no sum of %q in %v", k, got)
				}
			}
			for k := range got {
				least[k] = min(least[k], l[k])
			}
		}
		for k, s := range got {
			decimal, known := s.Most()
			if s.Least() != thousandths(least[k]) || known == unknown[k] || known && decimal != thousandths(most[k]) {
				t.Fatalf("%q: got %s to %s %v, want %d to %d %v of %+v", k, s.Least(), decimal, known, least[k], most[k], unknown[k], treatments)
			}
		}
		checkWindow(t, h, all, from, until)
	})
}

// checkWindow holds what a limit counts against the worlds: whatever product nobody knows may have been the one asked about.
func checkWindow(t *rapid.T, h *dose.History, all []world, from, until dose.Day) {
	for _, muscle := range []string{"", "m"} {
		leastOf, mostOf, open := int64(1<<60), int64(0), false
		for _, w := range all {
			var least, most int64
			for i, ways := range w.ways {
				for _, g := range ways {
					if g.NotGiven || w.days[i] < from || w.days[i] > until || g.Product != ona && g.Product != "" {
						continue
					}
					most += g.Most
					open = open || g.Unknown
					if g.Product == ona && (muscle == "" || g.Muscle == muscle) {
						least += g.Least
					}
				}
			}
			leastOf, mostOf = min(leastOf, least), max(mostOf, most)
		}
		s := h.Window(ona, muscle, from, until)
		// The most is that of the parts: two products of one giving in doubt may both count, which is the worse end and never the better.
		if decimal, known := s.Most(); known == open || known && less(decimal, thousandths(mostOf)) || muscle == "" && s.Least() != thousandths(leastOf) {
			t.Fatalf("window of %q: %s to %s %v, want %d to %d %v", muscle, s.Least(), decimal, known, leastOf, mostOf, open)
		}
		if less(thousandths(leastOf), s.Least()) {
			t.Fatalf("window of %q: least %s is more than %d", muscle, s.Least(), leastOf)
		}
	}
}

func thousandths(n int64) string { return amountOf(n).Decimal() }

func amountOf(n int64) dose.Amount {
	a, err := dose.NewAmount(ona, n)
	if err != nil {
		panic(err)
	}
	return a
}

func less(a, b string) bool {
	x, err := dose.ParseAmount(ona, a)
	if err != nil {
		panic(err)
	}
	y, err := dose.ParseAmount(ona, b)
	if err != nil {
		panic(err)
	}
	return x.Milliunits() < y.Milliunits()
}

// given is one way of one giving.
func given(n int, product dose.Product, muscle string, side dose.Side, milliunits int64) dose.Way {
	return dose.Way{Giving: n, Product: product, Muscle: muscle, Side: side, Least: milliunits, Most: milliunits}
}

// A touch-up holds when everything about it does; each other row differs from that in one thing. The window of 14 to 28 days is invented: nobody published
// one.
func TestTouchUps(t *testing.T) {
	rules := []dose.TouchUpRule{{Earliest: dose.Period{Days: 14}, Latest: dose.Period{Days: 28}}}
	base := func() []dose.Treatment {
		return []dose.Treatment{
			{ID: "t", From: 100, Until: 100, Ways: []dose.Way{given(0, ona, "mentalis", dose.SideRight, 5000), given(1, ona, "mentalis", dose.SideLeft, 5000)}},
			{ID: "u", From: 114, Until: 114, TouchUp: true, TouchUpOf: "t", Ways: []dose.Way{given(0, ona, "mentalis", dose.SideLeft, 1000)}},
		}
	}
	for _, c := range []struct {
		name   string
		change func([]dose.Treatment)
		rules  []dose.TouchUpRule
		want   dose.NotTouchUp
	}{
		{"it holds on the first day", func([]dose.Treatment) {}, rules, dose.TouchUpHolds},
		{"it holds on the last day", func(h []dose.Treatment) { h[1].From, h[1].Until = 128, 128 }, rules, dose.TouchUpHolds},
		{"too early", func(h []dose.Treatment) { h[1].From, h[1].Until = 113, 113 }, rules, dose.TouchUpOutsideWindow},
		{"too late", func(h []dose.Treatment) { h[1].From, h[1].Until = 129, 129 }, rules, dose.TouchUpOutsideWindow},
		{"too late if it was on its last day", func(h []dose.Treatment) { h[1].Until = 129 }, rules, dose.TouchUpOutsideWindow},
		{"too early if the parent was on its last day", func(h []dose.Treatment) { h[0].Until = 101 }, rules, dose.TouchUpOutsideWindow},
		{"another product", func(h []dose.Treatment) { h[1].Ways[0].Product = inco }, rules, dose.TouchUpOtherProduct},
		{"a product that nobody knows", func(h []dose.Treatment) { h[1].Ways[0].Product = "" }, rules, dose.TouchUpOtherProduct},
		{"another muscle", func(h []dose.Treatment) { h[1].Ways[0].Muscle = "procerus" }, rules, dose.TouchUpOtherArea},
		{"a muscle that nobody recorded", func(h []dose.Treatment) { h[1].Ways[0].Muscle = "" }, rules, dose.TouchUpOtherArea},
		{"no such parent", func(h []dose.Treatment) { h[1].TouchUpOf = "v" }, rules, dose.TouchUpParentUnknown},
		{"its own parent", func(h []dose.Treatment) { h[1].TouchUpOf = "u" }, rules, dose.TouchUpParentIsNone},
		{"the parent is a touch-up", func(h []dose.Treatment) { h[0].TouchUp = true }, rules, dose.TouchUpParentIsNone},
		{"the parent gave nothing", func(h []dose.Treatment) { h[0].Ways = nil }, rules, dose.TouchUpParentIsNone},
		{"the parent may have given nothing", func(h []dose.Treatment) {
			h[0].Ways = []dose.Way{given(0, ona, "mentalis", dose.SideRight, 5000), {NotGiven: true}}
		}, rules, dose.TouchUpParentIsNone},
		{"in doubt", func(h []dose.Treatment) { h[1].InDoubt = true }, rules, dose.TouchUpInDoubt},
		{"no window", func([]dose.Treatment) {}, nil, dose.TouchUpNoWindow},
		{"a window of another product", func([]dose.Treatment) {}, []dose.TouchUpRule{{Product: inco, Latest: dose.Period{Days: 28}}}, dose.TouchUpNoWindow},
		{"its product's own window comes before that for any", func([]dose.Treatment) {},
			append(rules[:1:1], dose.TouchUpRule{Product: ona, Earliest: dose.Period{Days: 15}, Latest: dose.Period{Days: 20}}), dose.TouchUpOutsideWindow},
	} {
		treatments := base()
		c.change(treatments)
		h, err := dose.NewHistory(treatments, c.rules)
		if err != nil {
			t.Fatal(err)
		}
		parent, not := h.Parent(1)
		if not != c.want || (parent == 0) != (c.want == dose.TouchUpHolds) {
			t.Errorf("%s: %d, %d", c.name, parent, not)
		}
		if last, ok := h.Last(dose.Which{Product: ona, Full: true}); c.want == dose.TouchUpHolds && (!ok || last != 0) {
			t.Errorf("%s: the last full treatment is %d", c.name, last)
		}
		if last, ok := h.Last(dose.Which{AnyProduct: true}); !ok || last != 1 {
			t.Errorf("%s: the last of any kind is %d", c.name, last)
		}
	}
}

func TestHistoriesRefused(t *testing.T) {
	for _, treatments := range [][]dose.Treatment{
		make([]dose.Treatment, dose.MaxTreatments+1),
		{{From: 2, Until: 1}},
		{{Ways: []dose.Way{{Least: -1}}}},
		{{Ways: []dose.Way{{Least: 2, Most: 1}}}},
		{{Ways: []dose.Way{{Most: dose.MaxMilliunits + 1}}}},
		{{Ways: []dose.Way{{Most: 1, Unknown: true}}}},
		{{Ways: []dose.Way{{Side: 9}}}},
		{{Ways: make([]dose.Way, dose.MaxWays+1)}},
	} {
		var input *dose.InputError
		if _, err := dose.NewHistory(treatments, nil); !errors.As(err, &input) {
			t.Errorf("%d treatments: %v", len(treatments), err)
		}
	}
}

func TestSpilled(t *testing.T) {
	for _, c := range []struct {
		milliunits  int64
		given, lost dose.Volume
		want        int64
	}{
		{4000, 100_000, 25_000, 1000}, {1000, 30_000, 10_000, 334}, {1000, 30_000, 0, 0}, {1000, 30_000, 30_000, 1000}, {1000, 30_000, 40_000, 1000},
		{1000, 0, 10, 1000}, {1000, -1, 10, 1000}, {1000, 30_000, -1, 1000}, {0, 30_000, 10, 0}, {1 << 62, 1 << 62, 1<<62 - 1, 1<<62 - 1},
	} {
		if got := dose.Spilled(c.milliunits, c.given, c.lost); got != c.want {
			t.Errorf("%d of %d lost: %d of %d milliunits, want %d", c.lost, c.given, got, c.milliunits, c.want)
		}
	}
}

func TestSpans(t *testing.T) {
	a, err := dose.NewSpan(ona, 1000, 2000)
	if err != nil {
		t.Fatal(err)
	}
	b, err := dose.NewSpan(ona, 500, 500)
	if err != nil {
		t.Fatal(err)
	}
	for want, s := range map[string]dose.Span{"1 to 2\u00a0units": a, "0.5\u00a0units": b, "at least 0\u00a0units and an unknown dose": dose.UnknownSpan(ona)} {
		if s.Display() != want {
			t.Errorf("%q, want %q", s.Display(), want)
		}
	}
	d, err := a.Minus(b)
	if most, known := d.Most(); err != nil || d.Least() != "0.5" || most != "1.5" || !known || d.Certain() {
		t.Errorf("%v, %v", d, err)
	}
	if d, err = b.Minus(a); err != nil || d.Least() != "-1.5" {
		t.Errorf("%v, %v", d, err)
	}
	var input *dose.InputError
	if _, err := a.Minus(dose.UnknownSpan(ona)); !errors.As(err, &input) {
		t.Errorf("something unknown was subtracted: %v", err)
	}
	sum, err := a.Plus(dose.UnknownSpan(ona))
	if _, known := sum.Most(); err != nil || known || sum.Least() != "1" || sum.Certain() || !sum.Exceeds(1<<62) {
		t.Errorf("%v, %v", sum, err)
	}
	other, err := dose.NewSpan(inco, 500, 500)
	if err != nil {
		t.Fatal(err)
	}
	var mixed *dose.MixedProductsError
	if _, err := a.Plus(other); !errors.As(err, &mixed) {
		t.Errorf("units of two products were added: %v", err)
	}
	if _, err := a.Minus(other); !errors.As(err, &mixed) {
		t.Errorf("units of two products were subtracted: %v", err)
	}
	c, err := dose.NewSpan(ona, 300, 300)
	if err != nil {
		t.Fatal(err)
	}
	if p, ok := c.PercentOfLarger(b); !ok || p.Number().Decimal != "-40" {
		t.Errorf("%v, %v", p, ok)
	}
	for _, s := range []dose.Span{a, other, dose.UnknownSpan(ona)} {
		if _, ok := b.PercentOfLarger(s); ok {
			t.Errorf("a share of %v", s)
		}
	}
	if _, err := dose.NewSpan(ona, 2, 1); err == nil {
		t.Error("a span that ends before it begins")
	}
}

// The last treatment is the one that can have been latest, whichever began first; of one day the later in the history.
func TestLastIsTheLatestPossible(t *testing.T) {
	once := []dose.Way{given(0, ona, "m", dose.SideLeft, 1000)}
	for _, c := range []struct {
		treatments []dose.Treatment
		want       int
	}{
		{[]dose.Treatment{{From: 1, Until: 10, Ways: once}, {From: 5, Until: 5, Ways: once}}, 0},
		{[]dose.Treatment{{From: 5, Until: 5, Ways: once}, {From: 1, Until: 10, Ways: once}}, 1},
		{[]dose.Treatment{{From: 5, Until: 5, Ways: once}, {From: 5, Until: 5, Ways: once}}, 1},
		{[]dose.Treatment{{From: 5, Until: 5, Ways: once}, {From: 6, Until: 6}}, 0},
		{[]dose.Treatment{{From: 5, Until: 5, Ways: once}, {From: 6, Until: 6, Ways: []dose.Way{given(0, ona, "m", dose.SideLeft, 0)}}}, 0},
	} {
		h, err := dose.NewHistory(c.treatments, nil)
		if err != nil {
			t.Fatal(err)
		}
		if last, ok := h.Last(dose.Which{Product: ona}); !ok || last != c.want {
			t.Errorf("%+v: the last is %d, want %d", c.treatments, last, c.want)
		}
		if _, ok := h.Last(dose.Which{Product: inco}); ok {
			t.Error("a product that was never given")
		}
	}
}
