package schema_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
)

// planted is a schema with one fault, in text form, and the words that name the fault. Every rule of the inspector has a row, so that none of them is
// one that cannot fail. Each message R is a record unless the row says otherwise.
type planted struct {
	name   string
	schema string
	want   string
}

const (
	identifier = `field { name: "id" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL ` + isUUID + ` }`
	isUUID     = `options { [buf.validate.field] { string { uuid: true } } }`
	isRecord   = `options { [needlebook.options.v1.record]: RECORD_KIND_PATIENT }`
	isElem     = `options { [needlebook.options.v1.element]: true }`
	bounded    = `options { [buf.validate.field] { string { max_len: 5 } } }`
	listed     = `options { [buf.validate.field] { repeated { max_items: 5 } } }`
)

func recordWith(fields string) string {
	return `message_type { name: "R" ` + isRecord + identifier + fields + ` }`
}

func registerWith(fields string) string {
	return recordWith(`field { name: "v" number: 2 type: TYPE_MESSAGE type_name: ".planted.V" label: LABEL_OPTIONAL }`) +
		`message_type { name: "V" ` + fields + ` }`
}

func callWith(method, request, options string) string {
	return `message_type { name: "Q" ` + request + ` } message_type { name: "A" }
		service { name: "S" method { name: "` + method + `" input_type: ".planted.Q" output_type: ".planted.A" options { ` + options + ` } } }`
}

func optionalField(name, rest string) string {
	return `field { name: "` + name + `" number: 2 label: LABEL_OPTIONAL proto3_optional: true oneof_index: 0 ` + rest +
		` } oneof_decl { name: "_` + name + `" }`
}

