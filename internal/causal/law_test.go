package causal_test

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/causal"
)

func replicaID(i int) causal.ReplicaID { return causal.ReplicaID{0: byte(i + 1), 15: 7} }

// drawVector draws a vector over few replicas, so that two of them often share some.
func drawVector(t *rapid.T, label string) causal.Vector {
	var v causal.Vector
	for i := range 5 {
		if n := rapid.SampledFrom([]uint64{0, 0, 1, 2, 3, 200, 1 << 40}).Draw(t, label); n > 0 {
			v = append(v, causal.Dot{Replica: replicaID(i), Counter: n})
		}
	}
	if err := v.Valid(); err != nil {
		t.Fatalf("the generator made a vector that is not valid: %v", err)
	}
	return v
}

// counters is the slow, plain twin of a vector: what a map says.
func counters(v causal.Vector) map[causal.ReplicaID]uint64 {
	m := map[causal.ReplicaID]uint64{}
	for _, d := range v {
		m[d.Replica] = d.Counter
	}
	return m
}

func atMost(a, b map[causal.ReplicaID]uint64) bool {
	for r, n := range a {
		if b[r] < n {
			return false
		}
	}
	return true
}

func TestTwin_CompareIsPointwiseOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, w := drawVector(t, "v"), drawVector(t, "w")
		below, above := atMost(counters(v), counters(w)), atMost(counters(w), counters(v))
		want := map[[2]bool]causal.Order{
			{true, true}: causal.Equal, {true, false}: causal.Before, {false, true}: causal.After, {false, false}: causal.Concurrent,
		}[[2]bool{below, above}]
		if got := v.Compare(w); got != want {
			t.Fatalf("%v compared with %v: %v, want %v", v, w, got, want)
		}
		if v.Descends(w) != above {
			t.Fatalf("%v descends %v: %v", v, w, !above)
		}
	})
}

func TestLaw_CompareIsAPartialOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, v, w := drawVector(t, "u"), drawVector(t, "v"), drawVector(t, "w")
		if v.Compare(v) != causal.Equal {
			t.Fatal("not reflexive")
		}
		if v.Compare(w) == causal.Equal && !bytes.Equal(v.AppendBinary(nil), w.AppendBinary(nil)) {
			t.Fatal("not antisymmetric")
		}
		if u.Descends(v) && v.Descends(w) && !u.Descends(w) {
			t.Fatal("not transitive")
		}
		reversed := map[causal.Order]causal.Order{
			causal.Equal: causal.Equal, causal.Before: causal.After, causal.After: causal.Before, causal.Concurrent: causal.Concurrent,
		}
		if w.Compare(v) != reversed[v.Compare(w)] {
			t.Fatal("not the same seen from the other side")
		}
	})
}

func TestLaw_JoinIsTheLeastUpperBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, v, w := drawVector(t, "u"), drawVector(t, "v"), drawVector(t, "w")
		join := v.Join(w)
		if err := join.Valid(); err != nil {
			t.Fatal(err)
		}
		if !join.Descends(v) || !join.Descends(w) {
			t.Fatalf("%v is no upper bound of %v and %v", join, v, w)
		}
		if u.Descends(v) && u.Descends(w) && !u.Descends(join) {
			t.Fatalf("%v is an upper bound below %v", u, join)
		}
		for _, d := range join { // one less in any place is none: that it is least, whatever u was drawn
			less := join.Cut(d.Replica, d.Counter-1)
			if less.Descends(v) && less.Descends(w) {
				t.Fatalf("%v is an upper bound below %v", less, join)
			}
		}
		if w.Join(v).Compare(join) != causal.Equal || v.Join(v).Compare(v) != causal.Equal || u.Join(v).Join(w).Compare(u.Join(join)) != causal.Equal {
			t.Fatal("not commutative, idempotent or associative")
		}
	})
}

func TestLaw_WithAndCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := drawVector(t, "v")
		before := v.AppendBinary(nil)
		d := causal.Dot{Replica: replicaID(rapid.IntRange(0, 5).Draw(t, "replica")), Counter: rapid.Uint64Range(0, 4).Draw(t, "counter")}
		with, cut := v.With(d), v.Cut(d.Replica, d.Counter)
		if with.Valid() != nil || cut.Valid() != nil {
			t.Fatalf("with %v: %v, cut: %v", d, with, cut)
		}
		if !with.Covers(d) || !with.Descends(v) || with.Counter(d.Replica) != max(v.Counter(d.Replica), d.Counter) {
			t.Fatalf("%v with %v is %v", v, d, with)
		}
		if !v.Descends(cut) || cut.Counter(d.Replica) != min(v.Counter(d.Replica), d.Counter) {
			t.Fatalf("%v cut at %v is %v", v, d, cut)
		}
		for r, n := range counters(v) {
			if r != d.Replica && (with.Counter(r) != n || cut.Counter(r) != n) {
				t.Fatalf("%v changed %v", d, r)
			}
		}
		if i := v.Index(d.Replica); (i >= 0) != (v.Counter(d.Replica) > 0) || i >= 0 && v[i].Replica != d.Replica {
			t.Fatalf("index of %v in %v is %d", d.Replica, v, i)
		}
		if v.Covers(d) != (d.Counter <= v.Counter(d.Replica)) {
			t.Fatalf("%v covers %v: %v", v, d, v.Covers(d))
		}
		if !bytes.Equal(before, v.AppendBinary(nil)) {
			t.Fatal("the vector given was changed")
		}
	})
}

