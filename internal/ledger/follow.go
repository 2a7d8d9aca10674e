package ledger

import (
	"cmp"
	"context"
	"errors"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// Follow calls fn with the records of an organisation that changed after a sequence, in the order of their latest changes, at most limit of them. It
// returns the sequence up to which all is told, and whether there is more. Whoever keeps an index of their own goes on from there. It reads in one
// snapshot; fn must be quick.
func (l *Ledger) Follow(ctx context.Context, org record.ID, seq uint64, limit int, fn func(Record) error) (last uint64, more bool, err error) {
	last = seq
	err = l.store.View(ctx, func(r store.Reader) error {
		n := 0
		return r.Scan(changeKey(org, seq+1), after(changeKey(org, 0)[:17]), func(key, value []byte) error {
			if n == limit {
				more = true
				return store.Stop
			}
			at, err := keySequence(key)
			if err != nil {
				return err
			}
			c, err := decodeChange(value)
			if err != nil {
				return err
			}
			rec, err := readRecord(r, org, c.key)
			if err == nil {
				n, last, err = n+1, at, fn(rec)
			}
			return err
		})
	})
	return last, more, err
}

// readRecord is a record with its held edits.
func readRecord(r store.Reader, org record.ID, k record.Key) (Record, error) {
	row, err := readRow(r, org, k)
	if err != nil {
		return Record{}, err
	}
	out := Record{State: row.state}
	if row.held == 0 {
		return out, nil
	}
	entries, err := readHeld(r, org, k)
	for i := range entries {
		out.Held = append(out.Held, entries[i].Held)
	}
	return out, err
}

// FindEdit is the edit that came in under an id, whatever became of it, with its sequence. It is NOT_FOUND when the organisation has none such.
func (l *Ledger) FindEdit(ctx context.Context, org, id record.ID) (e record.Edit, seq uint64, err error) {
	err = l.store.View(ctx, func(r store.Reader) error {
		v, err := r.Get(idKey(org, id))
		if errors.Is(err, store.ErrNotFound) {
			return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
		}
		if err != nil {
			return err
		}
		if seq, _, err = decodeIDEntry(v); err != nil {
			return err
		}
		ev, err := readEvent(r, seq)
		e = ev.edit
		return err
	})
	return e, seq, err
}

// ReadAt is a record as exactly the edits that v has seen leave it: what someone had before her who was given v as the context.
func (l *Ledger) ReadAt(ctx context.Context, org record.ID, k record.Key, v causal.Vector) (st *record.State, err error) {
	err = l.store.View(ctx, func(r store.Reader) error {
		row, err := readRow(r, org, k)
		if err != nil {
			return err
		}
		if row.first == 0 {
			return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
		}
		p := pendingRow{row: row}
		if row.held > 0 {
			if p.held, err = readHeld(r, org, k); err != nil {
				return err
			}
		}
		log, err := events(r, row.last)
		if err == nil {
			st = replay(k, log, p.partialWrites(), v.Covers)
		}
		return err
	})
	return st, err
}

// HeldEver is every edit of an organisation that was ever held, with what became of it, in the order of their latest changes.
func (l *Ledger) HeldEver(ctx context.Context, org record.ID) ([]wire.Held, error) {
	var found []heldEntry
	prefix := append([]byte{tableHeld}, org[:]...)
	err := l.store.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(_, v []byte) error {
			h, err := decodeHeld(v)
			found = append(found, h)
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
