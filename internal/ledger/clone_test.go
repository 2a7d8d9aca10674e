package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/ledger"
)

// TestFork_CloneWithSmallPagesMissesNothing: a clone that comes with a page which the server had is answered before its fork is found. It must not
// be taken to know what the other copy wrote after that page.
func TestFork_CloneWithSmallPagesMissesNothing(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.edit(w.vial(), note("11"))
	a.sync()
	a.edit(w.vial(), note("12"))
	b := a.clone()
	a.edit(w.vial(), note("13"))
	b.edit(w.vial(), note("14"))
	b.edit(w.vial(), note("15"))
	b.r.Limits.PageEdits = 1
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if n := len(b.r.Keys(0)); n != 5 {
		t.Errorf("the clone has %d records, want 5", n)
	}
}

// TestHeld_ReleasedEditStaysVisibleUntilItsRowComes: the answer to a held edit was lost, and it was released meanwhile. Between the answer that says so
// and the one that brings the record, the tablet shows what it made.
func TestHeld_ReleasedEditStaysVisibleUntilItsRowComes(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	a.sync()
	k := w.vial()
	w.denied[author] = true
	e := a.edit(k, note("11"))
	if _, err := a.step(true); err != nil {
		t.Fatal(err)
	}
	w.denied[author] = false
	b.edit(w.vial(), note("12"))
	b.sync()
	if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: e.Dot}); err != nil {
		t.Fatal(err)
	}
	a.r.Limits.Rows = 1
	for more := true; more; {
		var err error
		if more, err = a.step(false); err != nil {
			t.Fatal(err)
		}
		if a.r.View(k).Empty() {
			t.Fatalf("the released edit is not shown; held: %v", a.r.Held(k))
		}
	}
	b.sync()
	sameDigest(t, a, b)
}

// TestFork_CloneKeepsWhatTheOtherCopySent: both copies hold an edit that one of them sent; the other finds its fork after the first answer that told it
// so, and must not lose sight of the values when the record changes again.
func TestFork_CloneKeepsWhatTheOtherCopySent(t *testing.T) {
	w := newWorld(t)
	a, c := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	c.sync()
	a.edit(w.vial(), note("12"))
	a.edit(k, &chartv1.Vial{ClinicId: proto.String(w.id().String())})
	b := a.clone()
	b.r.Limits.PageEdits = 1
	a.sync()
	if _, err := b.step(false); err != nil {
		t.Fatal(err)
	}
	a.edit(w.vial(), note("13"))
	a.sync()
	c.edit(k, note("14"))
	c.sync()
	for _, x := range []*tablet{b, a, c} {
		x.sync()
	}
	sameDigest(t, a, b, c)
}
