package causal

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
)

// Vector is a version vector: for each replica, the highest counter seen.
//
// Invariants, checked by Valid:
//  1. ascending by replica, each replica once;
//  2. no zero replica and no zero counter: absent means nothing seen.
//
// The zero value is valid and has seen nothing.
type Vector []Dot

// Order is how two vectors stand to each other.
type Order int

// The four cases of a partial order.
const (
	Equal      Order = iota // both have seen the same
	Before                  // the first has seen less
	After                   // the first has seen more
	Concurrent              // each has seen something that the other has not
)

// String is the order's name.
func (o Order) String() string {
	return [...]string{"equal", "before", "after", "concurrent"}[o]
}

// Valid reports the first invariant that v breaks.
func (v Vector) Valid() error {
	for i, d := range v {
		if d.Replica.IsZero() || d.Counter == 0 {
			return fmt.Errorf("version vector entry %d is zero", i)
		}
		if i > 0 && string(v[i-1].Replica[:]) >= string(d.Replica[:]) {
			return fmt.Errorf("version vector entry %d is out of order", i)
		}
	}
	return nil
}

// Counter is the highest counter of r that v has seen, 0 for none.
func (v Vector) Counter(r ReplicaID) uint64 {
	if i, ok := v.find(r); ok {
		return v[i].Counter
	}
	return 0
}

// Index is the place of r in v, or -1.
func (v Vector) Index(r ReplicaID) int {
	if i, ok := v.find(r); ok {
		return i
	}
	return -1
}

// Covers reports whether v has seen d. Every vector covers the zero dot.
func (v Vector) Covers(d Dot) bool { return d.Counter <= v.Counter(d.Replica) }

// Descends reports whether v has seen everything that w has.
func (v Vector) Descends(w Vector) bool {
	o := v.Compare(w)
	return o == Equal || o == After
}

// Compare says how v stands to w.
func (v Vector) Compare(w Vector) Order {
	less, more := false, false
	for i, j := 0, 0; i < len(v) || j < len(w); {
		switch side := compareAt(v, i, w, j); {
		case side < 0:
			more = true
			i++
		case side > 0:
			less = true
			j++
		default:
			more = more || v[i].Counter > w[j].Counter
			less = less || v[i].Counter < w[j].Counter
			i, j = i+1, j+1
		}
	}
	switch {
	case less && more:
		return Concurrent
	case less:
		return Before
	case more:
		return After
	}
	return Equal
}

// With returns v having seen d also, and all lower counters of its replica.
func (v Vector) With(d Dot) Vector {
	i, ok := v.find(d.Replica)
	if ok && v[i].Counter >= d.Counter || d.Counter == 0 {
		return v
	}
	out := slices.Clone(v)
	if ok {
		out[i].Counter = d.Counter
		return out
	}
	return slices.Insert(out, i, d)
}

// Cut returns v having seen of replica r no more than counter most.
func (v Vector) Cut(r ReplicaID, most uint64) Vector {
	i, ok := v.find(r)
	if !ok || v[i].Counter <= most {
		return v
	}
	out := slices.Clone(v)
	if most == 0 {
		return slices.Delete(out, i, i+1)
	}
	out[i].Counter = most
	return out
}

// Join returns the least vector that has seen what v and w have.
func (v Vector) Join(w Vector) Vector {
	if len(w) == 0 {
		return v
	}
	out := make(Vector, 0, max(len(v), len(w)))
	for i, j := 0, 0; i < len(v) || j < len(w); {
		switch side := compareAt(v, i, w, j); {
		case side < 0:
			out = append(out, v[i])
			i++
		case side > 0:
			out = append(out, w[j])
			j++
		default:
			out = append(out, Dot{v[i].Replica, max(v[i].Counter, w[j].Counter)})
			i, j = i+1, j+1
		}
	}
	return out
}

// compareAt compares the replicas of v[i] and w[j]; a vector that has ended is greater than any replica.
func compareAt(v Vector, i int, w Vector, j int) int {
	switch {
	case i == len(v):
		return 1
	case j == len(w):
		return -1
	}
	return strings.Compare(string(v[i].Replica[:]), string(w[j].Replica[:]))
}

func (v Vector) find(r ReplicaID) (int, bool) {
	return slices.BinarySearchFunc(v, r, func(d Dot, r ReplicaID) int {
		return strings.Compare(string(d.Replica[:]), string(r[:]))
	})
}

// String lists the vector for people to read.
func (v Vector) String() string {
	parts := make([]string, len(v))
	for i, d := range v {
		parts[i] = d.String()
	}
	return "{" + strings.Join(parts, " ") + "}"
}

// AppendBinary appends the canonical form of v: the number of entries, then each replica and counter.
func (v Vector) AppendBinary(b []byte) []byte {
	b = binary.AppendUvarint(b, uint64(len(v)))
	for _, d := range v {
		b = append(b, d.Replica[:]...)
		b = binary.AppendUvarint(b, d.Counter)
	}
	return b
}

// CutVector reads a vector from the front of b and returns it with the rest of b. It takes only what AppendBinary writes.
func CutVector(b []byte) (Vector, []byte, error) {
	n, b, err := Uvarint(b)
	if err != nil {
		return nil, nil, fmt.Errorf("version vector: %w", err)
	}
	if n > uint64(len(b))/17 {
		return nil, nil, fmt.Errorf("version vector of %d entries: %w", n, errShort)
	}
	var v Vector
	if n > 0 {
		v = make(Vector, n)
	}
	for i := range v {
		copy(v[i].Replica[:], b)
		if len(b) < 17 {
			return nil, nil, fmt.Errorf("version vector entry %d: %w", i, errShort)
		}
		if v[i].Counter, b, err = Uvarint(b[16:]); err != nil {
			return nil, nil, fmt.Errorf("version vector entry %d: %w", i, err)
		}
	}
	return v, b, v.Valid()
}
