package ledger

import (
	"cmp"
	"context"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// Readmitted is what became of the edits that had been held because the server's schema was too old for them.
type Readmitted struct {
	Released int // took effect under a dot of the server's own replica
	Held     int // known now, and held for another reason
	TooNew   int // still not known
}

// Readmit judges anew every edit that was held as SCHEMA_TOO_NEW and that the schema knows by now, as at a start after an upgrade. They are judged in the order
// in which they came, as if they came now: their content, their authors' rights as they stand, the record as it is; with their old contexts, authors and
// times. What passes takes effect as a released edit does; what does not is held for what is wrong with it. Each is one transaction, so that a start
// that is cut off goes on at the next. Without such edits nothing is written.
func (l *Ledger) Readmit(ctx context.Context) (Readmitted, error) {
	var out Readmitted
	waiting, err := l.knownByNow(ctx, &out)
	if err != nil {
		return out, err
	}
	for i := range waiting {
		j := Judgement{Org: waiting[i].org, Key: waiting[i].held.Edit.Key, Dot: waiting[i].held.Edit.Dot}
		released := false
		err := l.inBatch(ctx, j.Org, func(b *batch) (err error) {
			row, h, err := b.judged(j)
			if fault.Has(err, faultv1.Reason_REASON_STALE_READ) { // it followed one before it
				released = true
				return nil
			}
			if err != nil {
				return err
			}
			released, err = b.readmit(row, h)
			return err
		})
		if err != nil {
			return out, err
		}
		if released {
			out.Released++
		} else {
			out.Held++
		}
	}
	return out, nil
}

// tooNew is an edit that is held as SCHEMA_TOO_NEW.
type tooNew struct {
	org  record.ID
	seq  uint64 // of its event
	held wire.Held
}

// knownByNow is the edits that were too new when they came and are not any more, in the order in which they came.
func (l *Ledger) knownByNow(ctx context.Context, count *Readmitted) (out []tooNew, err error) {
	err = l.store.View(ctx, func(r store.Reader) error {
		return r.Scan([]byte{tableHeld}, nil, func(key, v []byte) error {
			h, err := decodeHeld(v)
			if err != nil || h.Status != syncv1.HeldStatus_HELD_STATUS_HELD || h.Reason != faultv1.Reason_REASON_SCHEMA_TOO_NEW {
				return err
			}
			if refusal := l.Schema.Check(&h.Edit, record.FromDevice); refusal != nil && refusal.Reason == faultv1.Reason_REASON_SCHEMA_TOO_NEW {
				count.TooNew++
				return nil
			}
			at, err := readLink(r, h.Edit.Dot)
			out = append(out, tooNew{record.ID(key[1:17]), at.seq, h.Held})
			return err
		})
	})
	slices.SortFunc(out, func(a, b tooNew) int { return cmp.Compare(a.seq, b.seq) })
	return out, err
}

// readmit judges one edit anew, and reports whether it took effect.
func (b *batch) readmit(row *pendingRow, h wire.Held) (released bool, err error) {
	a := b.l.admission(h.Edit, record.Hash{}, record.FromDevice)
	refusal := a.refusal
	if refusal == nil {
		if refusal, err = b.refuse(row, &a); err != nil {
			return false, err
		}
	}
	if refusal == nil {
		if _, kept := record.Partition(row.state, row.blocking(&a.edit, a.madeAs()), &a.edit); len(kept) > 0 {
			refusal = fault.New(faultv1.Reason_REASON_ELEMENT_HELD, "", "", "")
		}
	}
	if refusal != nil {
		if err := b.logRef(row, judged, h.Edit.Dot); err != nil {
			return false, err
		}
		h.Reason, h.Detail = reasonOf(refusal)
		return false, b.keep(row, h)
	}
	if _, err := b.release(row, h, nil); err != nil {
		return false, err
	}
	_, err = b.releaseFollowers(row)
	return true, err
}
