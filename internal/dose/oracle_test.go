package dose_test

import (
	"flag"
	"math/big"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"testing"

	"needlebook/internal/dose"
)

// How many random injections are reckoned twice, and the seed. NEEDLEBOOK_LONG asks for longCases, as CI does; -dose.cases for any number.
var (
	oracleCases = flag.Int("dose.cases", defaultCases(), "random injections that the math/big oracle reckons anew")
	oracleSeed  = flag.Uint64("dose.seed", 1, "seed of those")
)

// longCases is what CI runs: of the dose to volume and its mark, and as many again of the advice.
const longCases = 10_000_000

func defaultCases() int {
	switch {
	case os.Getenv("NEEDLEBOOK_LONG") != "":
		return longCases
	case runtime.GOOS == "js":
		return 20_000
	}
	return 200_000
}

// shards is into how many parts the random cases are cut, each with a stream of its own: a case is found again by seed and shard on any machine.
const shards = 8

// sharded runs the cases in parts, side by side, and adds up what each counted. A part that fails names its seed.
func sharded[C any](t *testing.T, stream uint64, cases int, part func(t *testing.T, rng *rand.Rand, cases int, counts *C), sum func(all []C)) {
	t.Helper()
	all := make([]C, shards)
	t.Run("parts", func(t *testing.T) {
		for i := range shards {
			t.Run(strconv.Itoa(i), func(t *testing.T) {
				t.Parallel()
				part(t, rand.New(rand.NewPCG(*oracleSeed, stream<<8|uint64(i))), (cases+shards-1)/shards, &all[i])
			})
		}
	})
	if !t.Failed() {
		sum(all)
	}
}

var millilitreSyringe = dose.Syringe{Capacity: dose.Millilitre, Graduation: dose.Millilitre / 100}

// The oracle: the rule of docs/arithmetic.md in rational numbers, written without looking at the package's integers.
//
// nearestHalfDown is the whole number nearest to x, a half going down: the ceiling of x - 1/2.
func nearestHalfDown(x *big.Rat) *big.Int { return ceiling(new(big.Rat).Sub(x, big.NewRat(1, 2))) }

func ceiling(x *big.Rat) *big.Int {
	q, rest := new(big.Int).DivMod(x.Num(), x.Denom(), new(big.Int)) // Euclidean: rest >= 0
	if rest.Sign() != 0 {
		q.Add(q, big.NewInt(1))
	}
	return q
}

func ml(v dose.Volume) *big.Rat { return big.NewRat(int64(v), 1_000_000) }

func units(a dose.Amount) *big.Rat { return big.NewRat(a.Milliunits(), 1000) }

// oracle reckons a plan anew and reports what differs.
type oracle struct {
	t          *testing.T
	request    dose.DrawRequest
	unitsPerML *big.Rat
	graduation *big.Rat
}

func newOracle(t *testing.T, r dose.DrawRequest) *oracle {
	perML := new(big.Rat).Quo(units(r.Concentration.Content()), ml(r.Concentration.Volume()))
	return &oracle{t, r, perML, ml(r.Syringe.Graduation)}
}

func (o *oracle) same(what, ref string, got dose.Fraction, want *big.Rat) {
	o.t.Helper()
	if ratOf(got).Cmp(want) != 0 {
		o.t.Fatalf("%s of %q: got %v, want %v in %+v", what, ref, got, want.RatString(), o.request)
	}
}

// check walks the plan's marks with running rational sums per side and returns how many injections it saw.
func (o *oracle) check(p dose.Plan) int {
	o.t.Helper()
	exact, rounded := map[dose.Side]*big.Rat{}, map[dose.Side]*big.Int{}
	for s := dose.SideNone; s <= dose.SideMidline; s++ {
		exact[s] = new(big.Rat)
		for _, g := range o.request.Given {
			if g.Side == s {
				exact[s].Add(exact[s], o.volume(g.Dose))
			}
		}
		rounded[s] = nearestHalfDown(new(big.Rat).Quo(exact[s], o.graduation))
	}
	k := 0
	for _, s := range p.Syringes {
		at, total, steps := ml(s.Drawn), new(big.Rat), new(big.Int)
		for _, m := range s.Marks {
			in := o.request.Injections[k]
			k++
			e := o.volume(in.Dose)
			exact[in.Side].Add(exact[in.Side], e)
			now := nearestHalfDown(new(big.Rat).Quo(exact[in.Side], o.graduation))
			step := new(big.Int).Sub(now, rounded[in.Side])
			rounded[in.Side] = now
			total.Add(total, e)
			steps.Add(steps, step)
			at = o.mark(m, in, e, step, at)
		}
		o.drawn(s, total, steps)
	}
	if k != len(o.request.Injections) {
		o.t.Fatalf("%d of %d injections planned: %+v", k, len(o.request.Injections), o.request)
	}
	o.sides(p)
	return k
}

func (o *oracle) volume(a dose.Amount) *big.Rat { return new(big.Rat).Quo(units(a), o.unitsPerML) }

