package chart_test

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// TestRecord_HoldsEveryKindUnderItsNumber is what views rest on when they look for a kind's field.
func TestRecord_HoldsEveryKindUnderItsNumber(t *testing.T) {
	fields := (*chartv1.Record)(nil).ProtoReflect().Descriptor().Fields()
	if fields.Len() != len(schema.Records()) {
		t.Errorf("Record holds %d kinds, the schema has %d", fields.Len(), len(schema.Records()))
	}
	for _, md := range schema.Records() {
		kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(record.Kind)
		if fd := fields.ByNumber(protoreflect.FieldNumber(kind)); fd == nil || fd.Message() != md {
			t.Errorf("field %d of Record is %v, want %s", kind, fd, md.FullName())
		}
	}
}

// FuzzValueJSON settles a conflict with whatever text, and wants the value that was taken to be shown and read again as the same bytes.
func FuzzValueJSON(f *testing.F) {
	for _, text := range []string{
		`{"product":"onabotulinumtoxinA","dose_milliunits":2500}`, `{"doseMilliunits": 1e3, "product":"é"}`, `{}`, `null`, `"x"`, `{"product":"\u0000"}`, `[1`,
	} {
		f.Add(text)
	}
	d := newDesk(f)
	st := d.disputed()
	r, err := d.schema.ParseRegister(st.Key.Kind, dosePath)
	if err != nil {
		f.Fatal(err)
	}
	settle := func(text string) ([]byte, error) {
		req := settling(st)
		req.Choice = &chartv1.SettleConflictRequest_ValueJson{ValueJson: text}
		c, err := d.chart.Settle(st, req, d.act())
		for _, w := range c.Writes {
			if w.Path == r.Path {
				return w.Set, err
			}
		}
		return nil, err
	}
	f.Fuzz(func(t *testing.T, text string) {
		set, err := settle(text)
		if err != nil {
			if fault.Of(err) == nil {
				t.Fatalf("%q: an error without a reason: %v", text, err)
			}
			return
		}
		again, err := settle(chart.ValueJSON(st.Key.Kind, r, set))
		if err != nil || !bytes.Equal(again, set) {
			t.Fatalf("%q gives %x, which is shown as %s and gives %x (%v)", text, set, chart.ValueJSON(st.Key.Kind, r, set), again, err)
		}
	})
}

func FuzzReadContext(f *testing.F) {
	f.Add(chart.WriteContext(causal.Vector{{Replica: causal.ReplicaID{1}, Counter: 300}}))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		v, err := chart.ReadContext(b)
		if err == nil && len(b) > 0 && !bytes.Equal(chart.WriteContext(v), b) {
			t.Fatalf("accepted %x, writes %x", b, chart.WriteContext(v))
		}
		if err == nil && v == nil {
			t.Fatal("a context that is nil")
		}
	})
}

