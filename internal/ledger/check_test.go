package ledger_test

import (
	"testing"

	"needlebook/internal/ledger"
)

// TestCheck_CountsWhatIsHeldNow: an edit that waits counts until its wait is over, one that is held until someone judged it.
func TestCheck_CountsWhatIsHeldNow(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	held := func(when string, want int) {
		t.Helper()
		if r, err := w.ledger.Check(t.Context(), nil); err != nil || r.Held != want {
			t.Errorf("%s: %d held, %v; want %d", when, r.Held, err, want)
		}
	}
	k := w.vial()
	a.edit(k, note("11"))
	b.waitsFor(a, k, w.draw(), author)
	held("waiting", 1)
	a.sync()
	held("the wait is over", 0)

	denied := w.id()
	w.denied[denied] = true
	other := w.vial()
	b.as(denied, other, note("12"))
	b.sync()
	held("held", 1)
	judged := ledger.Judgement{Org: org, By: author, Key: other, Dot: b.r.Held(other)[0].Edit.Dot}
	if _, err := w.ledger.Release(t.Context(), judged); err != nil {
		t.Fatal(err)
	}
	held("released", 0)
}
