package ledger_test

import "testing"

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
