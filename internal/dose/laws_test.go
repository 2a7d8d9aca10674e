package dose_test

import (
	"errors"
	"slices"
	"testing"

	"needlebook/internal/dose"

	"pgregory.net/rapid"
)

// checkInvariants holds a plan to what the package promises, in integers scaled so that nothing is rounded.
func checkInvariants(t interface{ Fatalf(string, ...any) }, r dose.DrawRequest, p dose.Plan) {
	content, liquid, g := r.Concentration.Content().Milliunits(), int64(r.Concentration.Volume()), int64(r.Syringe.Graduation)
	// A volume v is v*content here, and a dose its exact volume dose*liquid: both are nanolitres times content.
	var planned, delivered [4]int64
	for _, in := range r.Given {
		planned[in.Side] += in.Dose.Milliunits() * liquid
	}
	for s := range planned { // the side so far as the marks would have given it, so that its rounding is carried and nothing else
		delivered[s] = (planned[s]*2 - g*content + 2*g*content - 1) / (2 * g * content) * g * content
	}
	k := 0
	for _, s := range p.Syringes {
		before := s.Drawn
		if s.DrawTo > r.Syringe.Capacity || s.Drawn > s.DrawTo || s.DrawTo%r.Syringe.Graduation != 0 || s.Drawn%r.Syringe.Graduation != 0 {
			t.Fatalf("drawn to %v, primed to %v: %+v", s.DrawTo, s.Drawn, r)
		}
		for _, m := range s.Marks {
			side := m.Side
			planned[side] += m.Dose.Milliunits() * liquid
			delivered[side] += int64(m.Delivered) * content
			off := int64(m.Delivered)*content - m.Dose.Milliunits()*liquid
			sideOff := delivered[side] - planned[side]
			switch {
			case m.Ref != r.Injections[k].Ref:
				t.Fatalf("injection %d is %q: %+v", k, m.Ref, r)
			case m.Mark < 0 || m.Mark > before || before-m.Mark != m.Delivered || m.Mark%r.Syringe.Graduation != 0:
				t.Fatalf("mark %v after %v delivering %v: %+v", m.Mark, before, m.Delivered, r)
			case off >= g*content || -off >= g*content:
				t.Fatalf("injection %q is a graduation off: %+v", m.Ref, r)
			case 2*sideOff >= g*content || -2*sideOff > g*content:
				// Too much by half a graduation never happens, too little by exactly half may.
				t.Fatalf("side %v is off by more than half a graduation after %q: %+v", side, m.Ref, r)
			}
			before = m.Mark
			k++
		}
		if s.Left != before {
			t.Fatalf("left %v, last mark %v: %+v", s.Left, before, r)
		}
	}
	checkSupply(t, r, p)
}

func checkSupply(t interface{ Fatalf(string, ...any) }, r dose.DrawRequest, p dose.Plan) {
	s, vial := p.Supply, r.Concentration.Volume()
	in, out := dose.Volume(s.Vials)*vial, s.TakenBefore+s.Delivered+s.LeftInSyringes+s.Primed+s.DeadSpace+s.LeftInVials
	if r.InHand != nil {
		in += r.InHand.Reading
	}
	if in != out || s.LeftInVials < 0 || s.LeftInVials >= vial || s.Primed < 0 || s.DeadSpace < 0 || s.LeftInSyringes < 0 {
		t.Fatalf("%v in, %v out: %+v", in, out, s)
	}
	var delivered, primed, dead dose.Volume
	for _, f := range p.Syringes {
		for _, m := range f.Marks {
			delivered += m.Delivered
		}
		if !f.InHand {
			dead += r.Syringe.DeadSpace
			primed += f.DrawTo - f.Drawn
			if f.DrawTo-f.Drawn < r.Syringe.Priming {
				t.Fatalf("primed with %v of %v", f.DrawTo-f.Drawn, r.Syringe.Priming)
			}
		}
	}
	if delivered != s.Delivered || primed != s.Primed || dead != s.DeadSpace || s.TakenBefore != r.Taken {
		t.Fatalf("supply %+v does not add up", s)
	}
}

// genRequest draws small treatments where cuts, sides and halves matter.
func genRequest(t *rapid.T) dose.DrawRequest {
	g := rapid.SampledFrom([]dose.Volume{5000, 10_000, 20_000}).Draw(t, "graduation")
	content := rapid.SampledFrom([]string{"50", "100", "125", "300"}).Draw(t, "content")
	liquid := rapid.SampledFrom([]string{"0.6", "0.63", "1.2", "1.25", "2.5"}).Draw(t, "diluent")
	r := dose.DrawRequest{Concentration: concentration(t, ona, content, liquid), Syringe: dose.Syringe{Graduation: g,
		Capacity: g * dose.Volume(rapid.IntRange(20, 100).Draw(t, "capacity")),
		Priming:  dose.Volume(rapid.IntRange(0, 50_000).Draw(t, "priming")), DeadSpace: dose.Volume(rapid.IntRange(0, 70_000).Draw(t, "dead"))}}
	for i := range rapid.IntRange(1, 20).Draw(t, "injections") {
		r.Injections = append(r.Injections, dose.Injection{Ref: string(rune('a' + i)), Side: dose.Side(rapid.IntRange(0, 3).Draw(t, "side")),
			Dose: genDose(t), Muscle: rapid.SampledFrom([]string{"", "m", "n", "o", "p"}).Draw(t, "muscle")})
	}
	return r
}

func genDose(t *rapid.T) dose.Amount {
	a, err := dose.NewAmount(ona, int64(rapid.IntRange(1, 40).Draw(t, "quarters"))*250)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// plan plans what genRequest drew and skips what fits no syringe.
func plan(t *rapid.T, r dose.DrawRequest) dose.Plan {
	p, err := dose.PlanDraw(r)
	var tooMuch *dose.DoesNotFitError
	if errors.As(err, &tooMuch) {
		t.Skip("an injection fits no syringe")
	}
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPlanKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRequest(t)
		checkInvariants(t, r, plan(t, r))
	})
}

