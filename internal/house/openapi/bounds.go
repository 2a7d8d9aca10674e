package main

import (
	"fmt"
	"strconv"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// uuidPattern is the form of a UUID that the bounds of the schema take.
const uuidPattern = "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$"

func textSchema(rules *validate.StringRules, mayZero bool) object {
	s := object{{"type", "string"}}
	pattern := rules.GetPattern()
	if pattern == "^(?s:.{15,})$" {
		pattern = `^[\s\S]{15,}$` // the same in ECMA 262, which has no flags in a group
	}
	if rules.GetUuid() {
		pattern = uuidPattern
	}
	switch {
	case pattern != "" && mayZero:
		s = s.with("pattern", "^$|"+pattern)
	case pattern != "":
		s = s.with("pattern", pattern)
	}
	if rules.GetMinLen() > 0 && !mayZero {
		s = s.with("minLength", rules.GetMinLen())
	}
	if rules.HasMaxLen() {
		s = s.with("maxLength", rules.GetMaxLen())
	}
	return s
}

// bytesSchema is base64; the most characters are those of the most bytes.
func bytesSchema(rules *validate.BytesRules, mayZero bool) object {
	s := object{{"type", "string"}, {"contentEncoding", "base64"}}
	most, least := rules.GetMaxLen(), rules.GetMinLen()
	if rules.HasLen() {
		most, least = rules.GetLen(), rules.GetLen()
	}
	if least > 0 && !mayZero {
		s = s.with("minLength", (least*8+5)/6) // without padding
	}
	if most > 0 {
		s = s.with("maxLength", (most+2)/3*4)
	}
	return s
}

// bounds are the least and the most of an integer, as decimal text; empty for the type's own.
type bounds struct{ least, most string }

// ranged are the rules of every kind of integer.
type ranged[T int32 | int64 | uint32 | uint64] interface {
	HasGt() bool
	GetGt() T
	HasGte() bool
	GetGte() T
	HasLt() bool
	GetLt() T
	HasLte() bool
	GetLte() T
}

func boundsIn[T int32 | int64 | uint32 | uint64](r ranged[T]) (b bounds) {
	switch {
	case r.HasGte():
		b.least = fmt.Sprint(r.GetGte())
	case r.HasGt():
		b.least = fmt.Sprint(r.GetGt() + 1)
	}
	switch {
	case r.HasLte():
		b.most = fmt.Sprint(r.GetLte())
	case r.HasLt():
		b.most = fmt.Sprint(r.GetLt() - 1)
	}
	return b
}

func boundsOf(kind protoreflect.Kind, rules *validate.FieldRules) bounds {
	switch kind {
	case protoreflect.Int32Kind:
		return boundsIn[int32](rules.GetInt32())
	case protoreflect.Int64Kind:
		return boundsIn[int64](rules.GetInt64())
	case protoreflect.Uint32Kind:
		return boundsIn[uint32](rules.GetUint32())
	case protoreflect.Uint64Kind:
		return boundsIn[uint64](rules.GetUint64())
	}
	return bounds{}
}

// integerSchema is a number for 32 bits and text for 64, as JSON of protobuf has it. The bounds of text stand beside it for people.
func integerSchema(kind protoreflect.Kind, b bounds, mayZero bool) object {
	if n, err := strconv.ParseInt(b.least, 10, 64); mayZero && err == nil && n > 0 {
		b.least = "0"
	}
	switch kind {
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return wide(object{{"type", "string"}, {"format", "int64"}, {"pattern", "^-?[0-9]{1,19}$"}}, b)
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return wide(object{{"type", "string"}, {"format", "uint64"}, {"pattern", "^[0-9]{1,20}$"}}, b)
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		if b.least == "" {
			b.least = "0"
		}
		if b.most == "" {
			b.most = "4294967295"
		}
	}
	s := object{{"type", "integer"}, {"format", "int32"}}
	if kind == protoreflect.Uint32Kind || kind == protoreflect.Fixed32Kind {
		s[1].value = "uint32"
	}
	if b.least != "" {
		s = s.with("minimum", number(b.least))
	}
	if b.most != "" {
		s = s.with("maximum", number(b.most))
	}
	return s
}

func wide(s object, b bounds) object {
	if b.least != "" {
		s = s.with("x-minimum", b.least)
	}
	if b.most != "" {
		s = s.with("x-maximum", b.most)
	}
	return s
}

// number is decimal text as a number of JSON.
type number string

// MarshalJSON implements json.Marshaler.
func (n number) MarshalJSON() ([]byte, error) { return []byte(n), nil }
