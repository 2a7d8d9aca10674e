package service

import (
	"context"
	"crypto/hpke"
	"crypto/sha256"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/time/rate"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// Pace of hand-ins of one device: a tablet hands in once in its life, a few hundred edits a call.
const (
	handInsAtOnce = 60
	handInEvery   = 10 * time.Second
)

// handIns limits how often sealed edits of one device come. It may be used concurrently.
type handIns struct {
	mu   sync.Mutex
	pace *paces
}

func (h *handIns) take(now time.Time, device uuid.UUID) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.pace == nil {
		h.pace = newPaces(rate.Every(handInEvery), handInsAtOnce)
	}
	if wait := h.pace.take(now, device.String()); wait > 0 {
		return rateLimited(wait)
	}
	return nil
}

// HandInSealed takes sealed edits of a device from whoever is signed in to its organisation, or from the device itself by a proof of its key.
func (y *syncing) HandInSealed(ctx context.Context, m *syncv1.HandInSealedRequest) (*syncv1.HandInSealedResponse, error) {
	c := callOf(ctx)
	outbox, d, err := y.handInFrom(ctx, c, m)
	if err != nil {
		return nil, err
	}
	if err := y.handIns.take(y.Now(), d.ID); err != nil {
		return nil, err
	}
	o, err := y.organisation(ctx, d.Org)
	if err != nil {
		return nil, err
	}
	key, err := o.sealingSecret()
	if err != nil {
		return nil, err
	}
	h := handIn{y: y, c: c, d: d, outbox: outbox, opened: openAll(key, outbox)}
	resp := &syncv1.HandInSealedResponse{}
	err = y.Store.Update(ctx, func(w store.Writer) (err error) {
		resp.Results, err = h.take(w)
		return err
	})
	if err != nil {
		c.entered = false
		return nil, err
	}
	return resp, nil
}

// handInFrom is what is handed in and the device that sealed it, once it is known that the caller may. A device of another organisation looks like one that
// is not there.
func (y *syncing) handInFrom(ctx context.Context, c *call, m *syncv1.HandInSealedRequest) (wire.Outbox, auth.Device, error) {
	outbox := wire.Outbox{Device: record.ID(m.GetDevice()), Edits: make([]wire.Sealed, len(m.GetEdits()))}
	for i, e := range m.GetEdits() {
		outbox.Edits[i] = wire.Sealed{Dot: causal.Dot{Replica: causal.ReplicaID(e.GetReplica()), Counter: e.GetCounter()}, Bytes: e.GetSealed()}
	}
	inOrder := slices.IsSortedFunc(outbox.Edits, func(a, b wire.Sealed) int { return a.Dot.Compare(b.Dot) })
	if !inOrder || outbox.Edits[0].Dot.Replica.IsZero() {
		return outbox, auth.Device{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "edits", "", "sealed edits of replicas, ascending by replica and counter, each once")
	}
	for i := 1; i < len(outbox.Edits); i++ {
		if outbox.Edits[i].Dot == outbox.Edits[i-1].Dot {
			return outbox, auth.Device{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "edits", outbox.Edits[i].Dot.String(), "each edit once")
		}
	}
	d, err := y.handInDevice(ctx, c, m, &outbox)
	outbox.Org = record.ID(d.Org)
	return outbox, d, err
}

func (y *syncing) handInDevice(ctx context.Context, c *call, m *syncv1.HandInSealedRequest, outbox *wire.Outbox) (d auth.Device, err error) {
	device := uuid.UUID(m.GetDevice())
	if !c.principal.Nobody() {
		err = y.Store.View(ctx, func(r store.Reader) (err error) {
			d, err = y.admitted.Device(r, c.principal.Org, device)
			return err
		})
		return d, err
	}
	if err := y.limiter.TryAddress(y.Now(), c.from); err != nil {
		return d, err
	}
	sum := sha256.Sum256(wire.HandInBytes(outbox.Edits))
	err = y.Store.View(ctx, func(r store.Reader) (err error) {
		d, err = auth.ProveHandIn(r, device, sum, m.GetProof())
		return err
	})
	return d, err
}

