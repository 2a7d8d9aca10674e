package record_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"pgregory.net/rapid"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

func recordsSchema(t interface{ Fatal(...any) }) *record.Schema {
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func kindOf(md protoreflect.MessageDescriptor) record.Kind {
	kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(optionsv1.RecordKind)
	return kind
}

// asEdit is the first edit of a record that writes m, which has an id. ok is false when m has nothing but its id.
func asEdit(t *rapid.T, s *record.Schema, m *dynamicpb.Message) (e record.Edit, ok bool) {
	b, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	md := m.Descriptor()
	id, err := record.ParseID(m.Get(md.Fields().ByNumber(1)).String())
	if err != nil {
		t.Fatal(err)
	}
	e = record.Edit{ID: record.ID{1}, Dot: causal.Dot{Replica: replicaID(0), Counter: 1}, Key: record.Key{Kind: kindOf(md), ID: id}, Author: record.ID{2}}
	if e.Writes, err = s.Split(e.Key.Kind, b); err != nil {
		t.Fatalf("split of %v: %v", m, err)
	}
	return e, len(e.Writes) > 0
}

// TestLaw_AMessageSplitAndFoldedIsTheMessage: over every kind of record, what a client fills in is what is read back, elements in the order of their ids.
func TestLaw_AMessageSplitAndFoldedIsTheMessage(t *testing.T) {
	s := recordsSchema(t)
	for _, md := range schema.Records() {
		t.Run(string(md.Name()), rapid.MakeCheck(func(t *rapid.T) {
			d := drawer{t: t}
			m := d.message(md, 0) // ids ascend as they are drawn, so elements are in order
			e, ok := asEdit(t, s, m)
			if !ok {
				return
			}
			if err := e.Valid(); err != nil {
				t.Fatalf("%v is no edit: %v", m, err)
			}
			if refusal := s.Check(&e, record.FromServer); refusal != nil {
				t.Fatalf("%v: %v", m, refusal)
			}
			got := dynamicpb.NewMessage(md)
			if err := proto.Unmarshal(record.Fold(e.Key, []record.Edit{e}).Message(), got); err != nil {
				t.Fatal(err)
			}
			if !proto.Equal(got, m) {
				t.Fatalf("split and folded:\n got %v\nwant %v", got, m)
			}
		}))
	}
}
