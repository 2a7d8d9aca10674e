package record_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// The checks of this file hold the core's own reading of the annotations against their language's runtime, buf.build/go/protovalidate, which is too large
// for a tablet. They differ on purpose in what stricter names; in nothing else.

// stricter names what in a message the core refuses though the runtime takes it; empty for nothing.
func stricter(m protoreflect.Message) string {
	found := stricterForm(m)
	if found != "" {
		return found
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if !fd.IsList() {
			found = stricterValue(fd, v, rulesOf(fd).GetString().GetUuid())
			return found == ""
		}
		for i := range v.List().Len() {
			if found = stricterValue(fd, v.List().Get(i), rulesOf(fd).GetRepeated().GetItems().GetString().GetUuid()); found != "" {
				return false
			}
		}
		return true
	})
	return found
}

// stricterForm says it of a day and of a time, with the calendar of package time and the check of timestamppb.
func stricterForm(m protoreflect.Message) string {
	number := func(n protoreflect.FieldNumber) int64 { return m.Get(m.Descriptor().Fields().ByNumber(n)).Int() }
	switch m.Descriptor().FullName() {
	case "needlebook.record.v1.Date":
		if t := time.Date(int(number(1)), time.Month(number(2)), int(number(3)), 0, 0, 0, 0, time.UTC); t.Day() != int(number(3)) {
			return "a day that the calendar does not have"
		}
	case "google.protobuf.Timestamp":
		if (&timestamppb.Timestamp{Seconds: number(1), Nanos: int32(number(2))}).CheckValid() != nil {
			return "a time that no Timestamp may hold"
		}
	}
	return ""
}

func stricterValue(fd protoreflect.FieldDescriptor, v protoreflect.Value, uuid bool) string {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return stricter(v.Message())
	case protoreflect.EnumKind:
		if fd.Enum().Values().ByNumber(v.Enum()) == nil {
			return "a value of an enum that this version does not know"
		}
		if v.Enum() == 0 {
			return "the zero of an enum, which says nothing"
		}
	case protoreflect.StringKind:
		switch s := v.String(); {
		case uuid && s != strings.ToLower(s):
			return "a UUID with upper-case digits, which is the same id in other bytes"
		case uuid && s == strings.Map(zeroDigit, s) && s != "":
			return "the UUID of zeros, which names nothing"
		case strings.ContainsFunc(s, hides):
			return "characters that are not seen, or turn the text around"
		}
	}
	return ""
}

func zeroDigit(r rune) rune {
	if r == '-' {
		return r
	}
	return '0'
}

func hides(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == '\u202e' || r == '\u200b' }

// verdicts is what each of the two says of m.
func verdicts(t *rapid.T, s *record.Schema, m *dynamicpb.Message) (ours, theirs error) {
	e, ok := asEdit(t, s, m)
	if ok {
		if refusal := s.Check(&e, record.FromServer); refusal != nil {
			ours = refusal
		}
	}
	return ours, protovalidate.Validate(m)
}

// TestTwin_TheCoreJudgesRealRecordsAsTheAnnotationsSay draws messages of every kind of record, mostly right, some of them wrong in one place.
func TestTwin_TheCoreJudgesRealRecordsAsTheAnnotationsSay(t *testing.T) {
	s := recordsSchema(t)
	for _, md := range schema.Records() {
		t.Run(string(md.Name()), rapid.MakeCheck(func(t *rapid.T) {
			d := drawer{t: t, wild: true}
			m := d.message(md, 0)
			ours, theirs := verdicts(t, s, m)
			switch why := stricter(m); {
			case ours == nil && theirs != nil:
				t.Fatalf("the core takes what the annotations refuse: %v\n%v", theirs, m)
			case ours == nil && why != "":
				t.Fatalf("the core takes %s\n%v", why, m)
			case ours != nil && theirs == nil && why == "":
				t.Fatalf("the core refuses what the annotations take: %v\n%v", ours, m)
			}
		}))
	}
}

