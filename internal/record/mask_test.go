package record_test

import (
	"bytes"
	"encoding/binary"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

func realSchema(t interface{ Fatal(...any) }) *record.Schema {
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// filler draws messages of any type: every field is there or not, elements have ids of their own.
type filler struct {
	*rapid.T
	ids uint64
}

func (f *filler) id() string {
	f.ids++
	return record.ID(binary.BigEndian.AppendUint64([]byte{0xee, 0, 0, 0, 0, 0, 0, 0}, f.ids)).String()
}

func (f *filler) message(md protoreflect.MessageDescriptor, depth int) protoreflect.Message {
	m := dynamicpb.NewMessage(md)
	element, _ := proto.GetExtension(md.Options(), optionsv1.E_Element).(bool)
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		switch {
		case fd.Number() == 1 && fd.Name() == "id":
			m.Set(fd, protoreflect.ValueOfString(f.id()))
		case element && i == 1, rapid.IntRange(0, 3+depth).Draw(f.T, "there") == 0:
			f.field(m, fd, depth)
		}
	}
	return m
}

func (f *filler) field(m protoreflect.Message, fd protoreflect.FieldDescriptor, depth int) {
	if !fd.IsList() {
		m.Set(fd, f.value(fd, depth))
		return
	}
	list := m.NewField(fd).List()
	for range rapid.IntRange(1, 3).Draw(f.T, "items") {
		list.Append(f.value(fd, depth))
	}
	m.Set(fd, protoreflect.ValueOfList(list))
}

func (f *filler) value(fd protoreflect.FieldDescriptor, depth int) protoreflect.Value {
	n := rapid.IntRange(1, 5).Draw(f.T, "value")
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return protoreflect.ValueOfMessage(f.message(fd.Message(), depth+1))
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(string(rune('a' + n)))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte{byte(n)})
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(n))
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(int64(n))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(n))
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(uint64(n))
	}
	return protoreflect.ValueOfInt32(int32(n))
}

// drawMessage draws a message of any kind of record.
func drawMessage(t *rapid.T) (record.Kind, []byte) {
	md := rapid.SampledFrom(schema.Records()).Draw(t, "kind")
	kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(record.Kind)
	f := filler{T: t}
	b, err := proto.Marshal(f.message(md, 0).Interface())
	if err != nil {
		t.Fatal(err)
	}
	return kind, b
}

// registersIn is every register that the writes set or clear.
func registersIn(writes []record.Write) []record.Register {
	var out []record.Register
	for i := range writes {
		for r := range registersOf(record.Edit{Writes: writes[i : i+1]}) {
			out = append(out, r)
		}
	}
	return out
}

func TestLaw_AMaskOfEverythingIsSplit(t *testing.T) {
	sch := realSchema(t)
	rapid.Check(t, func(t *rapid.T) {
		kind, message := drawMessage(t)
		want, err := sch.Split(kind, message)
		if err != nil {
			t.Fatal(err)
		}
		var registers, tops []string
		for _, r := range registersIn(want) {
			registers = append(registers, sch.Text(kind, r))
			top := sch.Text(kind, r)
			if r.Path != "" {
				step, _ := r.Path.Cut()
				top = sch.PathText(kind, record.Path("").Child(step.Field, step.Element))
			}
			if !slices.Contains(tops, top) {
				tops = append(tops, top)
			}
		}
		for name, mask := range map[string][]string{"nothing": nil, "registers": registers, "fields and whole elements": tops} {
			got, err := sch.WritesFor(kind, message, mask)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if !equalWrites(got, want) {
				t.Fatalf("a mask of %s gives\n%v\nwant\n%v", name, got, want)
			}
		}
	})
}

func equalWrites(a, b []record.Write) bool {
	return slices.EqualFunc(a, b, func(a, b record.Write) bool {
		return a.Path == b.Path && bytes.Equal(a.Set, b.Set) && slices.Equal(a.Clear, b.Clear)
	})
}

func TestLaw_PathsRoundTrip(t *testing.T) {
	sch := realSchema(t)
	rapid.Check(t, func(t *rapid.T) {
		kind, message := drawMessage(t)
		writes, err := sch.Split(kind, message)
		if err != nil {
			t.Fatal(err)
		}
		unknown := uint32(rapid.IntRange(1000, 1<<29-1).Draw(t, "a number that no field has"))
		for _, r := range registersIn(writes) {
			all := []record.Register{r, {Path: r.Path, Field: unknown}, {Path: r.Path.Child(unknown, record.ID{1}), Field: 7}}
			if r.Path != "" {
				all = append(all, record.Register{Path: r.Path})
			}
			for _, want := range all {
				text := sch.Text(kind, want)
				got, err := sch.ParseRegister(kind, text)
				if err != nil && len(text) < 200 {
					t.Fatalf("%s: %v", text, err)
				}
				if err == nil && got != want {
					t.Fatalf("%s reads as %v, want %v", text, got, want)
				}
			}
		}
	})
}

func FuzzParseRegister(f *testing.F) {
	sch := realSchema(f)
	for _, text := range []string{
		"order_id", "injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001].planned", "injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001]",
		"injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001].givings[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001].void", "200[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001].2",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := sch.ParseRegister(optionsv1.RecordKind_RECORD_KIND_SESSION, text)
		if err == nil && sch.Text(optionsv1.RecordKind_RECORD_KIND_SESSION, r) != text {
			t.Fatalf("accepted %q, prints %q", text, sch.Text(optionsv1.RecordKind_RECORD_KIND_SESSION, r))
		}
		if _, pathErr := record.ParsePath([]byte(r.Path)); pathErr != nil {
			t.Fatalf("%q gives a path that is not one: %v", text, pathErr)
		}
	})
}

