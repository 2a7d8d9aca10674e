package ledger

import (
	"context"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// Draft is an edit that is made through the server's own API.
type Draft struct {
	ID         record.ID // names the edit: the same draft again is a no-op
	Key        record.Key
	Context    causal.Vector // of the read that was edited from
	Author     record.ID
	AuthoredAt int64 // milliseconds since 1970 UTC
	Writes     []record.Write
	Origin     record.Origin
}

// Edit makes an edit as the server's own replica in the organisation, through the same path as a tablet's. Unlike a tablet's it is refused, not held,
// when it fails: the one who made it is there to hear it. The record after it is returned.
func (l *Ledger) Edit(ctx context.Context, org record.ID, d Draft) (*record.State, error) {
	var out *record.State
	err := l.store.Update(ctx, func(w store.Writer) (err error) {
		out, err = l.EditIn(w, org, d)
		return err
	})
	return out, err
}

// EditIn is Edit inside a transaction of the caller's, which must end in an error when this does: what stands beside a record, such as an account,
// then changes with it or not at all. Two in one transaction must follow each other.
func (l *Ledger) EditIn(w store.Writer, org record.ID, d Draft) (*record.State, error) {
	b, err := l.newBatch(w, org)
	if err != nil {
		return nil, err
	}
	row, err := b.row(d.Key)
	if err != nil {
		return nil, err
	}
	e := record.Edit{ID: d.ID, Key: d.Key, Context: d.Context, Author: d.Author, AuthoredAt: d.AuthoredAt, Writes: d.Writes}
	known, err := b.judgeDraft(row, e, d.Origin)
	if err == nil && !known {
		err = b.serverEdit(row, e, causal.Dot{})
	}
	if err != nil {
		return nil, err
	}
	return row.state, b.flush()
}

// judgeDraft judges a draft before it gets a dot. known is true when the same draft was made before.
func (b *batch) judgeDraft(row *pendingRow, e record.Edit, from record.Origin) (known bool, err error) {
	e.Dot = causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1 << 62} // stands for the dot it will get
	if err := e.Valid(); err != nil {
		return false, fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "edit", "", err.Error())
	}
	a := b.l.admission(e, record.Hash{}, from)
	found, err := b.knownID(&a)
	switch {
	case err != nil:
		return false, err
	case found != nil && found.same:
		return true, nil
	case found != nil:
		return false, fault.New(faultv1.Reason_REASON_ID_REUSED, "request_id", e.ID.String(), "")
	}
	if ready, err := b.ready(row, &e); err != nil || !ready {
		if err == nil {
			err = fault.New(faultv1.Reason_REASON_STALE_READ, "context", "", "")
		}
		return false, err
	}
	d, err := b.decide(row, &a, nil)
	if err == nil && d.reason != nil {
		err = d.reason
	}
	return false, err
}

// serverEdit gives an edit the next dot of the server's replica and lets it take effect, whole: an edit that fails is an error and changes nothing.
// released is the dot under which it was held, when a person released it.
func (b *batch) serverEdit(row *pendingRow, e record.Edit, released causal.Dot) error {
	replica, err := b.l.serverReplica(b.w, b.org)
	if err != nil {
		return err
	}
	counter, have, err := chainHead(b.w, replica)
	if err != nil {
		return err
	}
	if e.ID.IsZero() {
		if e.ID, err = b.l.newID(); err != nil {
			return err
		}
	}
	e.Dot = causal.Dot{Replica: replica, Counter: counter + 1}
	e.Previous = have.hash
	from := record.FromServer
	if !released.IsZero() {
		from = record.FromDevice // releasing excuses the author, not the content
	}
	a := b.l.admission(e, e.Hash(), from)
	a.released = released
	v, err := b.admit(&a)
	if err == nil && v != nil && v.held != nil {
		return fault.New(v.held.Reason, "", "", v.held.Detail)
	}
	return err
}
