package record

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// WholeElement is the Field of what ParseRegister gives for a path that ends in an element: all of it, elements within it included.
const WholeElement = 0

// ParseRegister is the inverse of RegisterText and, for a path that ends in an element (Field is WholeElement then), of PathText. A field that this
// version does not know is written by its number, as those print it. The error is a fault whose field is "path" and that shows the text.
func (s *Schema) ParseRegister(k Kind, text string) (Register, error) {
	p := maskParser{shape: s.kinds[k]}
	if p.shape == nil {
		return Register{}, tooNew("kind", k.String())
	}
	if want := p.parse(text); want != "" {
		return Register{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "path", text, want)
	}
	return p.register, nil
}

// Text is the inverse of ParseRegister: RegisterText, or PathText of a whole element.
func (s *Schema) Text(k Kind, r Register) string {
	if r.Field == WholeElement {
		return s.PathText(k, r.Path)
	}
	return s.RegisterText(k, r)
}

// maskParser reads one path; shape is the message that the next name belongs to, nil when this version does not know it.
type maskParser struct {
	shape    *shape
	register Register
	steps    int
}

// parse reads text and returns what would have been right, or nothing when it is.
func (p *maskParser) parse(text string) (want string) {
	for {
		end := strings.IndexAny(text, "[].")
		if end < 0 {
			return p.last(text)
		}
		if text[end] != '[' {
			return "a field, or collections with the ids of their elements, such as injections[id].planned"
		}
		id, rest, ok := strings.Cut(text[end+1:], "]")
		if !ok {
			return "a ] after the element's id"
		}
		if want := p.step(text[:end], id); want != "" || rest == "" {
			return want
		}
		if text, ok = strings.CutPrefix(rest, "."); !ok || text == "" {
			return "a dot and a field after the element"
		}
	}
}

// step goes into an element.
func (p *maskParser) step(name, id string) (want string) {
	number, f, want := p.field(name)
	if want != "" {
		return want
	}
	if f != nil && f.collection == nil {
		return "no path into " + f.name + ", which is written whole"
	}
	element, err := ParseID(id)
	if err != nil {
		return "the id of an element of " + name + ", a UUID in lower case"
	}
	if p.steps++; p.steps > maxSteps {
		return fmt.Sprintf("at most %d elements within each other", maxSteps)
	}
	p.register.Path = p.register.Path.Child(number, element)
	p.shape = nil
	if f != nil {
		p.shape = f.collection
	}
	return ""
}

// last reads the name of a register.
func (p *maskParser) last(name string) (want string) {
	number, f, want := p.field(name)
	if want != "" {
		return want
	}
	if f != nil && f.collection != nil {
		return "an element of " + f.name + ", such as " + f.name + "[id]"
	}
	p.register.Field = number
	return ""
}

// field finds a field by its name, or by its number when this version does not know that number.
func (p *maskParser) field(name string) (number uint32, f *field, want string) {
	if p.shape != nil {
		if f := p.shape.byName(name); f != nil && f.number != idField {
			return f.number, f, ""
		}
	}
	n, err := strconv.ParseUint(name, 10, 32)
	unknown := err == nil && strconv.FormatUint(n, 10) == name && n > idField && n <= maxFieldNumber
	if unknown && (p.shape == nil || p.shape.field(uint32(n)) == nil) {
		return uint32(n), nil, ""
	}
	if p.shape == nil {
		return 0, nil, "the number of a field that this version does not know"
	}
	return 0, nil, "a field of " + string(p.shape.name)
}

// WritesFor takes of a message of kind k what a mask names, as the writes that an edit makes. A path that names a register writes its value, or
// clears it when the message lacks it. A path that names an element writes all that the message holds of it, elements within it included, and clears
// nothing. Nothing outside the mask is read. An empty mask is everything that the message holds, as Split gives it. Each path stands once. The error
// is a fault of update_mask that shows the path, or of the message's own form.
func (s *Schema) WritesFor(k Kind, message []byte, mask []string) ([]Write, error) {
	if len(mask) == 0 {
		return s.Split(k, message)
	}
	sh := s.kinds[k]
	if sh == nil {
		return nil, tooNew("kind", k.String())
	}
	m := masked{in: map[Path]*present{}, out: map[Path]*draft{}}
	if err := m.read(sh, "", message, 0); err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, string(sh.name), err.Error(), "a protobuf message")
	}
	seen := make(map[string]bool, len(mask))
	for _, text := range mask {
		r, err := s.ParseRegister(k, text)
		want := ""
		switch {
		case err != nil:
			want = fault.Of(err).Want
		case seen[text]:
			want = "each path once"
		default:
			want = m.take(r)
		}
		if want != "" {
			return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "update_mask", text, want)
		}
		seen[text] = true
	}
	return m.writes(), nil
}

