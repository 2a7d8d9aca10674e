package auth

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"

	"needlebook/internal/store"
)

// ErrStored says that a stored value is not one that this package writes: damage, or a version that it does not know. The edge answers DATA_LOSS.
var ErrStored = errors.New("stored value is not as written")

// valueVersion is the first byte of every value; JSON follows.
const valueVersion = 1

// encode writes a value: the version, then JSON with the fields in the order of the struct.
func encode(v any) ([]byte, error) {
	body, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode %T: %w", v, err)
	}
	return append([]byte{valueVersion}, body...), nil
}

// decode reads what encode writes and nothing else.
func decode[T any](b []byte) (T, error) {
	var v, none T
	if len(b) == 0 || b[0] != valueVersion {
		return none, fmt.Errorf("%T: %w: version", v, ErrStored)
	}
	if err := json.Unmarshal(b[1:], &v); err != nil {
		return none, fmt.Errorf("%T: %w: not JSON of it", v, ErrStored)
	}
	again, err := encode(v)
	if err != nil || !bytes.Equal(again, b) {
		return none, fmt.Errorf("%T: %w: not in its one form", v, ErrStored)
	}
	return v, nil
}

func put(w store.Writer, key []byte, v any) error {
	b, err := encode(v)
	if err != nil {
		return err
	}
	return w.Put(key, b)
}

// get reads a value; store.ErrNotFound when it is absent.
func get[T any](r store.Reader, key []byte) (T, error) {
	b, err := r.Get(key)
	if err != nil {
		var none T
		return none, err
	}
	return decode[T](b)
}

// scan calls fn with each value under a prefix, ascending by key.
func scan[T any](r store.Reader, prefix []byte, fn func(key []byte, v T) error) error {
	return r.Scan(prefix, after(prefix), func(key, b []byte) error {
		v, err := decode[T](b)
		if err != nil {
			return err
		}
		return fn(key, v)
	})
}
