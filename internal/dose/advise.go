package dose

import (
	"cmp"
	"math/bits"
	"slices"
	"strconv"
)

// MaxCandidates is the most dilutions with syringes of one advice.
const MaxCandidates = 100_000

// Candidate is a vial as it may be mixed, with the syringe that would draw it.
type Candidate struct {
	Vial    Vial
	Syringe Syringe
}

// AdviceRequest is a plan that is to be measured as exactly as can be. It is only read.
type AdviceRequest struct {
	// Injections are to be given in this order, all of one product.
	Injections []Injection
	// Candidates are what there is to choose from; each is of the injections' product.
	Candidates []Candidate
	// Most is the greatest volume of an injection, exact or delivered; zero when nobody set one.
	Most Volume
}

// Merit is how well a candidate measures the plan. All of it follows from the plan that PlanDraw makes.
type Merit struct {
	Concentration Concentration
	// WorstError is the largest error of an injection, whatever its sign, as a share of its dose; Worst is the index of the first that has it.
	WorstError Percent
	Worst      int
	// SideDifference is how much further apart right and left get than is planned: the largest of the whole plan and of any muscle that has both.
	SideDifference ExactAmount
	// Slip is what one graduation holds: the cost of misreading the plunger by one.
	Slip ExactAmount
	// Syringes is how many are drawn, Vials how many vials are opened.
	Syringes int
	Vials    int64
	// LeftOver is all that the vials opened hold and the patient does not get: in the vials, in barrels, in dead space, and what primes needles.
	LeftOver ExactAmount
	// Greatest is the largest exact volume of an injection and Largest the index of the first that has it; GreatestDelivered is the largest delivered.
	Greatest          ExactVolume
	Largest           int
	GreatestDelivered Volume
	// DeliversNothing are the indexes of the injections for which the plunger would not move.
	DeliversNothing []int
}

// Advised is a candidate that can draw the plan.
type Advised struct {
	// Index is its place in AdviceRequest.Candidates.
	Index     int
	Candidate Candidate
	Merit     Merit
}

// LeftOut is a candidate that cannot draw the plan, or may not.
type LeftOut struct {
	// Index is its place in AdviceRequest.Candidates.
	Index int
	// Err is why: a *TooLargeError, a *DoesNotFitError, an *InputError about the vial or the syringe, or ErrOverflow.
	Err error
}

// Advice is a ranked list; it makes no choice.
type Advice struct {
	// Ranked are best first.
	Ranked []Advised
	// LeftOut are in the order of the request.
	LeftOut []LeftOut
}

// TooLargeError says that an injection of a candidate would be larger than is allowed.
type TooLargeError struct {
	// Ref names the injection.
	Ref string
	// Exact is the volume of its dose, Delivered what the marks would give, Most what is allowed.
	Exact           ExactVolume
	Delivered, Most Volume
}

// Error names the injection, its volumes and what is allowed.
func (e *TooLargeError) Error() string {
	return "injection " + strconv.Quote(e.Ref) + " is " + e.Exact.Number().Decimal + " mL and delivers " + e.Delivered.Decimal() +
		" mL, more than the " + e.Most.Decimal() + " mL allowed"
}

// Advise ranks the candidates: by the worst relative error of an injection, then how much further apart the sides get than planned, then what a slip of
// one graduation costs; then fewer syringes, less left over, less diluent, the smaller syringe. What is equal in all of that goes by content,
// graduation and place in the request. Every comparison is exact.
//
// Errors are of the injections alone, since those are the same for every candidate: *InputError and *MixedProductsError. A candidate that cannot draw
// them is left out with its reason.
func Advise(r AdviceRequest) (Advice, error) {
	if len(r.Candidates) > MaxCandidates {
		return Advice{}, &InputError{Field: "candidates", Rule: RuleTooMany, Read: strconv.Itoa(len(r.Candidates))}
	}
	if err := r.checkInjections(); err != nil {
		return Advice{}, err
	}
	var a Advice
	for i, c := range r.Candidates {
		if want, got := r.product(), c.Vial.Content.product; want != got && got != "" {
			return Advice{}, &MixedProductsError{Field: field("candidates", i, "vial"), Want: want, Got: got}
		}
		merit, err := r.appraise(c)
		if err != nil {
			a.LeftOut = append(a.LeftOut, LeftOut{i, err})
			continue
		}
		a.Ranked = append(a.Ranked, Advised{i, c, merit})
	}
	slices.SortStableFunc(a.Ranked, compareAdvised)
	return a, nil
}

func (r *AdviceRequest) product() Product {
	if len(r.Injections) == 0 {
		return ""
	}
	return r.Injections[0].Dose.product
}

// checkInjections finds what is wrong with the injections at any concentration, with the checks of DrawRequest.
func (r *AdviceRequest) checkInjections() error {
	if len(r.Injections) == 0 {
		return &InputError{Field: "doses", Rule: RuleEmpty}
	}
	if len(r.Injections) > MaxInjections {
		return &InputError{Field: "doses", Rule: RuleTooMany, Read: strconv.Itoa(len(r.Injections))}
	}
	if r.product() == "" {
		return &InputError{Field: "product", Rule: RuleMissing}
	}
	if !r.Most.ok() {
		return &InputError{Field: "most_ml_per_injection", Rule: RuleRange, Read: r.Most.Decimal()}
	}
	asked := DrawRequest{Concentration: Concentration{content: Amount{product: r.product()}}, Injections: r.Injections}
	return asked.checkInjections()
}

