package record

import "needlebook/internal/causal"

// Fork is what a replica knows after its chain and the server's were found to differ: a clone or a restored copy used the same counters.
type Fork struct {
	Old    causal.ReplicaID      // the replica whose chain forked
	Common uint64                // the highest counter at which both chains agree
	Known  map[uint64]causal.Dot // of the edits above it, by counter, those that the server holds under another dot
	Fresh  causal.ReplicaID      // the new incarnation
}

// Redot gives edits, which stand above the fork and which the server does not hold, new dots of the new incarnation in their order, beginning at counter 1.
// Each context is cut at the last common counter, since above it the old replica's counters mean the twin's edits, and names its predecessors' new
// dots instead. Ids and contents stay. Previous is left for the caller, who chains them anew.
func (f Fork) Redot(edits []Edit) []Edit {
	renamed := map[uint64]causal.Dot{}
	for c, d := range f.Known {
		if f.knowsAllBefore(d) {
			renamed[c] = d
		}
	}
	for i := range edits {
		renamed[edits[i].Dot.Counter] = causal.Dot{Replica: f.Fresh, Counter: uint64(i) + 1}
	}
	out := make([]Edit, 0, len(edits))
	for _, e := range edits {
		e.Context = f.context(e.Context, renamed)
		e.Dot = renamed[e.Dot.Counter]
		e.Previous = Hash{}
		out = append(out, e)
	}
	return out
}

func (f Fork) context(v causal.Vector, renamed map[uint64]causal.Dot) causal.Vector {
	seen := v.Counter(f.Old)
	v = v.Cut(f.Old, f.Common)
	for c, d := range renamed {
		if c <= seen {
			v = v.With(d)
		}
	}
	return v
}

// knowsAllBefore reports whether every lower counter of d's replica is an edit of this fork too. Otherwise naming d would claim to have seen edits that
// this replica never saw, and its writes would supersede them unseen; leaving d out costs an honest conflict at most.
func (f Fork) knowsAllBefore(d causal.Dot) bool {
	have := map[uint64]bool{}
	for _, k := range f.Known {
		if k.Replica == d.Replica {
			have[k.Counter] = true
		}
	}
	for c := uint64(1); c < d.Counter; c++ {
		if !have[c] {
			return false
		}
	}
	return true
}