const (
	one = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001"
	two = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a002"
)

func TestParseRegister_Refuses(t *testing.T) {
	sch := realSchema(t)
	for name, text := range map[string]string{
		"nothing":                 "",
		"the id":                  "id",
		"the id of an element":    "injections[" + one + "].id",
		"the id by its number":    "1",
		"a typo":                  "order_idd",
		"a known field by number": "8",
		"a whole collection":      "injections",
		"an id in capitals":       "injections[0B9D6F5E-4C1A-4F0E-9A55-0C7BE4D1A001]",
		"the zero id":             "injections[00000000-0000-0000-0000-000000000000]",
		"an index":                "injections[0].planned",
		"an open bracket":         "injections[" + one,
		"a dot at the end":        "injections[" + one + "].",
		"no dot":                  "injections[" + one + "]planned",
		"into a register":         "on.year",
		"into a register by id":   "on[" + one + "].year",
		"into an element's":       "injections[" + one + "].planned.dose_milliunits",
		"five deep":               "200[" + one + "].2[" + one + "].2[" + one + "].2[" + one + "].2[" + one + "]",
		"a number with a zero":    "0200",
		"a number too high":       "536870912",
	} {
		if r, err := sch.ParseRegister(optionsv1.RecordKind_RECORD_KIND_SESSION, text); !fault.Has(err, faultv1.Reason_REASON_INVALID_FIELD) {
			t.Errorf("%s: %q gives %v, %v", name, text, r, err)
		}
	}
}

func session(t *testing.T) []byte {
	t.Helper()
	b, err := proto.Marshal(&chartv1.Session{
		Id: two, PatientId: proto.String(one),
		Injections: []*chartv1.Injection{
			{Id: one, Muscle: proto.String("mentalis"), Givings: []*chartv1.Giving{{Id: two, RecordedBy: proto.String(one)}}},
			{Id: two},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestWritesFor_TakesWhatTheMaskNames(t *testing.T) {
	sch := realSchema(t)
	in := record.Path("").Child(40, mustID(t, one))
	giving := in.Child(20, mustID(t, two))
	for name, c := range map[string]struct {
		mask []string
		want map[record.Register]bool // true: cleared
	}{
		"one field":              {[]string{"patient_id"}, map[record.Register]bool{{Field: 2}: false}},
		"an absent field clears": {[]string{"order_id"}, map[record.Register]bool{{Field: 8}: true}},
		"an element clears nothing": {[]string{"injections[" + one + "]"}, map[record.Register]bool{
			{Path: in, Field: 2}: false, {Path: giving, Field: 8}: false}},
		"an element within it": {[]string{"injections[" + one + "].givings[" + two + "]"}, map[record.Register]bool{{Path: giving, Field: 8}: false}},
		"an element and a field of it": {[]string{"injections[" + one + "].planned", "injections[" + one + "]"}, map[record.Register]bool{
			{Path: in, Field: 2}: false, {Path: in, Field: 6}: true, {Path: giving, Field: 8}: false}},
		"a field of an element that the message lacks": {[]string{"ratings[" + one + "].void"}, map[record.Register]bool{
			{Path: record.Path("").Child(27, mustID(t, one)), Field: fieldOf(t, "ratings", "void")}: true}},
	} {
		writes, err := sch.WritesFor(optionsv1.RecordKind_RECORD_KIND_SESSION, session(t), c.mask)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got := map[record.Register]bool{}
		for r, v := range registersOf(record.Edit{Writes: writes}) {
			got[r] = v == "cleared"
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: got %v, want %v", name, got, c.want)
		}
		for r, cleared := range c.want {
			if is, ok := got[r]; !ok || is != cleared {
				t.Errorf("%s: %s is %v, %v, want cleared=%v", name, sch.Text(optionsv1.RecordKind_RECORD_KIND_SESSION, r), is, ok, cleared)
			}
		}
	}
}

func TestWritesFor_Refuses(t *testing.T) {
	sch := realSchema(t)
	twice := append(session(t), session(t)...)
	for name, c := range map[string]struct {
		message []byte
		mask    []string
		field   string
	}{
		"a path twice":            {session(t), []string{"order_id", "order_id"}, "update_mask"},
		"an element not there":    {session(t), []string{"ratings[" + one + "]"}, "update_mask"},
		"an element without more": {session(t), []string{"injections[" + two + "]"}, "update_mask"},
		"an element there twice":  {twice, []string{"injections[" + one + "]"}, "update_mask"},
		"a field of one twice":    {twice, []string{"injections[" + one + "].muscle"}, "update_mask"},
		"no such field":           {session(t), []string{"colour"}, "update_mask"},
		"no message":              {[]byte{0xff}, []string{"order_id"}, "needlebook.chart.v1.Session"},
	} {
		writes, err := sch.WritesFor(optionsv1.RecordKind_RECORD_KIND_SESSION, c.message, c.mask)
		if f := fault.Of(err); f == nil || f.Reason != faultv1.Reason_REASON_INVALID_FIELD || f.Field != c.field {
			t.Errorf("%s: %v, %v", name, writes, err)
		}
	}
}

func mustID(t *testing.T, s string) record.ID {
	t.Helper()
	id, err := record.ParseID(s)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func fieldOf(t *testing.T, collection, name string) uint32 {
	t.Helper()
	fields := (*chartv1.Session)(nil).ProtoReflect().Descriptor().Fields()
	fd := fields.ByName(protoreflect.Name(collection)).Message().Fields().ByName(protoreflect.Name(name))
	if fd == nil {
		t.Fatalf("%s has no %s", collection, name)
	}
	return uint32(fd.Number())
}
