package service

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// syncing answers SyncService.
type syncing struct{ *Service }

// caller is the device of a call as the ledger knows it. Whether it was revoked was asked when the call came in, and is asked again in the
// transaction that takes edits: revoking takes effect between two pages of one push.
func (s *Service) caller(ctx context.Context, org, device uuid.UUID) ledger.Caller {
	return ledger.Caller{
		Org: record.ID(org), Device: record.ID(device),
		Owns:   func(r store.Reader, replica causal.ReplicaID) error { return owns(r, device, replica) },
		Claim:  func(w store.Writer, replica causal.ReplicaID) error { return s.claim(w, org, device, replica) },
		Verify: func(statement, signature []byte) error { return s.verifyDevice(ctx, org, device, statement, signature) },
	}
}

// verifyDevice checks a signature by the key that the device was admitted with; it never changes.
func (s *Service) verifyDevice(ctx context.Context, org, device uuid.UUID, statement, signature []byte) error {
	d := callOf(ctx).device
	if d.ID == device && d.Org == org {
		return d.Key.Verify(statement, signature)
	}
	err := s.Store.View(ctx, func(r store.Reader) (err error) {
		d, err = s.admitted.Device(r, org, device)
		return err
	})
	if err != nil {
		return err
	}
	return d.Key.Verify(statement, signature)
}

func owns(r store.Reader, device uuid.UUID, replica causal.ReplicaID) error {
	owner, err := auth.ReplicaOwner(r, uuid.UUID(replica))
	if err == nil && owner != device {
		return fault.New(faultv1.Reason_REASON_ACTOR_NOT_YOURS, "replica", replica.String(), "a replica of this device")
	}
	return ignoreMissing(err) // a new replica that has sent nothing yet
}

func notRevoked(r store.Reader, org, device uuid.UUID) error {
	d, err := auth.GetDevice(r, org, device)
	if err == nil && d.Revoked() {
		return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
	}
	return err
}

func (s *Service) claim(w store.Writer, org, device uuid.UUID, replica causal.ReplicaID) error {
	d, err := s.admitted.Device(w, org, device)
	if err != nil {
		return err
	}
	if d.Revoked() {
		return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
	}
	return auth.OwnReplica(w, &d, uuid.UUID(replica))
}

// Hello tells a device where the server stands.
func (y *syncing) Hello(ctx context.Context, m *syncv1.HelloRequest) (*syncv1.HelloResponse, error) {
	p := principalOf(ctx)
	resp, err := y.ledger.Hello(ctx, y.caller(ctx, p.Org, p.Device), m)
	if err != nil {
		return nil, err
	}
	return resp, y.noteReplica(ctx, uuid.UUID(m.GetReplica()))
}

// maxRecordedReplicas is what a device's record holds; the table of replicas knows them all.
const maxRecordedReplicas = 64

// noteReplica adds a replica that a device began to its record, for people to see that a tablet was restored or copied.
func (y *syncing) noteReplica(ctx context.Context, replica uuid.UUID) error {
	p := principalOf(ctx)
	m, st, err := y.readDevice(ctx, p.Org, p.Device)
	if err != nil || len(m.GetReplicas()) >= maxRecordedReplicas {
		return ignoreMissing(err)
	}
	for _, r := range m.GetReplicas() {
		if r.GetId() == replica.String() {
			return nil
		}
	}
	o, err := y.organisation(ctx, p.Org)
	if err != nil {
		return err
	}
	d := draft{kind: kindDevice, record: p.Device, context: st.Seen, author: p.Staff, at: y.Now(), purpose: "replica", request: replica[:]}
	began := beginning(replica, y.Now(), accessv1.ReplicaCause_REPLICA_CAUSE_FORKED)
	err = y.edit(ctx, o, d, &accessv1.Device{Replicas: []*accessv1.DeviceReplica{began}})
	if fault.Of(err) != nil {
		y.Log.Warn("a device's new replica is not in its record", "device", p.Device, "reason", reasonName(fault.Of(err).Reason))
		return nil // it is owned all the same; the sync must not fail by it
	}
	return err
}

func ignoreMissing(err error) error {
	if fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
		return nil
	}
	return err
}

// Exchange takes a page of edits and answers what changed. The entry of a push is written in its own transaction; that of a pull that brought
// records before they go out. Which records and edits they were is in the ledger's history.
func (y *syncing) Exchange(ctx context.Context, m *syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error) {
	c := callOf(ctx)
	p := c.principal
	giveBack, err := y.limitFullPull(c, m)
	if err != nil {
		return nil, err
	}
	who := y.caller(ctx, p.Org, p.Device)
	who.MayHold = func(r store.Reader, patient record.ID) error { return y.charting.mayHold(r, p, patient) }
	who.Opened = func(r store.Reader, patient record.ID) (time.Time, error) {
		return y.charting.openedUntil(r, p, patient)
	}
	who.TreatedFor = chart.SeenDays * 24 * time.Hour
	who.Booked = func(r store.Reader) (*ledger.Booked, error) { return y.booked(r, c) }
	edits := len(m.GetPage().GetEdits())
	own := who.Claim
	who.Claim = func(w store.Writer, replica causal.ReplicaID) error {
		if err := own(w, replica); err != nil || edits == 0 {
			return err
		}
		_, err := y.enter(w, c, touched{remark: fmt.Sprintf("%d edits up", edits)})
		return err
	}
	resp, err := y.ledger.Exchange(ctx, who, m)
	if err != nil {
		giveBack()        // it brought nothing: a tablet that is refused one patient after another must not run out of pulls by it
		c.entered = false // its transaction, if it came to one, may not have ended well
		return nil, err
	}
	if len(resp.GetRows()) == 0 {
		giveBack()
	} else if err := y.enterRead(ctx, c, touched{remark: fmt.Sprintf("%d records down", len(resp.GetRows()))}); err != nil {
		return nil, err
	}
	y.counts.edits.Add(int64(edits))
	y.counts.rows.Add(int64(len(resp.GetRows())))
	c.idle = edits == 0 && len(resp.GetRows()) == 0 && m.GetScope() == nil
	acked, head := resp.GetAcknowledgedCounter(), m.GetHeadCounter()
	h := heard{AtMS: y.Now().UnixMilli(), Acknowledged: acked, Unsent: head - min(head, acked)}
	if h.Unsent > 0 {
		h.OldestUnsentMS = m.GetOldestUnsentUnixMs()
	}
	y.seen.note(p.Org, p.Device, h)
	return resp, nil
}

// limitFullPull bounds how often a device may pull from the beginning. One over the limit may still hand in its edits: it gets a single record
// back.
func (y *syncing) limitFullPull(c *call, m *syncv1.ExchangeRequest) (giveBack func(), err error) {
	if len(m.GetCursor()) > 0 {
		return func() {}, nil
	}
	giveBack, wait := y.fullPulls.take(y.Now(), c.principal.Device.String())
	switch {
	case wait == 0:
		return giveBack, nil
	case m.GetPage() != nil:
		m.MaxRows = 1
		return func() {}, nil
	}
	y.Log.Warn("a device pulls everything again and again", "device", c.principal.Device, "org", c.principal.Org, "wait", wait.Round(time.Second))
	return nil, rateLimited(wait)
}
