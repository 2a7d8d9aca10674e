package record

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"needlebook/internal/causal"
)

// stateForm is the first byte of a state's canonical form.
const stateForm = 1

// MaxStateBytes is the largest canonical form that a state may have. An edit that would pass it is held.
const MaxStateBytes = 60 << 10

// Fragment is what is still current of one edit at one path, the unit in which states are stored and sent.
type Fragment struct {
	Dot   causal.Dot
	Path  Path
	Set   []byte
	Clear []uint32
}

// Fragments is the content of s, ascending by path, then by dot: the residue of its edits.
func (s *State) Fragments() []Fragment {
	return s.fragments(func(*register) bool { return true })
}

// FragmentsSince is the registers of which a sibling's dot satisfies changed, each with all its siblings, and the infos of their dots.
func (s *State) FragmentsSince(changed func(causal.Dot) bool) ([]Fragment, []DotInfo) {
	frags := s.fragments(func(r *register) bool {
		return slices.ContainsFunc(r.siblings, func(x causal.Sibling) bool { return changed(x.Dot) })
	})
	var infos []DotInfo
	for _, n := range s.infos {
		if slices.ContainsFunc(frags, func(f Fragment) bool { return f.Dot == n.Dot }) {
			infos = append(infos, n)
		}
	}
	return frags, infos
}

func (s *State) fragments(wanted func(*register) bool) []Fragment {
	out := make([]Fragment, 0, len(s.elements))
	for i := range s.elements {
		el := &s.elements[i]
		from := len(out)
		for j := range el.registers {
			if r := &el.registers[j]; wanted(r) {
				out = addToFragments(out, from, el.path, r)
			}
		}
	}
	return out
}

// addToFragments adds a register's siblings to the fragments of its element, which begin at from and ascend by dot.
func addToFragments(out []Fragment, from int, path Path, r *register) []Fragment {
	for _, x := range r.siblings {
		i, ok := slices.BinarySearchFunc(out[from:], x.Dot, func(f Fragment, d causal.Dot) int { return f.Dot.Compare(d) })
		i += from
		if !ok {
			out = slices.Insert(out, i, Fragment{Dot: x.Dot, Path: path})
		}
		f := &out[i]
		if x.Cleared {
			f.Clear = append(f.Clear, r.field)
		} else {
			f.Set = appendRegister(f.Set, x.Value)
		}
	}
	return out
}

// appendRegister appends value to set. Where value directly follows set in memory, as when both came from one encoding, set only grows over it and
// nothing is copied. Values are never written to, so sharing them is sound.
func appendRegister(set, value []byte) []byte {
	n := len(set)
	switch {
	case n == 0:
		return value
	case cap(set) >= n+len(value) && len(value) > 0 && &set[:n+1][n] == &value[0]:
		return set[:n+len(value)]
	}
	return append(set[:n:n], value...)
}

// FromParts builds a state from what was stored or sent. It keeps slices of the fragments. It accepts only parts that a valid state has.
func FromParts(key Key, seen causal.Vector, infos []DotInfo, frags []Fragment) (*State, error) {
	s := &State{Key: key, Seen: seen, infos: infos}
	s.elements = make([]element, 0, len(frags))
	for i := range frags {
		f := &frags[i]
		if i > 0 && compareFragments(&frags[i-1], f) >= 0 {
			return nil, fmt.Errorf("fragment %d is out of order", i+1)
		}
		w := Write{Path: f.Path, Set: f.Set, Clear: f.Clear}
		if err := w.valid(); err != nil {
			return nil, fmt.Errorf("fragment %d: %w", i+1, err)
		}
		s.addFragment(f, &w)
	}
	return s, s.Valid()
}

func compareFragments(a, b *Fragment) int {
	switch {
	case a.Path < b.Path:
		return -1
	case a.Path > b.Path:
		return 1
	}
	return a.Dot.Compare(b.Dot)
}

func (s *State) addFragment(f *Fragment, w *Write) {
	var el *element
	if n := len(s.elements); n > 0 && s.elements[n-1].path == f.Path {
		el = &s.elements[n-1]
	} else {
		s.elements = append(s.elements, element{path: f.Path})
		el = &s.elements[n]
	}
	fresh := el.grow(w)
	w.each(func(field uint32, value []byte, cleared bool) {
		r := el.registerAt(field)
		x := causal.Sibling{Dot: f.Dot, Value: value, Cleared: cleared}
		if len(r.siblings) == 0 {
			r.siblings = fresh.one(x)
		} else {
			r.siblings = append(r.siblings, x)
		}
	})
}

