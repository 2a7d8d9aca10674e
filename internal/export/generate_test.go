package export_test

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// drawer draws records of every kind that is exported, with any part of each missing, ids that mostly name each other, and text that is hard on
// whoever writes it.
type drawer struct {
	*rand.Rand
	pool  map[string][]string // ids by kind
	made  int
	whole bool // most parts are there
}

func newDrawer(seed uint64) *drawer {
	d := &drawer{Rand: rand.New(rand.NewPCG(seed, 1)), pool: map[string][]string{}}
	d.whole = seed%2 == 0
	return d
}

func (d *drawer) id() string {
	d.made++
	return fmt.Sprintf("%08x-%04x-4%03x-8%03x-%012x", d.Uint32(), d.IntN(1<<16), d.IntN(1<<12), d.IntN(1<<12), d.made)
}

// records draws some records of each kind that is exported, as views.
func (d *drawer) records(each int) []*chartv1.RecordView {
	kinds := []string{"patient", "order", "session", "vial", "photo", "clinic", "staff", "adverse_event", "lot"}
	for _, kind := range kinds {
		for range each {
			d.pool[kind] = append(d.pool[kind], d.id())
		}
	}
	fields := (*chartv1.Record)(nil).ProtoReflect().Descriptor().Fields()
	var out []*chartv1.RecordView
	for _, kind := range kinds {
		for _, id := range d.pool[kind] {
			fd := fields.ByName(protoreflect.Name(kind))
			r := (&chartv1.Record{}).ProtoReflect()
			m := r.Mutable(fd).Message()
			d.fill(m, 0)
			m.Set(fd.Message().Fields().ByNumber(1), protoreflect.ValueOfString(id))
			out = append(out, &chartv1.RecordView{Record: r.Interface().(*chartv1.Record)})
		}
	}
	return out
}

func (d *drawer) fill(m protoreflect.Message, depth int) {
	if t, ok := m.Interface().(*timestamppb.Timestamp); ok {
		t.Seconds, t.Nanos = 1_500_000_000+d.Int64N(400_000_000), int32(d.IntN(3)*500_000_000/2)
		return
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
		switch {
		case isID(fd):
			m.Set(fd, protoreflect.ValueOfString(d.id()))
		case fd.Name() == "practice" && d.IntN(20) > 0, fd.Name() == "void" && d.IntN(3) > 0:
		case !rules.GetRequired() && d.IntN(4) == 0 && !d.whole, d.IntN(25) == 0:
		case fd.IsList():
			list := m.Mutable(fd).List()
			for range 1 + d.IntN(2) {
				list.Append(d.value(m, fd, rules.GetRepeated().GetItems(), depth))
			}
		default:
			m.Set(fd, d.value(m, fd, rules, depth))
		}
	}
}

// isID reports the id of a record or an element.
func isID(fd protoreflect.FieldDescriptor) bool {
	options := fd.ContainingMessage().Options()
	element, _ := proto.GetExtension(options, optionsv1.E_Element).(bool)
	kind, _ := proto.GetExtension(options, optionsv1.E_Record).(optionsv1.RecordKind)
	return fd.Number() == 1 && (element || kind != 0)
}

func (d *drawer) value(m protoreflect.Message, fd protoreflect.FieldDescriptor, rules *validate.FieldRules, depth int) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		v := m.NewField(fd)
		if fd.IsList() {
			v = v.List().NewElement()
		}
		d.fill(v.Message(), depth+1)
		return v
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(d.text(string(fd.Name()), rules.GetString()))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte(strings.Repeat("\xfe", 32)))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(d.IntN(2) == 0)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(fd.Enum().Values().Get(d.IntN(fd.Enum().Values().Len())).Number())
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(d.number(int64(rules.GetInt32().GetGte()), int64(rules.GetInt32().GetLte()))))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(1 + d.IntN(9)))
	}
	return protoreflect.ValueOfInt64(d.number(rules.GetInt64().GetGte(), rules.GetInt64().GetLte()))
}

// number is within its bounds, often small.
func (d *drawer) number(low, high int64) int64 {
	if high <= low {
		return low
	}
	if d.IntN(2) == 0 {
		high = min(high, low+5000)
	}
	return low + d.Int64N(high-low+1)
}

func (d *drawer) text(name string, rules *validate.StringRules) string {
	if rules.GetUuid() {
		return d.someID(name)
	}
	switch rules.GetPattern() {
	case "":
		hard := []string{"=1+1", "+30 210 000", "-5", "@x", "a\nb\tc", "'", "Ωμέγα, \"q\"", " ", "x;=y", "<b>&</b>", "\u202e", "ok", "Señora O’Neil", "\u00a0"}
		s := []rune(hard[d.IntN(len(hard))] + hard[d.IntN(len(hard))])
		return string(s[:min(len(s), int(max(rules.GetMaxLen(), 1)))])
	case "^[a-z][a-z0-9_]*$":
		return []string{"depressor_anguli_oris", "mentalis", "record", "male", "a1"}[d.IntN(5)]
	case "^[a-z]+[A-G]?$":
		return []string{"onabotulinumtoxinA", "abobotulinumtoxinA"}[d.IntN(2)]
	case "^([0-9]{14})?$", "^[0-9]{14}$":
		return "09501101530003"
	case "^[A-Z0-9-]{1,12}$":
		return "A-7"
	case "^([A-Z]{2})?$", "^[A-Z]{2}(-[A-Z0-9]{1,3})?$":
		return "GR"
	case "^[0-9a-f]{64}$":
		return strings.Repeat("0a", 32)
	case "^[A-Z][A-Z0-9_]*$":
		return "A_1"
	case "^image/(jpeg|png|webp)$":
		return "image/png"
	case "^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$":
		return "el"
	}
	panic("no text for the pattern " + rules.GetPattern())
}

// someID is mostly the id of a record that there is, of the kind that the field's name says.
func (d *drawer) someID(name string) string {
	kind := "staff"
	for k := range strings.SplitSeq("patient order session vial photo clinic lot", " ") {
		if strings.HasSuffix(name, k+"_id") {
			kind = k
		}
	}
	if ids := d.pool[kind]; len(ids) > 0 && d.IntN(12) > 0 {
		return ids[d.IntN(len(ids))]
	}
	return d.id()
}

// shuffled is the views in another order.
func (d *drawer) shuffled(views []*chartv1.RecordView) []*chartv1.RecordView {
	out := make([]*chartv1.RecordView, len(views))
	for i, j := range d.Perm(len(views)) {
		out[i] = views[j]
	}
	return out
}
