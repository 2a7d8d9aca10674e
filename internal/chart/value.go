package chart

import (
	"encoding/base64"
	"encoding/json"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// shapeAt is the message of the record or element that a path leads to; nil when this version does not know it.
func shapeAt(kind record.Kind, p record.Path) protoreflect.MessageDescriptor {
	fd := kindField(kind)
	for p != "" && fd != nil {
		var step record.Step
		step, p = p.Cut()
		fd = fd.Message().Fields().ByNumber(protoreflect.FieldNumber(step.Field))
		if fd != nil && (fd.Message() == nil || !fd.IsList()) {
			return nil
		}
	}
	if fd == nil {
		return nil
	}
	return fd.Message()
}

// holder is an empty message of the record or element that a path leads to; nil when this version does not know it.
func holder(kind record.Kind, p record.Path) protoreflect.Message {
	fd := kindField(kind)
	if fd == nil || shapeAt(kind, p) == nil {
		return nil
	}
	m := (&chartv1.Record{}).ProtoReflect().NewField(fd).Message()
	for p != "" {
		var step record.Step
		step, p = p.Cut()
		m = m.NewField(m.Descriptor().Fields().ByNumber(protoreflect.FieldNumber(step.Field))).List().NewElement().Message()
	}
	return m
}

// fieldIn is a field of a message by its number; nil when there is none.
func fieldIn(m protoreflect.Message, number uint32) protoreflect.FieldDescriptor {
	if m == nil {
		return nil
	}
	return m.Descriptor().Fields().ByNumber(protoreflect.FieldNumber(number))
}

// ValueJSON is the value of a register as JSON, in the form that the field has in its record. What this version does not know, and what is no value
// of the field (an edit that was held for that is shown all the same), is a string: the bytes with their tags, in base64.
func ValueJSON(kind record.Kind, r record.Register, tagged []byte) string {
	m := holder(kind, r.Path)
	if fd := fieldIn(m, r.Field); fd != nil {
		if text, ok := fieldJSON(m, fd, tagged); ok {
			return text
		}
	}
	return `"` + base64.StdEncoding.EncodeToString(tagged) + `"`
}

// fieldJSON reads a tagged value into m, which is empty, and writes the field as JSON.
func fieldJSON(m protoreflect.Message, fd protoreflect.FieldDescriptor, tagged []byte) (string, bool) {
	if err := proto.Unmarshal(tagged, m.Interface()); err != nil || len(m.GetUnknown()) > 0 {
		return "", false
	}
	b, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m.Interface())
	if err != nil {
		return "", false
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(b, &fields); err != nil || fields[string(fd.Name())] == nil {
		return "", false
	}
	// Marshal again, compact: the spaces that protojson puts in are not stable.
	b, err = json.Marshal(fields[string(fd.Name())])
	return string(b), err == nil
}

// readValue is the inverse of ValueJSON: the message of the record or element that holds only this register. Text in it is normalised. The error is a
// fault of value_json; it does not show the value.
func readValue(kind record.Kind, r record.Register, text string) (proto.Message, error) {
	refuse := func(want string) error {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "value_json", fault.Withheld(text), want)
	}
	m := holder(kind, r.Path)
	fd := fieldIn(m, r.Field)
	if fd == nil {
		return nil, fault.New(faultv1.Reason_REASON_SCHEMA_TOO_NEW, "path", "", "")
	}
	b, err := json.Marshal(map[string]json.RawMessage{string(fd.Name()): json.RawMessage(text)})
	if err != nil {
		return nil, refuse("one value in JSON")
	}
	if err := protojson.Unmarshal(b, m.Interface()); err != nil {
		return nil, refuse("a value of " + string(fd.FullName()) + " in JSON")
	}
	if !m.Has(fd) {
		return nil, refuse("a value that is not empty, or clear")
	}
	if checkTimes(m) != nil {
		return nil, refuse("days of the calendar and times from the year 1 to 9999")
	}
	normalise(m)
	return m.Interface(), nil
}
