package service

import (
	"context"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// EditRecord changes a record or makes it. The caller must be allowed to edit the record as it was and as it will be.
func (h *charting) EditRecord(ctx context.Context, m *chartv1.EditRecordRequest) (*chartv1.EditRecordResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	change, err := d.chart.Edit(m)
	if err != nil {
		return nil, err
	}
	t, err := d.decideChange(ctx, change)
	if err != nil {
		return nil, err
	}
	d.origin = d.originOf(change)
	done, err := d.editOnce(ctx, m.GetRequestId(), t, func(_ time.Time, again bool) (chart.Change, error) {
		if again {
			return change, nil // it was asked when it was made
		}
		return change, d.checkDeed(ctx, change)
	})
	if err != nil {
		return nil, err
	}
	return &chartv1.EditRecordResponse{View: done.view, Edit: d.chart.Authorship(&done.edit), AlreadyApplied: done.again}, nil
}

// decideChange decides an edit by the record as it stands, when it does, and as the change would leave it.
func (d *desk) decideChange(ctx context.Context, c chart.Change) (touched, error) {
	st := record.NewState(c.Key)
	if f := d.index.get(c.Key); f != nil {
		if t, err := d.decide(ctx, f); err != nil {
			return t, err
		}
		r, err := d.ledger.Read(ctx, d.org, c.Key)
		if err != nil {
			return touched{}, err
		}
		st = r.State.Clone()
	}
	st.Apply(&record.Edit{Key: c.Key, Dot: madeUpDot(), Context: c.Context, Writes: c.Writes})
	f := d.chart.FoldFacts(st)
	return d.decide(ctx, &f)
}

// madeUpDot stands for the dot that an edit will get.
func madeUpDot() causal.Dot { return causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1 << 62} }

// done is what became of a request that edits.
type done struct {
	view  *chartv1.RecordView
	edit  record.Edit
	again bool // it had been done before
}

// editOnce makes the edit of a request, whose id names it, and enters it into the audit log. Asked again it makes the same change of the same time,
// which the ledger knows and does not make again; the same id with another content is ID_REUSED. build gives the change as of a time.
func (d *desk) editOnce(ctx context.Context, request string, t touched, build func(at time.Time, again bool) (chart.Change, error)) (done, error) {
	id, err := record.ParseID(request)
	if err != nil {
		return done{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request_id", fault.Withheld(request), "a UUID in lower case")
	}
	again, err := d.tryEdit(ctx, id, build)
	if fault.Has(err, faultv1.Reason_REASON_ID_REUSED) {
		again, err = d.tryEdit(ctx, id, build) // the same request may have come twice at once, and the other was first
	}
	if err != nil {
		return done{}, err
	}
	out := done{again: again}
	if out.edit, _, err = d.ledger.FindEdit(ctx, d.org, id); err != nil {
		return done{}, err
	}
	r, err := d.ledger.Read(ctx, d.org, out.edit.Key)
	if err != nil {
		return done{}, err
	}
	if out.view, err = d.viewOf(ctx, r); err != nil {
		return done{}, err
	}
	return out, d.enterRead(ctx, d.call, t)
}

// tryEdit makes the edit of a request as of now, or as of the time when it was made before.
func (d *desk) tryEdit(ctx context.Context, id record.ID, build func(time.Time, bool) (chart.Change, error)) (again bool, err error) {
	at := d.Now().Truncate(time.Millisecond)
	earlier, _, err := d.ledger.FindEdit(ctx, d.org, id)
	switch {
	case err == nil:
		again, at = true, time.UnixMilli(earlier.AuthoredAt)
	case !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND):
		return false, err
	}
	c, err := build(at, again)
	if err != nil {
		return again, err
	}
	_, err = d.ledger.Edit(ctx, d.org, ledger.Draft{
		ID: id, Key: c.Key, Context: c.Context, Author: recordID(d.call.principal.Staff), AuthoredAt: at.UnixMilli(), Writes: c.Writes,
		Origin: d.origin,
	})
	return again, err
}

func (d *desk) actAt(at time.Time) chart.Act {
	return chart.Act{Staff: recordID(d.call.principal.Staff), At: at}
}

// SettleConflict writes one value over those that the caller has seen. When somebody settled the field meanwhile it is STALE_READ: settling once more
// from what was seen before would only make a new conflict.
func (h *charting) SettleConflict(ctx context.Context, m *chartv1.SettleConflictRequest) (*chartv1.SettleConflictResponse, error) {
	key, err := readKey("key", m.GetKey())
	if err != nil {
		return nil, err
	}
	seen, err := chart.ReadContext(m.GetContext())
	if err != nil {
		return nil, err
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	now, t, err := d.read(ctx, key)
	if err != nil {
		return nil, err
	}
	asSeen, err := d.ledger.ReadAt(ctx, d.org, key, seen)
	if err != nil {
		return nil, err
	}
	out, err := d.editOnce(ctx, m.GetRequestId(), t, func(at time.Time, again bool) (chart.Change, error) {
		if !again {
			if _, err := d.chart.Settle(now.State, m, d.actAt(at)); err != nil {
				return chart.Change{}, err
			}
		}
		return d.chart.Settle(asSeen, m, d.actAt(at))
	})
	if err != nil {
		return nil, err
	}
	return &chartv1.SettleConflictResponse{View: out.view, Edit: d.chart.Authorship(&out.edit), AlreadyApplied: out.again}, nil
}

// sessionKey is the key of a session named in a request.
func sessionKey(text string) (record.Key, error) {
	return readID(optionsv1.RecordKind_RECORD_KIND_SESSION, "session_id", text)
}
