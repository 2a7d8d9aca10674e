package record

import (
	"encoding/binary"
	"errors"
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"

	"needlebook/internal/causal"
)

// idField is the number of the field that holds a record's or element's own id. It is filled from the key and the path; no edit writes it.
const idField = 1

// cutRegister splits off the first register of set: its number and its value, which is every occurrence of that number, tags included. Numbers are
// shortest-form varints, lengths too, and groups do not exist; what the bytes mean is for the schema to check.
func cutRegister(set []byte) (field uint32, value, rest []byte, err error) {
	field, rest, err = cutField(set)
	if err != nil {
		return 0, nil, nil, err
	}
	for len(rest) > 0 {
		next, after, err := cutField(rest)
		if err != nil {
			return 0, nil, nil, err
		}
		if next != field {
			break
		}
		rest = after
	}
	return field, set[:len(set)-len(rest)], rest, nil
}

// cutField splits off one tagged value.
func cutField(b []byte) (field uint32, rest []byte, err error) {
	tag, rest, err := causal.Uvarint(b)
	if err != nil {
		return 0, nil, fmt.Errorf("tag: %w", err)
	}
	number, typ := tag>>3, protowire.Type(tag&7)
	if number == 0 || number > maxFieldNumber {
		return 0, nil, fmt.Errorf("field number %d is none", number)
	}
	n := 0
	switch typ {
	case protowire.VarintType:
		_, rest, err = causal.Uvarint(rest)
	case protowire.Fixed32Type:
		n = 4
	case protowire.Fixed64Type:
		n = 8
	case protowire.BytesType:
		var size uint64
		if size, rest, err = causal.Uvarint(rest); err == nil && size > uint64(len(rest)) {
			err = errors.New("length is past the end")
		}
		n = int(size)
	default:
		err = fmt.Errorf("wire type %d is not used", typ)
	}
	if err == nil && n > len(rest) {
		err = errors.New("ends early")
	}
	if err != nil {
		return 0, nil, fmt.Errorf("field %d: %w", number, err)
	}
	return uint32(number), rest[n:], nil
}

// eachRegister calls fn with every register of set, in order, after checking that numbers ascend and that none is the id's.
func eachRegister(set []byte, fn func(field uint32, value []byte) error) error {
	last := uint32(idField)
	for len(set) > 0 {
		field, value, rest, err := cutRegister(set)
		if err != nil {
			return err
		}
		if field <= last {
			return fmt.Errorf("field %d stands after field %d, or is the id's", field, last)
		}
		if err := fn(field, value); err != nil {
			return err
		}
		last, set = field, rest
	}
	return nil
}

// checkClear checks the list of cleared registers of a write: ascending, none the id's.
func checkClear(clear []uint32) error {
	last := uint32(idField)
	for _, f := range clear {
		if f <= last || f > maxFieldNumber {
			return fmt.Errorf("cleared field %d stands after field %d, or is none", f, last)
		}
		last = f
	}
	return nil
}

func appendBytes(b, v []byte) []byte {
	b = binary.AppendUvarint(b, uint64(len(v)))
	return append(b, v...)
}

func appendClear(b []byte, clear []uint32) []byte {
	b = binary.AppendUvarint(b, uint64(len(clear)))
	for _, f := range clear {
		b = binary.AppendUvarint(b, uint64(f))
	}
	return b
}

// reader takes a canonical form apart, and remembers the first thing that was wrong; after that everything it returns is empty.
type reader struct {
	rest []byte
	err  error
}

func (r *reader) uvarint() uint64 {
	if r.err != nil {
		return 0
	}
	var x uint64
	x, r.rest, r.err = causal.Uvarint(r.rest)
	return x
}

// count reads the number of entries that follow, each at least size bytes long, so that a false number cannot ask for much memory.
func (r *reader) count(size int) int {
	n := r.uvarint()
	if r.err == nil && n > uint64(len(r.rest)/size) {
		r.err = fmt.Errorf("%d entries do not fit into %d bytes", n, len(r.rest))
	}
	if r.err != nil {
		return 0
	}
	return int(n)
}

func (r *reader) raw(n int) []byte {
	if r.err == nil && n > len(r.rest) {
		r.err = errors.New("ends early")
	}
	if r.err != nil {
		return nil
	}
	out := r.rest[:n:n]
	r.rest = r.rest[n:]
	return out
}

func (r *reader) bytes() []byte { return r.raw(r.count(1)) }

func (r *reader) id() ID {
	var id ID
	copy(id[:], r.raw(len(id)))
	return id
}

func (r *reader) clear() []uint32 {
	n := r.count(1)
	if n == 0 {
		return nil
	}
	out := make([]uint32, n)
	for i := range out {
		f := r.uvarint()
		if f > maxFieldNumber {
			r.fail(fmt.Errorf("field number %d is none", f))
		}
		out[i] = uint32(f)
	}
	return out
}

func (r *reader) fail(err error) {
	if r.err == nil {
		r.err = err
	}
}

// end reports the first error, or bytes that were not read.
func (r *reader) end() error {
	if r.err == nil && len(r.rest) > 0 {
		r.err = fmt.Errorf("%d bytes after the end", len(r.rest))
	}
	return r.err
}