func TestLaw_AVectorHasOneForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := drawVector(t, "v")
		rest := rapid.SliceOfN(rapid.Byte(), 0, 3).Draw(t, "rest")
		got, left, err := causal.CutVector(append(v.AppendBinary(nil), rest...))
		if err != nil || got.Compare(v) != causal.Equal || len(got) != len(v) || !bytes.Equal(left, rest) {
			t.Fatalf("%v is read as %v with %x left (%v)", v, got, left, err)
		}
	})
}

func TestVector_HasTwoInvariants(t *testing.T) {
	a, b := replicaID(0), replicaID(1)
	for name, v := range map[string]causal.Vector{
		"out of order":    {{b, 1}, {a, 1}},
		"a replica twice": {{a, 1}, {a, 2}},
		"a zero counter":  {{a, 0}},
		"a zero replica":  {{causal.ReplicaID{}, 1}},
	} {
		if v.Valid() == nil {
			t.Errorf("%s: valid", name)
		}
		if _, _, err := causal.CutVector(v.AppendBinary(nil)); err == nil {
			t.Errorf("%s: read", name)
		}
	}
}

// drawRegister draws the values that a replica holds which has seen seen: dots of it, ascending.
func drawRegister(t *rapid.T, seen causal.Vector) causal.Register {
	var r causal.Register
	for _, d := range seen {
		for c := uint64(1); c <= min(d.Counter, 3); c++ {
			if rapid.Bool().Draw(t, "holds") {
				r = append(r, sibling(causal.Dot{Replica: d.Replica, Counter: c}))
			}
		}
	}
	return r
}

// sibling is what the edit with this dot wrote: the same wherever it is held.
func sibling(d causal.Dot) causal.Sibling {
	if d.Counter == 2 {
		return causal.Sibling{Dot: d, Cleared: true}
	}
	return causal.Sibling{Dot: d, Value: []byte{byte(d.Counter)}}
}

// TestTwin_RegisterJoin holds the join, which walks both registers in step, against the definition, dot by dot: a value stays when both hold it, or when
// the side that lacks it has not seen it.
func TestTwin_RegisterJoin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		aSeen, bSeen := drawVector(t, "a"), drawVector(t, "b")
		a, b := drawRegister(t, aSeen), drawRegister(t, bSeen)
		var want causal.Register
		for i := range 5 {
			for c := uint64(1); c <= 3; c++ {
				d := causal.Dot{Replica: replicaID(i), Counter: c}
				inA, inB := holds(a, d), holds(b, d)
				if inA && inB || inA && !bSeen.Covers(d) || inB && !aSeen.Covers(d) {
					want = append(want, sibling(d))
				}
			}
		}
		got := a.Join(aSeen, b, bSeen)
		if !same(got, want) {
			t.Fatalf("%v seen %v joined with %v seen %v:\n got %v\nwant %v", a, aSeen, b, bSeen, got, want)
		}
		if !same(b.Join(bSeen, a, aSeen), want) || !same(a.Join(aSeen, a, aSeen), a) {
			t.Fatal("not commutative or idempotent")
		}
	})
}

// TestTwin_RegisterWrite: after a write the register holds what the writer had not seen, and the new value, in order.
func TestTwin_RegisterWrite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		have, seen := drawVector(t, "have"), drawVector(t, "seen")
		r := drawRegister(t, have)
		s := causal.Sibling{Dot: causal.Dot{Replica: replicaID(rapid.IntRange(0, 5).Draw(t, "writer")), Counter: 1 << 50}, Value: []byte("new")}
		got := r.Write(s, seen)
		n := 0
		for _, old := range r {
			if !seen.Covers(old.Dot) {
				n++
				if !holds(got, old.Dot) {
					t.Fatalf("%v was not seen and is gone", old.Dot)
				}
			}
		}
		if len(got) != n+1 || !holds(got, s.Dot) {
			t.Fatalf("%v after a write that saw %v: %v", r, seen, got)
		}
		for i := 1; i < len(got); i++ {
			if got[i-1].Dot.Compare(got[i].Dot) >= 0 {
				t.Fatalf("out of order: %v", got)
			}
		}
	})
}

func TestRegister_OnlyDifferentValuesAreAConflict(t *testing.T) {
	one, other := causal.Dot{Replica: replicaID(0), Counter: 1}, causal.Dot{Replica: replicaID(1), Counter: 1}
	for _, row := range []struct {
		name string
		r    causal.Register
		want bool
	}{
		{"none", nil, false},
		{"one", causal.Register{{Dot: one, Value: []byte("a")}}, false},
		{"two that are equal", causal.Register{{Dot: one, Value: []byte("a")}, {Dot: other, Value: []byte("a")}}, false},
		{"two that differ", causal.Register{{Dot: one, Value: []byte("a")}, {Dot: other, Value: []byte("b")}}, true},
		{"cleared twice", causal.Register{{Dot: one, Cleared: true}, {Dot: other, Cleared: true}}, false},
		{"cleared and empty", causal.Register{{Dot: one, Cleared: true}, {Dot: other}}, true},
	} {
		if got := row.r.InConflict(); got != row.want {
			t.Errorf("%s: %v", row.name, got)
		}
	}
}

func holds(r causal.Register, d causal.Dot) bool {
	for _, s := range r {
		if s.Dot == d {
			return true
		}
	}
	return false
}

func same(a, b causal.Register) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i].Dot != b[i].Dot || !a[i].SameValue(b[i]) {
			return false
		}
	}
	return true
}
