package ledger

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// heldEntry is a held edit as it is stored, with the sequence of its latest change.
type heldEntry struct {
	seq uint64
	wire.Held
}

func (h *heldEntry) encode() []byte {
	return h.AppendBinary(binary.AppendUvarint(make([]byte, 0, 512), h.seq))
}

func decodeHeld(b []byte) (heldEntry, error) {
	seq, b, err := causal.Uvarint(b)
	if err != nil {
		return heldEntry{}, fmt.Errorf("held edit: %w", err)
	}
	h, err := wire.ParseHeld(b)
	return heldEntry{seq, h}, err
}

// readHeld is the held edits of a record, ascending by dot.
func readHeld(r store.Reader, org record.ID, k record.Key) ([]heldEntry, error) {
	var out []heldEntry
	prefix := recordKey(tableHeld, org, k)
	err := r.Scan(prefix, after(prefix), func(_, v []byte) error {
		h, err := decodeHeld(v)
		out = append(out, h)
		return err
	})
	return out, err
}

// keep stores a held edit beside its record, new or changed.
func (b *batch) keep(row *pendingRow, h wire.Held) error {
	entry := heldEntry{b.head.seq, h}
	i, ok := slices.BinarySearchFunc(row.held, h.Edit.Dot, func(e heldEntry, d causal.Dot) int { return e.Edit.Dot.Compare(d) })
	if ok {
		row.held[i] = entry
	} else {
		row.held = slices.Insert(row.held, i, entry)
	}
	row.row.held = b.head.seq
	if err := b.noteWaiting(&h); err != nil {
		return err
	}
	return b.w.Put(heldKey(b.org, h.Edit.Key, h.Edit.Dot), entry.encode())
}

// noteWaiting keeps the index of edits that wait.
func (b *batch) noteWaiting(h *wire.Held) error {
	key := waitingKey(b.org, h.Edit.Key, h.Edit.Dot)
	if h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING {
		return b.w.Put(key, []byte{1})
	}
	return b.w.Delete(key)
}

// wakeAll lets edits of every record take effect whose wait is over. What a page brought may be what another record's edit waited for.
func (b *batch) wakeAll() error {
	keys := map[record.Key]bool{}
	prefix := append([]byte{tableWaiting}, b.org[:]...)
	err := b.w.Scan(prefix, after(prefix), func(key, _ []byte) error {
		_, k, err := keyRecord(key)
		keys[k] = true
		return err
	})
	if err != nil {
		return err
	}
	for _, k := range slices.SortedFunc(maps.Keys(keys), record.Key.Compare) {
		row, err := b.row(k)
		if err != nil {
			return err
		}
		if err := b.wake(row); err != nil {
			return err
		}
	}
	return nil
}

// wake lets edits take effect whose wait is over, until none is left that can.
func (b *batch) wake(row *pendingRow) error {
	for {
		next, err := b.woken(row)
		if err != nil || next == nil {
			return err
		}
		if err := b.resume(row, *next); err != nil {
			return err
		}
	}
}

// woken is a waiting edit whose wait is over, or nil.
func (b *batch) woken(row *pendingRow) (*wire.Held, error) {
	for i := range row.held {
		if row.held[i].Status != syncv1.HeldStatus_HELD_STATUS_WAITING {
			continue
		}
		h := row.held[i].Held
		if ready, err := b.ready(row, &h.Edit); err != nil || ready {
			return &h, err
		}
	}
	return nil, nil
}

// resume judges an edit that had waited, and lets it take effect or holds it.
func (b *batch) resume(row *pendingRow, h wire.Held) error {
	a := b.l.admission(h.Edit, record.Hash{}, record.FromDevice)
	if handedInReason(h.Reason) {
		a.handedIn = fault.New(h.Reason, "", "", "")
	}
	known, err := b.knownID(&a)
	if err != nil {
		return err
	}
	d, err := b.decide(row, &a, known)
	if err != nil {
		return err
	}
	o := resumed
	if len(d.apply) == 0 {
		o = judged
	}
	if err := b.logRef(row, o, h.Edit.Dot); err != nil {
		return err
	}
	h.Status = syncv1.HeldStatus_HELD_STATUS_APPLIED
	if err := b.keep(row, h); err != nil {
		return err
	}
	return b.takeEffect(row, d)
}

