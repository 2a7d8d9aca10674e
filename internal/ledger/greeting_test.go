package ledger_test

import (
	"testing"

	"needlebook/internal/causal"
)

func TestHello_LateAnswerIsLeftAside(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	s := a.r.Next()
	late, err := w.ledger.Hello(t.Context(), a.caller(), s.Hello)
	if err != nil {
		t.Fatal(err)
	}
	a.sync()
	a.edit(w.vial(), note("11"))
	a.sync()
	if ch := a.r.ReceiveHello(s, late, causal.ReplicaID(w.id())); !ch.Empty() || a.r.Unsent() != 0 {
		t.Errorf("the late answer changes %d rows; %d edits unsent", len(ch.Put), a.r.Unsent())
	}
}

// TestHello_RestartBetweenTwoGreetings: a tablet with two incarnations learns from the answers to both what a restore lost of each. It restarts after
// the first.
func TestHello_RestartBetweenTwoGreetings(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.edit(w.vial(), note("10"))
	a.sync()
	putBack := w.backup()
	lost := w.vial()
	a.edit(lost, note("11"))
	a.sync()
	b := a.clone()
	b.edit(w.vial(), note("12"))
	a.edit(w.vial(), note("13"))
	b.sync()
	a.sync()
	a.edit(w.vial(), note("14"))
	a.sync()
	putBack()
	a.r.Poll()
	for range 2 {
		if _, err := a.step(false); err != nil {
			t.Fatal(err)
		}
	}
	a.restart()
	a.sync()
	if _, err := w.ledger.Read(t.Context(), org, lost); err != nil {
		t.Errorf("the record is not offered again: %v", err)
	}
}