func rows() []planted {
	const action = `[needlebook.options.v1.action]: ACTION_RECKON`
	const requestID = `field { name: "request_id" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL ` + isUUID + ` }`
	nest := func(name, inner string) string {
		return `message_type { name: "` + name + `" ` + isElem + identifier + inner + ` }`
	}
	holds := func(element string) string {
		return `field { name: "e" number: 2 type: TYPE_MESSAGE type_name: ".planted.` + element + `" label: LABEL_REPEATED ` + listed + ` }`
	}
	return []planted{
		{"sound", recordWith(optionalField("s", `type: TYPE_STRING `+bounded)), ""},
		{"no id", `message_type { name: "R" ` + isRecord + ` }`, "field 1 is not `string id`"},
		{"id unbound", `message_type { name: "R" ` + isRecord + ` field { name: "id" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL } }`,
			"not bound to be a UUID"},
		{"record and element",
			`message_type { name: "R" options { [needlebook.options.v1.record]: RECORD_KIND_PATIENT [needlebook.options.v1.element]: true } ` +
				identifier + ` }`, "is a record and an element"},
		{"no presence", recordWith(`field { name: "s" number: 2 type: TYPE_STRING label: LABEL_OPTIONAL ` + bounded + ` }`), "has no presence"},
		{"string unbounded", recordWith(optionalField("s", `type: TYPE_STRING`)), "has no max_len"},
		{"bytes unbounded", recordWith(optionalField("s", `type: TYPE_BYTES`)), "has no max_len"},
		{"no upper bound", recordWith(optionalField("n", `type: TYPE_INT32 options { [buf.validate.field] { int32 { gte: 0 } } }`)),
			"has no upper bound"},
		{"no lower bound", recordWith(optionalField("n", `type: TYPE_INT64 options { [buf.validate.field] { int64 { lte: 9 } } }`)),
			"has no lower bound"},
		{"unsigned unbounded", recordWith(optionalField("n", `type: TYPE_UINT32`)), "has no upper bound"},
		{"other integer", recordWith(optionalField("n", `type: TYPE_FIXED32`)), "has no kind that the schema uses"},
		{"enum open", recordWith(optionalField("k", `type: TYPE_ENUM type_name: ".needlebook.options.v1.Action"`)), "has no defined_only"},
		{"float", recordWith(optionalField("f", `type: TYPE_FLOAT`)), "floating-point"},
		{"list unbounded", recordWith(`field { name: "l" number: 2 type: TYPE_BOOL label: LABEL_REPEATED }`), "without max_items"},
		{"items unbounded", recordWith(`field { name: "l" number: 2 type: TYPE_STRING label: LABEL_REPEATED ` + listed + ` }`), "has no max_len"},
		{"list of no element", recordWith(holds("E")) + `message_type { name: "E" }`, "which is no element"},
		{"element alone", recordWith(`field { name: "e" number: 2 type: TYPE_MESSAGE type_name: ".planted.E" label: LABEL_OPTIONAL }`) + nest("E", ""),
			"outside a collection"},
		{"too deep", recordWith(holds("A")) + nest("A", holds("B")) + nest("B", holds("C")) + nest("C", holds("D")) + nest("D", ""), "more than 3"},
		{"required register",
			recordWith(optionalField("s", `type: TYPE_STRING options { [buf.validate.field] { required: true string { max_len: 5 } } }`)),
			"is required"},
		{"oneof", recordWith(`field { name: "b" number: 2 type: TYPE_BOOL label: LABEL_OPTIONAL oneof_index: 0 } oneof_decl { name: "o" }`),
			"is a oneof"},
		{"map",
			recordWith(`field { name: "m" number: 2 type: TYPE_MESSAGE type_name: ".planted.R.MEntry" label: LABEL_REPEATED } nested_type { name: "MEntry"
			options { map_entry: true } field { name: "key" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL }
			field { name: "value" number: 2 type: TYPE_STRING label: LABEL_OPTIONAL } }`), "is a map"},
		{"rule the core lacks",
			recordWith(optionalField("s", `type: TYPE_STRING options { [buf.validate.field] { string { max_len: 5 prefix: "x" } } }`)),
			"rule string.prefix is not one"},
		{"cel", recordWith(optionalField("b", `type: TYPE_BOOL options { [buf.validate.field] { cel { id: "x" expression: "true" } } }`)),
			"rule cel is not one"},
		{"rule the core lacks, in items",
			recordWith(`field { name: "l" number: 2 type: TYPE_STRING label: LABEL_REPEATED options { [buf.validate.field] {
			repeated { max_items: 5 items { string { max_len: 5 email: true } } } } } }`), "rule string.email is not one"},
		{"register unbounded", registerWith(`field { name: "s" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL }`), "V.s: has no max_len"},
		{"register may not be zero", registerWith(`field { name: "s" number: 1 type: TYPE_STRING label: LABEL_OPTIONAL options {
			[buf.validate.field] { string { min_len: 1 max_len: 5 } } } }`), "neither required nor optional"},
		{"register may not be empty", registerWith(`field { name: "l" number: 1 type: TYPE_BOOL label: LABEL_REPEATED options { [buf.validate.field] {
			repeated { min_items: 1 max_items: 5 } } } }`), "may not be empty"},
		{"server only inside a register", registerWith(`field { name: "b" number: 1 type: TYPE_BOOL label: LABEL_OPTIONAL options {
			[needlebook.options.v1.server_only]: true } }`), "server_only inside a register"},
		{"element inside a register", registerWith(`field { name: "e" number: 1 type: TYPE_MESSAGE type_name: ".planted.E" label: LABEL_REPEATED `+
			listed+` }`) + nest("E", ""), "stands inside a register"},
		{"register holds itself", registerWith(`field { name: "v" number: 1 type: TYPE_MESSAGE type_name: ".planted.V" label: LABEL_OPTIONAL }`),
			"holds itself"},
		{"rules on a register", registerWith(`options { [buf.validate.message] { cel { id: "x" expression: "true" } } }`), "rules on the message"},
		{"sound call", callWith("Get", "", action), ""},
		{"no action", callWith("Get", "", ""), "names no action"},
		{"into a URL", callWith("Get", "", action+` idempotency_level: NO_SIDE_EFFECTS`), "NO_SIDE_EFFECTS"},
		{"no request id", callWith("Change", "", action), "no request_id"},
		{"sound change", callWith("Change", requestID, action), ""},
		{"no pages", callWith("ListThings", "", action), "without pages"},
		{"request unbounded", callWith("Get", `field { name: "s" number: 2 type: TYPE_STRING label: LABEL_OPTIONAL }`, action), "has no max_len"},
	}
}

func TestInspect_FindsEachPlantedFault(t *testing.T) {
	for _, row := range rows() {
		t.Run(row.name, func(t *testing.T) {
			faults := inspect([]protoreflect.FileDescriptor{mustParse(t, row.schema)}, nil).faults
			found := slices.ContainsFunc(faults, func(f string) bool { return strings.Contains(f, row.want) })
			if row.want == "" && len(faults) > 0 || row.want != "" && !found {
				t.Errorf("got %q, want %q", faults, row.want)
			}
		})
	}
}

func mustParse(t testing.TB, text string) protoreflect.FileDescriptor {
	t.Helper()
	file := &descriptorpb.FileDescriptorProto{}
	head := `name: "planted.proto" package: "planted" syntax: "proto3" dependency: "buf/validate/validate.proto"
		dependency: "needlebook/options/v1/options.proto" `
	if err := prototext.Unmarshal([]byte(head+text), file); err != nil {
		t.Fatal(err)
	}
	fd, err := protodesc.NewFile(file, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	return fd
}