// probe is a record with one register for each kind of rule that records use.
const probe = `name: "probe.proto" package: "probe" syntax: "proto3"
dependency: "buf/validate/validate.proto" dependency: "needlebook/options/v1/options.proto"
dependency: "needlebook/record/v1/date.proto" dependency: "google/protobuf/timestamp.proto"
enum_type { name: "E" value { name: "E_NONE" number: 0 } value { name: "E_ONE" number: 1 } }
message_type { name: "In" field { name: "a" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL json_name: "a"
  options { [buf.validate.field] { required: true } } } field { name: "b" number: 2 type: TYPE_STRING label: LABEL_OPTIONAL json_name: "b" } }
message_type { name: "R" options { [needlebook.options.v1.record]: RECORD_KIND_PATIENT }
  field { name: "id" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL json_name: "id" options { [buf.validate.field] { string { uuid: true } } } }
%s }`

// TestTwin_EachRuleAtItsEdge has, for every kind of rule, a value that just passes and one that just fails, and asks both.
func TestTwin_EachRuleAtItsEdge(t *testing.T) {
	const uuid = "0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a"
	for _, row := range []struct {
		name, typ, rules string
		pass, fail       []string // as text of the field's value
	}{
		{"len", "TYPE_STRING", `string { len: 2 }`, []string{`"éé"`}, []string{`"a"`, `"abc"`}},
		{"min_len", "TYPE_STRING", `string { min_len: 2 }`, []string{`"éé"`, `"abc"`}, []string{`"é"`, `""`}},
		{"max_len", "TYPE_STRING", `string { max_len: 2 }`, []string{`"éé"`, `""`}, []string{`"abc"`}},
		{"pattern", "TYPE_STRING", `string { pattern: "^[a-z]+$" }`, []string{`"a"`}, []string{`"A"`, `""`, `"a\n"`}},
		{"pattern not anchored", "TYPE_STRING", `string { pattern: "[a-z]" }`, []string{`"1a1"`}, []string{`"1"`}},
		{"uuid", "TYPE_STRING", `string { uuid: true }`, []string{`"` + uuid + `"`}, []string{
			`""`, `"` + uuid[:35] + `"`, `"` + uuid + `0"`, `"` + strings.ReplaceAll(uuid, "-", "0") + `"`,
		}},
		{"bytes len", "TYPE_BYTES", `bytes { len: 2 }`, []string{`"ab"`}, []string{`"a"`, `"é-"`}},
		{"bytes min_len", "TYPE_BYTES", `bytes { min_len: 2 }`, []string{`"é"`}, []string{`"a"`}},
		{"bytes max_len", "TYPE_BYTES", `bytes { max_len: 2 }`, []string{`"é"`}, []string{`"éa"`}},
		{"int32 gt", "TYPE_INT32", `int32 { gt: -5 }`, []string{"-4", "2147483647"}, []string{"-5", "-2147483648"}},
		{"int32 gte", "TYPE_INT32", `int32 { gte: -5 }`, []string{"-5"}, []string{"-6"}},
		{"int32 lt", "TYPE_INT32", `int32 { lt: 0 }`, []string{"-1"}, []string{"0"}},
		{"int32 lte", "TYPE_INT32", `int32 { lte: 0 }`, []string{"0"}, []string{"1"}},
		{"int64 gt", "TYPE_INT64", `int64 { gt: -1 }`, []string{"0"}, []string{"-1"}},
		{"int64 gte", "TYPE_INT64", `int64 { gte: 0 }`, []string{"0"}, []string{"-1"}},
		{"int64 lt", "TYPE_INT64", `int64 { lt: -9223372036854775807 }`, []string{"-9223372036854775808"}, []string{"-9223372036854775807"}},
		{"int64 lte", "TYPE_INT64", `int64 { lte: 9223372036854775806 }`, []string{"9223372036854775806"}, []string{"9223372036854775807"}},
		{"uint32 gt", "TYPE_UINT32", `uint32 { gt: 0 }`, []string{"1", "4294967295"}, []string{"0"}},
		{"uint32 lte", "TYPE_UINT32", `uint32 { lte: 9 }`, []string{"9"}, []string{"10"}},
		{"uint64 gte", "TYPE_UINT64", `uint64 { gte: 18446744073709551615 }`, []string{"18446744073709551615"}, []string{"18446744073709551614"}},
		{"uint64 lt", "TYPE_UINT64", `uint64 { lt: 18446744073709551615 }`, []string{"18446744073709551614"}, []string{"18446744073709551615"}},
		{"sint64 in range", "TYPE_SINT64", `sint64 { gte: -2 lte: 2 }`, []string{"-2", "2"}, []string{"-3", "3"}},
		{"required in a message", `TYPE_MESSAGE type_name: ".probe.In"`, ``, []string{`{ a: "x" }`}, []string{`{ b: "x" }`, `{}`}},
	} {
		t.Run(row.name, func(t *testing.T) {
			md := probeOf(t, fmt.Sprintf(`field { name: "f" number: 2 label: LABEL_OPTIONAL json_name: "f" proto3_optional: true oneof_index: 0 type: %s
				options { [buf.validate.field] { %s } } } oneof_decl { name: "_f" }`, row.typ, row.rules))
			for _, v := range row.pass {
				judge(t, md, "f: "+v, true)
			}
			for _, v := range row.fail {
				judge(t, md, "f: "+v, false)
			}
		})
	}
}

