package dose_test

import (
	"errors"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"needlebook/internal/dose"
)

// twin is the slow second reckoning of a candidate's merit, in rational numbers from the rule of docs/arithmetic.md. Only how injections are shared out
// among syringes is taken from PlanDraw, which TestSyringesAreFilledByTheRule holds to its rule.
type twin struct {
	index                     int
	worst, apart, slip        *big.Rat
	syringes                  int
	left                      *big.Rat
	diluent, capacity         dose.Volume
	content                   int64
	graduation                dose.Volume
	greatest, mostDelivered   *big.Rat
	vials                     int64
	nothing                   []int
	worstAt                   int
	unitsPerML, gradation     *big.Rat
	exactSoFar, roundedBefore map[dose.Side]*big.Rat
}

// twinOf reckons one candidate; nil when PlanDraw refuses it.
func twinOf(t *testing.T, r dose.AdviceRequest, i int) *twin {
	t.Helper()
	c := r.Candidates[i]
	prepared, err := dose.Prepare(c.Vial, c.Syringe.Graduation)
	if err != nil {
		return nil
	}
	plan, err := dose.PlanDraw(dose.DrawRequest{Concentration: prepared.Concentration, Syringe: c.Syringe, Injections: r.Injections})
	if err != nil {
		return nil
	}
	volume := c.Vial.Diluent + c.Vial.Liquid
	w := &twin{index: i, syringes: len(plan.Syringes), diluent: c.Vial.Diluent, capacity: c.Syringe.Capacity, content: c.Vial.Content.Milliunits(),
		graduation: c.Syringe.Graduation, unitsPerML: new(big.Rat).Quo(units(c.Vial.Content), ml(volume)), gradation: ml(c.Syringe.Graduation),
		worst: new(big.Rat), greatest: new(big.Rat), mostDelivered: new(big.Rat), exactSoFar: map[dose.Side]*big.Rat{}, roundedBefore: map[dose.Side]*big.Rat{}}
	w.slip = new(big.Rat).Mul(w.gradation, w.unitsPerML)
	given := w.injections(r.Injections)
	taken := new(big.Rat)
	for _, s := range plan.Syringes {
		taken.Add(taken, ml(s.DrawTo+c.Syringe.DeadSpace))
	}
	vials := ceiling(new(big.Rat).Quo(taken, ml(volume)))
	w.vials = vials.Int64()
	w.left = new(big.Rat).Sub(new(big.Rat).Mul(new(big.Rat).SetInt(vials), units(c.Vial.Content)), given)
	return w
}

// injections walks the doses and returns the units delivered in all.
func (w *twin) injections(injections []dose.Injection) *big.Rat {
	given := new(big.Rat)
	rightLess := map[string]*big.Rat{"": new(big.Rat)} // by muscle; "" is the whole plan
	sides := map[string]map[dose.Side]bool{"": {}}
	for i, in := range injections {
		if w.exactSoFar[in.Side] == nil {
			w.exactSoFar[in.Side], w.roundedBefore[in.Side] = new(big.Rat), new(big.Rat)
		}
		exact := new(big.Rat).Quo(units(in.Dose), w.unitsPerML)
		soFar := w.exactSoFar[in.Side].Add(w.exactSoFar[in.Side], exact)
		rounded := new(big.Rat).Mul(new(big.Rat).SetInt(nearestHalfDown(new(big.Rat).Quo(soFar, w.gradation))), w.gradation)
		delivered := new(big.Rat).Sub(rounded, w.roundedBefore[in.Side])
		w.roundedBefore[in.Side] = rounded
		got := new(big.Rat).Mul(delivered, w.unitsPerML)
		given.Add(given, got)
		off := new(big.Rat).Sub(got, units(in.Dose))
		if share := new(big.Rat).Quo(new(big.Rat).Abs(off), units(in.Dose)); share.Cmp(w.worst) > 0 {
			w.worst, w.worstAt = share, i
		}
		if delivered.Sign() == 0 {
			w.nothing = append(w.nothing, i)
		}
		w.greatest, w.mostDelivered = larger(w.greatest, exact), larger(w.mostDelivered, delivered)
		for _, muscle := range slices.Compact([]string{"", in.Muscle}) {
			if rightLess[muscle] == nil {
				rightLess[muscle], sides[muscle] = new(big.Rat), map[dose.Side]bool{}
			}
			sides[muscle][in.Side] = true
			switch in.Side {
			case dose.SideRight:
				rightLess[muscle].Add(rightLess[muscle], off)
			case dose.SideLeft:
				rightLess[muscle].Sub(rightLess[muscle], off)
			}
		}
	}
	w.worst.Mul(w.worst, big.NewRat(100, 1))
	w.apart = new(big.Rat)
	for muscle, off := range rightLess {
		if sides[muscle][dose.SideRight] && sides[muscle][dose.SideLeft] {
			w.apart = larger(w.apart, new(big.Rat).Abs(off))
		}
	}
	return given
}

