package dose

// Mark is one injection of a plan: where the plunger stands after it, and what that comes to.
type Mark struct {
	Ref  string
	Side Side
	// Dose is what was asked for and Exact the volume that holds it.
	Dose  Amount
	Exact ExactVolume
	// Mark is where the plunger stands after the injection: a whole number of graduations, zero or more.
	Mark Volume
	// Delivered is the mark before less this mark; DeliveredUnits is what it holds.
	Delivered      Volume
	DeliveredUnits ExactAmount
	// ErrorUnits is DeliveredUnits less Dose, ErrorPercent the same as a share of Dose. It is rounding alone: the tolerance of the syringe
	// and of the hand is not in it.
	ErrorUnits   ExactAmount
	ErrorPercent Percent
}

// FilledSyringe is one syringe of a plan.
type FilledSyringe struct {
	// InHand says that this is the syringe of DrawRequest.InHand, which is not drawn again.
	InHand bool
	// DrawTo is the mark to draw up to and Drawn the mark after the needle was changed and primed, where the first injection starts.
	DrawTo, Drawn Volume
	// Exact is the exact total of its injections.
	Exact ExactVolume
	// Marks are its injections in order; empty for a syringe in hand that is not used again.
	Marks []Mark
	// Left is the last mark: what is in the barrel at the end.
	Left Volume
}

// SideTotal is what one side is given in the whole treatment: the injections of the plan and those given before it.
type SideTotal struct {
	Side         Side
	Planned      Amount
	PlannedExact ExactVolume
	// Delivered is what the marks of the plan give and what was given before; GivenBefore is the latter alone.
	Delivered, GivenBefore Volume
	DeliveredUnits         ExactAmount
	ErrorUnits             ExactAmount
	ErrorPercent           Percent
}

// Supply is where the liquid comes from and goes. Vials x the vial's volume plus the reading of the syringe in hand is always the sum of
// TakenBefore, Delivered, LeftInSyringes, Primed, DeadSpace and LeftInVials.
type Supply struct {
	// Taken is all that has to come out of vials, TakenBefore included.
	Taken, TakenBefore Volume
	// Vials is how many vials that is; a syringe may be filled from two of them. At least one once anything is taken.
	Vials int64
	// LeftInVials is what the last of them holds then, and LeftUnits what that is.
	LeftInVials Volume
	LeftUnits   ExactAmount
	// Delivered is what this plan's injections give, LeftInSyringes what stays in barrels, Primed what is pushed out through new needles,
	// DeadSpace what stays in hubs and needles.
	Delivered, LeftInSyringes, Primed, DeadSpace Volume
	// Lost is what the syringe in hand lost, as it was told.
	Lost Loss
}

// Plan is what PlanDraw answers. It shares nothing with the request.
type Plan struct {
	Concentration Concentration
	Syringe       Syringe
	// Total is the sum of the injections to come and TotalExact its volume.
	Total      Amount
	TotalExact ExactVolume
	// PerGraduation is what one graduation holds.
	PerGraduation ExactAmount
	// Syringes are in the order of use; one in hand comes first.
	Syringes []FilledSyringe
	// Sides are right, left, midline, none, those that have an injection.
	Sides    []SideTotal
	Supply   Supply
	Findings []Finding
}

// PlanDraw turns injections into syringes and marks.
//
// For each side the exact volume of the doses given to it so far, over all syringes and including those given before, is rounded to the
// nearest graduation, a half going down; an injection delivers the difference. What was given off its plan is reported in the side's
// total and never made up for in another injection. Injections fill syringes in their order and are never split; the injections of one
// muscle stay in one syringe where they fit.
//
// Errors are *InputError (a field outside its range), *MixedProductsError, *DoesNotFitError (one injection needs more than a syringe) and
// ErrOverflow.
func PlanDraw(r DrawRequest) (Plan, error) {
	if err := r.check(); err != nil {
		return Plan{}, err
	}
	p := newPacker(&r)
	var first run
	if r.InHand != nil {
		first = p.inHand(int64(r.InHand.Reading / r.Syringe.Graduation))
	}
	if err := p.everyOneFits(&r, first.to); err != nil {
		return Plan{}, err
	}
	plan := Plan{Concentration: r.Concentration, Syringe: r.Syringe}
	total := p.cost[len(r.Injections)]
	plan.Total = Amount{r.Concentration.content.product, total}
	plan.TotalExact = p.grid.exact(total)
	plan.fill(&r, p, first)
	plan.Sides = sideTotals(&r, p)
	var err error
	if plan.PerGraduation, err = r.Concentration.UnitsIn(r.Syringe.Graduation); err != nil {
		return Plan{}, err
	}
	if plan.Supply, err = plan.supply(&r); err != nil {
		return Plan{}, err
	}
	plan.Findings = plan.findings(&r)
	return plan, nil
}

