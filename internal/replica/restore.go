package replica

import (
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// startReplacing begins to replace every state of the server's: after a restore they may hold what it lost, and joining would keep that as if the
// server had it.
func (r *Replica) startReplacing(ch *Changes) {
	r.cursor, r.replacing, r.more = nil, true, false
	r.wishAgain(ch)
	for k, l := range r.locals {
		l.fold()
		l.stale = true
		r.putLocal(k, ch)
	}
	r.backupsUnknown(ch)
}

// finishReplacing drops the states that the server no longer has, or that are not in this replica's scope.
func (r *Replica) finishReplacing(ch *Changes) {
	r.replacing = false
	kept := r.taken()
	for _, k := range r.sortedKeys() {
		l := r.locals[k]
		if !l.stale {
			continue
		}
		old, held := l.server, l.held
		l.server, l.stale, l.held = record.NewState(k), false, nil
		if !r.barred(old) {
			r.recover(old, l, ch)
			r.recoverHeld(held, l, ch)
		}
		if seen := kept[k].Join(r.takenAndLetGo(old.Seen, l)); len(seen) > 0 { // it is on the server, which does not send it: it left the scope, as in forget
			l.server.Seen, l.stale = seen, true
		}
		if len(l.own) == 0 && !l.stale {
			delete(r.locals, k)
			ch.delete(localKey(k))
		} else {
			r.putLocal(k, ch)
		}
		ch.changed(k)
	}
	r.wishNoMore()
}

// taken is the own edits that are kept and that the server has, by record.
func (r *Replica) taken() map[record.Key]causal.Vector {
	out := map[record.Key]causal.Vector{}
	for _, inc := range r.incarnations {
		for _, o := range inc.kept {
			k := o.edit.Key
			if l := r.locals[k]; l != nil && o.fate == settled && !slices.Contains(l.own, o) {
				out[k] = out[k].With(o.edit.Dot)
			}
		}
	}
	return out
}

// takenAndLetGo is the part of a vector that stands for own edits which the server has and which are no longer kept: what comes before the first own edit
// that it is offered anew. Without it such an edit, once folded, would say that the earlier ones were seen, and hide them when the record comes.
func (r *Replica) takenAndLetGo(seen causal.Vector, l *local) causal.Vector {
	var out causal.Vector
	if !l.letGo {
		return out
	}
	for _, inc := range r.incarnations {
		d := causal.Dot{Replica: inc.id, Counter: min(seen.Counter(inc.id), inc.acked)}
		for _, o := range l.own {
			if o.edit.Dot.Replica == inc.id {
				d.Counter = min(d.Counter, o.edit.Dot.Counter-1)
			}
		}
		if d.Counter > 0 {
			out = out.With(d)
		}
	}
	return out
}

func (r *Replica) sortedKeys() []record.Key {
	out := make([]record.Key, 0, len(r.locals))
	for k := range r.locals {
		out = append(out, k)
	}
	slices.SortFunc(out, record.Key.Compare)
	return out
}

// recover keeps, for a person, the values of the old state that the new one has not seen and that this replica does not offer again itself.
func (r *Replica) recover(old *record.State, l *local, ch *Changes) {
	for _, c := range old.Values() {
		for _, x := range c.Siblings {
			rec := Recovered{Key: old.Key, Register: c.Register, Sibling: x, Info: old.Info(x.Dot)}
			if !r.present(rec, l) {
				r.recovered = append(r.recovered, rec)
				r.putRecovered(rec, ch)
			}
		}
	}
}

// recoverHeld keeps, for a person, what edits would have written that were held back or waited on a server which was restored and lost them: who made them may
// be gone. A released or given up one was judged by a person.
func (r *Replica) recoverHeld(held []wire.Held, l *local, ch *Changes) {
	for i := range held {
		if s := held[i].Status; s == syncv1.HeldStatus_HELD_STATUS_HELD || s == syncv1.HeldStatus_HELD_STATUS_WAITING {
			st := record.NewState(l.server.Key)
			st.Apply(&held[i].Edit)
			r.recover(st, l, ch)
		}
	}
}

// present reports whether a recovered value is in what the replica shows, or was seen by the server and superseded there.
func (r *Replica) present(rec Recovered, l *local) bool {
	if l.server.Seen.Covers(rec.Sibling.Dot) {
		return true
	}
	for _, x := range r.View(rec.Key).Siblings(rec.Register) {
		if x.SameValue(rec.Sibling) {
			return true
		}
	}
	return false
}

// dropRecovered forgets recovered values of a record that came back after all, from the replica that wrote them.
func (r *Replica) dropRecovered(l *local, ch *Changes) {
	r.recovered = slices.DeleteFunc(r.recovered, func(rec Recovered) bool {
		back := rec.Key == l.server.Key && r.present(rec, l)
		if back {
			ch.deleteNew(recoveredKey(rec))
		}
		return back
	})
}

// dropReturned forgets recovered values of the records that look different now: one that an own edit had superseded is back when that edit was refused.
func (r *Replica) dropReturned(ch *Changes) {
	if len(r.recovered) == 0 {
		return
	}
	for _, k := range ch.Records {
		if l := r.locals[k]; l != nil && !l.stale {
			r.dropRecovered(l, ch)
		}
	}
}

// Dismiss forgets a recovered value, after a person took it with an edit or decided against it.
func (r *Replica) Dismiss(rec Recovered) Changes {
	var ch Changes
	r.recovered = slices.DeleteFunc(r.recovered, func(x Recovered) bool {
		return x.Key == rec.Key && x.Register == rec.Register && x.Sibling.Dot == rec.Sibling.Dot
	})
	ch.delete(recoveredKey(rec))
	ch.changed(rec.Key)
	return ch
}