func larger(a, b *big.Rat) *big.Rat {
	if b.Cmp(a) > 0 {
		return b
	}
	return a
}

// better says whether w stands before o, one criterion after the other.
func (w *twin) better(o *twin) bool {
	for _, c := range []int{w.worst.Cmp(o.worst), w.apart.Cmp(o.apart), w.slip.Cmp(o.slip)} {
		if c != 0 {
			return c < 0
		}
	}
	if w.syringes != o.syringes {
		return w.syringes < o.syringes
	}
	if c := w.left.Cmp(o.left); c != 0 {
		return c < 0
	}
	for _, c := range [][2]int64{{int64(w.diluent), int64(o.diluent)}, {int64(w.capacity), int64(o.capacity)}, {w.content, o.content},
		{int64(w.graduation), int64(o.graduation)}, {int64(w.index), int64(o.index)}} {
		if c[0] != c[1] {
			return c[0] < c[1]
		}
	}
	return false
}

// randomAdvice is what a clinic could ask: one to three vials, several diluents and syringes, a plan of some sides and muscles.
func randomAdvice(t *testing.T, rng *rand.Rand) dose.AdviceRequest {
	t.Helper()
	var r dose.AdviceRequest
	step := []int64{1, 250, 500, 1000}[rng.IntN(4)]
	for i := range 1 + rng.IntN(12) {
		a, err := dose.NewAmount(ona, max(step, rng.Int64N(12_000)/step*step))
		if err != nil {
			t.Fatal(err)
		}
		r.Injections = append(r.Injections, dose.Injection{Ref: string(rune('a' + i)), Side: dose.Side(rng.IntN(4)), Dose: a,
			Muscle: []string{"", "m", "n"}[rng.IntN(3)]})
	}
	if rng.IntN(2) == 0 {
		r.Most = dose.Volume(1+rng.IntN(40)) * 10_000
	}
	for range 2 + rng.IntN(10) {
		content, err := dose.NewAmount(ona, int64([]int{50, 100, 125, 300}[rng.IntN(4)])*1000)
		if err != nil {
			t.Fatal(err)
		}
		graduation := []dose.Volume{5000, 10_000, 20_000}[rng.IntN(3)]
		c := dose.Candidate{Vial: dose.Vial{Content: content, Diluent: dose.Volume(1+rng.IntN(16)) * 250_000},
			Syringe: dose.Syringe{Capacity: []dose.Volume{300_000, 500_000, 1_000_000}[rng.IntN(3)], Graduation: graduation,
				DeadSpace: dose.Volume(rng.IntN(8)) * 10_000, Priming: dose.Volume(rng.IntN(3)) * 15_000}}
		if rng.IntN(8) == 0 {
			c.Vial.Diluent, c.Vial.Liquid = 0, c.Vial.Diluent
		}
		r.Candidates = append(r.Candidates, c)
		if rng.IntN(4) == 0 {
			r.Candidates = append(r.Candidates, c) // the same again, so that places decide
		}
	}
	return r
}

