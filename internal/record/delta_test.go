package record_test

import (
	"bytes"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// TestLaw_ADeltaSinceACursorMakesTheWhole: the server's log is the edits in one causal order. A replica that holds the state at any place of it, and
// whatever it wrote itself since, joins what changed after that place and has the state at the end.
func TestLaw_ADeltaSinceACursorMakesTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log, has := history(t)
		cursor := rapid.IntRange(0, len(log)).Draw(t, "cursor")
		end := record.Fold(key, log)
		at := map[causal.Dot]int{}
		for i := range log {
			at[log[i].Dot] = i
		}
		frags, infos := end.FragmentsSince(func(d causal.Dot) bool { return at[d] >= cursor })
		delta, err := record.FromParts(key, end.Seen, infos, frags)
		if err != nil {
			t.Fatalf("a delta is no state: %v", err)
		}
		here := record.Fold(key, log[:cursor])
		before := here.AppendBinary(nil)
		same(t, "the whole", record.JoinDelta(here, delta), end)
		if !bytes.Equal(here.AppendBinary(nil), before) {
			t.Fatal("the state joined into was changed")
		}
		own := record.Join(here, record.Fold(key, pick(log, has[0]))) // its own edits, acknowledged since, with what it had seen
		same(t, "the whole with its own", record.JoinDelta(own, delta), end)
		same(t, "the whole again", record.JoinDelta(record.JoinDelta(here, delta), delta), end)
	})
}

// installation draws the edits that one installation made on a few records, each after what it held then, with those of another that it had pulled.
func installation(t *rapid.T) (own, others []record.Edit) {
	states := map[record.Key]*record.State{}
	for i := range 3 {
		k := record.Key{Kind: key.Kind, ID: record.ID{15: byte(i + 1)}}
		states[k] = record.NewState(k)
	}
	counters := [2]uint64{}
	for step := range rapid.IntRange(1, 25).Draw(t, "steps") {
		k := record.Key{Kind: key.Kind, ID: record.ID{15: byte(rapid.IntRange(1, 3).Draw(t, "record"))}}
		who := rapid.IntRange(0, 3).Draw(t, "who") / 3 // mostly the installation itself
		counters[who]++
		e := record.Edit{
			ID: record.ID{1, 14: byte(who), 15: byte(step + 1)}, Key: k, Author: record.ID{9}, AuthoredAt: int64(step),
			Dot: causal.Dot{Replica: replicaID(who), Counter: counters[who]}, Writes: writes(t),
		}
		if who == 0 {
			e.Context = states[k].Seen
			own = append(own, e)
		} else {
			e.Context = states[k].Seen.Cut(replicaID(0), 0) // the other has seen nothing of what is to be cut off
			others = append(others, e)
		}
		states[k].Apply(&e)
	}
	return own, others
}

// TestLaw_RedotChangesNamesAndNothingElse: what stands above a fork goes on under fresh dots, in its order; its contexts name no counter above the fork,
// which may mean someone else's edits, and still name every predecessor. Nobody having interfered, the same values are current afterwards.
func TestLaw_RedotChangesNamesAndNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		own, others := installation(t)
		if len(own) == 0 {
			return
		}
		common := rapid.Uint64Range(0, uint64(len(own))).Draw(t, "common")
		f := record.Fork{Common: map[causal.ReplicaID]uint64{replicaID(0): common}, Known: map[causal.Dot]causal.Dot{}, Fresh: replicaID(9)}
		lost := own[common:]
		again := f.Redot(lost)
		if len(again) != len(lost) {
			t.Fatalf("%d edits became %d", len(lost), len(again))
		}
		for i := range again {
			if again[i].BodyHash() != lost[i].BodyHash() || again[i].Dot != (causal.Dot{Replica: replicaID(9), Counter: uint64(i) + 1}) {
				t.Fatalf("%v became %v", lost[i], again[i])
			}
			if err := again[i].Valid(); err != nil {
				t.Fatal(err)
			}
			if n := again[i].Context.Counter(replicaID(0)); n > common {
				t.Fatalf("%v names counter %d of the old replica, above the fork at %d", again[i], n, common)
			}
			for j := range i {
				if lost[i].Key == lost[j].Key && lost[i].Context.Covers(lost[j].Dot) != again[i].Context.Covers(again[j].Dot) {
					t.Fatalf("%v had seen %v: %v, and now not", lost[i].Dot, lost[j].Dot, lost[i].Context.Covers(lost[j].Dot))
				}
			}
		}
		for i := range 3 {
			k := record.Key{Kind: key.Kind, ID: record.ID{15: byte(i + 1)}}
			was := values(foldAll(k, slices.Concat(others, own)))
			is := values(foldAll(k, slices.Concat(others, own[:common], again)))
			if was != is {
				t.Fatalf("current before\n%s\nand after\n%s", was, is)
			}
		}
	})
}

// TestRedot_WhatTheServerKnowsUnderAnotherDotIsNamedSo: a predecessor that the server has under another dot is named by that, when all below it are edits of
// this fork too; otherwise naming it would claim to have seen edits that were never seen.
func TestRedot_WhatTheServerKnowsUnderAnotherDotIsNamedSo(t *testing.T) {
	old, clone := replicaID(0), replicaID(5)
	e := seedEdit()
	e.Dot, e.Context = causal.Dot{Replica: old, Counter: 3}, causal.Vector{{Replica: old, Counter: 2}}
	f := record.Fork{Common: map[causal.ReplicaID]uint64{old: 0}, Fresh: replicaID(9)}
	f.Known = map[causal.Dot]causal.Dot{{Replica: old, Counter: 1}: {Replica: clone, Counter: 1}, {Replica: old, Counter: 2}: {Replica: clone, Counter: 2}}
	if got := f.Redot([]record.Edit{e})[0].Context; got.Compare(causal.Vector{{Replica: clone, Counter: 2}}) != causal.Equal {
		t.Errorf("context %v, want the clone's two edits", got)
	}
	delete(f.Known, causal.Dot{Replica: old, Counter: 1}) // the clone's first edit is one that this installation never saw
	if got := f.Redot([]record.Edit{e})[0].Context; len(got) != 0 {
		t.Errorf("context %v claims an edit that was never seen", got)
	}
}

// foldAll folds those of the edits that are of k, in any order that their contexts allow.
func foldAll(k record.Key, edits []record.Edit) *record.State {
	edits = slices.DeleteFunc(slices.Clone(edits), func(e record.Edit) bool { return e.Key != k })
	slices.SortStableFunc(edits, func(a, b record.Edit) int { return int(a.AuthoredAt - b.AuthoredAt) }) // the step in which each was made
	return record.Fold(k, edits)
}

// values draws what is current, without the names of the edits.
func values(s *record.State) string {
	var b bytes.Buffer
	for _, c := range s.Values() {
		var all []string
		for _, x := range c.Siblings {
			all = append(all, string(x.Value))
			if x.Cleared {
				all[len(all)-1] = "cleared"
			}
		}
		slices.Sort(all)
		b.WriteString(string(c.Register.Path) + " ")
		b.WriteByte('0' + byte(c.Register.Field))
		for _, x := range all {
			b.WriteString(" " + x)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
