package chart

import (
	"cmp"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// Target is what a dose was given of and where: product, muscle, and the patient's own side. An empty muscle and side 0 are ones that were not
// recorded.
type Target struct {
	Product string
	Muscle  string
	Side    chartv1.Side
}

// possible is one way in which a giving may have been: what it is if one choice is made for each of its fields in conflict. Least is less than most
// where something was lost.
type possible struct {
	target      Target
	least, most int64 // milliunits
}

// Given is what was given in a session. Voided givings do not count; where values are in conflict a sum is a range from the least to the most that
// they allow. What leaked or was spilled may have gone to waste: by its share of the volume, and when that is unknown, all of it.
type Given struct {
	Session record.Key
	givings [][]possible
	// Held is how many held edits would change givings; the sums are without them.
	Held int
}

// FoldSession folds the givings of a session. A planned injection that was voided keeps what was given of it.
func FoldSession(st *record.State, held []wire.Held) Given {
	g := Given{Session: st.Key}
	e := elementsOf(st)
	maybe, always := e.voided("")
	for _, injection := range e.in("", "injections") {
		for _, giving := range e.in(injection, "givings") {
			ways := e.giving(injection, giving, maybe)
			if _, never := e.voided(giving); !never && !always {
				g.givings = append(g.givings, ways)
			}
		}
	}
	g.Held = heldWithin(st.Key.Kind, "injections", held)
	return g
}

// giving is every way in which a giving may have been.
func (e elements) giving(injection, giving record.Path, sessionMaybeVoid bool) []possible {
	var ways []possible
	if maybe, _ := e.voided(giving); maybe || sessionMaybeVoid {
		ways = append(ways, possible{})
	}
	sides := e.sides(injection, giving)
	for _, muscle := range e.texts(injection, "muscle") {
		for _, side := range sides {
			for _, given := range messages[*chartv1.GivenDose](e, giving, "given") {
				for _, spill := range messages[*chartv1.Spill](e, giving, "spill") {
					w := possible{target: Target{given.GetDose().GetProduct(), muscle, side}, most: int64(given.GetDose().GetDoseMilliunits())}
					w.least = w.most - lost(given, spill)
					ways = append(ways, w)
				}
			}
		}
	}
	return ways
}

// sides is the sides that a giving may have been on: its own, else the injection's.
func (e elements) sides(injection, giving record.Path) []chartv1.Side {
	var out []chartv1.Side
	for _, v := range e.options(giving, "side") {
		if v.IsValid() {
			out = append(out, chartv1.Side(v.Enum()))
			continue
		}
		for _, w := range e.options(injection, "side") {
			side := chartv1.Side_SIDE_UNSPECIFIED
			if w.IsValid() {
				side = chartv1.Side(w.Enum())
			}
			out = append(out, side)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// lost is how many milliunits of a giving may not have reached the muscle, rounded up; all where nobody knows how much was spilled.
func lost(given *chartv1.GivenDose, spill *chartv1.Spill) int64 {
	if spill == nil {
		return 0
	}
	volume := dose.Volume(-1)
	if spill.LostNanoliters != nil {
		volume = dose.Volume(spill.GetLostNanoliters())
	}
	return dose.Spilled(int64(given.GetDose().GetDoseMilliunits()), dose.Volume(given.GetVolumeNanoliters()), volume)
}

// Sum is how many milliunits were given to the targets that match.
func (g Given) Sum(match func(Target) bool) Range {
	var sum Range
	for _, ways := range g.givings {
		one := Range{Least: -1}
		for _, w := range ways {
			least, most := w.least, w.most
			if !match(w.target) {
				least, most = 0, 0
			}
			if one.Least < 0 || least < one.Least {
				one.Least = least
			}
			one.Most = max(one.Most, most)
		}
		sum = sum.plus(one)
	}
	return sum
}

// Targets is every target that something was given to, or may have been, ascending by product, muscle and side.
func (g Given) Targets() []Target {
	var out []Target
	for _, ways := range g.givings {
		for _, w := range ways {
			if w.target.Product != "" {
				out = append(out, w.target)
			}
		}
	}
	slices.SortFunc(out, func(a, b Target) int {
		return cmp.Or(cmp.Compare(a.Product, b.Product), cmp.Compare(a.Muscle, b.Muscle), cmp.Compare(a.Side, b.Side))
	})
	return slices.Compact(out)
}

// Products is every product that was given, or may have been, ascending.
func (g Given) Products() []string {
	var out []string
	for _, t := range g.Targets() {
		out = append(out, t.Product)
	}
	return slices.Compact(out)
}

// Of is how many milliunits of a product were given in all.
func (g Given) Of(product string) Range {
	return g.Sum(func(t Target) bool { return t.Product == product })
}

// To is how many milliunits were given to one target.
func (g Given) To(target Target) Range {
	return g.Sum(func(t Target) bool { return t == target })
}

// heldWithin counts the held edits that wait and write into a collection of the record.
func heldWithin(kind record.Kind, collection string, held []wire.Held) int {
	fd := named(kind, "", collection)
	if fd == nil {
		return 0
	}
	n := 0
	for i := range held {
		if waits(held[i].Status) && slices.ContainsFunc(held[i].Edit.Writes, func(w record.Write) bool {
			if w.Path == "" {
				return false
			}
			step, _ := w.Path.Cut()
			return step.Field == uint32(fd.Number())
		}) {
			n++
		}
	}
	return n
}
