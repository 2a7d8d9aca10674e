package record

import (
	"fmt"
	"slices"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// Schema is what a version of the program knows of records: which kinds there are, their registers and collections, and the bounds of each value. It is
// read once from the descriptors and their annotations, is immutable, and may be used concurrently.
type Schema struct {
	kinds map[Kind]*shape
}

// shape is one message: a record, an element, or a message inside a register.
type shape struct {
	name       protoreflect.FullName
	form       func(b []byte) (want string) // what b, within the bounds of its fields, must be besides; empty when it is. Nil for most messages
	fields     []field                      // ascending by number
	places     []uint16                     // by number: 1 + the place in fields, 0 for none; numbers are small
	signatures []uint32                     // the numbers of its collections of signatures
}

// field is one field of a shape.
type field struct {
	number     uint32
	name       string
	kind       protoreflect.Kind
	repeated   bool
	presence   bool // a value of zero may be written: presence is explicit
	serverOnly bool
	collection *shape // the element, when the field is a collection
	message    *shape // the message, when the field holds one as part of a register
	oneof      int    // 1 + index of the oneof, 0 for none
	enum       protoreflect.EnumDescriptor
	rules      rules
}

// NewSchema reads the kinds of record from messages that carry the option record. It fails on a message that is not modelled as records are: an element
// without an id, an option that the core does not check.
func NewSchema(records ...protoreflect.MessageDescriptor) (*Schema, error) {
	s := &Schema{kinds: map[Kind]*shape{}}
	b := schemaBuilder{shapes: map[protoreflect.FullName]*shape{}}
	for _, md := range records {
		kind, _ := proto.GetExtension(md.Options(), optionsv1.E_Record).(Kind)
		if kind == optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED {
			return nil, fmt.Errorf("schema: %s is no kind of record", md.FullName())
		}
		if s.kinds[kind] != nil {
			return nil, fmt.Errorf("schema: %s and %s are both %s", md.FullName(), s.kinds[kind].name, kind)
		}
		shape, err := b.record(md)
		if err != nil {
			return nil, fmt.Errorf("schema: %w", err)
		}
		s.kinds[kind] = shape
	}
	return s, nil
}

// Knows reports whether the schema has this kind of record.
func (s *Schema) Knows(k Kind) bool { return s.kinds[k] != nil }

// Kinds is the kinds that the schema has, ascending.
func (s *Schema) Kinds() []Kind {
	out := make([]Kind, 0, len(s.kinds))
	for k := range s.kinds {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// at is the shape of the element at p; nil when this version does not know it.
func (s *Schema) at(k Kind, p Path) *shape {
	sh := s.kinds[k]
	for p != "" && sh != nil {
		var step Step
		step, p = p.Cut()
		f := sh.field(step.Field)
		if f == nil {
			return nil
		}
		sh = f.collection
	}
	return sh
}

func (sh *shape) field(number uint32) *field {
	if number >= uint32(len(sh.places)) || sh.places[number] == 0 {
		return nil
	}
	return &sh.fields[sh.places[number]-1]
}

func (sh *shape) byName(name string) *field {
	i := slices.IndexFunc(sh.fields, func(f field) bool { return f.name == name })
	if i < 0 {
		return nil
	}
	return &sh.fields[i]
}

// schemaBuilder compiles descriptors; shapes holds what is already compiled, so that shared and recursive messages are compiled once.
type schemaBuilder struct {
	shapes map[protoreflect.FullName]*shape
}

// record compiles a record or an element.
func (b *schemaBuilder) record(md protoreflect.MessageDescriptor) (*shape, error) {
	id := md.Fields().ByNumber(idField)
	if id == nil || id.Name() != "id" || id.Kind() != protoreflect.StringKind || id.IsList() {
		return nil, fmt.Errorf("%s: field 1 must be `string id`", md.FullName())
	}
	return b.message(md)
}

func (b *schemaBuilder) message(md protoreflect.MessageDescriptor) (*shape, error) {
	if sh := b.shapes[md.FullName()]; sh != nil {
		return sh, nil
	}
	sh := &shape{name: md.FullName(), form: formOf(md.FullName())}
	b.shapes[md.FullName()] = sh
	for i := range md.Fields().Len() {
		f, err := b.field(md.Fields().Get(i))
		if err != nil {
			return nil, err
		}
		sh.fields = append(sh.fields, f)
		if signatures, _ := proto.GetExtension(md.Fields().Get(i).Options(), optionsv1.E_Signatures).(bool); signatures {
			sh.signatures = append(sh.signatures, f.number)
		}
	}
	slices.SortFunc(sh.fields, func(a, b field) int { return int(a.number) - int(b.number) })
	return sh, sh.number()
}

// maxSchemaField bounds the field numbers of records, so that fields are found by an array.
const maxSchemaField = 1000

func (sh *shape) number() error {
	for i := range sh.fields {
		n := sh.fields[i].number
		if n > maxSchemaField {
			return fmt.Errorf("%s: field number %d is above %d", sh.name, n, maxSchemaField)
		}
		if int(n) >= len(sh.places) {
			sh.places = append(sh.places, make([]uint16, int(n)+1-len(sh.places))...)
		}
		sh.places[n] = uint16(i) + 1
	}
	return nil
}

func (b *schemaBuilder) field(fd protoreflect.FieldDescriptor) (field, error) {
	f := field{number: uint32(fd.Number()), name: string(fd.Name()), kind: fd.Kind(), repeated: fd.IsList(), presence: fd.HasPresence()}
	f.serverOnly, _ = proto.GetExtension(fd.Options(), optionsv1.E_ServerOnly).(bool)
	if o := fd.ContainingOneof(); o != nil && !o.IsSynthetic() {
		f.oneof = 1 + o.Index()
	}
	if fd.IsMap() || fd.Kind() == protoreflect.GroupKind {
		return f, fmt.Errorf("%s: maps and groups are not used in records", fd.FullName())
	}
	if fd.Kind() == protoreflect.EnumKind {
		f.enum = fd.Enum()
	}
	var err error
	if fd.Kind() == protoreflect.MessageKind {
		element, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Element).(bool)
		switch {
		case element && fd.IsList():
			f.collection, err = b.record(fd.Message())
		case element:
			err = fmt.Errorf("%s: an element stands in a collection", fd.FullName())
		default:
			f.message, err = b.message(fd.Message())
		}
		if err != nil {
			return f, err
		}
	}
	annotated, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	if f.rules, err = compileRules(annotated); err != nil {
		return f, fmt.Errorf("%s: %w", fd.FullName(), err)
	}
	return f, nil
}

// index is the place of f, which is a field of sh.
func (sh *shape) index(f *field) int { return int(sh.places[f.number]) - 1 }

// PathText is a path for people to read: injections[0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a].givings[...]. A collection that this version does not know is
// shown by its number.
func (s *Schema) PathText(k Kind, p Path) string {
	var b []byte
	sh := s.kinds[k]
	for p != "" {
		var step Step
		step, p = p.Cut()
		name := fmt.Sprint(step.Field)
		var next *shape
		if sh != nil {
			if f := sh.field(step.Field); f != nil {
				name, next = f.name, f.collection
			}
		}
		if len(b) > 0 {
			b = append(b, '.')
		}
		b = append(append(b, name...), '[')
		b = append(step.Element.AppendText(b), ']')
		sh = next
	}
	return string(b)
}

// RegisterText is a register for people to read: its path and name.
func (s *Schema) RegisterText(k Kind, r Register) string {
	name := fmt.Sprint(r.Field)
	if sh := s.at(k, r.Path); sh != nil {
		if f := sh.field(r.Field); f != nil {
			name = f.name
		}
	}
	if r.Path == "" {
		return name
	}
	return s.PathText(k, r.Path) + "." + name
}
