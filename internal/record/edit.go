package record

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"

	"needlebook/internal/causal"
)

// Hash is a SHA-256.
type Hash [sha256.Size]byte

// Edit is one author's change to one record.
//
// Invariants, checked by Valid:
//  1. ID, Author and Key are not zero; the dot is one;
//  2. Context is valid and has not seen the edit itself;
//  3. Writes are ascending by path, each path once, none empty;
//  4. in each write the registers ascend, none is written twice or both written and cleared, and none is the id's;
//  5. its canonical form has at most MaxEditBytes.
type Edit struct {
	ID       ID // UUIDv7, made and stored before first use; names this edit whatever dot it gets
	Dot      causal.Dot
	Previous Hash // of the same replica's edit before it; zero before counter 1
	Key      Key
	// Context is the version vector returned by the read that was edited from: what the author had seen of this record.
	Context    causal.Vector
	Author     ID    // the staff member
	AuthoredAt int64 // the device's claim, milliseconds since 1970 UTC; orders nothing
	Writes     []Write
}

// Write is what an edit does to the registers at one path.
type Write struct {
	Path  Path
	Set   []byte   // registers written, ascending, canonical protobuf with tags
	Clear []uint32 // registers cleared, ascending
}

// Bounds of an edit. A record holds at most MaxStateBytes, so an edit cannot need more.
const (
	MaxWrites    = 512
	MaxEditBytes = 56 << 10
)

// Valid reports the first invariant that e breaks.
func (e *Edit) Valid() error {
	switch {
	case e.ID.IsZero(), e.Author.IsZero(), e.Key.ID.IsZero(), e.Key.Kind <= 0:
		return errors.New("an id is missing")
	case e.Key.Kind > MaxKind:
		return fmt.Errorf("record kind %d is none", e.Key.Kind)
	case e.Dot.Replica.IsZero(), e.Dot.Counter == 0:
		return errors.New("the dot is missing")
	case e.Context.Covers(e.Dot):
		return errors.New("the context has seen the edit itself")
	case len(e.Writes) == 0, len(e.Writes) > MaxWrites:
		return fmt.Errorf("%d writes: want 1 to %d", len(e.Writes), MaxWrites)
	}
	if err := e.Context.Valid(); err != nil {
		return err
	}
	for i := range e.Writes {
		if i > 0 && e.Writes[i-1].Path >= e.Writes[i].Path {
			return fmt.Errorf("write %d: path is out of order", i+1)
		}
		if err := e.Writes[i].valid(); err != nil {
			return fmt.Errorf("write %d: %w", i+1, err)
		}
	}
	if n := e.size(); n > MaxEditBytes {
		return fmt.Errorf("%d bytes: at most %d", n, MaxEditBytes)
	}
	return nil
}

// size is the length of the canonical form.
func (e *Edit) size() int {
	n := 1 + 4*len(ID{}) + protowire.SizeVarint(e.Dot.Counter) + protowire.SizeVarint(uint64(e.Key.Kind))
	n += protowire.SizeVarint(protowire.EncodeZigZag(e.AuthoredAt)) + protowire.SizeVarint(uint64(len(e.Context)))
	for _, d := range e.Context {
		n += len(d.Replica) + protowire.SizeVarint(d.Counter)
	}
	n += protowire.SizeVarint(uint64(len(e.Writes)))
	for i := range e.Writes {
		w := &e.Writes[i]
		n += protowire.SizeBytes(len(w.Path)) + protowire.SizeBytes(len(w.Set)) + protowire.SizeVarint(uint64(len(w.Clear)))
		for _, f := range w.Clear {
			n += protowire.SizeVarint(uint64(f))
		}
	}
	return n
}

func (w *Write) valid() error {
	if len(w.Set) == 0 && len(w.Clear) == 0 {
		return errors.New("writes nothing")
	}
	if _, err := ParsePath([]byte(w.Path)); err != nil {
		return err
	}
	if err := checkClear(w.Clear); err != nil {
		return err
	}
	next := w.Clear
	return eachRegister(w.Set, func(field uint32, _ []byte) error {
		for len(next) > 0 && next[0] < field {
			next = next[1:]
		}
		if len(next) > 0 && next[0] == field {
			return fmt.Errorf("field %d is both written and cleared", field)
		}
		return nil
	})
}