// TestValueJSON_OfWhatIsNoValue shows what an edit was held for, whatever it is.
func TestValueJSON_OfWhatIsNoValue(t *testing.T) {
	kind := optionsv1.RecordKind_RECORD_KIND_SESSION
	for name, c := range map[string]struct {
		field uint32
		value []byte
		want  string
	}{
		"a field of a later version": {900, []byte{0xa2, 0x38, 1, 'x'}, `"ojgBeA=="`},
		"text that is not UTF-8":     {2, []byte{2<<3 | 2, 1, 0xff}, `"EgH/"`},
		"a number for a text":        {2, []byte{2 << 3, 1}, `"EAE="`},
		"a later value of an enum":   {4, []byte{4 << 3, 99}, `99`},
	} {
		if got := chart.ValueJSON(kind, record.Register{Field: c.field}, c.value); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// TestRow18_AVersionThatLacksAField edits from the view of a version whose sessions have no order_id, and wants the order to be as it was, and shown
// to those who know it.
func TestRow18_AVersionThatLacksAField(t *testing.T) {
	d := newDesk(t)
	st := d.put(record.NewState(sessionKey()), 'a', sessionRecord(&chartv1.Session{OrderId: proto.String(patientID), PatientId: proto.String(patientID)}))
	old := chart.New(without(t, "order_id"), nil)
	v, err := old.View(chart.Source{State: st})
	if err != nil {
		t.Fatal(err)
	}
	sent := v.GetRecord().GetSession()
	sent.PatientId = proto.String(otherID)
	c, err := old.Edit(&chartv1.EditRecordRequest{Record: v.GetRecord(), UpdateMask: []string{"patient_id"}, Context: v.GetContext()})
	if err != nil {
		t.Fatal(err)
	}
	after := d.edit(st, 'b', c)
	typed, err := chart.Typed(after)
	if err != nil {
		t.Fatal(err)
	}
	if got := typed.GetSession(); got.GetOrderId() != patientID || got.GetPatientId() != otherID {
		t.Errorf("session after an older version's edit: %v", got)
	}
	if _, err := old.Edit(&chartv1.EditRecordRequest{Record: v.GetRecord(), UpdateMask: []string{"order_id"}}); !fault.Has(err, faultv1.Reason_REASON_INVALID_FIELD) {
		t.Errorf("an older version takes a mask of what it does not know: %v", err)
	}

	// What nobody's messages know comes back to whoever reads, in the unknown fields of the message and in conflicts by its number.
	later := protowire.AppendString(protowire.AppendTag(nil, 900, protowire.BytesType), "from a later version")
	one := d.unknown(after, 'c', later)
	two := d.unknown(after, 'e', protowire.AppendString(protowire.AppendTag(nil, 900, protowire.BytesType), "another"))
	if typed, err = chart.Typed(one); err != nil || !bytes.Equal(typed.GetSession().ProtoReflect().GetUnknown(), later) {
		t.Errorf("unknown fields: %x, %v", typed.GetSession().ProtoReflect().GetUnknown(), err)
	}
	conflicts := d.chart.Conflicts(record.Join(one, two))
	if len(conflicts) != 1 || conflicts[0].GetPath() != "900" || len(conflicts[0].GetSiblings()) != 2 {
		t.Errorf("conflicts: %v", conflicts)
	}
}

// unknown is the state after an edit of a later version.
func (d *desk) unknown(st *record.State, replica byte, set []byte) *record.State {
	d.counters[replica]++
	out := st.Clone()
	out.Apply(&record.Edit{ID: d.id(), Dot: causal.Dot{Replica: causal.ReplicaID{0: replica}, Counter: d.counters[replica]}, Key: st.Key, Context: st.Seen,
		Author: record.ID{1}, Writes: []record.Write{{Set: set}}})
	return out
}

// without is the schema of a version whose sessions lack a field.
func without(t *testing.T, field protoreflect.Name) *record.Schema {
	t.Helper()
	session := (*chartv1.Session)(nil).ProtoReflect().Descriptor()
	file := protodesc.ToFileDescriptorProto(session.ParentFile())
	for _, m := range file.GetMessageType() {
		var kept []*descriptorpb.FieldDescriptorProto
		for _, f := range m.GetField() {
			if m.GetName() != "Session" || f.GetName() != string(field) {
				kept = append(kept, f)
			}
		}
		m.Field = kept
		fixOneofs(m)
	}
	built, err := protodesc.NewFile(file, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	var records []protoreflect.MessageDescriptor
	for _, md := range schema.Records() {
		if md.FullName() == session.FullName() {
			md = built.Messages().ByName("Session")
		}
		records = append(records, md)
	}
	s, err := record.NewSchema(records...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fixOneofs drops the oneofs that lost their fields; an optional field has one of its own.
func fixOneofs(m *descriptorpb.DescriptorProto) {
	place := map[int32]int32{}
	var kept []*descriptorpb.OneofDescriptorProto
	for _, f := range m.GetField() {
		if f.OneofIndex == nil {
			continue
		}
		if _, ok := place[f.GetOneofIndex()]; !ok {
			place[f.GetOneofIndex()] = int32(len(kept))
			kept = append(kept, m.GetOneofDecl()[f.GetOneofIndex()])
		}
		f.OneofIndex = proto.Int32(place[f.GetOneofIndex()])
	}
	m.OneofDecl = kept
}