// deliveries lists what each injection of a side gets.
func deliveries(p dose.Plan, side dose.Side) []dose.Volume {
	var out []dose.Volume
	for _, s := range p.Syringes {
		for _, m := range s.Marks {
			if m.Side == side {
				out = append(out, m.Delivered)
			}
		}
	}
	return out
}

// Two sides with equal doses in equal order get equal volumes, injection by injection, however they are interleaved, over all syringes.
func TestEqualSidesAreGivenEqually(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRequest(t)
		doses := rapid.SliceOfN(rapid.Custom(genDose), 1, 12).Draw(t, "doses")
		r.Injections = r.Injections[:0]
		next := map[dose.Side]int{}
		for len(r.Injections) < 2*len(doses) {
			side := dose.SideRight + dose.Side(rapid.IntRange(0, 1).Draw(t, "left"))
			if next[side] == len(doses) {
				side = dose.SideRight + dose.SideLeft - side
			}
			r.Injections = append(r.Injections, dose.Injection{Ref: string(rune('a' + len(r.Injections))), Side: side, Dose: doses[next[side]]})
			next[side]++
		}
		p := plan(t, r)
		if right, left := deliveries(p, dose.SideRight), deliveries(p, dose.SideLeft); !slices.Equal(right, left) {
			t.Fatalf("right %v, left %v", right, left)
		}
	})
}

// Going on from the marks of a plan is the plan: the rest gets what it would have got, wherever the treatment was interrupted.
func TestReplanningOnPlanChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRequest(t)
		p := plan(t, r)
		var all []dose.Mark
		for _, s := range p.Syringes {
			all = append(all, s.Marks...)
		}
		first := p.Syringes[0]
		done := rapid.IntRange(0, len(first.Marks)).Draw(t, "done")
		rest := r
		rest.Injections = r.Injections[done:]
		rest.InHand = &dose.InHand{Reading: first.Drawn}
		rest.Taken = first.DrawTo + r.Syringe.DeadSpace
		for i, m := range first.Marks[:done] {
			in := r.Injections[i]
			rest.Given = append(rest.Given, dose.Given{Ref: in.Ref, Muscle: in.Muscle, Side: in.Side, Dose: in.Dose, Delivered: m.Delivered})
			rest.InHand.Reading = m.Mark
		}
		q := plan(t, rest)
		checkInvariants(t, rest, q)
		i := done
		for _, s := range q.Syringes {
			for _, m := range s.Marks {
				if m.Delivered != all[i].Delivered {
					t.Fatalf("%q gets %v, planned %v", m.Ref, m.Delivered, all[i].Delivered)
				}
				i++
			}
		}
		if !slices.EqualFunc(p.Sides, q.Sides, func(a, b dose.SideTotal) bool { return a.Delivered == b.Delivered && a.Planned == b.Planned }) {
			t.Fatalf("sides %+v became %+v", p.Sides, q.Sides)
		}
	})
}

// needs is what a run of marks takes of a syringe, reckoned from the answer.
func needs(r dose.DrawRequest, marks []dose.Mark) dose.Volume {
	var milliunits int64
	var delivered dose.Volume
	for _, m := range marks {
		milliunits += m.Dose.Milliunits()
		delivered += m.Delivered
	}
	step := r.Concentration.Content().Milliunits() * int64(r.Syringe.Graduation)
	holds := dose.Volume((milliunits*int64(r.Concentration.Volume())+step-1)/step) * r.Syringe.Graduation
	priming := (r.Syringe.Priming + r.Syringe.Graduation - 1) / r.Syringe.Graduation * r.Syringe.Graduation
	return max(holds, delivered) + priming
}

// Syringes are filled as far as the rule allows: a syringe ends early only where going on would split a muscle that one syringe could hold,
// and such a muscle is split only when no earlier end would have kept all of them whole.
func TestSyringesAreFilledByTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRequest(t)
		p := plan(t, r)
		var all []dose.Mark
		for _, s := range p.Syringes {
			all = append(all, s.Marks...)
		}
		splits := func(cut int) bool { // brute force over muscles
			for _, muscle := range []string{"m", "n", "o", "p"} {
				first, last := -1, -1
				for i, in := range r.Injections {
					if in.Muscle == muscle {
						if last = i; first < 0 {
							first = i
						}
					}
				}
				if first >= 0 && first < cut && cut <= last && needs(r, all[first:last+1]) <= r.Syringe.Capacity {
					return true
				}
			}
			return false
		}
		from := 0
		for _, s := range p.Syringes {
			end, most := from+len(s.Marks), from
			for most < len(all) && needs(r, all[from:most+1]) <= r.Syringe.Capacity {
				most++
			}
			want := most
			for want > from && splits(want) {
				want--
			}
			if want == from {
				want = most
			}
			if end != want {
				t.Fatalf("syringe from %d ends before %d, want %d", from, end, want)
			}
			from = end
		}
	})
}

// An injection whose side's path does not reach the next graduation is a hold that names it; every other delivers something.
func TestNothingDeliveredIsAHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := genRequest(t)
		p := plan(t, r)
		var want, got []string
		for _, s := range p.Syringes {
			for _, m := range s.Marks {
				if m.Delivered == 0 {
					want = append(want, m.Ref)
				}
			}
		}
		for _, f := range p.Findings {
			if f.Code == dose.CodeDeliversNothing && f.Level == dose.LevelHold {
				got = append(got, f.Refs...)
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("holds for %v, nothing delivered for %v", got, want)
		}
	})
}