// TestTwin_EachRuleOfListsAndEnums is the same for fields that are not one value with presence.
func TestTwin_EachRuleOfListsAndEnums(t *testing.T) {
	for _, row := range []struct{ name, field, rules, pass, fail string }{
		{"max_items", `TYPE_STRING label: LABEL_REPEATED`, `repeated { max_items: 2 }`, `f: ["", "b"]`, `f: ["a", "b", "c"]`},
		{"min_items", `TYPE_STRING label: LABEL_REPEATED`, `repeated { min_items: 2 }`, `f: ["a", "b"]`, `f: ["a"]`},
		{"items", `TYPE_STRING label: LABEL_REPEATED`, `repeated { items { string { max_len: 1 } } }`, `f: ["a", "b"]`, `f: ["a", "bc"]`},
		{"packed items", `TYPE_INT32 label: LABEL_REPEATED`, `repeated { max_items: 2 items { int32 { lte: 5 gte: -5 } } }`, `f: [5, -5]`, `f: [0, 6]`},
		{"packed max_items", `TYPE_INT32 label: LABEL_REPEATED`, `repeated { max_items: 2 }`, `f: [0, 0]`, `f: [0, 0, 0]`},
		{"defined_only", `TYPE_ENUM type_name: ".probe.E" label: LABEL_OPTIONAL`, `enum { defined_only: true }`, `f: E_ONE`, `f: 7`},
		{"messages in a list", `TYPE_MESSAGE type_name: ".probe.In" label: LABEL_REPEATED`, ``, `f { a: "x" }`, `f { a: "x" } f {}`},
	} {
		t.Run(row.name, func(t *testing.T) {
			md := probeOf(t, fmt.Sprintf(`field { name: "f" number: 2 json_name: "f" type: %s options { [buf.validate.field] { %s } } }`, row.field, row.rules))
			judge(t, md, row.pass, true)
			judge(t, md, row.fail, false)
		})
	}
}

