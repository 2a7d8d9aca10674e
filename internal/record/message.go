package record

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
)

// Message is the record as a protobuf message, canonical: every register that holds one value, in field order, elements by their ids. A register in
// conflict is left out, so that nobody takes one of its values for the truth; Conflicts lists them. Fields that this version does not know are in it.
func (s *State) Message() []byte { return s.message(nil) }

// message is Message without the registers and collections of the record itself that skip lists.
func (s *State) message(skip []uint32) []byte {
	return appendNode(nil, s.Key.ID, s.tree(), skip)
}

// node is an element with the elements below it.
type node struct {
	element *element // nil when only elements below it were written
	below   []branch // ascending by field, then id
}

type branch struct {
	step Step
	node *node
}

func (s *State) tree() *node {
	root := &node{}
	for i := range s.elements {
		n := root
		for p := s.elements[i].path; p != ""; {
			var step Step
			step, p = p.Cut()
			n = n.child(step)
		}
		n.element = &s.elements[i]
	}
	return root
}

// child finds or makes the element below n. Paths come in ascending order, so a known one is the last of its field.
func (n *node) child(step Step) *node {
	i, ok := slices.BinarySearchFunc(n.below, step, func(b branch, s Step) int { return compareSteps(b.step, s) })
	if !ok {
		n.below = slices.Insert(n.below, i, branch{step: step, node: &node{}})
	}
	return n.below[i].node
}

func compareSteps(a, b Step) int {
	if a.Field != b.Field {
		return int(a.Field) - int(b.Field)
	}
	return strings.Compare(string(a.Element[:]), string(b.Element[:]))
}

func appendNode(b []byte, id ID, n *node, skip []uint32) []byte {
	b = protowire.AppendTag(b, idField, protowire.BytesType)
	b = binary.AppendUvarint(b, idTextLen)
	b = id.AppendText(b)
	below := n.below
	if n.element != nil {
		for i := range n.element.registers {
			r := &n.element.registers[i]
			for len(below) > 0 && below[0].step.Field < r.field {
				b = appendBranch(b, below[0], skip)
				below = below[1:]
			}
			if value, ok := r.value(); ok && !slices.Contains(skip, r.field) {
				b = append(b, value...)
			}
		}
	}
	for _, br := range below {
		b = appendBranch(b, br, skip)
	}
	return b
}

func appendBranch(b []byte, br branch, skip []uint32) []byte {
	if slices.Contains(skip, br.step.Field) {
		return b
	}
	b = protowire.AppendTag(b, protowire.Number(br.step.Field), protowire.BytesType)
	return protowire.AppendBytes(b, appendNode(nil, br.step.Element, br.node, nil))
}

// value is the one value that r holds; ok is false when it is cleared or in conflict.
func (r *register) value() ([]byte, bool) {
	if r.siblings.InConflict() || r.siblings[0].Cleared {
		return nil, false
	}
	return r.siblings[0].Value, true
}

// Conflict is a register with different values, each with who wrote it.
type Conflict struct {
	Register Register
	Siblings causal.Register
}

// Conflicts is the registers that a person must settle, ascending by path and field.
func (s *State) Conflicts() []Conflict {
	var out []Conflict
	s.eachRegister(func(p Path, r *register) {
		if r.siblings.InConflict() {
			out = append(out, Conflict{Register{p, r.field}, r.siblings})
		}
	})
	return out
}

// MaxSiblings is how many concurrent values a register may hold. An edit that would add one more is held for a person.
const MaxSiblings = 16

// CrowdedBy reports whether e would give a register of s more than MaxSiblings values.
func (s *State) CrowdedBy(e *Edit) bool {
	crowded := false
	for i := range e.Writes {
		w := &e.Writes[i]
		w.each(func(f uint32, _ []byte, _ bool) {
			if sib := s.Siblings(Register{w.Path, f}); len(sib) >= MaxSiblings {
				crowded = crowded || len(sib.Write(causal.Sibling{Dot: e.Dot}, e.Context)) > MaxSiblings
			}
		})
	}
	return crowded
}

