package ledger_test

import (
	"testing"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// handIn hands in everything that the tablet did not send, each edit signed as a page of its own.
func (t *tablet) handIn(change func([]wire.SealedText) []wire.SealedText) []ledger.HandedIn {
	t.w.Helper()
	texts := t.r.ToSeal(false)
	for i := range texts {
		texts[i].Signature = t.sign(texts[i].Statement())
	}
	if change != nil {
		texts = change(texts)
	}
	var out []ledger.HandedIn
	err := t.w.store.Update(t.w.Context(), func(w store.Writer) (err error) {
		out, err = t.w.ledger.HandIn(w, t.caller(), texts, fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", ""))
		return err
	})
	if err != nil {
		t.w.Fatal(err)
	}
	return out
}

func outcomes(all []ledger.HandedIn) (held, known int, refused []faultv1.Reason) {
	for _, h := range all {
		switch {
		case h.Refusal != nil:
			refused = append(refused, h.Refusal.Reason)
		case h.Held:
			held++
		default:
			known++
		}
	}
	return held, known, refused
}

// TestHandIn_HoldsEverythingOnceAndAPersonReleasesIt: nothing takes effect by itself, and handed in again nothing happens.
func TestHandIn_HoldsEverythingOnceAndAPersonReleasesIt(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("1"))
	a.sync()
	a.edit(k, note("2"))
	a.edit(k, note("3"))
	if held, known, refused := outcomes(a.handIn(nil)); held != 2 || known+len(refused) != 0 {
		t.Fatalf("%d held, %d known, %v", held, known, refused)
	}
	before, _ := w.ledger.Sequence(t.Context())
	if held, known, refused := outcomes(a.handIn(nil)); known != 2 || held+len(refused) != 0 {
		t.Errorf("again: %d held, %d known, %v", held, known, refused)
	}
	if after, _ := w.ledger.Sequence(t.Context()); after != before {
		t.Errorf("%d events by the second time", after-before)
	}
	b.sync()
	if got := b.shown(k); got != "1 " {
		t.Errorf("the vial is %q before anybody released anything", got)
	}
	held, err := w.ledger.ListHeld(t.Context(), org)
	if err != nil || len(held) != 2 || held[0].Reason != faultv1.Reason_REASON_DEVICE_REVOKED {
		t.Fatalf("%v, %v", held, err)
	}
	for _, h := range held {
		if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: h.Edit.Dot}); err != nil {
			t.Error(err)
		}
	}
	b.sync()
	if got := b.shown(k); got != "3 " {
		t.Errorf("the vial is %q after both were released", got)
	}
}

// TestHandIn_RefusesWhatAPageWouldBeRefusedFor: and stores nothing of it.
func TestHandIn_RefusesWhatAPageWouldBeRefusedFor(t *testing.T) {
	for name, row := range map[string]struct {
		change func(*tablet, []wire.SealedText) []wire.SealedText
		want   []faultv1.Reason
	}{
		"no signature": {func(_ *tablet, x []wire.SealedText) []wire.SealedText { x[0].Signature = nil; return x[:1] },
			[]faultv1.Reason{faultv1.Reason_REASON_BAD_SIGNATURE}},
		"another's signature": {func(t *tablet, x []wire.SealedText) []wire.SealedText {
			x[0].Signature = t.w.tablet().sign(x[0].Statement())
			return x[:1]
		}, []faultv1.Reason{faultv1.Reason_REASON_BAD_SIGNATURE}},
		"an edit altered": {func(_ *tablet, x []wire.SealedText) []wire.SealedText { x[0].Edit.AuthoredAt++; return x[:1] },
			[]faultv1.Reason{faultv1.Reason_REASON_BAD_SIGNATURE}},
		"a gap": {func(_ *tablet, x []wire.SealedText) []wire.SealedText { return x[1:] }, []faultv1.Reason{faultv1.Reason_REASON_RESUME_FROM}},
		"another chain": {func(t *tablet, x []wire.SealedText) []wire.SealedText {
			x[0].Edit.Previous[0]++
			x[0].Signature = t.sign(x[0].Statement())
			return x[:1]
		}, []faultv1.Reason{faultv1.Reason_REASON_DOT_COLLISION}},
		"another's replica": {func(t *tablet, x []wire.SealedText) []wire.SealedText {
			o := t.w.tablet()
			o.edit(t.w.vial(), note("9"))
			o.sync()
			x[0].Edit.Dot.Replica = o.r.ID()
			x[0].Signature = t.sign(x[0].Statement())
			return x[:1]
		}, []faultv1.Reason{faultv1.Reason_REASON_ACTOR_NOT_YOURS}},
	} {
		w := newWorld(t)
		a := w.tablet()
		a.edit(w.vial(), note("0"))
		a.sync()
		a.edit(w.vial(), note("1"))
		a.edit(w.vial(), note("2"))
		held, known, refused := outcomes(a.handIn(func(x []wire.SealedText) []wire.SealedText { return row.change(a, x) }))
		if held+known != 0 || len(refused) != 1 || refused[0] != row.want[0] {
			t.Errorf("%s: %d held, %d known, %v", name, held, known, refused)
		}
		if list, err := w.ledger.ListHeld(t.Context(), org); err != nil || len(list) != 0 {
			t.Errorf("%s: %d held, %v", name, len(list), err)
		}
	}
}

