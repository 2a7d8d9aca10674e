package schema_test

import (
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	_ "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	_ "needlebook/gen/needlebook/sync/v1"
	_ "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// exempt are the fields whose bound is not an annotation, with what bounds them instead.
func exempt() map[protoreflect.FullName]string {
	const (
		index   = "an index into a table of the page; whoever decodes the page checks it"
		counter = "any counter is one; it is compared and never summed"
	)
	return map[protoreflect.FullName]string{
		"needlebook.sync.v1.Edit.kind":                    "a kind that this version does not know is held, not refused",
		"needlebook.sync.v1.Edit.context":                 index,
		"needlebook.sync.v1.Edit.author":                  index,
		"needlebook.sync.v1.Edit.authored_at_unix_ms":     "the device's claim, which orders nothing",
		"needlebook.sync.v1.Page.first_counter":           counter,
		"needlebook.sync.v1.ChainPoint.counter":           counter,
		"needlebook.sync.v1.ExchangeRequest.head_counter": counter,
		"needlebook.sync.v1.PutPhotoChunkRequest.offset":  "held to the size, which has a bound",
		"needlebook.sync.v1.GetPhotoChunkRequest.offset":  "past the end reads nothing",
	}
}

// ours is every schema file of the product that is linked in.
func ours() []protoreflect.FileDescriptor {
	var files []protoreflect.FileDescriptor
	protoregistry.GlobalFiles.RangeFiles(func(fd protoreflect.FileDescriptor) bool {
		if strings.HasPrefix(string(fd.Package()), "needlebook.") {
			files = append(files, fd)
		}
		return true
	})
	return files
}

func TestSchema_KeepsTheRules(t *testing.T) {
	in := inspect(ours(), exempt())
	for _, fault := range in.faults {
		t.Error(fault)
	}
	for name := range exempt() {
		if !in.used[name] {
			t.Errorf("%s: exempt, but nothing asked", name)
		}
	}
}

func TestRecords_HasEachKindOnce(t *testing.T) {
	found := map[optionsv1.RecordKind]protoreflect.FullName{}
	for _, md := range schema.Records() {
		kind := recordKind(md)
		if other, ok := found[kind]; ok {
			t.Errorf("%s and %s are both %s", md.FullName(), other, kind)
		}
		found[kind] = md.FullName()
	}
	kinds := optionsv1.RecordKind(0).Descriptor().Values()
	for i := range kinds.Len() {
		kind := optionsv1.RecordKind(kinds.Get(i).Number())
		if _, ok := found[kind]; !ok && kind != optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED {
			t.Errorf("no record for %s", kind)
		}
	}
	if found[optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED] != "" {
		t.Errorf("%s is in the list without being a record", found[optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED])
	}
}

// A rule that does not compile would be found by the first user of the call that needs it.
func TestSchema_EveryRuleCompiles(t *testing.T) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	var walk func(protoreflect.MessageDescriptors)
	walk = func(list protoreflect.MessageDescriptors) {
		for i := range list.Len() {
			walk(list.Get(i).Messages())
			message := dynamicpb.NewMessage(list.Get(i))
			if err := validator.Validate(message); err != nil {
				if _, ok := err.(*protovalidate.ValidationError); !ok {
					t.Errorf("%s: %v", list.Get(i).FullName(), err)
				}
			}
		}
	}
	for _, file := range ours() {
		walk(file.Messages())
	}
}

// An edit that names a register and leaves it empty clears it, so a record of which nothing is written must pass the annotations.
func TestRecords_MayBeEmpty(t *testing.T) {
	for _, md := range schema.Records() {
		message := dynamicpb.NewMessage(md)
		message.Set(md.Fields().ByName("id"), protoreflect.ValueOfString("0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001"))
		if err := protovalidate.Validate(proto.Message(message)); err != nil {
			t.Errorf("%s: %v", md.FullName(), err)
		}
	}
}

// The core compiles every kind; what it would not check it refuses here, not on a tablet.
func TestRecords_AreTheCoresModel(t *testing.T) {
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	if got := len(s.Kinds()); got != len(schema.Records()) {
		t.Errorf("%d kinds, want %d", got, len(schema.Records()))
	}
}
