package causal

import (
	"bytes"
	"slices"
)

// Sibling is one current value of a register: who wrote it (the dot) and what. A cleared register is empty on purpose, which is a value like any other.
type Sibling struct {
	Dot     Dot
	Value   []byte
	Cleared bool
}

// SameValue reports whether two siblings say the same, whoever wrote them.
func (s Sibling) SameValue(o Sibling) bool {
	return s.Cleared == o.Cleared && bytes.Equal(s.Value, o.Value)
}

// Register is the current values of one field, ascending by dot, each dot once. More than one sibling means that none of the writers had seen the others.
type Register []Sibling

// InConflict reports whether the register holds different values. Equal values from several writers are no conflict.
func (r Register) InConflict() bool {
	for i := 1; i < len(r); i++ {
		if !r[i].SameValue(r[0]) {
			return true
		}
	}
	return false
}

// Write returns the register after a write: the siblings that the writer had seen are superseded, all others stay beside the new one.
func (r Register) Write(s Sibling, seen Vector) Register {
	out := make(Register, 0, len(r)+1)
	for _, old := range r {
		if !seen.Covers(old.Dot) && old.Dot != s.Dot {
			out = append(out, old)
		}
	}
	i, _ := slices.BinarySearchFunc(out, s.Dot, func(x Sibling, d Dot) int { return x.Dot.Compare(d) })
	return slices.Insert(out, i, s)
}

// Join returns the register as it is after the edits of both sides, where r is from a state that has seen rSeen and o from one that has seen oSeen.
// A sibling stays when both sides hold it, or when the side that lacks it had not seen it; seen and gone means superseded.
func (r Register) Join(rSeen Vector, o Register, oSeen Vector) Register {
	out := make(Register, 0, max(len(r), len(o)))
	for i, j := 0, 0; i < len(r) || j < len(o); {
		switch c := compareSiblings(r, i, o, j); {
		case c < 0:
			if !oSeen.Covers(r[i].Dot) {
				out = append(out, r[i])
			}
			i++
		case c > 0:
			if !rSeen.Covers(o[j].Dot) {
				out = append(out, o[j])
			}
			j++
		default:
			out = append(out, r[i])
			i, j = i+1, j+1
		}
	}
	return out
}

func compareSiblings(r Register, i int, o Register, j int) int {
	switch {
	case i == len(r):
		return 1
	case j == len(o):
		return -1
	}
	return r[i].Dot.Compare(o[j].Dot)
}
