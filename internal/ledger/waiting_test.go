package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// waitsFor makes, on t, an edit of k by someone who saw the first edit of from, and sends it before that has come.
func (t *tablet) waitsFor(from *tablet, k record.Key, m proto.Message, by record.ID) record.Edit {
	t.w.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		t.w.Fatal(err)
	}
	writes, err := t.w.schema.Split(k.Kind, b)
	if err != nil {
		t.w.Fatal(err)
	}
	e, ch, err := t.r.Edit(replica.Draft{
		ID: t.w.id(), Key: k, Context: causal.Vector{{Replica: from.r.ID(), Counter: 1}}, Author: by, AuthoredAt: 2, Writes: writes,
	})
	if err != nil {
		t.w.Fatal(err)
	}
	t.store(ch)
	t.sync()
	if held := t.r.Held(k); len(held) != 1 || held[0].Status != syncv1.HeldStatus_HELD_STATUS_WAITING {
		t.w.Fatalf("the edit does not wait: %v", held)
	}
	return e
}

func (w *world) draw() *chartv1.Vial {
	amount := &chartv1.DrawAmount{SessionId: w.id().String(), VolumeNanoliters: 100_000, DoseMilliunits: 4000}
	return &chartv1.Vial{Draws: []*chartv1.Draw{{Id: w.id().String(), Amount: amount}}}
}

func TestWaiting_EditThatBeginsAnElementTakesEffectWhenItsWaitIsOver(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	b.waitsFor(a, k, w.draw(), author)
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if len(a.r.View(k).Values()) != 2 {
		t.Errorf("the draw is not there: %s %v", a.draw(), a.r.Held(k))
	}
	w.check()
}

func TestWaiting_EditThatIsHeldWhenItsWaitIsOverHasNoEffect(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	other := w.id()
	b.waitsFor(a, k, note("12"), other)
	w.denied[other] = true
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if held := a.r.Held(k); len(held) != 1 || held[0].Status != syncv1.HeldStatus_HELD_STATUS_HELD {
		t.Errorf("the edit is not held: %v", held)
	}
	w.check()
}

func TestHeld_ElementIsReleasedThoughOthersWroteIntoIt(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	w.denied[author] = true
	drawn := w.draw()
	first := a.edit(k, drawn)
	drawn.Draws[0].Amount.DoseMilliunits = 5000
	drawn.Draws[0].Void = &recordv1.Void{Reason: "spilt", By: author.String(), At: &timestamppb.Timestamp{Seconds: 1}}
	a.edit(k, drawn)
	a.sync()
	w.denied[author] = false
	if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: first.Dot}); err != nil {
		t.Fatal(err)
	}
	for _, h := range a.r.Held(k)[1:] {
		if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: h.Edit.Dot}); err != nil {
			t.Fatal(err)
		}
	}
	a.sync()
	if len(a.r.View(k).Values()) != 3 {
		t.Errorf("the draw is not there as it was written last: %s %v", a.draw(), a.r.Held(k))
	}
}

func TestWaiting_EditAfterOneThatTookEffectMeanwhileHidesNothing(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	b.waitsFor(a, k, w.draw(), author)
	a.sync()
	b.edit(k, w.draw())
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if len(b.r.View(k).Values()) != 3 {
		t.Errorf("want the number and both draws: %s", b.draw())
	}
}

// TestHeld_ReleasedInTheSameAnswerLeavesNothingBehind: one answer says that an edit was released and brings its record; after a restart the tablet must
// not go on waiting for that.
func TestHeld_ReleasedInTheSameAnswerLeavesNothingBehind(t *testing.T) {
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
	if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: e.Dot}); err != nil {
		t.Fatal(err)
	}
	a.sync()
	rows := len(a.rows)
	a.restart()
	a.edit(k, w.draw())
	a.sync()
	if len(a.rows) != rows+1 {
		t.Errorf("%d rows are stored, want %d and that of the new edit", len(a.rows), rows)
	}
	b.edit(k, w.draw())
	b.sync()
	a.sync()
	b.sync()
	sameDigest(t, a, b)
}

func TestHeld_ReleaseSaysWhatItLeftOutOfFollowers(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	other := w.id()
	w.denied[author] = true
	drawn := w.draw()
	first := a.edit(k, drawn)
	amounts := func(dose int32, by record.ID) {
		drawn.Draws[0].Amount.DoseMilliunits = dose
		d := draft(w, k, w.split(k, drawn))
		d.Author = by
		_, ch, err := a.r.Edit(d)
		if err != nil {
			t.Fatal(err)
		}
		a.store(ch)
	}
	void := &chartv1.Vial{Draws: []*chartv1.Draw{{Id: drawn.Draws[0].Id, Void: &recordv1.Void{Reason: "spilt", By: author.String(), At: &timestamppb.Timestamp{Seconds: 1}}}}}
	amounts(5000, other)
	a.edit(k, void)
	amounts(6000, other)
	a.sync()
	left, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: first.Dot})
	if err != nil || len(left) != 1 || left[0].Path == "" {
		t.Errorf("left out %v, %v; want the draw's amount", left, err)
	}
	a.sync()
	for _, h := range a.r.Held(k)[2:] {
		if h.Status != syncv1.HeldStatus_HELD_STATUS_HELD {
			t.Errorf("edit %v is %v, want held for the one before it", h.Edit.Dot, h.Status)
		}
	}
}

// TestRestore_WaitingEditIsShownUntilItIsGivenUp: after a restore an edit waits for what was lost. Its author's tablet shows it beside what the server
// has, across a restart, and takes it back when it is given up.
func TestRestore_WaitingEditIsShownUntilItIsGivenUp(t *testing.T) {
	w := newWorld(t)
	a, b, c := w.tablet(), w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("10"))
	a.sync()
	putBack := w.backup()
	b.sync()
	b.edit(k, note("11"))
	b.sync()
	c.sync()
	e := c.edit(k, w.draw())
	c.sync()
	putBack() // and b is lost
	c.sync()
	for range 2 {
		if held := c.r.Held(k); len(c.r.View(k).Values()) != 2 || len(held) != 1 || held[0].Status != syncv1.HeldStatus_HELD_STATUS_WAITING {
			t.Fatalf("want the number and the draw that waits: %s %v", c.draw(), held)
		}
		c.restart()
	}
	if err := w.ledger.GiveUp(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: e.Dot, Reason: "lost"}); err != nil {
		t.Fatal(err)
	}
	c.sync()
	a.sync()
	sameDigest(t, a, c)
}

func TestGiveUp_EarlierEditThatWaitsIsNotLost(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	first := b.waitsFor(a, k, w.draw(), author)
	second := b.edit(k, w.draw())
	b.sync()
	giveUp := func(d causal.Dot) error {
		return w.ledger.GiveUp(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: d, Reason: "lost"})
	}
	if err := giveUp(second.Dot); !fault.Has(err, faultv1.Reason_REASON_UNKNOWN_CONTEXT) {
		t.Errorf("the second is given up while the first waits: %v", err)
	}
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if len(a.r.View(k).Values()) != 3 {
		t.Errorf("want the number and both draws, also %v: %s", first.Dot, a.draw())
	}
}