func (o *oracle) mark(m dose.Mark, in dose.Injection, exact *big.Rat, step *big.Int, before *big.Rat) *big.Rat {
	o.t.Helper()
	delivered := new(big.Rat).Mul(new(big.Rat).SetInt(step), o.graduation)
	after := new(big.Rat).Sub(before, delivered)
	got := new(big.Rat).Mul(delivered, o.unitsPerML)
	off := new(big.Rat).Sub(got, units(in.Dose))
	o.same("exact volume", in.Ref, m.Exact.ML(), exact)
	o.same("delivered volume", in.Ref, m.Delivered.Exact().ML(), delivered)
	o.same("mark", in.Ref, m.Mark.Exact().ML(), after)
	o.same("delivered units", in.Ref, m.DeliveredUnits.Units(), got)
	o.same("error in units", in.Ref, m.ErrorUnits.Units(), off)
	o.same("error in per cent", in.Ref, m.ErrorPercent.Value(), new(big.Rat).Mul(big.NewRat(100, 1), new(big.Rat).Quo(off, units(in.Dose))))
	if m.Ref != in.Ref || m.Side != in.Side || m.Dose != in.Dose {
		o.t.Fatalf("mark %+v is not injection %+v", m, in)
	}
	return after
}

func (o *oracle) drawn(s dose.FilledSyringe, total *big.Rat, steps *big.Int) {
	o.t.Helper()
	o.same("syringe's exact total", "", s.Exact.ML(), total)
	if s.InHand {
		return
	}
	needs := ceiling(new(big.Rat).Quo(total, o.graduation))
	if steps.Cmp(needs) > 0 {
		needs = steps
	}
	drawn := new(big.Rat).Mul(new(big.Rat).SetInt(needs), o.graduation)
	o.same("drawn mark", "", s.Drawn.Exact().ML(), drawn)
	priming := new(big.Rat).SetInt(ceiling(new(big.Rat).Quo(ml(o.request.Syringe.Priming), o.graduation)))
	o.same("draw-to mark", "", s.DrawTo.Exact().ML(), drawn.Add(drawn, priming.Mul(priming, o.graduation)))
}

func (o *oracle) sides(p dose.Plan) {
	o.t.Helper()
	for _, s := range p.Sides {
		planned, delivered := new(big.Rat), new(big.Rat)
		for _, g := range o.request.Given {
			if g.Side == s.Side {
				planned.Add(planned, units(g.Dose))
				delivered.Add(delivered, ml(g.Delivered))
			}
		}
		for _, f := range p.Syringes {
			for _, m := range f.Marks {
				if m.Side == s.Side {
					planned.Add(planned, units(m.Dose))
					delivered.Add(delivered, ml(m.Delivered))
				}
			}
		}
		got := new(big.Rat).Mul(delivered, o.unitsPerML)
		off := new(big.Rat).Sub(got, planned)
		o.same("side's plan", s.Side.String(), s.Planned.Exact().Units(), planned)
		o.same("side's delivered units", s.Side.String(), s.DeliveredUnits.Units(), got)
		o.same("side's error in units", s.Side.String(), s.ErrorUnits.Units(), off)
		o.same("side's error in per cent", s.Side.String(), s.ErrorPercent.Value(), off.Mul(big.NewRat(100, 1), off.Quo(off, planned)))
	}
}

// randomRequest is a plausible treatment three times in four and a strange one else.
func randomRequest(t *testing.T, rng *rand.Rand) dose.DrawRequest {
	content, liquid := int64([]int64{50, 100, 125, 150, 200, 300, 500}[rng.IntN(7)])*1000, dose.Volume(1+rng.IntN(100))*50_000
	graduation := []dose.Volume{5000, 10_000, 20_000, 12_500, 25_000}[rng.IntN(5)]
	capacity := graduation * dose.Volume(20+rng.IntN(180))
	most := 10 * content / 100
	if rng.IntN(4) == 0 {
		content, liquid = 1+rng.Int64N(dose.MaxMilliunits), 1+dose.Volume(rng.Int64N(int64(dose.MaxVolume)))
		graduation = 1 + dose.Volume(rng.Int64N(1_000_000))
		capacity = graduation * dose.Volume(1+rng.Int64N(int64(dose.MaxVolume/graduation)))
		most = max(1, min(content, dose.MaxMilliunits/20))
	}
	c, err := dose.NewAmount(ona, content)
	if err != nil {
		t.Fatal(err)
	}
	conc, err := dose.NewConcentration(c, liquid)
	if err != nil {
		t.Fatal(err)
	}
	r := dose.DrawRequest{Concentration: conc, Syringe: dose.Syringe{Capacity: capacity, Graduation: graduation,
		Priming: dose.Volume(rng.Int64N(int64(capacity)/10 + 1)), DeadSpace: dose.Volume(rng.Int64N(int64(capacity)/10 + 1))}}
	round := []int64{1, 250, 500, 1000}[rng.IntN(4)]
	for i := range 1 + rng.IntN(16) {
		a, err := dose.NewAmount(ona, min(max(1, rng.Int64N(most)/round*round), dose.MaxMilliunits))
		if err != nil {
			t.Fatal(err)
		}
		in := dose.Injection{Ref: string(rune('a' + i)), Side: dose.Side(rng.IntN(4)), Dose: a, Muscle: []string{"", "m", "n", "o"}[rng.IntN(4)]}
		if rng.IntN(8) == 0 {
			r.Given = append(r.Given, dose.Given{Muscle: in.Muscle, Side: in.Side, Dose: a, Delivered: graduation * dose.Volume(rng.IntN(3))})
			continue
		}
		r.Injections = append(r.Injections, in)
	}
	if len(r.Given) > 0 && rng.IntN(2) == 0 {
		r.InHand = &dose.InHand{Reading: graduation * dose.Volume(rng.Int64N(int64(capacity/graduation)+1))}
	}
	return r
}