// newPacker rounds every injection, which does not depend on the syringes, and notes which muscles belong together.
func newPacker(r *DrawRequest) *packer {
	n := len(r.Injections)
	sums := make([]int64, 2*(n+1))
	p := &packer{grid: grid{r.Concentration, r.Syringe.Graduation}, cost: sums[:n+1], given: sums[n+1:], cuts: make([]int, n+1),
		fresh: r.Syringe.capacity() - r.Syringe.priming()}
	var soFar, rounded [sideCount]int64
	for i := range r.Given {
		soFar[r.Given[i].Side] += r.Given[i].Dose.milliunits
	}
	for side := range soFar {
		rounded[side] = p.grid.nearest(soFar[side])
	}
	for i := range r.Injections {
		side, milliunits := r.Injections[i].Side, r.Injections[i].Dose.milliunits
		soFar[side] += milliunits
		mark := p.grid.nearest(soFar[side])
		p.cost[i+1] = p.cost[i] + milliunits
		p.given[i+1] = p.given[i] + mark - rounded[side]
		rounded[side] = mark
	}
	var inHand int64
	if r.InHand != nil {
		inHand = int64(r.InHand.Reading / r.Syringe.Graduation)
	}
	p.muscles(r.Injections, r.Given, inHand)
	return p
}

// everyOneFits names the first injection, of those that the syringe in hand does not serve, that a whole new syringe could not hold.
func (p *packer) everyOneFits(r *DrawRequest, from int) error {
	for i := from; i < len(r.Injections); i++ {
		if needs := p.needs(run{i, i + 1}); needs > p.fresh {
			in := &r.Injections[i]
			return &DoesNotFitError{Ref: in.Ref, Dose: in.Dose, Exact: p.grid.exact(in.Dose.milliunits),
				Needs: p.grid.volume(needs + r.Syringe.priming()), Capacity: r.Syringe.Capacity}
		}
	}
	return nil
}

// fill makes the syringes; first is the run of the one in hand.
func (plan *Plan) fill(r *DrawRequest, p *packer, first run) {
	marks := make([]Mark, len(r.Injections))
	if r.InHand != nil {
		plan.Syringes = append(plan.Syringes, p.syringe(r.Injections, marks, first, r.InHand.Reading))
		plan.Syringes[0].InHand, plan.Syringes[0].DrawTo = true, r.InHand.Reading
	}
	for _, run := range p.rest(first.to) {
		s := p.syringe(r.Injections, marks, run, p.grid.volume(p.needs(run)))
		s.DrawTo = s.Drawn + p.grid.volume(r.Syringe.priming())
		plan.Syringes = append(plan.Syringes, s)
	}
}

// syringe steps the plunger down from the drawn mark; marks is the room for all injections of the plan.
func (p *packer) syringe(injections []Injection, marks []Mark, in run, drawn Volume) FilledSyringe {
	at := drawn
	for i := in.from; i < in.to; i++ {
		delivered := p.grid.volume(p.given[i+1] - p.given[i])
		at -= delivered
		o := p.grid.outcome(injections[i].Dose.milliunits, delivered)
		marks[i] = Mark{Ref: injections[i].Ref, Side: injections[i].Side, Dose: injections[i].Dose, Exact: o.exact, Mark: at,
			Delivered: delivered, DeliveredUnits: o.deliveredUnits, ErrorUnits: o.errorUnits, ErrorPercent: o.errorPercent}
	}
	return FilledSyringe{Drawn: drawn, Exact: p.grid.exact(p.cost[in.to] - p.cost[in.from]), Marks: marks[in.from:in.to:in.to], Left: at}
}

// sideTotals sums what each side was and will be given.
func sideTotals(r *DrawRequest, p *packer) []SideTotal {
	var milliunits [sideCount]int64
	var before, delivered [sideCount]Volume
	for i := range r.Given {
		side := r.Given[i].Side
		milliunits[side] += r.Given[i].Dose.milliunits
		before[side] += r.Given[i].Delivered
	}
	for i := range r.Injections {
		side := r.Injections[i].Side
		milliunits[side] += r.Injections[i].Dose.milliunits
		delivered[side] += p.grid.volume(p.given[i+1] - p.given[i])
	}
	totals := make([]SideTotal, 0, sideCount)
	for _, side := range [...]Side{SideRight, SideLeft, SideMidline, SideNone} {
		if milliunits[side] == 0 {
			continue
		}
		all := before[side] + delivered[side]
		o := p.grid.outcome(milliunits[side], all)
		totals = append(totals, SideTotal{Side: side, Planned: Amount{r.Concentration.content.product, milliunits[side]},
			PlannedExact: o.exact, Delivered: all, GivenBefore: before[side], DeliveredUnits: o.deliveredUnits,
			ErrorUnits: o.errorUnits, ErrorPercent: o.errorPercent})
	}
	return totals
}

// supply adds up what the vials must hold.
func (plan *Plan) supply(r *DrawRequest) (Supply, error) {
	s := Supply{TakenBefore: r.Taken, Taken: r.Taken}
	if r.InHand != nil {
		s.Lost = r.InHand.Lost
	}
	for i := range plan.Syringes {
		f := &plan.Syringes[i]
		s.Delivered += f.Drawn - f.Left
		s.LeftInSyringes += f.Left
		if !f.InHand {
			s.Taken += f.DrawTo + r.Syringe.DeadSpace
			s.Primed += f.DrawTo - f.Drawn
			s.DeadSpace += r.Syringe.DeadSpace
		}
	}
	vial := r.Concentration.volume
	s.Vials = int64((s.Taken + vial - 1) / vial)
	s.LeftInVials = Volume(s.Vials)*vial - s.Taken
	var err error
	s.LeftUnits, err = r.Concentration.UnitsIn(s.LeftInVials)
	return s, err
}
