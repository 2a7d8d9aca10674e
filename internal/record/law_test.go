package record_test

import (
	"bytes"
	"fmt"
	"slices"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"pgregory.net/rapid"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

var key = record.Key{Kind: 4, ID: record.ID{15: 1}}

func replicaID(i int) causal.ReplicaID { return causal.ReplicaID{0: byte(i + 1)} }

// history draws edits as several replicas make them: each edits what it has seen, and now and then takes in what another has. It returns all edits in
// a causal order, and for each replica the set of edits it ends with (by index), which is causally closed.
func history(t *rapid.T) ([]record.Edit, [][]int) {
	n := rapid.IntRange(2, 4).Draw(t, "replicas")
	states := make([]*record.State, n)
	counters := make([]uint64, n)
	has := make([][]int, n)
	for i := range states {
		states[i] = record.NewState(key)
	}
	var edits []record.Edit
	for step := range rapid.IntRange(1, 25).Draw(t, "steps") {
		r := rapid.IntRange(0, n-1).Draw(t, "replica")
		if o := rapid.IntRange(0, 2*n).Draw(t, "other"); o < n && o != r {
			states[r] = record.Join(states[r], states[o])
			has[r] = union(has[r], has[o])
			continue
		}
		// A stale read: the context may lag behind what the replica holds, but names no more than it holds.
		context := states[r].Seen
		if len(context) > 0 && rapid.IntRange(0, 4).Draw(t, "stale") == 0 {
			d := context[rapid.IntRange(0, len(context)-1).Draw(t, "of")]
			context = context.Cut(d.Replica, d.Counter-1)
		}
		counters[r]++
		e := record.Edit{
			ID: record.ID{0: 1, 14: byte(step >> 8), 15: byte(step + 1)}, Key: key, Author: record.ID{9}, AuthoredAt: int64(step),
			Dot: causal.Dot{Replica: replicaID(r), Counter: counters[r]}, Context: context, Writes: writes(t),
		}
		if err := e.Valid(); err != nil {
			t.Fatalf("the generator made an edit that is not valid: %v", err)
		}
		has[r] = append(has[r], len(edits))
		edits = append(edits, e)
		states[r].Apply(&edits[len(edits)-1])
	}
	for i := range has {
		slices.Sort(has[i])
	}
	return edits, has
}

func writes(t *rapid.T) []record.Write {
	paths := []record.Path{"", record.Path("").Child(7, record.ID{1}), record.Path("").Child(7, record.ID{2}), record.Path("").Child(7, record.ID{1}).Child(9, record.ID{3})}
	var out []record.Write
	for _, p := range paths {
		if rapid.IntRange(0, 2).Draw(t, "path") > 0 && (p != "" || len(paths) > 0) {
			continue
		}
		w := record.Write{Path: p}
		for f := uint32(2); f < 5; f++ {
			switch rapid.IntRange(0, 3).Draw(t, "field") {
			case 0:
				w.Clear = append(w.Clear, f)
			case 1:
				w.Set = protowire.AppendTag(w.Set, protowire.Number(f), protowire.VarintType)
				w.Set = protowire.AppendVarint(w.Set, uint64(rapid.IntRange(1, 3).Draw(t, "value")))
			}
		}
		if len(w.Set)+len(w.Clear) > 0 {
			out = append(out, w)
		}
	}
	if len(out) == 0 {
		out = append(out, record.Write{Set: []byte{2 << 3, 1}})
	}
	slices.SortFunc(out, func(a, b record.Write) int { return bytes.Compare([]byte(a.Path), []byte(b.Path)) })
	return out
}

func union(a, b []int) []int {
	out := append(slices.Clone(a), b...)
	slices.Sort(out)
	return slices.Compact(out)
}

func pick(edits []record.Edit, which []int) []record.Edit {
	out := make([]record.Edit, 0, len(which))
	for _, i := range which {
		out = append(out, edits[i])
	}
	return out
}

// shuffleCausally draws another order in which the edits of a closed set may be applied.
func shuffleCausally(t *rapid.T, edits []record.Edit) []record.Edit {
	left := slices.Clone(edits)
	state := record.NewState(key)
	var out []record.Edit
	for len(left) > 0 {
		var ready []int
		for i := range left {
			e := &left[i]
			if state.Covers(e.Context) && state.Seen.Counter(e.Dot.Replica) == lastBefore(edits, e.Dot) {
				ready = append(ready, i)
			}
		}
		if len(ready) == 0 {
			t.Fatal("the set is not causally closed")
		}
		i := rapid.SampledFrom(ready).Draw(t, "next")
		out = append(out, left[i])
		state.Apply(&left[i])
		left = slices.Delete(left, i, i+1)
	}
	return out
}

func lastBefore(edits []record.Edit, d causal.Dot) uint64 {
	last := uint64(0)
	for i := range edits {
		if o := edits[i].Dot; o.Replica == d.Replica && o.Counter < d.Counter {
			last = max(last, o.Counter)
		}
	}
	return last
}

func TestLaw_JoinEqualsFoldOfUnion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits, has := history(t)
		for a := range has {
			for b := range has {
				want := record.Fold(key, pick(edits, union(has[a], has[b]))).AppendBinary(nil)
				got := record.Join(record.Fold(key, pick(edits, has[a])), record.Fold(key, pick(edits, has[b]))).AppendBinary(nil)
				if !bytes.Equal(got, want) {
					t.Fatalf("join of %v and %v differs from the fold of their union\n got %x\nwant %x", has[a], has[b], got, want)
				}
			}
		}
	})
}

