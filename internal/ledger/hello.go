package ledger

import (
	"context"
	"errors"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// SchemaVersion is the version of the records' schema that this server understands. It grows with every field added.
const SchemaVersion = 1

// Hello answers where the server stands with a replica: its highest counter, where the chains last agree, and which of the replica's edits it holds
// under whatever dot. The replica becomes the device's when it is nobody's.
func (l *Ledger) Hello(ctx context.Context, c Caller, m *syncv1.HelloRequest) (*syncv1.HelloResponse, error) {
	replica, err := readReplica(m.GetReplica())
	if err != nil {
		return nil, err
	}
	if err := l.store.Update(ctx, func(w store.Writer) error { return c.Claim(w, replica) }); err != nil {
		return nil, err
	}
	resp := &syncv1.HelloResponse{Organisation: append([]byte(nil), c.Org[:]...), SchemaVersion: SchemaVersion, ServerTimeUnixMs: l.Now().UnixMilli()}
	if err := l.greet(ctx, c, m.GetCursor(), resp); err != nil {
		return nil, err
	}
	err = l.store.View(ctx, func(r store.Reader) error {
		counter, have, err := chainHead(r, replica)
		if err != nil {
			return err
		}
		if resp.Counter = counter; counter > 0 {
			resp.Hash = append([]byte(nil), have.hash[:]...)
		}
		if resp.BackedUpCounter, resp.NewestBackedUpCounter, err = backedUp(r, replica, counter); err != nil {
			return err
		}
		return compareChains(r, c.Org, replica, m.GetChain(), resp)
	})
	return resp, err
}

// greet fills in the epoch and whether the cursor given is of it. A cursor that this server did not make for the device is no error here: the device
// is told to pull from the beginning. One that shows that the log was put back by hand starts a new epoch.
func (l *Ledger) greet(ctx context.Context, c Caller, given []byte, resp *syncv1.HelloResponse) error {
	place := func() (m meta, err error) {
		err = l.store.View(ctx, func(r store.Reader) error {
			if m, err = readMeta(r); err != nil || len(given) == 0 {
				return err
			}
			cur, err := openCursor(m, given, c.Org, c.Device)
			if err == nil {
				err = cur.check(r, m)
			}
			resp.CursorValid = err == nil
			if fault.Of(err) != nil {
				return nil
			}
			return err
		})
		return m, err
	}
	m, err := place()
	if errors.Is(err, errRolledBack) {
		if err := l.store.Update(ctx, l.startEpoch); err != nil {
			return err
		}
		m, err = place()
	}
	resp.Epoch = append([]byte(nil), m.epoch[:]...)
	return err
}

// compareChains finds the highest counter of those given at which both chains agree, and the edits that the server holds.
func compareChains(r store.Reader, org record.ID, replica causal.ReplicaID, chain []*syncv1.ChainPoint, resp *syncv1.HelloResponse) error {
	for _, p := range chain {
		at, err := readLink(r, causal.Dot{Replica: replica, Counter: p.GetCounter()})
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		if err == nil && string(at.hash[:]) == string(p.GetHash()) {
			resp.CommonCounter = max(resp.CommonCounter, p.GetCounter())
		}
		if err := findKnown(r, org, p, resp); err != nil {
			return err
		}
	}
	return nil
}

func findKnown(r store.Reader, org record.ID, p *syncv1.ChainPoint, resp *syncv1.HelloResponse) error {
	id, err := record.IDFromBytes(p.GetEditId())
	if err != nil {
		return nil // the point before the first edit still kept has no id
	}
	v, err := r.Get(idKey(org, id))
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	seq, _, err := decodeIDEntry(v)
	if err != nil {
		return err
	}
	e, err := readEvent(r, seq)
	if err != nil {
		return err
	}
	d := e.edit.Dot
	resp.Known = append(resp.Known, &syncv1.KnownEdit{EditId: p.GetEditId(), Replica: append([]byte(nil), d.Replica[:]...), Counter: d.Counter})
	return nil
}
