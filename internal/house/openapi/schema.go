package main

import (
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// message refers to the schema of a message and makes it when it is new.
func (b *builder) message(md protoreflect.MessageDescriptor) object {
	name := strings.TrimPrefix(string(md.FullName()), "needlebook.")
	if _, made := b.schemas[name]; made {
		return ref(name)
	}
	b.schemas[name] = object{} // a message may hold itself
	answered := b.answered[md.FullName()]
	properties, required := object{}, []string{}
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		rules := rulesOf(fd)
		properties = properties.with(fd.TextName(), b.field(fd, rules, answered))
		if rules.GetRequired() && fd.ContainingOneof() == nil {
			required = append(required, fd.TextName())
		}
	}
	s := object{{"type", "object"}, {"description", comment(md) + notes(md)}, {"properties", properties}}
	if !answered {
		// What an answer holds may grow, and a record that was merged may lack anything.
		s = s.with("additionalProperties", false)
		if len(required) > 0 {
			s = s.with("required", required)
		}
	}
	b.schemas[name] = s
	return ref(name)
}

// notes are the rules of a message that no keyword carries.
func notes(md protoreflect.MessageDescriptor) string {
	var b strings.Builder
	rules, _ := proto.GetExtension(md.Options(), validate.E_Message).(*validate.MessageRules)
	for _, rule := range rules.GetCel() {
		b.WriteString(" Rule: " + rule.GetMessage() + ".")
	}
	for i := range md.Oneofs().Len() {
		one := md.Oneofs().Get(i)
		if one.IsSynthetic() {
			continue
		}
		var names []string
		for j := range one.Fields().Len() {
			names = append(names, one.Fields().Get(j).TextName())
		}
		most := "At most"
		if o, _ := proto.GetExtension(one.Options(), validate.E_Oneof).(*validate.OneofRules); o.GetRequired() {
			most = "Exactly"
		}
		b.WriteString(" " + most + " one of " + strings.Join(names, ", ") + ".")
	}
	return b.String()
}

func rulesOf(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

// field is the schema of a field with what the schema says of it.
func (b *builder) field(fd protoreflect.FieldDescriptor, rules *validate.FieldRules, answered bool) object {
	text := comment(fd)
	if rules.GetRequired() {
		text += " Required in a request."
	}
	switch {
	case fd.IsMap():
		return object{{"type", "object"}, {"description", text}, {"additionalProperties", b.value(fd.MapValue(), nil, true)}}
	case fd.IsList():
		repeated := rules.GetRepeated()
		s := object{{"type", "array"}, {"description", text}, {"items", b.value(fd, repeated.GetItems(), false)}}
		if repeated.HasMaxItems() {
			s = s.with("maxItems", repeated.GetMaxItems())
		}
		if repeated.HasMinItems() && !answered {
			s = s.with("minItems", repeated.GetMinItems())
		}
		return s
	}
	// The server writes a field that was not set as its zero, unless the field can tell the two apart.
	return append(b.value(fd, rules, answered && !fd.HasPresence()), member{"description", text})
}

// value is the schema of one value. mayZero is true where zero stands for not set.
func (b *builder) value(fd protoreflect.FieldDescriptor, rules *validate.FieldRules, mayZero bool) object {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return object{{"type", "boolean"}}
	case protoreflect.StringKind:
		return textSchema(rules.GetString(), mayZero)
	case protoreflect.BytesKind:
		return bytesSchema(rules.GetBytes(), mayZero)
	case protoreflect.EnumKind:
		return b.enum(fd.Enum())
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if fd.Message().FullName() == "google.protobuf.Timestamp" {
			return object{{"type", "string"}, {"format", "date-time"}}
		}
		return b.message(fd.Message())
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		return object{{"type", "number"}}
	}
	return integerSchema(fd.Kind(), boundsOf(fd.Kind(), rules), mayZero)
}

// enum refers to the schema of an enum; its description lists the values.
func (b *builder) enum(ed protoreflect.EnumDescriptor) object {
	name := strings.TrimPrefix(string(ed.FullName()), "needlebook.")
	if _, made := b.schemas[name]; made {
		return ref(name)
	}
	text, values := comment(ed), []string{}
	for i := range ed.Values().Len() {
		v := ed.Values().Get(i)
		values = append(values, string(v.Name()))
		text += "\n- " + string(v.Name()) + ": " + comment(v)
	}
	b.schemas[name] = object{{"type", "string"}, {"description", text}, {"enum", values}}
	return ref(name)
}