// The list is that of a slow twin, which sorts by rational numbers: so the first is the best of all, and every figure is right. What the twin cannot plan,
// or what has an injection above the greatest volume, is left out, and nothing else.
func TestAdviceOracle(t *testing.T) {
	cases := *oracleCases
	if cases < longCases {
		cases /= 5
	}
	sharded(t, 2, cases, adviceCases, func(all []adviceCounts) {
		var n adviceCounts
		for _, c := range all {
			n = adviceCounts{n.injections + c.injections, n.candidates + c.candidates, n.leftOut + c.leftOut}
		}
		t.Logf("%d injections in %d candidates, %d left out: 0 mismatches", n.injections, n.candidates, n.leftOut)
		if n.leftOut == 0 || n.leftOut*2 > n.candidates || n.injections < cases {
			t.Error("the cases prove little")
		}
	})
}

// adviceCounts says what the cases of TestAdviceOracle covered; an injection counts once for each candidate that it is reckoned with.
type adviceCounts struct{ injections, candidates, leftOut int }

func adviceCases(t *testing.T, rng *rand.Rand, cases int, n *adviceCounts) {
	for n.injections < cases {
		r := randomAdvice(t, rng)
		got, err := dose.Advise(r)
		if err != nil {
			t.Fatal(err)
		}
		var want []*twin
		for i := range r.Candidates {
			w := twinOf(t, r, i)
			if w != nil && (r.Most == 0 || w.greatest.Cmp(ml(r.Most)) <= 0 && w.mostDelivered.Cmp(ml(r.Most)) <= 0) {
				want = append(want, w)
			}
		}
		for i := range want { // the slow way: each place gets the best of the rest
			for j := i + 1; j < len(want); j++ {
				if want[j].better(want[i]) {
					want[i], want[j] = want[j], want[i]
				}
			}
		}
		if len(got.Ranked) != len(want) || len(got.Ranked)+len(got.LeftOut) != len(r.Candidates) {
			t.Fatalf("%d ranked, %d left out of %d; want %d ranked: %+v", len(got.Ranked), len(got.LeftOut), len(r.Candidates), len(want), r)
		}
		for i, w := range want {
			w.same(t, r, got.Ranked[i])
		}
		n.injections += len(r.Injections) * len(r.Candidates)
		n.candidates += len(r.Candidates)
		n.leftOut += len(got.LeftOut)
	}
}

func (w *twin) same(t *testing.T, r dose.AdviceRequest, got dose.Advised) {
	t.Helper()
	m := got.Merit
	if got.Index != w.index || got.Candidate != r.Candidates[w.index] || m.Syringes != w.syringes || m.Vials != w.vials || m.Worst != w.worstAt ||
		!slices.Equal(m.DeliversNothing, w.nothing) {
		t.Fatalf("got %+v, want candidate %d, worst %d, syringes %d, vials %d, nothing from %v in %+v", got, w.index, w.worstAt, w.syringes, w.vials, w.nothing, r)
	}
	for what, pair := range map[string][2]*big.Rat{
		"worst error": {ratOf(m.WorstError.Value()), w.worst}, "difference of sides": {ratOf(m.SideDifference.Units()), w.apart},
		"slip": {ratOf(m.Slip.Units()), w.slip}, "left over": {ratOf(m.LeftOver.Units()), w.left},
		"greatest volume": {ratOf(m.Greatest.ML()), w.greatest}, "greatest delivered": {ratOf(m.GreatestDelivered.Exact().ML()), w.mostDelivered},
	} {
		if pair[0].Cmp(pair[1]) != 0 {
			t.Fatalf("%s of candidate %d: got %s, want %s in %+v", what, w.index, pair[0].RatString(), pair[1].RatString(), r)
		}
	}
}

