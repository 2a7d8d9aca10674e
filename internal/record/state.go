package record

import (
	"slices"

	"needlebook/internal/causal"
)

// DotInfo is what a state keeps of an edit beside its values, so that a person can be shown who wrote a value and when.
type DotInfo struct {
	Dot        causal.Dot
	Author     ID
	AuthoredAt int64 // the device's claim, milliseconds since 1970 UTC
}

// State is a record as a set of edits leaves it.
//
// Invariants, checked by Valid:
//  1. Seen is valid and holds dots of edits only, never what their contexts name;
//  2. elements ascend by path, each has at least one register, registers ascend by field, each has at least one sibling;
//  3. Seen covers the dot of every sibling, and infos holds exactly those dots, ascending.
//
// A State is a value that Apply changes in place; Join makes a new one. It is not for concurrent use while it changes.
type State struct {
	Key      Key
	Seen     causal.Vector
	elements []element
	infos    []DotInfo
}

// element is the registers at one path; the record itself is the element at the empty path.
type element struct {
	path      Path
	registers []register
}

type register struct {
	field    uint32
	siblings causal.Register
}

// NewState is the state that has seen no edit.
func NewState(key Key) *State { return &State{Key: key} }

// Empty reports whether nothing was ever written: no edit took effect. Edits that were held may still have been seen.
func (s *State) Empty() bool { return len(s.elements) == 0 }

// Covers reports whether s has seen everything that e's context names, and all of the same replica before e that concern the caller's order.
// Until it does, e waits.
func (s *State) Covers(context causal.Vector) bool { return s.Seen.Descends(context) }

// Apply makes e part of s. An edit that s has seen changes nothing. The caller has checked that e is valid and that s covers its context, and applies
// the edits of one replica in the order of their counters.
func (s *State) Apply(e *Edit) {
	if s.Seen.Covers(e.Dot) {
		return
	}
	for i := range e.Writes {
		s.applyWrite(e.Dot, e.Context, &e.Writes[i])
	}
	s.Seen = s.Seen.With(e.Dot)
	s.noteInfo(DotInfo{Dot: e.Dot, Author: e.Author, AuthoredAt: e.AuthoredAt})
	s.dropDeadInfos()
}

// Skip notes that an edit was seen and had no effect: it was held. Its counter counts all the same.
func (s *State) Skip(d causal.Dot) { s.Seen = s.Seen.With(d) }

func (s *State) applyWrite(dot causal.Dot, context causal.Vector, w *Write) {
	el := s.elementAt(w.Path)
	fresh := el.grow(w)
	w.each(func(field uint32, value []byte, cleared bool) {
		reg := el.registerAt(field)
		x := causal.Sibling{Dot: dot, Value: value, Cleared: cleared}
		if len(reg.siblings) == 0 {
			reg.siblings = fresh.one(x)
		} else {
			reg.siblings = reg.siblings.Write(x, context)
		}
	})
}

// slab gives out registers of one sibling from one allocation: nearly every register has one.
type slab []causal.Sibling

func (s *slab) one(x causal.Sibling) causal.Register {
	if len(*s) == 0 {
		return causal.Register{x}
	}
	out := causal.Register((*s)[:1:1])
	*s = (*s)[1:]
	out[0] = x
	return out
}

// grow makes room in e for the registers of w.
func (e *element) grow(w *Write) *slab {
	n := 0
	w.each(func(uint32, []byte, bool) { n++ })
	e.registers = slices.Grow(e.registers, n)
	fresh := make(slab, n)
	return &fresh
}

// elementAt finds the element at p, making it when it is not there.
func (s *State) elementAt(p Path) *element {
	i, ok := s.findElement(p)
	if !ok {
		s.elements = slices.Insert(s.elements, i, element{path: p})
	}
	return &s.elements[i]
}

func (s *State) findElement(p Path) (int, bool) {
	low, high := 0, len(s.elements)
	if high > 0 && s.elements[high-1].path < p {
		return high, false // states are mostly built in order
	}
	for low < high {
		if mid := (low + high) / 2; s.elements[mid].path < p {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low, low < len(s.elements) && s.elements[low].path == p
}

func (e *element) registerAt(field uint32) *register {
	i, ok := e.find(field)
	if !ok {
		e.registers = slices.Insert(e.registers, i, register{field: field})
	}
	return &e.registers[i]
}

func (e *element) find(field uint32) (int, bool) {
	low, high := 0, len(e.registers)
	if high > 0 && e.registers[high-1].field < field {
		return high, false
	}
	for low < high {
		if mid := (low + high) / 2; e.registers[mid].field < field {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low, low < len(e.registers) && e.registers[low].field == field
}

// Has reports whether the record or element at p was ever written to.
func (s *State) Has(p Path) bool {
	_, ok := s.findElement(p)
	return ok
}

// Siblings is what a register holds now: nil when it was never written.
func (s *State) Siblings(r Register) causal.Register {
	i, ok := s.findElement(r.Path)
	if !ok {
		return nil
	}
	el := &s.elements[i]
	if j, ok := el.find(r.Field); ok {
		return el.registers[j].siblings
	}
	return nil
}

// Infos is the edits of which something is current, ascending by dot. The slice is the state's.
func (s *State) Infos() []DotInfo { return s.infos }

// Info is who wrote the edit with this dot, and when; the zero DotInfo when nothing of that edit is current.
func (s *State) Info(d causal.Dot) DotInfo {
	if i, ok := s.findInfo(d); ok {
		return s.infos[i]
	}
	return DotInfo{}
}

func (s *State) findInfo(d causal.Dot) (int, bool) {
	return slices.BinarySearchFunc(s.infos, d, func(n DotInfo, d causal.Dot) int { return n.Dot.Compare(d) })
}

func (s *State) noteInfo(n DotInfo) {
	if i, ok := s.findInfo(n.Dot); !ok {
		s.infos = slices.Insert(s.infos, i, n)
	}
}

// dropDeadInfos forgets the edits of which nothing is current.
func (s *State) dropDeadInfos() {
	if len(s.infos) < 2 {
		return
	}
	live := s.liveDots()
	s.infos = slices.DeleteFunc(s.infos, func(n DotInfo) bool {
		_, ok := slices.BinarySearchFunc(live, n.Dot, causal.Dot.Compare)
		return !ok
	})
}

// liveDots is the dots of all siblings, ascending, each once.
func (s *State) liveDots() []causal.Dot {
	var dots []causal.Dot
	s.eachRegister(func(_ Path, r *register) {
		for i := range r.siblings {
			d := r.siblings[i].Dot
			if n := len(dots); n == 0 || dots[n-1] != d {
				dots = append(dots, d)
			}
		}
	})
	slices.SortFunc(dots, causal.Dot.Compare)
	return slices.Compact(dots)
}

func (s *State) eachRegister(fn func(Path, *register)) {
	for i := range s.elements {
		el := &s.elements[i]
		for j := range el.registers {
			fn(el.path, &el.registers[j])
		}
	}
}

// Fold is the state that a causally closed set of edits leaves, whatever order they are in as long as each replica's ascend by counter and none
// stands before what its context names.
func Fold(key Key, edits []Edit) *State {
	s := NewState(key)
	for i := range edits {
		s.Apply(&edits[i])
	}
	return s
}

// Clone returns a state that shares values with s but can be changed apart from it.
func (s *State) Clone() *State {
	c := &State{Key: s.Key, Seen: slices.Clone(s.Seen), infos: slices.Clone(s.infos), elements: slices.Clone(s.elements)}
	for i := range c.elements {
		c.elements[i].registers = slices.Clone(c.elements[i].registers)
	}
	return c
}
