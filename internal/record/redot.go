package record

import "needlebook/internal/causal"

// Fork is what an installation knows after its chains and the server's were found to differ: a clone or a restored copy used the same counters, or a
// restore lost counters that are no longer kept.
type Fork struct {
	// Common is, for each old replica of the installation whose chain is cut, the highest counter up to which the server holds the same edits.
	Common map[causal.ReplicaID]uint64
	// Known is, by their old dots, the edits above it that the server holds under another dot.
	Known map[causal.Dot]causal.Dot
	// Fresh is the new incarnation.
	Fresh causal.ReplicaID
}

// Redot gives edits, which stand above the fork and which the server does not hold, new dots of the new incarnation in the order in which they were made,
// beginning at counter 1. Each context is cut at the last common counters, since above them the old replicas' counters mean someone else's edits,
// and names its predecessors' new dots instead. Ids and contents stay. Previous is left for the caller, who chains them anew.
func (f Fork) Redot(edits []Edit) []Edit {
	renamed := map[causal.Dot]causal.Dot{}
	for old, d := range f.Known {
		if f.knowsAllBefore(d) {
			renamed[old] = d
		}
	}
	for i := range edits {
		renamed[edits[i].Dot] = causal.Dot{Replica: f.Fresh, Counter: uint64(i) + 1}
	}
	out := make([]Edit, 0, len(edits))
	for _, e := range edits {
		e.Context = f.context(e.Context, renamed)
		e.Dot = renamed[e.Dot]
		e.Previous = Hash{}
		out = append(out, e)
	}
	return out
}

func (f Fork) context(v causal.Vector, renamed map[causal.Dot]causal.Dot) causal.Vector {
	out := v
	for old, common := range f.Common {
		out = out.Cut(old, common)
	}
	for old, d := range renamed {
		if v.Covers(old) {
			out = out.With(d)
		}
	}
	return out
}

// knowsAllBefore reports whether every lower counter of d's replica is an edit of this fork too. Otherwise naming d would claim to have seen edits that
// this installation never saw, and its writes would supersede them unseen; leaving d out costs an honest conflict at most.
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