// openAll opens what can be opened; nil stands for what cannot.
func openAll(key hpke.PrivateKey, o wire.Outbox) []*wire.SealedText {
	out := make([]*wire.SealedText, len(o.Edits))
	for i, s := range o.Edits {
		text, err := hpke.Open(key, hpke.HKDFSHA256(), hpke.AES256GCM(), wire.SealInfo(o.Org, o.Device, s.Dot), s.Bytes)
		if err != nil {
			continue
		}
		if t, err := wire.ParseSealedText(text); err == nil && t.Edit.Dot == s.Dot {
			out[i] = &t
		}
	}
	return out
}

// handIn is a hand-in under way.
type handIn struct {
	y      *syncing
	c      *call
	d      auth.Device
	outbox wire.Outbox
	opened []*wire.SealedText // beside outbox.Edits; nil for what could not be opened
}

// take brings everything into the ledger or keeps it as it came, and enters the call, in one transaction.
func (h *handIn) take(w store.Writer) ([]*syncv1.HandedIn, error) {
	var texts []wire.SealedText
	for _, t := range h.opened {
		if t != nil {
			texts = append(texts, *t)
		}
	}
	why := h.why(w)
	answers, err := h.y.ledger.HandIn(w, h.caller(), texts, why)
	if err != nil {
		return nil, err
	}
	out := make([]*syncv1.HandedIn, len(h.opened))
	heldNow, kept := 0, 0
	for i, s := range h.outbox.Edits {
		a := ledger.HandedIn{Refusal: fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "", "", "")}
		if h.opened[i] != nil {
			a, answers = answers[0], answers[1:]
		}
		if out[i], err = h.settle(w, s, a, why); err != nil {
			return nil, err
		}
		switch out[i].State {
		case syncv1.HandedInState_HANDED_IN_STATE_HELD:
			heldNow++
		case syncv1.HandedInState_HANDED_IN_STATE_KEPT:
			kept++
		}
	}
	_, err = h.y.enter(w, h.c, touched{
		kind: kindDevice, record: h.d.ID, clinic: h.d.Clinic, org: h.d.Org,
		remark: fmt.Sprintf("%d sealed edits handed in: %d held, %d kept sealed", len(out), heldNow, kept),
	})
	return out, err
}

func (h *handIn) settle(w store.Writer, s wire.Sealed, a ledger.HandedIn, why *fault.Error) (*syncv1.HandedIn, error) {
	l := h.y.ledger
	if a.Refusal != nil {
		kept := ledger.KeptSealed{
			Device: h.outbox.Device, Sealed: s, Reason: a.Refusal.Reason, AtMS: h.y.Now().UnixMilli(), By: record.ID(h.c.principal.Staff),
		}
		return &syncv1.HandedIn{State: syncv1.HandedInState_HANDED_IN_STATE_KEPT, Reason: a.Refusal.Reason}, l.KeepSealed(w, h.outbox.Org, kept)
	}
	if err := l.ForgetSealed(w, h.outbox.Org, h.outbox.Device, s.Dot); err != nil {
		return nil, err
	}
	if a.Held {
		return &syncv1.HandedIn{State: syncv1.HandedInState_HANDED_IN_STATE_HELD, Reason: why.Reason}, nil
	}
	return &syncv1.HandedIn{State: syncv1.HandedInState_HANDED_IN_STATE_KNOWN}, nil
}

// why is why the edits are held, by how the device stands in w.
func (h *handIn) why(w store.Writer) *fault.Error {
	if d, err := auth.GetDevice(w, h.d.Org, h.d.ID); err == nil && d.Revoked() {
		return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
	}
	return fault.New(faultv1.Reason_REASON_HANDED_IN_SEALED, "", "", "")
}

// caller is the device as the ledger knows it. Its replicas are its own also after it was revoked: it may have begun one that the server never heard of.
func (h *handIn) caller() ledger.Caller {
	return ledger.Caller{
		Org: record.ID(h.d.Org), Device: record.ID(h.d.ID),
		Claim: func(w store.Writer, replica causal.ReplicaID) error {
			d, err := auth.GetDevice(w, h.d.Org, h.d.ID)
			if err != nil {
				return err
			}
			return auth.OwnReplica(w, &d, uuid.UUID(replica))
		},
		Verify: func(statement, signature []byte) error { return h.d.Key.Verify(statement, signature) },
	}
}
