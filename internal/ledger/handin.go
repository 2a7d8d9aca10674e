package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// HandedIn is what became of a sealed edit that was opened and handed in.
type HandedIn struct {
	// Held is true when it is in the ledger by this call, for a person to judge.
	Held bool
	// Refusal is why it is not in the ledger; nil when it is, by this call or before it. Nothing of it was stored.
	Refusal *fault.Error
}

// HandIn takes edits of a device that did not come by an exchange, in the caller's transaction: the device was revoked, or could not be opened any more. Each is
// checked as a page of its own is: its signature, its replica, its place in the chain. None takes effect: what follows the chain is held for the reason
// given. An edit that the ledger has under this dot changes nothing. The answers are in the order of texts; of one replica the edits are to ascend.
func (l *Ledger) HandIn(w store.Writer, c Caller, texts []wire.SealedText, why *fault.Error) ([]HandedIn, error) {
	b, err := l.newBatch(w, c.Org)
	if err != nil {
		return nil, err
	}
	out := make([]HandedIn, len(texts))
	for i := range texts {
		if out[i], err = b.handIn(c, &texts[i], why); err != nil {
			return nil, err
		}
	}
	return out, b.flush()
}

func (b *batch) handIn(c Caller, t *wire.SealedText, why *fault.Error) (HandedIn, error) {
	d, hash := t.Edit.Dot, t.Edit.Hash()
	if len(t.Signature) != 64 || c.Verify(t.Statement(), t.Signature) != nil {
		return HandedIn{Refusal: fault.New(faultv1.Reason_REASON_BAD_SIGNATURE, "edits", d.String(), "an edit that its device signed")}, nil
	}
	if err := c.Claim(b.w, d.Replica); err != nil {
		if refusal := fault.Of(err); refusal != nil {
			return HandedIn{Refusal: refusal}, nil
		}
		return HandedIn{}, err
	}
	counter, have, err := chainHead(b.w, d.Replica)
	if err != nil {
		return HandedIn{}, err
	}
	if d.Counter <= counter {
		at, err := readLink(b.w, d)
		if err == nil && at.hash != hash {
			return HandedIn{Refusal: collision(counter)}, nil
		}
		return HandedIn{}, err
	}
	switch {
	case d.Counter > counter+1:
		return HandedIn{Refusal: resumeFrom(counter + 1)}, nil
	case t.Edit.Previous != have.hash:
		return HandedIn{Refusal: collision(counter)}, nil
	}
	sp := signedPage{first: d.Counter, signature: t.Signature}
	if err := b.w.Put(pageKey(d.Replica, d.Counter), sp.encode()); err != nil {
		return HandedIn{}, err
	}
	return HandedIn{Held: true}, b.admitHeld(&admission{edit: t.Edit, chain: hash, body: t.Edit.BodyHash(), handedIn: why})
}

// admitHeld takes an edit that is to be held whatever it says. One that follows an edit of its own replica which waits has to wait with it, since its counter
// would cover that one; it is held when the wait is over. Any other is held now, also when its context has not come.
func (b *batch) admitHeld(a *admission) error {
	row, err := b.row(a.edit.Key)
	if err != nil {
		return err
	}
	known, err := b.knownID(a)
	if err != nil {
		return err
	}
	if known == nil {
		if err := b.w.Put(idKey(b.org, a.edit.ID), encodeIDEntry(b.head.seq+1, a.body)); err != nil {
			return err
		}
	}
	if row.waits(causal.Dot{Replica: a.edit.Dot.Replica, Counter: a.edit.Dot.Counter - 1}) {
		_, err := b.wait(row, a, a.handedIn)
		return err
	}
	d, err := b.decide(row, a, known)
	if err != nil {
		return err
	}
	if err := b.logEdit(row, a, d.outcome()); err != nil {
		return err
	}
	return b.takeEffect(row, d)
}

// handedInReason reports whether a reason is one for which an edit was held because of how it came.
func handedInReason(r faultv1.Reason) bool {
	return r == faultv1.Reason_REASON_DEVICE_REVOKED || r == faultv1.Reason_REASON_HANDED_IN_SEALED
}

// KeptSealed is a sealed edit that is not in the log, as it came.
type KeptSealed struct {
	Device record.ID
	wire.Sealed
	Reason faultv1.Reason
	AtMS   int64     // when it was handed in first, milliseconds since 1970 UTC
	By     record.ID // staff; zero when the device itself handed it in
}

// Bounds of the sealed edits that are kept of one device.
const (
	MaxKeptSealed      = 5_000
	maxKeptSealedBytes = 64 << 20
)

func keptKey(org, device record.ID, d causal.Dot) []byte {
	b := append(make([]byte, 0, 64), tableKept)
	b = append(b, org[:]...)
	b = append(b, device[:]...)
	return dotKey(b, d)
}

func (k *KeptSealed) encode() []byte {
	b := []byte{1}
	b = binary.BigEndian.AppendUint64(b, uint64(k.AtMS))
	b = binary.BigEndian.AppendUint64(b, uint64(k.Reason))
	b = append(b, k.By[:]...)
	return append(b, k.Bytes...)
}

func decodeKept(key, v []byte) (KeptSealed, error) {
	if len(key) != 57 || len(v) < 34 || v[0] != 1 {
		return KeptSealed{}, errors.New("kept sealed edit: form is not known")
	}
	k := KeptSealed{Device: record.ID(key[17:33]), AtMS: int64(binary.BigEndian.Uint64(v[1:])), Reason: faultv1.Reason(binary.BigEndian.Uint64(v[9:])), By: record.ID(v[17:33])}
	k.Dot = causal.Dot{Replica: causal.ReplicaID(key[33:49]), Counter: binary.BigEndian.Uint64(key[49:])}
	k.Bytes = slices.Clone(v[33:])
	return k, nil
}

// KeepSealed keeps sealed bytes that are not in the log, in the caller's transaction. The same dot again replaces nothing. Beyond what one device may have
// kept it is TOO_LARGE.
func (l *Ledger) KeepSealed(w store.Writer, org record.ID, k KeptSealed) error {
	key := keptKey(org, k.Device, k.Dot)
	if _, err := w.Get(key); !errors.Is(err, store.ErrNotFound) {
		return err
	}
	n, size := 0, len(k.Bytes)
	prefix := key[:33]
	err := w.Scan(prefix, after(prefix), func(_, v []byte) error { n, size = n+1, size+len(v); return nil })
	if err != nil {
		return err
	}
	if n >= MaxKeptSealed || size > maxKeptSealedBytes {
		return fault.New(faultv1.Reason_REASON_TOO_LARGE, "edits", "", "no more sealed edits of this device than the server keeps unopened")
	}
	return w.Put(key, k.encode())
}

// ForgetSealed forgets sealed bytes that were kept, once their edit is in the log.
func (l *Ledger) ForgetSealed(w store.Writer, org, device record.ID, d causal.Dot) error {
	return w.Delete(keptKey(org, device, d))
}

// ListKeptSealed is the sealed edits of a device that are kept as they came, by their dots: how many there are, and the first few of them.
func (l *Ledger) ListKeptSealed(ctx context.Context, org, device record.ID, limit int) (out []KeptSealed, total int, err error) {
	prefix := keptKey(org, device, causal.Dot{})[:33]
	err = l.store.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(key, v []byte) error {
			if total++; total > limit {
				return nil
			}
			k, err := decodeKept(key, v)
			out = append(out, k)
			return err
		})
	})
	return out, total, err
}
