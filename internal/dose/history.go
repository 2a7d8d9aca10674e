package dose

import (
	"cmp"
	"math/bits"
	"slices"
	"strconv"
)

// Bounds of a history.
const (
	// MaxTreatments is the most treatments, MaxWays the most ways of all their givings together.
	MaxTreatments = 2000
	MaxWays       = 1_000_000
)

// Way is one way in which a giving may have been. Where records agree a giving has one way; where they are in conflict it has several, of which one is
// true.
type Way struct {
	// Product is what was given; empty when nobody knows.
	Product Product
	// Muscle is empty when it was not recorded.
	Muscle string
	// Least and Most are the dose in thousandths of a unit, 0 to MaxMilliunits; they differ where something was lost. Unknown says that the dose is not
	// known; both are then zero.
	Least, Most int64
	// Giving is which giving of the treatment it is a way of: ways of one giving follow one another.
	Giving int
	Side   Side
	// NotGiven says that the giving may not have been at all; all else but Giving is then empty.
	NotGiven bool
	Unknown  bool
}

// Treatment is one visit at which something was or may have been given, or one that was reported from elsewhere.
type Treatment struct {
	// ID names it; TouchUpOf of others refers to it. Empty for one that nothing can refer to.
	ID string
	// From and Until are the days between which it was, both included; equal when its day is known.
	From, Until Day
	// TouchUp says that it was declared a touch-up, and TouchUpOf of which treatment; InDoubt that this is in conflict.
	TouchUp, InDoubt bool
	TouchUpOf        string
	Ways             []Way
}

// TouchUpRule is the window inside which a touch-up belongs to its parent.
type TouchUpRule struct {
	// Product is the product that it is for; empty for any that has no rule of its own.
	Product Product
	// Earliest and Latest are the least and the most time after the parent.
	Earliest, Latest Period
}

// NotTouchUp is why a treatment that was declared a touch-up counts as a treatment of its own.
type NotTouchUp uint8

// The reasons. Each is about the declaration, the first that holds.
const (
	TouchUpHolds NotTouchUp = iota
	TouchUpInDoubt
	TouchUpParentUnknown
	TouchUpParentIsNone
	TouchUpOtherProduct
	TouchUpOtherArea
	TouchUpNoWindow
	TouchUpOutsideWindow
)

// ProductSum is what was given of one product, and where.
type ProductSum struct {
	Given Span
	// Targets are by muscle, then side.
	Targets []TargetSum
}

// TargetSum is what was given of one product to one muscle and side.
type TargetSum struct {
	Muscle string
	Side   Side
	Given  Span
}

// Spilled is how many milliunits of a dose may not have reached the muscle when so much of its volume was lost, rounded up; all of them when either
// volume is not known, which is any below zero, or the volume given is zero.
func Spilled(milliunits int64, given, lost Volume) int64 {
	if lost < 0 || given <= 0 || lost >= given || milliunits <= 0 {
		return max(milliunits, 0)
	}
	hi, lo := bits.Mul64(uint64(milliunits), uint64(lost))
	lo, carry := bits.Add64(lo, uint64(given-1), 0)
	share, _ := bits.Div64(hi+carry, lo, uint64(given)) // less than the dose, so it fits
	return int64(share)
}

// History is treatments, judged and summed. It does not change and keeps nothing it was given but the strings.
type History struct {
	treatments []judged
	keys       []key
}

// judged is a treatment with its sums.
type judged struct {
	from, until Day
	parent      int // -1 for a treatment of its own
	not         NotTouchUp
	sums        []cell // ascending by key
}

// key is what a sum is over: a product, or one of its muscles and sides.
type key struct {
	product Product
	whole   bool
	muscle  string
	side    Side
}

type cell struct {
	key  int32
	span Span
}

// NewHistory judges and sums the treatments, which it keeps in their order. A treatment at which nothing can have been given is kept, and counts for
// nothing. Errors are *InputError: a figure outside its range.
func NewHistory(treatments []Treatment, rules []TouchUpRule) (*History, error) {
	if err := checkTreatments(treatments); err != nil {
		return nil, err
	}
	h := &History{treatments: make([]judged, len(treatments))}
	h.sum(treatments)
	byID := make(map[string]int, len(treatments))
	for i := range treatments {
		if id := treatments[i].ID; id != "" {
			byID[id] = i
		}
	}
	for i := range treatments {
		h.treatments[i].parent = -1
		if treatments[i].TouchUp {
			parent, not := judgeTouchUp(treatments, i, byID, rules)
			h.treatments[i].not = not
			if not == TouchUpHolds {
				h.treatments[i].parent = parent
			}
		}
	}
	return h, nil
}

func checkTreatments(treatments []Treatment) error {
	if len(treatments) > MaxTreatments {
		return &InputError{Field: "treatments", Rule: RuleTooMany, Read: strconv.Itoa(len(treatments))}
	}
	ways := 0
	for i := range treatments {
		t := &treatments[i]
		if t.From > t.Until {
			return &InputError{Field: field("treatments", i, "until"), Rule: RuleRange, Read: t.Until.String()}
		}
		for _, w := range t.Ways {
			if w.Least < 0 || w.Most < w.Least || w.Most > MaxMilliunits || w.Unknown && w.Most != 0 || w.Side >= sideCount {
				return &InputError{Field: field("treatments", i, "ways"), Rule: RuleRange, Read: formatScaled(w.Least, UnitsDecimals)}
			}
		}
		ways += len(t.Ways)
	}
	if ways > MaxWays {
		return &InputError{Field: "treatments", Rule: RuleTooMany, Read: strconv.Itoa(ways)}
	}
	return nil
}