// TestHandIn_BehindAnEditThatWaits: it waits with it, since its counter would cover that one; when the wait is over that one takes effect, and this is held.
func TestHandIn_BehindAnEditThatWaits(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	b.edit(k, note("2"))
	unknown := a.waitsFor(b, k, note("3"), author)
	a.edit(k, note("4"))
	if held, _, refused := outcomes(a.handIn(nil)); held != 1 || len(refused) != 0 {
		t.Fatalf("%d held, %v", held, refused)
	}
	b.sync()
	list, err := w.ledger.ListHeld(t.Context(), org)
	if err != nil || len(list) != 1 || list[0].Status != syncv1.HeldStatus_HELD_STATUS_HELD || list[0].Reason != faultv1.Reason_REASON_DEVICE_REVOKED {
		t.Fatalf("%v waited; held: %v, %v", unknown.Dot, list, err)
	}
	b.sync()
	if got := b.shown(k); got != "3 " {
		t.Errorf("the vial is %q; the edit that waited took no effect", got)
	}
}

// TestKeepSealed_EachOnce: the bytes that came first stay, with who brought them and when.
func TestKeepSealed_EachOnce(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	e := a.edit(w.vial(), note("1"))
	kept := ledger.KeptSealed{Device: a.device, Sealed: wire.Sealed{Dot: e.Dot, Bytes: []byte{7, 8}}, Reason: faultv1.Reason_REASON_NOT_CANONICAL, AtMS: 9, By: author}
	keep := func(k ledger.KeptSealed) error {
		return w.store.Update(t.Context(), func(tx store.Writer) error { return w.ledger.KeepSealed(tx, org, k) })
	}
	again := kept
	again.Bytes = []byte{1}
	if err := keep(kept); err != nil {
		t.Fatal(err)
	}
	if err := keep(again); err != nil {
		t.Fatal(err)
	}
	list, n, err := w.ledger.ListKeptSealed(t.Context(), org, a.device, 10)
	if err != nil || n != 1 || string(list[0].Bytes) != "\x07\x08" || list[0].By != author || list[0].Dot != e.Dot || list[0].AtMS != 9 {
		t.Fatalf("%d kept, %v, %v", n, list, err)
	}
	err = w.store.Update(t.Context(), func(tx store.Writer) error {
		for i := range uint64(38) {
			kept.Dot.Counter = i + 2
			if err := w.ledger.KeepSealed(tx, org, kept); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, n, err := w.ledger.ListKeptSealed(t.Context(), org, a.device, 3); err != nil || n != 39 {
		t.Errorf("%d kept, %v", n, err)
	}
}
