package wire

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// Sealed is one edit that a device sealed to its server's key: bytes that nobody but the server can open.
type Sealed struct {
	Dot   causal.Dot
	Bytes []byte
}

// Bounds of what is sealed.
const (
	// MaxSealedBytes is how large one sealed edit may be: the largest edit, its signature and what the seal adds.
	MaxSealedBytes = 60_000
	// MaxOutboxEdits is how many sealed edits one outbox may hold.
	MaxOutboxEdits = 100_000
)

// SealInfo is what a seal is bound to besides its key: whose edit it is and where it stands. Opened under any other it does not open.
func SealInfo(org, device record.ID, d causal.Dot) []byte {
	b := append(make([]byte, 0, 96), "needlebook sealed edit v1\x00"...)
	b = append(b, org[:]...)
	b = append(b, device[:]...)
	b = append(b, d.Replica[:]...)
	return binary.BigEndian.AppendUint64(b, d.Counter)
}

const (
	sealedForm     = 1
	signatureBytes = 64
)

// SealedText is what is inside a seal: an edit with the chain before it, and the device's signature over the page of this one edit. The signature is empty
// when the device's key was locked while the edit was made.
type SealedText struct {
	Edit      record.Edit
	Signature []byte
}

// Statement is what the device signs: that of a page of this one edit.
func (t *SealedText) Statement() []byte {
	return Statement(t.Edit.Dot.Replica, t.Edit.Dot.Counter, t.Edit.Dot.Counter, t.Edit.Hash())
}

// AppendBinary appends the text's one form: 1, the signature behind its length, the chain hash before the edit, the edit in canonical form.
func (t *SealedText) AppendBinary(b []byte) []byte {
	b = append(b, sealedForm, byte(len(t.Signature)))
	b = append(b, t.Signature...)
	b = append(b, t.Edit.Previous[:]...)
	return t.Edit.AppendBinary(b)
}

// ParseSealedText reads what AppendBinary writes and nothing else. The slices of b are kept.
func ParseSealedText(b []byte) (SealedText, error) {
	var t SealedText
	if len(b) < 2 || b[0] != sealedForm || b[1] != 0 && b[1] != signatureBytes {
		return t, errors.New("sealed edit: form is not known")
	}
	n := int(b[1])
	if b = b[2:]; len(b) < n+len(record.Hash{}) {
		return t, errors.New("sealed edit: ends early")
	}
	e, err := record.ParseEdit(b[n+len(record.Hash{}):])
	if err != nil {
		return t, fmt.Errorf("sealed edit: %w", err)
	}
	if n > 0 {
		t.Signature = b[:n]
	}
	t.Edit = e
	t.Edit.Previous = record.Hash(b[n : n+len(record.Hash{})])
	return t, nil
}

// Outbox is the sealed edits of one device, as a file carries them to a server: ascending by dot, each once.
type Outbox struct {
	Org, Device record.ID
	Edits       []Sealed
}

// outboxMark begins the file of an outbox.
const outboxMark = "needlebook sealed edits 1\n"

// AppendBinary appends the outbox's one form: the mark, organisation and device, the number of edits in 4 bytes, and of each its replica, its counter in
// 8 bytes, the size of its sealed bytes in 4, and these. Integers are big-endian.
func (o *Outbox) AppendBinary(b []byte) []byte {
	b = append(b, outboxMark...)
	b = append(b, o.Org[:]...)
	b = append(b, o.Device[:]...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(o.Edits)))
	for _, s := range o.Edits {
		b = append(b, s.Dot.Replica[:]...)
		b = binary.BigEndian.AppendUint64(b, s.Dot.Counter)
		b = binary.BigEndian.AppendUint32(b, uint32(len(s.Bytes)))
		b = append(b, s.Bytes...)
	}
	return b
}

// HandInBytes is what the proof of a hand-in is over: the edits in the form of a file that names no organisation and no device. The statement names the device.
func HandInBytes(edits []Sealed) []byte {
	o := Outbox{Edits: edits}
	return o.AppendBinary(nil)
}

// ParseOutbox reads what AppendBinary writes and nothing else. The slices of b are kept.
func ParseOutbox(b []byte) (Outbox, error) {
	var o Outbox
	rest, ok := bytes.CutPrefix(b, []byte(outboxMark))
	if !ok || len(rest) < 36 {
		return o, errors.New("sealed edits: is no file of them")
	}
	copy(o.Org[:], rest)
	copy(o.Device[:], rest[16:])
	n := binary.BigEndian.Uint32(rest[32:])
	if rest = rest[36:]; n > MaxOutboxEdits || uint64(n)*29 > uint64(len(rest)) {
		return o, errors.New("sealed edits: end early")
	}
	o.Edits = make([]Sealed, 0, n)
	for i := range n {
		s, after, err := cutSealed(rest)
		if err == nil && i > 0 && o.Edits[i-1].Dot.Compare(s.Dot) >= 0 {
			err = errors.New("is out of order")
		}
		if err != nil {
			return Outbox{}, fmt.Errorf("sealed edit %d: %w", i+1, err)
		}
		o.Edits, rest = append(o.Edits, s), after
	}
	if len(rest) > 0 {
		return Outbox{}, errors.New("sealed edits: bytes after the end")
	}
	return o, nil
}

func cutSealed(b []byte) (Sealed, []byte, error) {
	if len(b) < 28 {
		return Sealed{}, nil, errors.New("ends early")
	}
	s := Sealed{Dot: causal.Dot{Replica: causal.ReplicaID(b[:16]), Counter: binary.BigEndian.Uint64(b[16:])}}
	n := binary.BigEndian.Uint32(b[24:])
	switch b = b[28:]; {
	case s.Dot.Replica.IsZero() || s.Dot.Counter == 0:
		return Sealed{}, nil, errors.New("has no dot")
	case n == 0 || n > MaxSealedBytes || uint64(n) > uint64(len(b)):
		return Sealed{}, nil, errors.New("is not of its size")
	}
	s.Bytes = b[:n:n]
	return s, b[n:], nil
}
