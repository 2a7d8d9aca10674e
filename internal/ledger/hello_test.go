package ledger_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
)

// refuse makes the tablet believe that its next exchange was refused for this reason.
func (t *tablet) refuse(reason faultv1.Reason) {
	t.w.Helper()
	t.r.Poll()
	s := t.r.Next()
	if err := t.r.Refused(s, fault.New(reason, "", "", "")); err != nil {
		t.w.Fatalf("refused with %v: %v", reason, err)
	}
}

// ownRows counts the edits that the tablet keeps.
func (t *tablet) ownRows() int {
	n := 0
	for k := range t.rows {
		if k[0] == 'e' {
			n++
		}
	}
	return n
}

// backUp notes a backup of everything.
func (w *world) backUp() {
	w.Helper()
	seq, err := w.ledger.Sequence(w.Context())
	if err == nil {
		err = w.ledger.NoteBackup(w.Context(), seq, time.UnixMilli(1))
	}
	if err != nil {
		w.Fatal(err)
	}
}

// TestHello_AVerdictWhoseAnswerWasLostIsStillLearnt: the answer to a page is lost, and before it is asked for again the tablet has to say hello. It hears
// all the same that the edit is held, and keeps it no longer than others.
func TestHello_AVerdictWhoseAnswerWasLostIsStillLearnt(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	w.denied[author] = true
	a.edit(k, note("12"))
	if _, err := a.step(true); err != nil {
		t.Fatal(err)
	}
	a.refuse(faultv1.Reason_REASON_RESUME_FROM)
	a.sync()
	if len(a.r.Held(k)) != 1 {
		t.Errorf("the tablet does not know that its edit is held: %s", a.draw())
	}
	w.backUp()
	a.sync()
	if n := a.ownRows(); n != 0 {
		t.Errorf("%d edits are kept though a backup holds them", n)
	}
}

// TestHello_AForkLetsGoOfWhatBothChainsHold: a clone pushed an edit that this tablet does not know to be acknowledged. It lies below the fork, and is kept
// until a backup holds it, not for ever.
func TestHello_AForkLetsGoOfWhatBothChainsHold(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	a.edit(k, note("12"))
	b := a.clone()
	a.edit(k, note("13"))
	a.sync()
	b.edit(k, note("14"))
	b.sync()
	w.backUp()
	b.sync()
	if n := b.ownRows(); n != 0 {
		t.Errorf("%d edits are kept though a backup holds them", n)
	}
	b.restart()
	if got := b.r.View(k).Conflicts(); len(got) != 1 || len(got[0].Siblings) != 2 {
		t.Errorf("want both values of the fork: %s", b.draw())
	}
}

// TestHello_IsWithinTheLimitsOfItsMessage: however much a tablet keeps, its hello is one that the server's schema takes.
func TestHello_IsWithinTheLimitsOfItsMessage(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.edit(w.vial(), note("10"))
	a.sync()
	w.backUp()
	a.sync() // lets go of the first, so that a hello begins with the point before the others
	for range 4200 {
		a.edit(w.vial(), note("11"))
	}
	a.sync()
	a.refuse(faultv1.Reason_REASON_RESUME_FROM)
	hello := a.r.Next().Hello
	if err := protovalidate.Validate(hello); err != nil || len(hello.GetChain()) != 4096 {
		t.Errorf("%d points (%v)", len(hello.GetChain()), err)
	}
	a.sync()
	if n := a.r.Unsent(); n != 0 {
		t.Errorf("%d unsent", n)
	}
}

// TestHello_MendsABadCursor: a tablet whose cursor this server did not make pulls from the beginning, by itself.
func TestHello_MendsABadCursor(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	b.device = w.id() // enrolled anew: its cursor was made for what it was before
	for r, d := range w.owner {
		if r == b.r.ID() && d != b.device {
			w.owner[r] = b.device
		}
	}
	a.edit(k, note("12"))
	a.sync()
	b.sync()
	sameDigest(t, a, b)
}

// TestHello_FindsAFilePutBackByHand: also when hello is the first call after the log was put back, the server goes on as a new replica.
func TestHello_FindsAFilePutBackByHand(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.edit(w.vial(), note("11"))
	a.sync()
	putBack := w.backup()
	epoch := w.epoch(a)
	a.edit(w.vial(), note("12"))
	a.sync()
	putBack()
	a.refuse(faultv1.Reason_REASON_RESUME_FROM)
	if _, err := a.step(false); err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(epoch, w.epoch(a)) {
		t.Error("the epoch is the same")
	}
	a.sync()
}

func (w *world) epoch(t *tablet) []byte {
	w.Helper()
	id := t.r.ID()
	m, err := w.ledger.Hello(w.Context(), t.caller(), &syncv1.HelloRequest{Replica: id[:]})
	if err != nil {
		w.Fatal(err)
	}
	return m.GetEpoch()
}

// TestEdit_TooLargeIsRefusedWhereItIsMade: an edit that the server could not store is an error for the person who makes it, not a page that never gets
// through.
func TestEdit_TooLargeIsRefusedWhereItIsMade(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	writes := notes(w, k, 40, strings.Repeat("x", 1900))
	_, _, err := a.r.Edit(draft(w, k, writes))
	var refusal *fault.Error
	if !errors.As(err, &refusal) || refusal.Reason != faultv1.Reason_REASON_NOT_CANONICAL {
		t.Errorf("an edit of 76,000 bytes: %v", err)
	}
	if _, _, err := a.r.Edit(draft(w, k, writes[:25])); err != nil {
		t.Errorf("an edit of 47,500 bytes: %v", err)
	}
}

// TestHeld_ARecordThatIsFullDoesNotBlockWhatComesAfter: edits beyond what a record can hold are held; the page that brings them gets through.
func TestHeld_ARecordThatIsFullDoesNotBlockWhatComesAfter(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	full, after := w.vial(), w.vial()
	for range 3 {
		e, ch, err := a.r.Edit(draft(w, full, notes(w, full, 14, strings.Repeat("x", 1900))))
		if err != nil {
			t.Fatalf("%v: %v", e.Dot, err)
		}
		a.store(ch)
	}
	a.edit(after, note("11"))
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	held := a.r.Held(full)
	if len(held) != 1 || held[0].Reason != faultv1.Reason_REASON_RECORD_FULL || b.r.View(after).Empty() {
		t.Errorf("%d held", len(held))
	}
}