// sum names every key once, in order, and adds up each treatment. Each way is looked up once: a history of ten years has thousands.
func (h *History) sum(treatments []Treatment) {
	names := namer{index: make(map[key]int32)}
	n := 0
	for i := range treatments {
		n += len(treatments[i].Ways)
	}
	keyOf := make([]int32, 0, n)
	for i := range treatments {
		for j := range treatments[i].Ways {
			k := int32(-1)
			if w := &treatments[i].Ways[j]; !w.NotGiven {
				k = names.name(w.key())
			}
			keyOf = append(keyOf, k)
		}
	}
	for _, k := range slices.Clone(names.keys) {
		names.name(key{product: k.product, whole: true})
	}
	place := names.sort()
	h.keys = names.keys
	s := summer{keys: h.keys, whole: names.wholes(), at: make([]Span, len(h.keys)), seen: make([]bool, len(h.keys))}
	for i, at := 0, 0; i < len(treatments); i++ {
		t := &treatments[i]
		keys := keyOf[at : at+len(t.Ways)]
		at += len(t.Ways)
		for j := range keys {
			if keys[j] >= 0 {
				keys[j] = place[keys[j]]
			}
		}
		h.treatments[i] = judged{from: t.From, until: t.Until, sums: s.treatment(t.Ways, keys)}
	}
}

// namer numbers keys.
type namer struct {
	index map[key]int32
	keys  []key
}

func (n *namer) name(k key) int32 {
	i, known := n.index[k]
	if !known {
		i = int32(len(n.keys))
		n.index[k] = i
		n.keys = append(n.keys, k)
	}
	return i
}

// sort puts the keys in order and returns the place of each former number.
func (n *namer) sort() []int32 {
	order := make([]int32, len(n.keys))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return compareKeys(n.keys[a], n.keys[b]) })
	place, sorted := make([]int32, len(order)), make([]key, len(order))
	for i, former := range order {
		place[former], sorted[i] = int32(i), n.keys[former]
	}
	n.keys = sorted
	return place
}

// wholes is, for each key in order, the key of its product's whole, which stands first of the product.
func (n *namer) wholes() []int32 {
	wholes := make([]int32, len(n.keys))
	whole := int32(0)
	for i := range n.keys {
		if n.keys[i].whole {
			whole = int32(i)
		}
		wholes[i] = whole
	}
	return wholes
}

func (w *Way) key() key { return key{product: w.Product, muscle: w.Muscle, side: w.Side} }

func (w *Way) span() Span {
	return Span{product: w.Product, least: w.Least, most: w.Most, open: w.Unknown}
}

// compareKeys orders by product with its whole first, then muscle and side; what nobody knows comes last.
func compareKeys(a, b key) int {
	unknown := func(k key) int {
		if k.product == "" {
			return 1
		}
		return 0
	}
	whole := func(k key) int {
		if k.whole {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(unknown(a), unknown(b)), cmp.Compare(a.product, b.product), cmp.Compare(whole(a), whole(b)),
		cmp.Compare(a.muscle, b.muscle), cmp.Compare(a.side, b.side))
}

// summer adds up the ways of one treatment after the other.
type summer struct {
	keys    []key
	whole   []int32 // by key
	at      []Span
	seen    []bool
	touched []int32
}

// treatment adds up ways whose keys are beside them.
func (s *summer) treatment(ways []Way, keys []int32) []cell {
	for from := 0; from < len(ways); {
		to := from + 1
		for to < len(ways) && ways[to].Giving == ways[from].Giving {
			to++
		}
		s.giving(ways[from:to], keys[from:to])
		from = to
	}
	slices.Sort(s.touched)
	cells := make([]cell, len(s.touched))
	for i, k := range s.touched {
		cells[i] = cell{k, s.at[k]}
		s.at[k], s.seen[k] = Span{}, false
	}
	s.touched = s.touched[:0]
	return cells
}

// giving adds one giving to each sum that it may belong to. A sum that it belongs to in some of its ways only may be without it.
func (s *summer) giving(ways []Way, keys []int32) {
	if len(ways) == 1 {
		if keys[0] >= 0 {
			s.add(keys[0], ways[0].span())
			s.add(s.whole[keys[0]], ways[0].span())
		}
		return
	}
	var sums []int32
	for _, k := range keys {
		if k >= 0 {
			sums = append(sums, k, s.whole[k])
		}
	}
	slices.Sort(sums)
	for _, k := range slices.Compact(sums) {
		s.add(k, either(ways, s.keys[k]))
	}
}

// either is what a giving adds to one sum, whichever of its ways is true.
func either(ways []Way, k key) Span {
	out := Span{product: k.product, least: maxSpanMilliunits}
	for i := range ways {
		w := &ways[i]
		if w.NotGiven || w.Product != k.product || !k.whole && w.key() != k {
			out.least = 0
			continue
		}
		out.least, out.most, out.open = min(out.least, w.Least), max(out.most, w.Most), out.open || w.Unknown
	}
	return out
}

// add cannot overflow: MaxWays x MaxMilliunits is maxSpanMilliunits.
func (s *summer) add(k int32, add Span) {
	if !s.seen[k] {
		s.seen[k] = true
		s.touched = append(s.touched, k)
	}
	at := &s.at[k]
	*at = Span{add.product, at.least + add.least, at.most + add.most, at.open || add.open}
}