// drawCounts says what the cases of TestOracle covered.
type drawCounts struct{ injections, refused, plans, several int }

func TestOracle(t *testing.T) {
	sharded(t, 0, *oracleCases, func(t *testing.T, rng *rand.Rand, cases int, n *drawCounts) {
		for n.injections < cases {
			r := randomRequest(t, rng)
			p, err := dose.PlanDraw(r)
			if err != nil {
				newOracle(t, r).refusal(err)
				n.refused++
				continue
			}
			n.injections += newOracle(t, r).check(p)
			checkInvariants(t, r, p)
			n.plans++
			if len(p.Syringes) > 1 {
				n.several++
			}
		}
	}, func(all []drawCounts) {
		var n drawCounts
		for _, c := range all {
			n = drawCounts{n.injections + c.injections, n.refused + c.refused, n.plans + c.plans, n.several + c.several}
		}
		t.Logf("%d injections in %d plans, %d of several syringes, %d requests refused: 0 mismatches", n.injections, n.plans, n.several, n.refused)
		if n.plans < n.refused || n.several == 0 || n.injections < *oracleCases {
			t.Errorf("the cases prove little")
		}
	})
}

// refusal checks that a refused request is truly outside what can be planned.
func (o *oracle) refusal(err error) {
	o.t.Helper()
	total := new(big.Rat)
	delivered := new(big.Rat)
	needs := func(a dose.Amount) *big.Rat {
		g := new(big.Rat).SetInt(ceiling(new(big.Rat).Quo(o.volume(a), o.graduation)))
		p := new(big.Rat).SetInt(ceiling(new(big.Rat).Quo(ml(o.request.Syringe.Priming), o.graduation)))
		return g.Mul(g.Add(g, p), o.graduation)
	}
	large := slices.ContainsFunc(o.request.Injections, func(in dose.Injection) bool {
		total.Add(total, o.volume(in.Dose))
		return needs(in.Dose).Cmp(ml(o.request.Syringe.Capacity)) > 0
	})
	total.SetInt64(0)
	for _, in := range o.request.Injections {
		total.Add(total, o.volume(in.Dose))
	}
	for _, g := range o.request.Given {
		total.Add(total, o.volume(g.Dose))
		delivered.Add(delivered, ml(g.Delivered))
	}
	if most := ml(dose.MaxVolume); !large && total.Cmp(most) <= 0 && delivered.Cmp(most) <= 0 {
		o.t.Fatalf("refused without cause: %v for %+v", err, o.request)
	}
}

// Fractions against math/big over the whole int64 range: exact, or ErrOverflow exactly when the reduced result does not fit.
func TestFractionOracle(t *testing.T) {
	rng := rand.New(rand.NewPCG(*oracleSeed, 1))
	draw := func() int64 { return rng.Int64() >> rng.IntN(63) * (1 - 2*rng.Int64N(2)) }
	overflows := 0
	for range *oracleCases / 4 {
		a, b := fraction(t, draw(), max(1, draw())), fraction(t, draw(), max(1, draw()))
		x, y := ratOf(a), ratOf(b)
		if a.Cmp(b) != x.Cmp(y) {
			t.Fatalf("%v cmp %v", a, b)
		}
		for _, op := range []struct {
			got  func(dose.Fraction) (dose.Fraction, error)
			want func(x, y *big.Rat) *big.Rat
		}{
			{a.Add, new(big.Rat).Add}, {a.Sub, new(big.Rat).Sub}, {a.Mul, new(big.Rat).Mul}, {a.Div, new(big.Rat).Quo},
		} {
			if b.Sign() == 0 {
				continue
			}
			got, err := op.got(b)
			want := op.want(x, y)
			fits := want.Num().IsInt64() && want.Denom().IsInt64()
			if fits != (err == nil) || err != nil && err != dose.ErrOverflow || err == nil && ratOf(got).Cmp(want) != 0 {
				t.Fatalf("%v, %v: got %v, %v; want %v", a, b, got, err, want)
			}
			if err != nil {
				overflows++
			}
		}
	}
	if overflows == 0 {
		t.Error("no case overflowed")
	}
}
