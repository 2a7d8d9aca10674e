package main

import (
	"bytes"
	"encoding/json"
)

// object is a JSON object whose members keep their order.
type object []member

type member struct {
	name  string
	value any
}

// with returns the object with one more member.
func (o object) with(name string, value any) object { return append(o, member{name, value}) }

// MarshalJSON implements json.Marshaler.
func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := encode(&b, m.name); err != nil {
			return nil, err
		}
		b.WriteByte(':')
		if err := encode(&b, m.value); err != nil {
			return nil, err
		}
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// encode writes JSON for people too: < and > as they are.
func encode(b *bytes.Buffer, v any) error {
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the line feed that Encode adds
	return nil
}