// Valid reports the first invariant that s breaks.
func (s *State) Valid() error {
	if err := s.Seen.Valid(); err != nil {
		return err
	}
	live := s.liveDots()
	if len(live) != len(s.infos) {
		return fmt.Errorf("%d edits are current, %d are described", len(live), len(s.infos))
	}
	for i, d := range live {
		switch {
		case d != s.infos[i].Dot || s.infos[i].Author.IsZero():
			return fmt.Errorf("edit %v is not described", d)
		case d.IsZero() || !s.Seen.Covers(d):
			return fmt.Errorf("edit %v is current but was not seen", d)
		}
	}
	return nil
}

// AppendBinary appends the canonical form of s, as docs/format.md defines.
func (s *State) AppendBinary(b []byte) []byte {
	b = append(b, stateForm)
	b = binary.AppendUvarint(b, uint64(s.Key.Kind))
	b = append(b, s.Key.ID[:]...)
	b = s.Seen.AppendBinary(b)
	b = binary.AppendUvarint(b, uint64(len(s.infos)))
	for _, n := range s.infos {
		b = binary.AppendUvarint(b, uint64(s.Seen.Index(n.Dot.Replica)))
		b = binary.AppendUvarint(b, n.Dot.Counter)
		b = append(b, n.Author[:]...)
		b = binary.AppendVarint(b, n.AuthoredAt)
	}
	frags := s.Fragments()
	b = binary.AppendUvarint(b, uint64(len(frags)))
	for i := range frags {
		f := &frags[i]
		dot, _ := s.findInfo(f.Dot)
		b = binary.AppendUvarint(b, uint64(dot))
		b = appendBytes(b, []byte(f.Path))
		b = appendBytes(b, f.Set)
		b = appendClear(b, f.Clear)
	}
	return b
}

// ParseState is the inverse of AppendBinary. The state's slices point into b. It accepts only valid states in canonical form.
func ParseState(b []byte) (*State, error) {
	r := reader{rest: b}
	if form := r.raw(1); r.err == nil && form[0] != stateForm {
		return nil, fmt.Errorf("state: form %d is not known", form[0])
	}
	key := Key{Kind: r.kind(), ID: r.id()}
	var seen causal.Vector
	if r.err == nil {
		seen, r.rest, r.err = causal.CutVector(r.rest)
	}
	infos := r.infos(seen)
	frags := r.fragments(infos)
	err := r.end()
	if err == nil && key.ID.IsZero() {
		err = errors.New("record id is zero")
	}
	if err != nil {
		return nil, fmt.Errorf("state: %w", err)
	}
	s, err := FromParts(key, seen, infos, frags)
	if err != nil {
		return nil, fmt.Errorf("state: %w", err)
	}
	return s, nil
}

func (r *reader) infos(seen causal.Vector) []DotInfo {
	infos := make([]DotInfo, r.count(19))
	for i := range infos {
		replica := r.uvarint()
		n := DotInfo{Dot: causal.Dot{Counter: r.uvarint()}, Author: r.id(), AuthoredAt: r.varint()}
		if replica >= uint64(len(seen)) {
			r.fail(fmt.Errorf("replica %d of %d", replica, len(seen)))
			return nil
		}
		n.Dot.Replica = seen[replica].Replica
		infos[i] = n
	}
	return infos
}

func (r *reader) fragments(infos []DotInfo) []Fragment {
	frags := make([]Fragment, r.count(4))
	for i := range frags {
		dot := r.uvarint()
		frags[i] = Fragment{Path: Path(r.bytes()), Set: r.bytes(), Clear: r.clear()}
		if dot >= uint64(len(infos)) {
			r.fail(fmt.Errorf("edit %d of %d", dot, len(infos)))
			return nil
		}
		frags[i].Dot = infos[dot].Dot
	}
	return frags
}

// Digest is the SHA-256 of the canonical form: equal on every replica that holds the same edits of this record.
func (s *State) Digest() Hash {
	b := make([]byte, 0, 4096)
	b = append(b, "needlebook state 1\x00"...)
	return sha256.Sum256(s.AppendBinary(b))
}
