package device

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/replica"
	held "needlebook/internal/wire"
)

// HandInReport is what a hand-in did.
type HandInReport struct {
	// Held is edits that are on the server now, for a person to judge; Known those that it had before; Kept those that it keeps sealed, by the reason.
	Held, Known, Kept int
	Reasons           map[faultv1.Reason]int
	// Traffic is what went over the wire.
	Traffic Traffic
}

// Bounds of one call of a hand-in.
const (
	mostHandInEdits = 200
	mostHandInBytes = 2 << 20
)

// HandIn hands in sealed edits, this device's or another's of the organisation, in the name of whoever is signed in. Handed in again they do nothing twice.
func (d *Device) HandIn(ctx context.Context, o held.Outbox) (HandInReport, error) {
	w, err := d.wire()
	if err != nil {
		return HandInReport{}, err
	}
	call := func(m *syncv1.HandInSealedRequest) (*syncv1.HandInSealedResponse, error) {
		return signed(ctx, d, w, w.sync.HandInSealed, m)
	}
	return handIn(w, o, call, func([]held.Sealed) error { return nil })
}

// handIn sends an outbox in calls of bounded size, and tells done of what is on the server's disk after each.
func handIn(
	w *wire, o held.Outbox, call func(*syncv1.HandInSealedRequest) (*syncv1.HandInSealedResponse, error), done func([]held.Sealed) error,
) (HandInReport, error) {
	rep := HandInReport{Reasons: map[faultv1.Reason]int{}}
	for rest := o.Edits; len(rest) > 0; {
		part := firstPart(rest)
		rest = rest[len(part):]
		resp, err := call(handInRequest(o, part))
		rep.Traffic = w.count.traffic()
		if err != nil {
			return rep, err
		}
		if len(resp.GetResults()) != len(part) {
			return rep, fmt.Errorf("the server's answer is about %d of %d sealed edits", len(resp.GetResults()), len(part))
		}
		for _, r := range resp.GetResults() {
			if err := rep.count(r); err != nil {
				return rep, err
			}
		}
		if err := done(part); err != nil {
			return rep, err
		}
	}
	return rep, nil
}

func (rep *HandInReport) count(r *syncv1.HandedIn) error {
	switch r.GetState() {
	case syncv1.HandedInState_HANDED_IN_STATE_HELD:
		rep.Held++
	case syncv1.HandedInState_HANDED_IN_STATE_KNOWN:
		rep.Known++
	case syncv1.HandedInState_HANDED_IN_STATE_KEPT:
		rep.Kept++
		rep.Reasons[r.GetReason()]++
	default:
		return errors.New("the server's answer does not say what became of a sealed edit")
	}
	return nil
}

// firstPart is as many of the edits as one call takes; at least one.
func firstPart(edits []held.Sealed) []held.Sealed {
	size := 0
	for i := range edits {
		if size += len(edits[i].Bytes); i == mostHandInEdits || i > 0 && size > mostHandInBytes {
			return edits[:i]
		}
	}
	return edits
}

func handInRequest(o held.Outbox, part []held.Sealed) *syncv1.HandInSealedRequest {
	m := &syncv1.HandInSealedRequest{Device: o.Device[:]}
	for i := range part {
		m.Edits = append(m.Edits, &syncv1.SealedEdit{Replica: part[i].Dot.Replica[:], Counter: part[i].Dot.Counter, Sealed: part[i].Bytes})
	}
	return m
}

// Wiped is a device that was revoked: the sealed edits that it did not hand in yet.
type Wiped struct{ d *Device }

// OpenWiped opens the folder of a device that was wiped, and finishes the wipe if it was cut off. A folder of a device that works is no such: ErrExists.
func OpenWiped(ctx context.Context, cfg Config) (*Wiped, error) {
	if _, err := os.Stat(filepath.Join(cfg.Dir, storeFile)); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", cfg.Dir, ErrNone), err)
	}
	d, err := openFolder(ctx, cfg)
	if err != nil {
		return nil, err
	}
	if d.identity.WipedMS == 0 {
		return nil, errors.Join(fmt.Errorf("%s: %w", cfg.Dir, ErrExists), d.Close())
	}
	if err := d.finishWipe(ctx); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return &Wiped{d}, nil
}

// Identity says who the device was.
func (x *Wiped) Identity() Identity { return x.d.identity }

// Outbox is the sealed edits that were not handed in yet.
func (x *Wiped) Outbox(ctx context.Context) (held.Outbox, error) { return x.d.outbox(ctx) }

// HandIn hands in what is sealed by a proof of the device's own key. What the server has is forgotten here, and with the last of it the key.
func (x *Wiped) HandIn(ctx context.Context) (HandInReport, error) {
	o, err := x.Outbox(ctx)
	if err != nil {
		return HandInReport{}, err
	}
	w, err := x.d.wire()
	if err != nil {
		return HandInReport{}, err
	}
	call := func(m *syncv1.HandInSealedRequest) (*syncv1.HandInSealedResponse, error) {
		if m.Proof, err = x.prove(o, m); err != nil {
			return nil, err
		}
		return again(ctx, w, w.sync.HandInSealed, m)
	}
	rep, err := handIn(w, o, call, func(part []held.Sealed) error { return x.forget(ctx, part) })
	if err != nil {
		return rep, err
	}
	return rep, x.d.signer.remove()
}

func (x *Wiped) prove(o held.Outbox, m *syncv1.HandInSealedRequest) ([]byte, error) {
	part := make([]held.Sealed, len(m.GetEdits()))
	for i, e := range m.GetEdits() {
		part[i] = held.Sealed{Dot: causal.Dot{Replica: causal.ReplicaID(e.GetReplica()), Counter: e.GetCounter()}, Bytes: e.GetSealed()}
	}
	return x.d.signer.sign(auth.HandInStatement(uuid.UUID(o.Device), sha256.Sum256(held.HandInBytes(part))))
}

func (x *Wiped) forget(ctx context.Context, part []held.Sealed) error {
	dots := make([]causal.Dot, len(part))
	for i := range part {
		dots[i] = part[i].Dot
	}
	return save(ctx, x.d.store, replica.ForgetSealed(dots))
}

// Close releases the folder.
func (x *Wiped) Close() error { return x.d.Close() }
