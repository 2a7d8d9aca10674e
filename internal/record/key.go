package record

import (
	"bytes"
	"encoding/hex"
	"fmt"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// Kind is the kind of a record.
type Kind = optionsv1.RecordKind

// MaxKind is the highest number that a kind may ever have: keys of stores hold it in 16 bits.
const MaxKind = 1<<16 - 1

// ID is a UUID: of a record, an element, an edit or a person. The zero value is no id.
type ID [16]byte

// IsZero reports whether id is no id.
func (id ID) IsZero() bool { return id == ID{} }

// String is the id as UUID text, lower case.
func (id ID) String() string { return string(id.AppendText(nil)) }

// idTextLen is the length of a UUID as text.
const idTextLen = 36

// AppendText appends the id as UUID text, lower case.
func (id ID) AppendText(b []byte) []byte {
	for i, c := range id {
		switch i {
		case 4, 6, 8, 10:
			b = append(b, '-')
		}
		b = hex.AppendEncode(b, []byte{c})
	}
	return b
}

// ParseID is the inverse of String: it takes lower-case UUID text of an id that is not zero, and nothing else.
func ParseID(s string) (ID, error) {
	id, ok := parseID(s)
	if !ok {
		return ID{}, fmt.Errorf("id %q: want a UUID in lower case that is not zero, such as 0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a", s)
	}
	return id, nil
}

func parseID(s string) (id ID, ok bool) {
	if len(s) != idTextLen {
		return ID{}, false
	}
	digit := 0
	for i := range len(s) {
		if i == 8 || i == 13 || i == 18 || i == 23 {
			if s[i] != '-' {
				return ID{}, false
			}
			continue
		}
		v, ok := hexDigit(s[i])
		if !ok {
			return ID{}, false
		}
		id[digit/2] = id[digit/2]<<4 | v
		digit++
	}
	return id, !id.IsZero()
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}

// IDFromBytes reads an id of 16 bytes that is not zero.
func IDFromBytes(b []byte) (ID, error) {
	if len(b) != len(ID{}) {
		return ID{}, fmt.Errorf("id of %d bytes: want 16", len(b))
	}
	id := ID(b)
	if id.IsZero() {
		return ID{}, fmt.Errorf("id: all zeros name nothing")
	}
	return id, nil
}

// Key names a record.
type Key struct {
	Kind Kind
	ID   ID
}

// String is the key for people to read.
func (k Key) String() string { return k.Kind.String() + "/" + k.ID.String() }

// Compare orders keys by kind, then id. For canonical forms.
func (k Key) Compare(o Key) int {
	if k.Kind != o.Kind {
		return int(k.Kind) - int(o.Kind)
	}
	return bytes.Compare(k.ID[:], o.ID[:])
}