// A plan whose best answer can be checked by hand: 100 units in 2.5 mL hold 0.4 units a graduation of 0.01 mL, so 1 unit becomes 1.2 or 0.8, never 1; in
// 1 mL they hold 1 unit a graduation, which is exact, and a slip costs 1 unit instead of 0.4.
func TestAdviceByHand(t *testing.T) {
	content := amount(t, ona, "100")
	r := dose.AdviceRequest{
		Injections: []dose.Injection{{Ref: "r", Side: dose.SideRight, Dose: amount(t, ona, "1")}, {Ref: "l", Side: dose.SideLeft, Dose: amount(t, ona, "1")}},
		Candidates: []dose.Candidate{{dose.Vial{Content: content, Diluent: volume(t, "2.5")}, millilitreSyringe},
			{dose.Vial{Content: content, Diluent: volume(t, "1")}, millilitreSyringe}, {dose.Vial{Content: content, Diluent: volume(t, "4")}, millilitreSyringe}},
	}
	a, err := dose.Advise(r)
	if err != nil {
		t.Fatal(err)
	}
	// 4 mL: 0.04 mL a unit, exact, a slip costs 0.25 units. 1 mL: exact, 1 unit. 2.5 mL: 0.025 mL is given as 0.02, 20 % too little.
	for i, want := range []struct {
		index int
		worst string
		slip  string
	}{{2, "0", "0.25"}, {1, "0", "1"}, {0, "20", "0.4"}} {
		got := a.Ranked[i]
		if got.Index != want.index || got.Merit.WorstError.Number().Decimal != want.worst || got.Merit.Slip.Number().Decimal != want.slip {
			t.Errorf("rank %d: %+v", i+1, got)
		}
	}
	r.Most = volume(t, "0.025")
	if a, err = dose.Advise(r); err != nil || len(a.Ranked) != 2 || len(a.LeftOut) != 1 || a.LeftOut[0].Index != 2 {
		t.Fatalf("%+v, %v", a, err)
	}
	var large *dose.TooLargeError
	if !errors.As(a.LeftOut[0].Err, &large) || large.Ref != "r" || large.Most != r.Most {
		t.Errorf("%v", a.LeftOut[0].Err)
	}
}

func TestAdviceRefused(t *testing.T) {
	good := func() dose.AdviceRequest {
		return dose.AdviceRequest{Injections: []dose.Injection{{Ref: "a", Dose: amount(t, ona, "1")}},
			Candidates: []dose.Candidate{{dose.Vial{Content: amount(t, ona, "100"), Diluent: dose.Millilitre}, millilitreSyringe}}}
	}
	for _, c := range []struct {
		change func(*dose.AdviceRequest)
		field  string
	}{
		{func(r *dose.AdviceRequest) { r.Injections = nil }, "doses"},
		{func(r *dose.AdviceRequest) { r.Injections[0].Ref = "" }, "doses[0].ref"},
		{func(r *dose.AdviceRequest) { r.Injections[0].Dose = dose.Amount{} }, "product"},
		{func(r *dose.AdviceRequest) { r.Injections = append(r.Injections, r.Injections[0]) }, "doses[1].ref"},
		{func(r *dose.AdviceRequest) { r.Injections[0].Dose = amount(t, ona, "0") }, "doses[0].dose_units"},
		{func(r *dose.AdviceRequest) { r.Injections = make([]dose.Injection, dose.MaxInjections+1) }, "doses"},
		{func(r *dose.AdviceRequest) { r.Most = -1 }, "most_ml_per_injection"},
		{func(r *dose.AdviceRequest) { r.Candidates = make([]dose.Candidate, dose.MaxCandidates+1) }, "candidates"},
	} {
		r := good()
		c.change(&r)
		_, err := dose.Advise(r)
		var input *dose.InputError
		if !errors.As(err, &input) || input.Field != c.field {
			t.Errorf("%s: %v", c.field, err)
		}
	}
	r := good()
	r.Candidates[0].Vial.Content = amount(t, "incobotulinumtoxinA", "100")
	var mixed *dose.MixedProductsError
	if _, err := dose.Advise(r); !errors.As(err, &mixed) || mixed.Field != "candidates[0].vial" {
		t.Errorf("another product: %v", err)
	}
	r = good()
	r.Candidates[0].Vial.Diluent = 0
	r.Candidates = append(r.Candidates, good().Candidates...)
	r.Candidates = append(r.Candidates, dose.Candidate{Vial: r.Candidates[1].Vial, Syringe: dose.Syringe{Capacity: 5000, Graduation: 5000}})
	a, err := dose.Advise(r)
	var tight *dose.DoesNotFitError
	if err != nil || len(a.Ranked) != 1 || len(a.LeftOut) != 2 || !errors.As(a.LeftOut[1].Err, &tight) {
		t.Errorf("candidates that cannot draw it: %+v, %v", a, err)
	}
}
