package ledger

import (
	"context"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// events is the events of a record, oldest first, beginning with its newest at last.
func events(r store.Reader, last uint64) ([]event, error) {
	var out []event
	for seq := last; seq > 0; {
		e, err := readEvent(r, seq)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
		seq = e.previous
	}
	slices.Reverse(out)
	return out, nil
}

// rewriting is the edits of a record that match and took effect, or will by themselves: those that wait, and those held for an element alone, which
// follow it when it is released. An edit that was refused for itself rewrote nothing, as long as nobody releases it.
func (b *batch) rewriting(row *pendingRow, match func(*record.Edit) bool) ([]record.Edit, error) {
	log, err := events(b.w, row.last)
	if err != nil {
		return nil, err
	}
	var out []record.Edit
	for i := range log {
		e := &log[i].edit
		if log[i].outcome.hasEdit() && log[i].outcome != duplicate && match(e) && !row.refused(e.Dot) {
			out = append(out, *e)
		}
	}
	return out, nil
}

// refused reports whether an edit as a whole was refused for itself, or given up.
func (p *pendingRow) refused(d causal.Dot) bool {
	i := slices.IndexFunc(p.held, func(h heldEntry) bool { return h.Edit.Dot == d })
	if i < 0 || p.held[i].Partial {
		return false
	}
	switch h := &p.held[i]; h.Status {
	case syncv1.HeldStatus_HELD_STATUS_GIVEN_UP:
		return true
	case syncv1.HeldStatus_HELD_STATUS_HELD:
		return h.Reason != faultv1.Reason_REASON_ELEMENT_HELD
	}
	return false
}

// foldAt is the state of a record as exactly the edits that v has seen leave it.
func (b *batch) foldAt(row *pendingRow, v causal.Vector) (*record.State, error) {
	log, err := events(b.w, row.last)
	if err != nil {
		return nil, err
	}
	return replay(row.state.Key, log, row.partialWrites(), v.Covers), nil
}

func (p *pendingRow) partialWrites() map[causal.Dot][]record.Write {
	out := map[causal.Dot][]record.Write{}
	for i := range p.held {
		if p.held[i].Partial {
			out[p.held[i].Edit.Dot] = p.held[i].Edit.Writes
		}
	}
	return out
}

// replay folds the log of a record again, with those edits whose dots are wanted: the slow, plain twin of what admitting edits one by one leaves.
func replay(key record.Key, log []event, partial map[causal.Dot][]record.Write, wanted func(causal.Dot) bool) *record.State {
	st := record.NewState(key)
	waited := map[causal.Dot]record.Edit{}
	apply := func(e record.Edit) {
		if e.Writes = without(e.Writes, partial[e.Dot]); len(e.Writes) > 0 {
			st.Apply(&e)
		} else {
			st.Skip(e.Dot)
		}
	}
	for _, e := range log {
		d := e.ref
		if e.outcome.hasEdit() {
			d = e.edit.Dot
		}
		if !wanted(d) {
			continue
		}
		switch e.outcome {
		case applied:
			apply(e.edit)
		case held, duplicate:
			st.Skip(d)
		case waiting:
			waited[d] = e.edit
		case resumed:
			apply(waited[d])
		case judged, givenUp:
			st.Skip(d) // given up, or held when its wait was over; one that had counted before changes nothing
		}
	}
	return st
}

// without is the writes less those of held, which were some of them whole.
func without(writes, held []record.Write) []record.Write {
	if len(held) == 0 {
		return writes
	}
	var out []record.Write
	for _, w := range writes {
		if !slices.ContainsFunc(held, func(h record.Write) bool { return h.Path == w.Path }) {
			out = append(out, w)
		}
	}
	return out
}

// Entry is one edit of a record's history.
type Entry struct {
	Edit     record.Edit
	Sequence uint64
	Effect   string // applied, held, waiting or duplicate
	// ReceivedAtMS is when the server took it, milliseconds since 1970 UTC by its clock; 0 when it was taken before times were kept.
	ReceivedAtMS int64
}

// Record is a record as the ledger holds it.
type Record struct {
	State *record.State
	Held  []wire.Held
}

// Read is a record with its held edits. A record that the organisation does not have is NOT_FOUND.
func (l *Ledger) Read(ctx context.Context, org record.ID, k record.Key) (Record, error) {
	var out Record
	err := l.store.View(ctx, func(r store.Reader) (err error) {
		out, err = l.ReadIn(r, org, k)
		return err
	})
	return out, err
}

// ReadIn is Read as r has the record.
func (l *Ledger) ReadIn(r store.Reader, org record.ID, k record.Key) (Record, error) {
	row, err := readRow(r, org, k)
	if err != nil {
		return Record{}, err
	}
	if row.first == 0 {
		return Record{}, fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
	}
	out := Record{State: row.state}
	entries, err := readHeld(r, org, k)
	for i := range entries {
		out.Held = append(out.Held, entries[i].Held)
	}
	return out, err
}

// Scan calls fn with every record of a kind in an organisation, by id. It reads in one snapshot; fn must be quick.
func (l *Ledger) Scan(ctx context.Context, org record.ID, kind record.Kind, fn func(*record.State) error) error {
	prefix := stateKey(org, record.Key{Kind: kind})[:19]
	return l.store.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(key, v []byte) error {
			_, k, err := keyRecord(key)
			if err != nil {
				return err
			}
			row, err := decodeRow(r, k, v)
			if err != nil {
				return err
			}
			return fn(row.state)
		})
	})
}

// History is every edit of a record that came in, oldest first: the audit of its content.
func (l *Ledger) History(ctx context.Context, org record.ID, k record.Key) ([]Entry, error) {
	var out []Entry
	err := l.store.View(ctx, func(r store.Reader) error {
		row, err := readRow(r, org, k)
		if err != nil {
			return err
		}
		if row.first == 0 {
			return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
		}
		log, err := events(r, row.last)
		for i := range log {
			if log[i].outcome.hasEdit() {
				out = append(out, Entry{log[i].edit, log[i].seq, log[i].outcome.String(), log[i].atMS})
			}
		}
		return err
	})
	return out, err
}

// String is the outcome's name.
func (o outcome) String() string {
	return [...]string{"", "applied", "held", "waiting", "duplicate", "judged", "resumed", "scoped", "given up"}[o]
}
