package replica

import (
	"bytes"
	"cmp"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// maxChainPoints bounds the edits that one Hello names, which with the point before them is what its message allows. A replica that keeps more names
// the oldest; what is not named and the server holds, it finds out when it is sent.
const maxChainPoints = 4095

func (r *Replica) helloStep(inc *incarnation) Step {
	s := Step{inc: inc, Hello: &syncv1.HelloRequest{Replica: bytes.Clone(inc.id[:]), Cursor: r.cursor}}
	if base, hash := inc.base(); base > 0 {
		s.Hello.Chain = append(s.Hello.Chain, &syncv1.ChainPoint{Counter: base, Hash: bytes.Clone(hash[:]), EditId: make([]byte, 16)})
	}
	for _, o := range inc.kept[:min(len(inc.kept), maxChainPoints)] {
		s.Hello.Chain = append(s.Hello.Chain, &syncv1.ChainPoint{Counter: o.edit.Dot.Counter, Hash: bytes.Clone(o.hash[:]), EditId: bytes.Clone(o.edit.ID[:])})
	}
	return s
}

// base is the newest edit before those kept, and the chain hash after it.
func (inc *incarnation) base() (uint64, record.Hash) {
	if len(inc.kept) == 0 {
		return inc.counter, inc.head
	}
	first := &inc.kept[0].edit
	return first.Dot.Counter - 1, first.Previous
}

// hashAt is the chain hash after a counter, where it is still known.
func (inc *incarnation) hashAt(counter uint64) (record.Hash, bool) {
	base, hash := inc.base()
	switch {
	case counter == base:
		return hash, true
	case counter > base && counter <= inc.counter:
		return inc.kept[counter-base-1].hash, true
	}
	return record.Hash{}, false
}

// greeting is where the server stands with one incarnation.
type greeting struct {
	common uint64 // the highest counter at which both chains are known to agree
	prefix bool   // the server's chain is a beginning of this one that can be continued from what is kept
	known  map[record.ID]causal.Dot
}

// ReceiveHello takes the answer to a hello. Where the server has less of this replica than it keeps, the rest is offered again. Where the chains differ,
// or the server wants a counter that is no longer kept, everything that the server lacks goes on under a new incarnation, for which fresh is 16
// fresh random bytes. Where the cursor is of another epoch, all states are pulled anew and replaced. An answer to a step that is no longer the
// current one is left aside.
func (r *Replica) ReceiveHello(s Step, m *syncv1.HelloResponse, fresh causal.ReplicaID) Changes {
	var ch Changes
	if !slices.Contains(r.incarnations, s.inc) || !s.inc.hello || !bytes.Equal(s.Hello.GetCursor(), r.cursor) {
		return ch
	}
	s.inc.hello = false
	s.inc.greeting = s.inc.greet(m)
	if len(r.cursor) > 0 && !m.GetCursorValid() {
		r.startReplacing(&ch)
	}
	s.inc.noteBackedUp(m.GetNewestBackedUpCounter(), &ch)
	r.started = false
	if !r.greetingsMissing() {
		r.reconcile(fresh, &ch)
	}
	r.putMeta(&ch)
	return ch
}

func (r *Replica) greetingsMissing() bool {
	for _, inc := range r.incarnations {
		if inc.hello {
			return true
		}
	}
	return false
}

func (inc *incarnation) greet(m *syncv1.HelloResponse) *greeting {
	g := &greeting{common: m.GetCommonCounter(), known: map[record.ID]causal.Dot{}}
	for _, k := range m.GetKnown() {
		if id, err := record.IDFromBytes(k.GetEditId()); err == nil && len(k.GetReplica()) == 16 {
			g.known[id] = causal.Dot{Replica: causal.ReplicaID(k.GetReplica()), Counter: k.GetCounter()}
		}
	}
	if hash, ok := inc.hashAt(m.GetCounter()); ok && (m.GetCounter() == 0 || bytes.Equal(hash[:], m.GetHash())) {
		g.common, g.prefix = m.GetCounter(), true
	}
	return g
}

// reconcile acts on what the server said, for all incarnations together: edits of one name edits of another in their contexts.
func (r *Replica) reconcile(fresh causal.ReplicaID, ch *Changes) {
	forked := false
	for _, inc := range r.incarnations {
		if inc.greeting == nil {
			inc.greeting = &greeting{common: inc.acked, prefix: true}
		}
		if !inc.greeting.prefix && (inc == r.current() || inc.lacks()) {
			forked = true
		}
		if inc.greeting.common < inc.acked && !r.replacing {
			// The server lost what it once acknowledged, though the cursor does not show it. What it said of those edits then may not be what it says now.
			r.startReplacing(ch)
		}
	}
	if forked {
		r.fork(fresh, ch)
	}
	for _, inc := range r.incarnations {
		if !forked && inc.greeting.prefix {
			r.resume(inc, inc.greeting.common, ch)
		}
		inc.greeting = nil
	}
}

// lacks reports whether the server lacks an edit of inc.
func (inc *incarnation) lacks() bool {
	for _, o := range inc.kept {
		if _, ok := inc.greeting.known[o.edit.ID]; !ok && o.edit.Dot.Counter > inc.greeting.common {
			return true
		}
	}
	return false
}

// resume makes everything after counter unsent again. What the server holds and did not say so, because an answer was lost, is sent again: the answer to
// that says what became of it.
func (r *Replica) resume(inc *incarnation, counter uint64, ch *Changes) {
	inc.acked = min(inc.acked, counter)
	for _, o := range inc.kept {
		if o.edit.Dot.Counter <= inc.acked || o.fate == pending {
			continue
		}
		if o.fate == waiting {
			ch.delete(waitingKey(o.edit.Dot))
		}
		o.fate = pending
		l := r.local(o.edit.Key)
		if !slices.Contains(l.own, o) {
			l.own = append(l.own, o)
			slices.SortFunc(l.own, r.compareOwn)
		}
		ch.changed(o.edit.Key)
	}
}

// compareOwn orders own edits as they were made.
func (r *Replica) compareOwn(a, b *own) int {
	if a.edit.Dot.Replica == b.edit.Dot.Replica {
		return cmp.Compare(a.edit.Dot.Counter, b.edit.Dot.Counter)
	}
	at := func(o *own) int {
		return slices.IndexFunc(r.incarnations, func(inc *incarnation) bool { return inc.id == o.edit.Dot.Replica })
	}
	return cmp.Compare(at(a), at(b))
}

// fork gives everything that the server lacks to a new incarnation. What it has under another dot comes back with its states.
func (r *Replica) fork(fresh causal.ReplicaID, ch *Changes) {
	f := record.Fork{Common: map[causal.ReplicaID]uint64{}, Known: map[causal.Dot]causal.Dot{}, Fresh: fresh}
	var lost []record.Edit
	for _, inc := range r.incarnations {
		f.Common[inc.id] = inc.greeting.common
		for _, o := range inc.cut(inc.greeting.common) {
			r.local(o.edit.Key).drop(o)
			o.dropOwn(ch)
			ch.delete(waitingKey(o.edit.Dot))
			ch.changed(o.edit.Key)
			if d, ok := inc.greeting.known[o.edit.ID]; ok {
				f.Known[o.edit.Dot] = d
			} else {
				lost = append(lost, o.edit)
			}
		}
		inc.await(r, ch)
	}
	next := &incarnation{id: fresh, hello: true}
	r.incarnations = append(r.incarnations, next)
	for _, e := range f.Redot(lost) {
		e.Previous = next.head
		r.append(next, e, ch)
	}
}

// await leaves it to the server's rows to say what became of the edits that it holds and that it did not acknowledge: inc speaks no more.
func (inc *incarnation) await(r *Replica, ch *Changes) {
	for _, o := range inc.kept {
		if o.fate != pending {
			continue
		}
		if l := r.local(o.edit.Key); !l.stale && l.server.Seen.Covers(o.edit.Dot) {
			o.fate = settled
			l.drop(o)
		} else {
			o.fate = waiting
			ch.put(waitingKey(o.edit.Dot), []byte{storedForm})
		}
	}
}

// cut takes the edits above common off inc and returns them.
func (inc *incarnation) cut(common uint64) []*own {
	i := 0
	for i < len(inc.kept) && inc.kept[i].edit.Dot.Counter <= common {
		i++
	}
	off := inc.kept[i:]
	if len(off) > 0 {
		inc.counter, inc.head = off[0].edit.Dot.Counter-1, off[0].edit.Previous
	}
	inc.kept = inc.kept[:i:i]
	inc.acked = inc.counter
	return off
}