// compareAdvised is the order of the list. All are of one product, so the amounts are compared as numbers.
func compareAdvised(a, b Advised) int {
	return cmp.Or(
		a.Merit.WorstError.value.Cmp(b.Merit.WorstError.value),
		a.Merit.SideDifference.units.Cmp(b.Merit.SideDifference.units),
		a.Merit.Slip.units.Cmp(b.Merit.Slip.units),
		cmp.Compare(a.Merit.Syringes, b.Merit.Syringes),
		a.Merit.LeftOver.units.Cmp(b.Merit.LeftOver.units),
		cmp.Compare(a.Candidate.Vial.Diluent, b.Candidate.Vial.Diluent),
		cmp.Compare(a.Candidate.Syringe.Capacity, b.Candidate.Syringe.Capacity),
		cmp.Compare(a.Candidate.Vial.Content.milliunits, b.Candidate.Vial.Content.milliunits),
		cmp.Compare(a.Candidate.Syringe.Graduation, b.Candidate.Syringe.Graduation),
	)
}

// appraise plans the injections with one candidate. It is PlanDraw without the marks: only what the ranking needs.
func (r *AdviceRequest) appraise(c Candidate) (Merit, error) {
	prepared, err := Prepare(c.Vial, c.Syringe.Graduation)
	if err != nil {
		return Merit{}, err
	}
	d := DrawRequest{Concentration: prepared.Concentration, Syringe: c.Syringe, Injections: r.Injections}
	if err := d.check(); err != nil {
		return Merit{}, err
	}
	p := newPacker(&d)
	if err := p.everyOneFits(&d, 0); err != nil {
		return Merit{}, err
	}
	m := Merit{Concentration: prepared.Concentration, Slip: prepared.PerGraduation}
	if err := m.injections(r, p); err != nil {
		return Merit{}, err
	}
	m.SideDifference = p.apart(r.Injections)
	return m, m.supply(p, c)
}

// injections finds the largest error and the largest volume.
func (m *Merit) injections(r *AdviceRequest, p *packer) error {
	var worst quotient
	for i := range r.Injections {
		want := p.grid.dosed(r.Injections[i].Dose.milliunits)
		delivered := p.grid.volume(p.given[i+1] - p.given[i])
		if r.Most > 0 && (delivered > r.Most || want > int64(r.Most)*p.grid.concentration.content.milliunits) {
			return &TooLargeError{Ref: r.Injections[i].Ref, Exact: p.grid.exact(r.Injections[i].Dose.milliunits), Delivered: delivered, Most: r.Most}
		}
		off := int64(delivered)*p.grid.concentration.content.milliunits - want
		if q := (quotient{magnitude(off), uint64(want)}); worst.den == 0 || worst.less(q) {
			worst, m.Worst = q, i
		}
		if delivered == 0 {
			m.DeliversNothing = append(m.DeliversNothing, i)
		}
		m.GreatestDelivered = max(m.GreatestDelivered, delivered)
		if r.Injections[i].Dose.milliunits > r.Injections[m.Largest].Dose.milliunits {
			m.Largest = i
		}
	}
	m.WorstError = Percent{mustFraction(int64(worst.num)*100, int64(worst.den))}
	m.Greatest = p.grid.exact(r.Injections[m.Largest].Dose.milliunits)
	return nil
}

// quotient is a share that is compared without being reduced.
type quotient struct{ num, den uint64 }

func (q quotient) less(o quotient) bool {
	qh, ql := bits.Mul64(q.num, o.den)
	oh, ol := bits.Mul64(o.num, q.den)
	return compare128(qh, ql, oh, ol) < 0
}

// apart is how much further right and left get apart than is planned, for the whole plan and for each muscle that has both, whichever is most.
func (p *packer) apart(injections []Injection) ExactAmount {
	type pair struct {
		off   int64 // right less left: delivered less planned, on the scale of grid.dosed
		sides uint8
	}
	content := p.grid.concentration.content.milliunits
	var whole pair
	muscles := make(map[string]pair, 16)
	for i := range injections {
		side := injections[i].Side
		if side != SideRight && side != SideLeft {
			continue
		}
		off := int64(p.grid.volume(p.given[i+1]-p.given[i]))*content - p.grid.dosed(injections[i].Dose.milliunits)
		if side == SideLeft {
			off = -off
		}
		add := func(to pair) pair { return pair{to.off + off, to.sides | 1<<side} }
		whole = add(whole)
		if m := injections[i].Muscle; m != "" {
			muscles[m] = add(muscles[m])
		}
	}
	const both = 1<<SideRight | 1<<SideLeft
	var most uint64
	if whole.sides == both {
		most = magnitude(whole.off)
	}
	for _, m := range muscles {
		if m.sides == both {
			most = max(most, magnitude(m.off))
		}
	}
	product, volume := p.grid.concentration.content.product, int64(p.grid.concentration.volume)
	return ExactAmount{product, mustFraction(int64(most), volume*milliunitsPerUnit)}
}

// supply counts syringes and vials and what is left over of them.
func (m *Merit) supply(p *packer, c Candidate) error {
	var taken, delivered Volume
	for _, run := range p.rest(0) {
		m.Syringes++
		taken += p.grid.volume(p.needs(run)+c.Syringe.priming()) + c.Syringe.DeadSpace
		delivered += p.grid.volume(p.given[run.to] - p.given[run.from])
	}
	vial := m.Concentration.volume
	m.Vials = int64((taken + vial - 1) / vial)
	left := Volume(m.Vials)*vial - delivered
	units, err := ratio(false, uint64(left), uint64(m.Concentration.content.milliunits), uint64(vial), milliunitsPerUnit)
	m.LeftOver = ExactAmount{m.Concentration.content.product, units}
	return err
}