// Split takes a message of kind k apart into the writes that make it: one for the record and one for each element. The message may come from any
// protobuf encoder: fields are put into canonical order. Its id field is not a write.
func (s *Schema) Split(k Kind, message []byte) ([]Write, error) {
	sh := s.kinds[k]
	if sh == nil {
		return nil, tooNew("kind", k.String())
	}
	var out []Write
	if err := split(sh, "", message, &out); err != nil {
		return nil, err
	}
	slices.SortFunc(out, func(a, b Write) int { return strings.Compare(string(a.Path), string(b.Path)) })
	for i := 1; i < len(out); i++ {
		if out[i].Path == out[i-1].Path {
			return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, s.PathText(k, out[i].Path), "twice", "each element once")
		}
	}
	return out, nil
}

func split(sh *shape, p Path, message []byte, out *[]Write) error {
	fields, err := sortedFields(message)
	if err != nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, string(sh.name), err.Error(), "a protobuf message")
	}
	w := Write{Path: p}
	for _, raw := range fields {
		f := sh.field(raw.number)
		switch {
		case raw.number == idField:
		case f != nil && f.collection != nil:
			if err := splitElement(f, p, raw.bytes, out); err != nil {
				return err
			}
		default:
			w.Set = append(w.Set, canonical(f, raw.bytes)...)
		}
	}
	if len(w.Set) > 0 {
		*out = append(*out, w)
	}
	return nil
}

func splitElement(f *field, p Path, tagged []byte, out *[]Write) error {
	content, err := contentOf(tagged)
	if err != nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, f.name, err.Error(), "a message")
	}
	id, err := elementID(content)
	if err != nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, f.name+"[].id", "", err.Error())
	}
	before := len(*out)
	if err := split(f.collection, p.Child(f.number, id), content, out); err != nil {
		return err
	}
	if len(*out) == before {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, f.name+"["+id.String()+"]", "only its id", "at least one field")
	}
	return nil
}

// elementID is the id that a message of an element carries in its first field.
func elementID(message []byte) (ID, error) {
	for len(message) > 0 {
		number, typ, n := protowire.ConsumeTag(message)
		if n < 0 {
			break
		}
		if number == idField && typ == protowire.BytesType {
			text, m := protowire.ConsumeBytes(message[n:])
			if m < 0 {
				break
			}
			return ParseID(string(text))
		}
		m := protowire.ConsumeFieldValue(number, typ, message[n:])
		if m < 0 {
			break
		}
		message = message[n+m:]
	}
	return ID{}, fmt.Errorf("an element needs its id, a UUID")
}

// rawField is one tagged value of a message.
type rawField struct {
	number uint32
	bytes  []byte
}

// sortedFields is the tagged values of a message in the order of their numbers, values of one number in the order they came.
func sortedFields(message []byte) ([]rawField, error) {
	var out []rawField
	for len(message) > 0 {
		number, rest, err := cutField(message)
		if err != nil {
			return nil, err
		}
		out = append(out, rawField{number, message[:len(message)-len(rest)]})
		message = rest
	}
	slices.SortStableFunc(out, func(a, b rawField) int { return int(a.number) - int(b.number) })
	return out, nil
}

func contentOf(tagged []byte) ([]byte, error) {
	_, typ, n := protowire.ConsumeTag(tagged)
	if n < 0 || typ != protowire.BytesType {
		return nil, fmt.Errorf("wire type %d", typ)
	}
	content, m := protowire.ConsumeBytes(tagged[n:])
	if m < 0 {
		return nil, fmt.Errorf("ends early")
	}
	return content, nil
}

// canonical puts the fields of a register's message into order, at every depth. Anything else comes back as it is; Check judges it.
func canonical(f *field, tagged []byte) []byte {
	if f == nil || f.message == nil {
		return tagged
	}
	content, err := contentOf(tagged)
	if err != nil {
		return tagged
	}
	fields, err := sortedFields(content)
	if err != nil {
		return tagged
	}
	var inner []byte
	for _, raw := range fields {
		inner = append(inner, canonical(f.message.field(raw.number), raw.bytes)...)
	}
	b := protowire.AppendTag(nil, protowire.Number(f.number), protowire.BytesType)
	return protowire.AppendBytes(b, inner)
}

// Values is every register of s with its siblings, ascending by path and field.
func (s *State) Values() []Conflict {
	var out []Conflict
	s.eachRegister(func(p Path, r *register) { out = append(out, Conflict{Register{p, r.field}, r.siblings}) })
	return out
}
