package chart

import (
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// Range is from the least to the most that a figure can be, both included. The two are equal where nothing is in doubt.
type Range struct{ Least, Most int64 }

// Certain reports whether the range is one figure.
func (r Range) Certain() bool { return r.Least == r.Most }

func (r Range) plus(o Range) Range { return Range{r.Least + o.Least, r.Most + o.Most} }

// elements is the registers of a state by path, with the record itself at the empty path.
type elements struct {
	kind  record.Kind
	paths []record.Path // ascending
	at    map[record.Path]map[uint32]causal.Register
}

func elementsOf(st *record.State) elements {
	e := elements{kind: st.Key.Kind, at: map[record.Path]map[uint32]causal.Register{}}
	for _, v := range st.Values() {
		if e.at[v.Register.Path] == nil {
			e.at[v.Register.Path] = map[uint32]causal.Register{}
			e.paths = append(e.paths, v.Register.Path)
		}
		e.at[v.Register.Path][v.Register.Field] = v.Siblings
	}
	return e
}

// in is the elements of a collection of the element at p, by id. An element of which only something within it was written is among them.
func (e elements) in(p record.Path, collection string) []record.Path {
	fd := named(e.kind, p, collection)
	if fd == nil {
		return nil
	}
	var out []record.Path
	for _, path := range e.paths {
		if len(path) <= len(p) || !strings.HasPrefix(string(path), string(p)) {
			continue
		}
		step, _ := path[len(p):].Cut()
		child := p.Child(step.Field, step.Element)
		if step.Field == uint32(fd.Number()) && (len(out) == 0 || out[len(out)-1] != child) {
			out = append(out, child)
		}
	}
	return out
}

// named is a field of the element at p by its name; nil when there is none.
func named(kind record.Kind, p record.Path, name string) protoreflect.FieldDescriptor {
	shape := shapeAt(kind, p)
	if shape == nil {
		return nil
	}
	return shape.Fields().ByName(protoreflect.Name(name))
}

// last is the id of the element at p.
func last(p record.Path) record.ID { return record.ID([]byte(p[len(p)-16:])) }

// options is what a register may hold: each of its siblings, and nil for one that is cleared. A register that was never written holds nil.
func (e elements) options(p record.Path, name string) []protoreflect.Value {
	fd := named(e.kind, p, name)
	if fd == nil {
		return []protoreflect.Value{{}}
	}
	siblings := e.at[p][uint32(fd.Number())]
	if len(siblings) == 0 {
		return []protoreflect.Value{{}}
	}
	var out []protoreflect.Value
	for i, x := range siblings {
		if i > 0 && !siblings.InConflict() {
			break // all say the same
		}
		m := holder(e.kind, p)
		if x.Cleared || proto.Unmarshal(x.Value, m.Interface()) != nil {
			out = append(out, protoreflect.Value{})
		} else {
			out = append(out, m.Get(fd))
		}
	}
	return out
}

// texts is the options of a text register; empty for nothing.
func (e elements) texts(p record.Path, name string) []string {
	var out []string
	for _, v := range e.options(p, name) {
		s := ""
		if v.IsValid() {
			s = v.String()
		}
		out = append(out, s)
	}
	return out
}

// messages is the options of a register that holds a message of type M; nil for nothing.
func messages[M proto.Message](e elements, p record.Path, name string) []M {
	var out []M
	for _, v := range e.options(p, name) {
		var m M
		if v.IsValid() {
			m, _ = v.Message().Interface().(M)
		}
		out = append(out, m)
	}
	return out
}

// voided says whether an element counts: always, never, or nobody knows while its void is in conflict.
func (e elements) voided(p record.Path) (maybe, always bool) {
	fd := voidField(shapeAt(e.kind, p))
	if fd == nil {
		return false, false
	}
	always = true
	for _, v := range messages[*recordv1.Void](e, p, string(fd.Name())) {
		maybe = maybe || v != nil
		always = always && v != nil
	}
	return maybe, always
}
