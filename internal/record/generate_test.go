package record_test

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"pgregory.net/rapid"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
)

// drawer draws messages of real records: mostly such as the annotations allow, with values at and just past their bounds when wild.
type drawer struct {
	t    *rapid.T
	wild bool
	ids  int
}

func (d *drawer) message(md protoreflect.MessageDescriptor, depth int) *dynamicpb.Message {
	m := dynamicpb.NewMessage(md)
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		required := rulesOf(fd).GetRequired()
		switch {
		case isID(fd):
			d.ids++
			m.Set(fd, protoreflect.ValueOfString(record.ID{14: byte(d.ids >> 8), 15: byte(d.ids)}.String()))
		case required && (!d.wild || rapid.IntRange(0, 30).Draw(d.t, "left out") > 0), depth < 4 && rapid.IntRange(0, 3).Draw(d.t, "present") == 0:
			d.field(m, fd, depth)
		}
	}
	if day := md.Fields().ByName("day"); !d.wild && md.FullName() == "needlebook.record.v1.Date" {
		m.Set(day, protoreflect.ValueOfInt32(min(int32(m.Get(day).Int()), 28))) // a day that every month has
	}
	return m
}

// isID reports the id of a record or an element.
func isID(fd protoreflect.FieldDescriptor) bool {
	md := fd.ContainingMessage()
	element, _ := proto.GetExtension(md.Options(), optionsv1.E_Element).(bool)
	kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(optionsv1.RecordKind)
	return fd.Number() == 1 && (element || kind != 0)
}

func rulesOf(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	r, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	return r
}

func (d *drawer) field(m *dynamicpb.Message, fd protoreflect.FieldDescriptor, depth int) {
	if !fd.IsList() {
		m.Set(fd, d.value(fd, rulesOf(fd), depth))
		return
	}
	rules := rulesOf(fd).GetRepeated()
	low := int(rules.GetMinItems())
	n := rapid.IntRange(low, max(low, 2)).Draw(d.t, "items")
	if d.wild && rapid.IntRange(0, 20).Draw(d.t, "too few") == 0 {
		n = max(low-1, 0)
	}
	list := m.Mutable(fd).List()
	for range n {
		v := d.value(fd, rules.GetItems(), depth)
		if v.IsValid() {
			list.Append(v)
		}
	}
}

func (d *drawer) value(fd protoreflect.FieldDescriptor, rules *validate.FieldRules, depth int) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		in := d.message(fd.Message(), depth+1)
		if element, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Element).(bool); element && onlyID(in) {
			d.field(in, fd.Message().Fields().Get(1), depth+1) // an element without a value is none
		}
		return protoreflect.ValueOfMessage(in)
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(d.text(rules.GetString()))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte(strings.Repeat("b", d.length(rules.GetBytes().GetLen(), rules.GetBytes().GetMinLen(), rules.GetBytes().GetMaxLen()))))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(rapid.Bool().Draw(d.t, "bool"))
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(d.enum(fd.Enum()))
	}
	return d.number(fd.Kind(), rules)
}

func onlyID(m *dynamicpb.Message) bool {
	n := 0
	m.Range(func(protoreflect.FieldDescriptor, protoreflect.Value) bool { n++; return true })
	return n < 2
}

func (d *drawer) enum(ed protoreflect.EnumDescriptor) protoreflect.EnumNumber {
	if d.wild && rapid.IntRange(0, 30).Draw(d.t, "odd") == 0 {
		return rapid.SampledFrom([]protoreflect.EnumNumber{0, 9999, -1}).Draw(d.t, "enum")
	}
	return ed.Values().Get(rapid.IntRange(1, ed.Values().Len()-1).Draw(d.t, "enum")).Number()
}

func (d *drawer) length(exact, low, high uint64) int {
	if exact > 0 {
		low, high = exact, exact
	}
	if d.wild && rapid.IntRange(0, 10).Draw(d.t, "edge") == 0 {
		return int(rapid.SampledFrom([]uint64{low, max(low, 1) - 1, min(high, 2000), min(high, 2000) + 1}).Draw(d.t, "length"))
	}
	return int(min(low+uint64(rapid.IntRange(0, 3).Draw(d.t, "length")), max(high, low)))
}

func (d *drawer) text(rules *validate.StringRules) string {
	odd := d.wild && rapid.IntRange(0, 20).Draw(d.t, "odd") == 0
	switch {
	case odd:
		return rapid.SampledFrom([]string{"", "x", "Á", strings.Repeat("é", int(min(rules.GetMaxLen(), 2000))), "a\u202eb", "a\x00b", "A1B2-",
			"0192F3A1-7C2E-7D00-8A4B-1F2E3D4C5B6A", "00000000-0000-0000-0000-000000000000", "not-a-uuid"}).Draw(d.t, "text")
	case rules.GetUuid():
		return record.ID{0: 1, 15: byte(rapid.IntRange(1, 200).Draw(d.t, "uuid"))}.String()
	case rules.GetPattern() != "":
		return rapid.StringMatching(rules.GetPattern()).Filter(func(s string) bool {
			return rules.MaxLen == nil || uint64(utf8.RuneCountInString(s)) <= rules.GetMaxLen()
		}).Draw(d.t, "matching")
	}
	return strings.Repeat("y", d.length(rules.GetLen(), rules.GetMinLen(), rules.GetMaxLen()))
}

// number draws from the range that the rules allow, its ends and, when wild, what is just outside.
func (d *drawer) number(kind protoreflect.Kind, rules *validate.FieldRules) protoreflect.Value {
	low, high := int64(0), int64(100)
	rules.ProtoReflect().Range(func(group protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if group.Kind() != protoreflect.MessageKind {
			return true
		}
		v.Message().Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			n := asInt(v)
			switch fd.Name() {
			case "gt":
				low = n + 1
			case "gte":
				low = n
			case "lt":
				high = n - 1
			case "lte":
				high = n
			}
			return true
		})
		return true
	})
	n := rapid.Int64Range(low, max(low, high)).Draw(d.t, "number")
	if d.wild {
		n = rapid.SampledFrom([]int64{n, n, n, low, high, low - 1, high + 1, 0}).Draw(d.t, "near")
	}
	return asValue(kind, n)
}

func asInt(v protoreflect.Value) int64 {
	switch x := v.Interface().(type) {
	case int32:
		return int64(x)
	case int64:
		return x
	case uint32:
		return int64(x)
	case uint64:
		return int64(min(x, math.MaxInt64))
	}
	return 0
}

func asValue(kind protoreflect.Kind, n int64) protoreflect.Value {
	switch kind {
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(int32(n))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(n)
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(uint32(n))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(uint64(n))
	}
	panic(fmt.Sprintf("no record has a number of kind %v", kind))
}