// TestCheck_IsStricterOnPurpose names each thing that the annotations' runtime takes and the core does not.
func TestCheck_IsStricterOnPurpose(t *testing.T) {
	const f = `name: "f" number: 2 label: LABEL_OPTIONAL json_name: "f" `
	text := probeOf(t, `field { `+f+`type: TYPE_STRING options { [buf.validate.field] { string { max_len: 40 } } } }`)
	id := probeOf(t, `field { `+f+`type: TYPE_STRING options { [buf.validate.field] { string { uuid: true } } } }`)
	enum := probeOf(t, `field { `+f+`type: TYPE_ENUM type_name: ".probe.E" proto3_optional: true oneof_index: 0 } oneof_decl { name: "_f" }`)
	date := probeOf(t, `field { `+f+`type: TYPE_MESSAGE type_name: ".needlebook.record.v1.Date" }`)
	at := probeOf(t, `field { `+f+`type: TYPE_MESSAGE type_name: ".google.protobuf.Timestamp" }`)
	for _, row := range []struct {
		name   string
		md     protoreflect.MessageDescriptor
		value  string
		reason faultv1.Reason
	}{
		{"a day that its month does not have", date, `f { year: 2026 month: 4 day: 31 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"29 February of a year that has none", date, `f { year: 2026 month: 2 day: 29 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"29 February of 1900", date, `f { year: 1900 month: 2 day: 29 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a second before the year 1", at, `f { seconds: -62135596801 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a second after the year 9999", at, `f { seconds: 253402300800 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"nanoseconds below zero", at, `f { seconds: 1 nanos: -1 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a billion nanoseconds", at, `f { seconds: 1 nanos: 1000000000 }`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a UUID in upper case", id, `f: "0192F3A1-7C2E-7D00-8A4B-1F2E3D4C5B6A"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"the UUID of zeros", id, `f: "00000000-0000-0000-0000-000000000000"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"an enum's zero", enum, `f: E_NONE`, faultv1.Reason_REASON_INVALID_FIELD},
		{"an enum's value that is not known", enum, `f: 7`, faultv1.Reason_REASON_SCHEMA_TOO_NEW},
		{"a NUL", text, `f: "a\000b"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"an escape", text, `f: "a\033[2J"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a control of C1", text, `f: "a\302\205b"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"text that turns around", text, `f: "a\342\200\256b"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"text that isolates", text, `f: "a\342\201\246b"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a space without width", text, `f: "a\342\200\213b"`, faultv1.Reason_REASON_INVALID_FIELD},
		{"a byte order mark", text, `f: "\357\273\277a"`, faultv1.Reason_REASON_INVALID_FIELD},
	} {
		t.Run(row.name, func(t *testing.T) {
			ours, theirs := probeVerdicts(t, row.md, row.value)
			if theirs != nil || reasonOf(ours) != row.reason {
				t.Errorf("the core says %v, the annotations say %v", ours, theirs)
			}
		})
	}
}

func probeOf(t *testing.T, fields string) protoreflect.MessageDescriptor {
	t.Helper()
	file := &descriptorpb.FileDescriptorProto{}
	if err := prototext.Unmarshal(fmt.Appendf(nil, probe, fields), file); err != nil {
		t.Fatal(err)
	}
	fd, err := protodesc.NewFile(file, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	return fd.Messages().ByName("R")
}

func probeVerdicts(t *testing.T, md protoreflect.MessageDescriptor, value string) (ours, theirs error) {
	t.Helper()
	s, err := record.NewSchema(md)
	if err != nil {
		t.Fatal(err)
	}
	m := dynamicpb.NewMessage(md)
	if err := prototext.Unmarshal([]byte(`id: "0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a" `+value), m); err != nil {
		t.Fatal(err)
	}
	b, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	e := record.Edit{Key: record.Key{Kind: 1, ID: record.ID{1}}}
	if e.Writes, err = s.Split(1, b); err != nil || len(e.Writes) != 1 {
		t.Fatalf("%s makes %d writes (%v)", value, len(e.Writes), err)
	}
	if refusal := s.Check(&e, record.FromDevice); refusal != nil {
		ours = refusal
	}
	return ours, protovalidate.Validate(m)
}

func judge(t *testing.T, md protoreflect.MessageDescriptor, value string, want bool) {
	t.Helper()
	ours, theirs := probeVerdicts(t, md, value)
	if (ours == nil) != want || (theirs == nil) != want {
		t.Errorf("%s: the core says %v, the annotations say %v", value, ours, theirs)
	}
}
