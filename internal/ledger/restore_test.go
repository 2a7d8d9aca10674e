package ledger_test

import (
	"io"
	"os"
	"testing"

	"needlebook/internal/causal"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// backup copies the server's store aside; it returns a function that puts it back, as an operator does by hand, without telling the ledger.
func (w *world) backup() (putBack func()) {
	w.Helper()
	kept := w.path + ".kept"
	w.close()
	copyFile(w, w.path, kept)
	w.open()
	return func() {
		w.Helper()
		w.close()
		copyFile(w, kept, w.path)
		w.open()
	}
}

func copyFile(w *world, from, to string) {
	w.Helper()
	in, err := os.Open(from)
	if err != nil {
		w.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		w.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		w.Fatal(err)
	}
	if err := out.Close(); err != nil {
		w.Fatal(err)
	}
}

// TestRestore_WhatOneTabletAloneWroteStays: after a restore a tablet replaces its states by the server's, also those that nobody but it ever changed.
func TestRestore_WhatOneTabletAloneWroteStays(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	before := a.r.Digest()
	if err := w.ledger.NewEpoch(t.Context()); err != nil {
		t.Fatal(err)
	}
	a.sync()
	if a.r.Digest() != before || len(a.r.Recovered()) != 0 {
		t.Errorf("%d values became recovered ones: %s", len(a.r.Recovered()), a.draw())
	}
}

// TestRestore_LosesNothingThatATabletKeeps: the server is put back behind what two tablets handed in; they offer it again, the server goes on as another
// replica, and all agree.
func TestRestore_LosesNothingThatATabletKeeps(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k, l := w.vial(), w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	putBack := w.backup()
	b.edit(k, note("12"))
	b.sync()
	a.sync()
	a.edit(k, note("13"))
	a.edit(l, note("20"))
	a.sync()
	b.sync()
	before := a.r.Digest()
	putBack()
	a.sync() // brings what stands on an edit of b's that the server lost: it waits
	b.sync()
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	if a.r.Digest() != before {
		t.Errorf("not what it was: %s", a.draw())
	}
	for _, x := range []*tablet{a, b} {
		if len(x.r.Recovered()) != 0 || x.r.Unsent() != 0 {
			t.Errorf("%d recovered, %d unsent", len(x.r.Recovered()), x.r.Unsent())
		}
	}
}

// TestRestore_ByHandIsFoundOutInTheMiddleOfAPull: a record was left out of an answer because it changed later; the log is put back to before that change.
// The cursor's place is in the log still, but the record's change is now before it.
func TestRestore_ByHandIsFoundOutInTheMiddleOfAPull(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	early, late := w.vial(), w.vial()
	a.edit(w.vial(), note("10"))
	a.edit(early, note("11"))
	a.edit(late, note("12"))
	a.sync()
	putBack := w.backup()
	a.edit(early, note("13"))
	a.sync()
	b.r.Limits.Rows = 2
	for range 2 {
		if _, err := b.step(false); err != nil {
			t.Fatal(err)
		}
	}
	putBack()
	b.sync()
	if b.r.View(early).Empty() {
		t.Errorf("the record is missing: %s", b.draw())
	}
}

// TestRestore_TheServerGoesOnAsAnotherReplica: its counters may have been used by what was lost.
func TestRestore_TheServerGoesOnAsAnotherReplica(t *testing.T) {
	w := newWorld(t)
	k := w.vial()
	replicas := map[causal.ReplicaID]bool{}
	for range 2 {
		d := ledger.Draft{ID: w.id(), Key: k, Author: author, AuthoredAt: 1, Writes: w.split(k, note("11"))}
		st, err := w.ledger.Edit(t.Context(), org, d)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range st.Siblings(shortNumber) {
			replicas[s.Dot.Replica] = true
		}
		if err := w.ledger.NewEpoch(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if len(replicas) != 2 {
		t.Errorf("%d replicas, want one before and one after", len(replicas))
	}
}

// TestRestore_ServerEditsBeforeItIsFoundOut: the log was put back by hand, and someone edits through the server's API before any tablet comes that could
// tell. A tablet that saw what the server wrote before must not be taken to have seen that.
func TestRestore_ServerEditsBeforeItIsFoundOut(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("10"))
	a.sync()
	edit := func(text string) {
		rec, err := w.ledger.Read(t.Context(), org, k)
		if err != nil {
			t.Fatal(err)
		}
		d := ledger.Draft{ID: w.id(), Key: k, Context: rec.State.Seen, Author: author, AuthoredAt: 2, Writes: w.split(k, note(text)), Origin: record.FromServer}
		if _, err := w.ledger.Edit(t.Context(), org, d); err != nil {
			t.Fatal(err)
		}
	}
	edit("09")
	a.sync()
	putBack := w.backup()
	edit("11")
	a.sync()
	a.edit(k, note("13"))
	putBack()
	edit("12")
	a.sync()
	rec, err := w.ledger.Read(t.Context(), org, k)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range rec.State.Values() {
		for _, x := range c.Siblings {
			if string(x.Value) == string(w.split(k, note("12"))[0].Set) {
				return
			}
		}
	}
	t.Errorf("what the server wrote is superseded by one who had not seen it: %s", a.draw())
}
