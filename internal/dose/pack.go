package dose

// run is the injections from..to (to is not in it) of one syringe.
type run struct{ from, to int }

// packer cuts the injections, in their order, into runs that each fit a syringe.
type packer struct {
	grid grid
	// cost[i] and given[i] are the milliunits and the graduations of the injections before i, so a run's sums are differences.
	cost, given []int64
	// fresh is how many graduations of a newly drawn syringe are for injections.
	fresh int64
	// cuts[i] counts the muscles that a cut before injection i would split though one syringe could hold them.
	cuts []int
}

// needs is the mark, in graduations, that holds both the exact and the rounded total of a run.
func (p *packer) needs(r run) int64 {
	return max(p.grid.atLeast(p.cost[r.to]-p.cost[r.from]), p.given[r.to]-p.given[r.from])
}

// muscles fills cuts. A muscle begun before this plan is kept in the syringe in hand if what is left of it fits there.
func (p *packer) muscles(injections []Injection, begun []Given, inHand int64) {
	spans := make(map[string]run, len(injections))
	for i := range injections {
		if m := injections[i].Muscle; m != "" {
			span, known := spans[m]
			if !known {
				span.from = i
			}
			span.to = i + 1
			spans[m] = span
		}
	}
	for i := range begun {
		if span, left := spans[begun[i].Muscle]; left {
			if whole := (run{0, span.to}); p.needs(whole) <= inHand {
				delete(spans, begun[i].Muscle)
				p.forbid(0, whole.to)
			}
		}
	}
	for _, span := range spans {
		if p.needs(span) <= p.fresh {
			p.forbid(span.from+1, span.to)
		}
	}
}

func (p *packer) forbid(from, to int) {
	for i := from; i < to; i++ {
		p.cuts[i]++
	}
}

// next is the run from an injection on that fits a syringe with so much room: the longest that splits no muscle which could stay whole, else
// the longest. whole says which.
func (p *packer) next(from int, room int64) (r run, whole bool) {
	to := from
	for to < len(p.cuts)-1 && p.needs(run{from, to + 1}) <= room {
		to++
	}
	for cut := to; cut > from; cut-- {
		if p.cuts[cut] == 0 {
			return run{from, cut}, true
		}
	}
	return run{from, to}, false
}

// inHand is the run for the syringe in hand. It is left unused when that keeps a muscle whole in the next one.
func (p *packer) inHand(room int64) run {
	r, whole := p.next(0, room)
	if whole || p.cuts[0] > 0 {
		return r
	}
	if _, wholeNext := p.next(0, p.fresh); wholeNext {
		return run{}
	}
	return r
}

// rest is the runs of the newly drawn syringes; every single injection from there on fits one.
func (p *packer) rest(from int) []run {
	var runs []run
	for from < len(p.cuts)-1 {
		r, _ := p.next(from, p.fresh)
		runs = append(runs, r)
		from = r.to
	}
	return runs
}