// masked is a message taken apart, and what a mask takes of it.
type masked struct {
	in  map[Path]*present
	out map[Path]*draft
}

// present is what the message holds of one element.
type present struct {
	registers map[uint32][]byte
	twice     bool // the element stands in the message more than once
}

// draft is the write that comes to be for one element; a register without a value is cleared.
type draft struct{ registers map[uint32][]byte }

// read takes the message at p apart. What is wrong with an element is said only when the mask names it; an element without an id cannot be named.
func (m *masked) read(sh *shape, p Path, message []byte, depth int) error {
	fields, err := sortedFields(message)
	if err != nil {
		return err
	}
	if h := m.in[p]; h != nil {
		h.twice = true
		return nil
	}
	h := &present{registers: map[uint32][]byte{}}
	m.in[p] = h
	for _, raw := range fields {
		f := sh.field(raw.number)
		switch {
		case raw.number == idField:
		case f == nil || f.collection == nil:
			h.registers[raw.number] = append(h.registers[raw.number], canonical(f, raw.bytes)...)
		default:
			content, err := contentOf(raw.bytes)
			if err != nil || depth == maxSteps {
				return fmt.Errorf("%s: not an element", f.name)
			}
			id, err := elementID(content)
			if err != nil {
				continue
			}
			if err := m.read(f.collection, p.Child(f.number, id), content, depth+1); err != nil {
				return err
			}
		}
	}
	return nil
}

// take adds what r names to the drafts, and returns what would have been right when it cannot.
func (m *masked) take(r Register) (want string) {
	if r.Field != WholeElement {
		var value []byte
		if h := m.in[r.Path]; h != nil {
			if h.twice {
				return "an element that the record holds once"
			}
			value = h.registers[r.Field]
		}
		m.draft(r.Path).registers[r.Field] = value
		return ""
	}
	some := false
	for p, h := range m.in {
		if !strings.HasPrefix(string(p), string(r.Path)) {
			continue
		}
		if h.twice {
			return "an element that the record holds once"
		}
		for number, value := range h.registers {
			m.draft(p).registers[number] = value
			some = true
		}
	}
	if !some {
		return "an element of which the record holds at least one field"
	}
	return ""
}

func (m *masked) draft(p Path) *draft {
	d := m.out[p]
	if d == nil {
		d = &draft{registers: map[uint32][]byte{}}
		m.out[p] = d
	}
	return d
}

// writes is the drafts as an edit has them: ascending by path, registers ascending.
func (m *masked) writes() []Write {
	out := make([]Write, 0, len(m.out))
	for _, p := range slices.Sorted(maps.Keys(m.out)) {
		w := Write{Path: p}
		registers := m.out[p].registers
		for _, number := range slices.Sorted(maps.Keys(registers)) {
			if value := registers[number]; len(value) > 0 {
				w.Set = append(w.Set, value...)
			} else {
				w.Clear = append(w.Clear, number)
			}
		}
		out = append(out, w)
	}
	return out
}

// Canonical puts the tagged value of a register into canonical order, at every depth. What this version does not know comes back as it is.
func (s *Schema) Canonical(k Kind, r Register, tagged []byte) []byte {
	sh := s.at(k, r.Path)
	if sh == nil {
		return tagged
	}
	items, err := sortedFields(tagged)
	if err != nil {
		return tagged
	}
	var out []byte
	for _, item := range items {
		out = append(out, canonical(sh.field(r.Field), item.bytes)...)
	}
	return out
}

// Each calls fn with every register that w writes or clears, ascending, with the value and its tags. The write must be a valid edit's.
func (w *Write) Each(fn func(r Register, value []byte, cleared bool)) {
	w.each(func(field uint32, value []byte, cleared bool) { fn(Register{w.Path, field}, value, cleared) })
}