// Judgement is who judges a held edit, and which.
type Judgement struct {
	Org    record.ID
	By     record.ID // staff
	Key    record.Key
	Dot    causal.Dot
	Reason string            // why, in the person's words; for giving up
	Take   []record.Register // registers that were rewritten since and are wanted all the same
}

// Release makes the writes of a held edit again, as an edit of the server's own replica in its author's name with its old context. Registers that
// someone rewrote after seeing the held value are left out, and returned, unless Take names them. Writes that were held because this edit created
// their elements are released with it; what of them is left out is returned too.
func (l *Ledger) Release(ctx context.Context, j Judgement) (leftOut []record.Register, err error) {
	err = l.inBatch(ctx, j.Org, func(b *batch) error {
		row, h, err := b.judged(j)
		if err != nil {
			return err
		}
		leftOut, err = b.release(row, h, j.Take)
		if err != nil {
			return err
		}
		more, err := b.releaseFollowers(row)
		for _, r := range more {
			if !slices.Contains(leftOut, r) {
				leftOut = append(leftOut, r)
			}
		}
		return err
	})
	return leftOut, err
}

// inBatch runs fn in one transaction and writes what it changed.
func (l *Ledger) inBatch(ctx context.Context, org record.ID, fn func(*batch) error) error {
	return l.store.Update(ctx, func(w store.Writer) error {
		b, err := l.newBatch(w, org)
		if err != nil {
			return err
		}
		if err := fn(b); err != nil {
			return err
		}
		return b.flush()
	})
}

func (b *batch) judged(j Judgement) (*pendingRow, wire.Held, error) {
	row, err := b.row(j.Key)
	if err != nil {
		return nil, wire.Held{}, err
	}
	i := slices.IndexFunc(row.held, func(h heldEntry) bool { return h.Edit.Dot == j.Dot })
	if i < 0 {
		return nil, wire.Held{}, fault.New(faultv1.Reason_REASON_NOT_FOUND, "held edit", j.Dot.String(), "an edit that is held")
	}
	switch row.held[i].Status {
	case syncv1.HeldStatus_HELD_STATUS_HELD, syncv1.HeldStatus_HELD_STATUS_WAITING:
		return row, row.held[i].Held, nil
	}
	return nil, wire.Held{}, fault.New(faultv1.Reason_REASON_STALE_READ, "held edit", row.held[i].Status.String(), "an edit that nobody judged yet")
}

func (b *batch) release(row *pendingRow, h wire.Held, take []record.Register) ([]record.Register, error) {
	if h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING {
		return nil, fault.New(faultv1.Reason_REASON_UNKNOWN_CONTEXT, "held edit", h.Edit.Dot.String(), "an edit whose context has come")
	}
	later, err := b.rewriting(row, func(e *record.Edit) bool { return e.Context.Covers(h.Edit.Dot) })
	if err != nil {
		return nil, err
	}
	writes, leftOut := record.Release(&h.Edit, later, take)
	h.Status = syncv1.HeldStatus_HELD_STATUS_RELEASED
	if err := b.logRef(row, judged, h.Edit.Dot); err != nil {
		return nil, err
	}
	if err := b.keep(row, h); err != nil {
		return nil, err
	}
	if len(writes) == 0 {
		return leftOut, nil
	}
	seen, err := b.seenSince(row, h.Edit.Context)
	if err != nil {
		return nil, err
	}
	again := record.Edit{Key: h.Edit.Key, Context: seen, Author: h.Edit.Author, AuthoredAt: h.Edit.AuthoredAt, Writes: writes}
	return leftOut, b.serverEdit(row, again, h.Edit.Dot)
}