// each calls fn with every register that w writes or clears, ascending. The write must be valid.
func (w *Write) each(fn func(field uint32, value []byte, cleared bool)) {
	// The write is valid, so eachRegister cannot fail and the two lists are merged in order.
	clear := w.Clear
	_ = eachRegister(w.Set, func(field uint32, value []byte) error {
		for len(clear) > 0 && clear[0] < field {
			fn(clear[0], nil, true)
			clear = clear[1:]
		}
		fn(field, value, false)
		return nil
	})
	for _, f := range clear {
		fn(f, nil, true)
	}
}

// AppendBinary appends the canonical form of e without Previous, as docs/format.md defines.
func (e *Edit) AppendBinary(b []byte) []byte {
	b = append(b, editForm)
	b = append(b, e.Dot.Replica[:]...)
	b = binary.AppendUvarint(b, e.Dot.Counter)
	b = e.Context.AppendBinary(b)
	return e.appendBody(b)
}

// editForm is the first byte of an edit's canonical form.
const editForm = 1

// appendBody appends what makes an edit the same edit under whatever dot.
func (e *Edit) appendBody(b []byte) []byte {
	b = append(b, e.ID[:]...)
	b = binary.AppendUvarint(b, uint64(e.Key.Kind))
	b = append(b, e.Key.ID[:]...)
	b = append(b, e.Author[:]...)
	b = binary.AppendVarint(b, e.AuthoredAt)
	b = binary.AppendUvarint(b, uint64(len(e.Writes)))
	for i := range e.Writes {
		w := &e.Writes[i]
		b = appendBytes(b, []byte(w.Path))
		b = appendBytes(b, w.Set)
		b = appendClear(b, w.Clear)
	}
	return b
}

// ParseEdit is the inverse of AppendBinary; Previous is left zero. The edit's slices point into b. It accepts only valid edits in canonical form.
func ParseEdit(b []byte) (Edit, error) {
	r := reader{rest: b}
	var e Edit
	if form := r.raw(1); r.err == nil && form[0] != editForm {
		return Edit{}, fmt.Errorf("edit: form %d is not known", form[0])
	}
	copy(e.Dot.Replica[:], r.raw(len(e.Dot.Replica)))
	e.Dot.Counter = r.uvarint()
	if r.err == nil {
		e.Context, r.rest, r.err = causal.CutVector(r.rest)
	}
	e.ID = r.id()
	e.Key.Kind = r.kind()
	e.Key.ID = r.id()
	e.Author = r.id()
	e.AuthoredAt = r.varint()
	e.Writes = make([]Write, r.count(3))
	for i := range e.Writes {
		e.Writes[i] = Write{Path: Path(r.bytes()), Set: r.bytes(), Clear: r.clear()}
	}
	err := r.end()
	if err == nil {
		err = e.Valid()
	}
	if err != nil {
		return Edit{}, fmt.Errorf("edit: %w", err)
	}
	return e, nil
}

func (r *reader) kind() Kind {
	k := r.uvarint()
	if k == 0 || k > MaxKind {
		r.fail(fmt.Errorf("record kind %d is none", k))
	}
	return Kind(k)
}

func (r *reader) varint() int64 {
	u := r.uvarint()
	return int64(u>>1) ^ -int64(u&1)
}

// Hash is the chain hash after e: over the edit and the hash before it. It is what the next edit of the replica has as Previous.
func (e *Edit) Hash() Hash {
	return ChainHash(e.Previous, e.AppendBinary(make([]byte, 0, e.sizeHint())))
}

// ChainHash is Hash for an edit whose canonical form is at hand.
func ChainHash(previous Hash, canonical []byte) Hash {
	h := sha256.New()
	h.Write([]byte("needlebook edit 1\x00"))
	h.Write(previous[:])
	h.Write(canonical)
	return Hash(h.Sum(nil))
}

// sizeHint is about the size of e's canonical form, never less.
func (e *Edit) sizeHint() int {
	n := 192 + 26*len(e.Context)
	for i := range e.Writes {
		n += 12 + len(e.Writes[i].Path) + len(e.Writes[i].Set) + 5*len(e.Writes[i].Clear)
	}
	return n
}

// BodyHash is over what makes an edit the same edit under whatever dot and context: a repeated id with another body hash is another edit.
func (e *Edit) BodyHash() Hash {
	b := make([]byte, 0, e.sizeHint())
	b = append(b, "needlebook edit body 1\x00"...)
	return sha256.Sum256(e.appendBody(b))
}