func TestLaw_FoldIsTheSameInAnyCausalOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits, has := history(t)
		for _, set := range has {
			one := record.Fold(key, pick(edits, set))
			two := record.Fold(key, shuffleCausally(t, pick(edits, set)))
			if one.Digest() != two.Digest() {
				t.Fatalf("two orders of %v differ:\n%v\n%v", set, one.Fragments(), two.Fragments())
			}
		}
	})
}

func TestLaw_JoinIsASemilattice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits, has := history(t)
		s := make([]*record.State, len(has))
		for i := range has {
			s[i] = record.Fold(key, pick(edits, has[i]))
		}
		a, b, c := s[0], s[1], s[len(s)-1]
		same(t, "commutative", record.Join(a, b), record.Join(b, a))
		same(t, "associative", record.Join(record.Join(a, b), c), record.Join(a, record.Join(b, c)))
		same(t, "idempotent", record.Join(a, a), a)
		same(t, "absorbing", record.Join(record.Join(a, b), b), record.Join(a, b))
	})
}

func same(t *rapid.T, law string, a, b *record.State) {
	t.Helper()
	if !bytes.Equal(a.AppendBinary(nil), b.AppendBinary(nil)) {
		t.Fatalf("not %s:\n%v\n%v", law, a.Fragments(), b.Fragments())
	}
}

// TestTwin_SurvivorsByDefinition holds the fold against the definition, slow and obvious: a write is current unless another edit of the set that
// saw it wrote the same register.
func TestTwin_SurvivorsByDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits, has := history(t)
		for _, set := range has {
			in := pick(edits, set)
			want := map[string]bool{}
			for i := range in {
				for r, v := range registersOf(in[i]) {
					if !rewritten(in, in[i].Dot, r) {
						want[fmt.Sprintf("%x.%d %v %s", r.Path, r.Field, in[i].Dot, v)] = true
					}
				}
			}
			got := map[string]bool{}
			for _, f := range record.Fold(key, in).Fragments() {
				for r, v := range registersOf(record.Edit{Writes: []record.Write{{Path: f.Path, Set: f.Set, Clear: f.Clear}}}) {
					got[fmt.Sprintf("%x.%d %v %s", r.Path, r.Field, f.Dot, v)] = true
				}
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("set %v\n got %v\nwant %v", set, got, want)
			}
		}
	})
}

func rewritten(in []record.Edit, d causal.Dot, r record.Register) bool {
	for i := range in {
		if _, writes := registersOf(in[i])[r]; writes && in[i].Dot != d && in[i].Context.Covers(d) {
			return true
		}
	}
	return false
}

// registersOf reads the writes of an edit with the protobuf library's own reader.
func registersOf(e record.Edit) map[record.Register]string {
	out := map[record.Register]string{}
	for _, w := range e.Writes {
		for set := w.Set; len(set) > 0; {
			num, typ, n := protowire.ConsumeTag(set)
			m := protowire.ConsumeFieldValue(num, typ, set[n:])
			out[record.Register{Path: w.Path, Field: uint32(num)}] = fmt.Sprintf("%x", set[:n+m])
			set = set[n+m:]
		}
		for _, f := range w.Clear {
			out[record.Register{Path: w.Path, Field: f}] = "cleared"
		}
	}
	return out
}

func TestCodec_StateRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits, has := history(t)
		b := record.Fold(key, pick(edits, has[0])).AppendBinary(nil)
		s, err := record.ParseState(b)
		if err != nil {
			t.Fatalf("parse of what was written: %v", err)
		}
		if again := s.AppendBinary(nil); !bytes.Equal(again, b) {
			t.Fatalf("round trip differs:\n%x\n%x", b, again)
		}
		for i := range edits {
			eb := edits[i].AppendBinary(nil)
			e, err := record.ParseEdit(eb)
			if err != nil {
				t.Fatalf("parse of an edit written: %v", err)
			}
			if again := e.AppendBinary(nil); !bytes.Equal(again, eb) {
				t.Fatalf("edit round trip differs:\n%x\n%x", eb, again)
			}
		}
	})
}