// seenSince is a context with the new dots of those edits that it covers and that were released since: their author saw them when he made his. Such a dot is
// named only when every edit of its replica before it, on this record, is one of these too, or the context would cover what nobody had seen.
func (b *batch) seenSince(row *pendingRow, context causal.Vector) (causal.Vector, error) {
	log, err := events(b.w, row.last)
	if err != nil {
		return nil, err
	}
	was, unseen := releases(log), map[causal.ReplicaID]bool{}
	for i := range log {
		d := log[i].edit.Dot
		if !log[i].outcome.hasEdit() || unseen[d.Replica] || context.Covers(d) {
			continue
		}
		if old, ok := was[d]; ok && context.Covers(old) {
			context = context.With(d)
		} else {
			unseen[d.Replica] = true
		}
	}
	return context, nil
}

// releases is the edits that were made again when held ones were released, with the dots that these had. A release logs its judgement and the edit after it.
func releases(log []event) map[causal.Dot]causal.Dot {
	out, made := map[causal.Dot]causal.Dot{}, map[causal.Dot]*record.Edit{}
	for i := range log {
		e := &log[i]
		if e.outcome.hasEdit() {
			made[e.edit.Dot] = &e.edit
		}
		if i == 0 || log[i-1].outcome != judged || log[i-1].seq+1 != e.seq || !e.outcome.hasEdit() {
			continue
		}
		if old := made[log[i-1].ref]; old != nil && old.Author == e.edit.Author && old.AuthoredAt == e.edit.AuthoredAt {
			out[e.edit.Dot] = old.Dot
		}
	}
	return out
}

// releaseFollowers releases the writes that were held only because an edit that is now released created their elements, and returns what it left out.
func (b *batch) releaseFollowers(row *pendingRow) (leftOut []record.Register, err error) {
	for {
		i := slices.IndexFunc(row.held, func(h heldEntry) bool {
			if h.Status != syncv1.HeldStatus_HELD_STATUS_HELD || h.Reason != faultv1.Reason_REASON_ELEMENT_HELD {
				return false
			}
			_, kept := record.Partition(row.state, row.blocking(&h.Edit, h.Edit.Dot), &h.Edit)
			return len(kept) == 0
		})
		if i < 0 {
			return leftOut, nil
		}
		left, err := b.release(row, row.held[i].Held, nil)
		if err != nil {
			return nil, err
		}
		leftOut = append(leftOut, left...)
	}
}

// GiveUp records that a person gave a held or waiting edit up for good, with the reason. It stays in the log. Edits that waited for it go on. Of edits of
// one replica that wait in a record the earliest is given up first; another is refused with UNKNOWN_CONTEXT.
func (l *Ledger) GiveUp(ctx context.Context, j Judgement) error {
	return l.inBatch(ctx, j.Org, func(b *batch) error {
		row, h, err := b.judged(j)
		if err != nil {
			return err
		}
		if h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING && row.waits(causal.Dot{Replica: h.Edit.Dot.Replica, Counter: h.Edit.Dot.Counter - 1}) {
			// Its counter would count, and with it all below it, so what still waits there could take no effect any more.
			return fault.New(faultv1.Reason_REASON_UNKNOWN_CONTEXT, "held edit", h.Edit.Dot.String(), "the edits that its author made before it judged first")
		}
		if err := b.logRef(row, givenUp, h.Edit.Dot); err != nil {
			return err
		}
		if h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING {
			row.state.Skip(h.Edit.Dot)
			row.seen = b.head.seq
		}
		h.Status, h.Reason, h.Detail = syncv1.HeldStatus_HELD_STATUS_GIVEN_UP, faultv1.Reason_REASON_GIVEN_UP, j.Reason
		if err := b.keep(row, h); err != nil {
			return err
		}
		return b.wake(row)
	})
}

// ListHeld is the edits of an organisation that are held or waiting, oldest change first.
func (l *Ledger) ListHeld(ctx context.Context, org record.ID) ([]wire.Held, error) {
	var found []heldEntry
	prefix := append([]byte{tableHeld}, org[:]...)
	err := l.store.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(_, v []byte) error {
			h, err := decodeHeld(v)
			if err == nil && (h.Status == syncv1.HeldStatus_HELD_STATUS_HELD || h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING) {
				found = append(found, h)
			}
			return err
		})
	})
	slices.SortStableFunc(found, func(a, b heldEntry) int { return cmp.Compare(a.seq, b.seq) })
	out := make([]wire.Held, len(found))
	for i := range found {
		out[i] = found[i].Held
	}
	return out, err
}
