package ledger_test

import (
	"bytes"
	"fmt"
	"maps"
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// The tests of this file hold one rule of the sync each, by the words that docs/protocol.md states it in.

var shortNumber = record.Register{Field: 4}

// as makes an edit by a person on what the tablet shows.
func (t *tablet) as(by record.ID, k record.Key, m proto.Message) record.Edit {
	t.w.Helper()
	d := draft(t.w, k, t.w.split(k, m))
	d.Author = by
	e, ch, err := t.r.Edit(d)
	if err != nil {
		t.w.Fatal(err)
	}
	t.store(ch)
	return e
}

func (w *world) judge(k record.Key, d causal.Dot) ledger.Judgement {
	return ledger.Judgement{Org: org, By: author, Key: k, Dot: d, Reason: "entered twice"}
}

// shown is the short numbers that a tablet shows, in the order of their dots.
func (t *tablet) shown(k record.Key) string {
	out := ""
	for _, s := range t.r.View(k).Siblings(shortNumber) {
		if s.Cleared {
			out += "cleared "
		} else {
			out += string(s.Value[2:]) + " "
		}
	}
	return out
}

// Edits of two people on one tablet are one chain of one replica.
func TestRule_ASharedTabletIsOneReplica(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	first := a.as(record.ID{21}, k, note("11"))
	second := a.as(record.ID{22}, k, note("12"))
	if first.Dot.Replica != second.Dot.Replica || second.Dot.Counter != 2 || second.Previous != first.Hash() {
		t.Errorf("%v and %v are not one chain", first.Dot, second.Dot)
	}
	a.sync()
	entries, err := w.ledger.History(t.Context(), org, k)
	if err != nil || len(entries) != 2 || entries[0].Edit.Author != (record.ID{21}) || entries[1].Edit.Author != (record.ID{22}) {
		t.Errorf("history %v (%v)", entries, err)
	}
}

// States come down, not edits: one row a record, however often it was edited; the history stays in the ledger and can be read.
func TestRule_StatesComeDownNotHistory(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	for i := range 100 {
		a.edit(k, note(fmt.Sprint(i)))
	}
	a.sync()
	b := w.tablet()
	if _, err := b.step(false); err != nil {
		t.Fatal(err)
	}
	_, m := b.request()
	resp := b.taken(m)
	if n := len(resp.GetRows()); n != 1 || len(resp.GetRows()[0].GetDots()) != 1 || len(resp.GetRows()[0].GetFragments()) != 1 {
		t.Errorf("%d rows: %v", n, resp.GetRows())
	}
	entries, err := w.ledger.History(t.Context(), org, k)
	if err != nil || len(entries) != 100 {
		t.Errorf("%d edits in the history, want 100 (%v)", len(entries), err)
	}
}

// Of a record that the replica holds only the fields come that changed after the cursor.
func TestRule_ADeltaHoldsOnlyWhatChanged(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	for range 20 {
		a.edit(k, draw(w, 4000))
	}
	a.sync()
	b.sync()
	a.edit(k, note("11"))
	a.sync()
	_, m := b.request()
	resp := b.taken(m)
	if len(resp.GetRows()) != 1 || !resp.GetRows()[0].GetDelta() || len(resp.GetRows()[0].GetFragments()) != 1 || proto.Size(resp) > 250 {
		t.Errorf("%d bytes: %v", proto.Size(resp), resp.GetRows())
	}
	b.sync()
	sameDigest(t, a, b)
}

// An idle exchange is one round trip of at most 300 bytes, whatever is stored.
func TestRule_AnIdleExchangeCostsTheSameWhateverIsStored(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	var sizes []int
	for _, n := range []int{1, 300} {
		for range n {
			a.edit(w.vial(), note("11"))
		}
		a.sync()
		b.sync()
		_, m := b.request()
		resp := b.taken(m)
		if proto.Size(m) > 300 || proto.Size(resp) > 300 || resp.GetMore() {
			t.Errorf("%d bytes up, %d down, more: %v", proto.Size(m), proto.Size(resp), resp.GetMore())
		}
		sizes = append(sizes, proto.Size(resp))
	}
	if d := sizes[1] - sizes[0]; d > 2 { // a counter grew by a digit
		t.Errorf("%d bytes more with more stored", d)
	}
}

// Page and cursor are stored in one transaction: a tablet that loses power after it was answered, and before it stored the answer, resumes; cut anywhere, it
// ends where everyone is.
func TestRule_CutAnywhereItResumes(t *testing.T) {
	for cut := range 12 {
		t.Run(fmt.Sprint(cut), func(t *testing.T) {
			w := newWorld(t)
			a, b := w.tablet(), w.tablet()
			keys := []record.Key{w.vial(), w.vial(), w.vial()}
			for _, k := range keys {
				a.edit(k, note("11"))
				b.edit(k, note("12"))
			}
			a.sync()
			b.r.Poll()
			for i := 0; i < 12; i++ {
				kept := maps.Clone(b.rows)
				before := b.r.Digest()
				s := b.r.Next()
				if s.Exchange != nil {
					b.r.Limits = replica.Limits{PageEdits: 1, Rows: 1}
				}
				if _, err := b.step(false); err != nil {
					t.Fatal(err)
				}
				if i == cut { // the answer came and was not stored
					b.rows = kept
					b.restart()
					if b.r.Digest() != before {
						t.Fatal("what is stored is not what was shown")
					}
				}
				for _, k := range keys { // an own edit is never in neither half
					if b.shown(k) == "" {
						t.Fatalf("step %d: %v shows nothing", i, k)
					}
				}
			}
			b.sync()
			a.sync()
			sameDigest(t, a, b)
			for _, k := range keys {
				if n := len(a.r.View(k).Siblings(shortNumber)); n != 2 {
					t.Errorf("%d values, want both", n)
				}
			}
		})
	}
}

// An acknowledged edit is in the copy of the server's state or among the replica's own, at every moment and after a restart.
func TestRule_AnAcknowledgedEditIsNeverInNeitherHalf(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(w.vial(), note("10"))
	a.sync() // from here on the server does not send what this tablet alone wrote
	a.edit(k, note("11"))
	for range 4 {
		if _, err := a.step(false); err != nil {
			t.Fatal(err)
		}
		if a.shown(k) != "11 " {
			t.Fatalf("shows %q", a.shown(k))
		}
		a.restart()
		if a.shown(k) != "11 " {
			t.Fatalf("after a restart shows %q", a.shown(k))
		}
		a.r.Poll()
	}
	w.backUp()
	a.sync()
	a.restart()
	if a.ownRows() != 0 || a.shown(k) != "11 " {
		t.Errorf("%d kept, shows %q", a.ownRows(), a.shown(k))
	}
}

// What fails is refused one by one, counts, and does not block what comes after; it is held with its reason and taken back out of what is shown.
func TestRule_ARefusalHoldsOneEditAndBlocksNone(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k, l := w.vial(), w.vial()
	barred := record.ID{66}
	w.denied[barred] = true
	a.edit(k, note("11"))
	refused := a.as(barred, k, note("12"))
	if a.shown(k) != "12 " {
		t.Fatalf("before the exchange shows %q", a.shown(k))
	}
	a.edit(l, note("13"))
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	if a.shown(k) != "11 " || b.shown(l) != "13 " || a.r.Unsent() != 0 {
		t.Errorf("shows %q and %q, %d unsent", a.shown(k), b.shown(l), a.r.Unsent())
	}
	for _, x := range []*tablet{a, b} {
		h := x.r.Held(k)
		if len(h) != 1 || h[0].Edit.Dot != refused.Dot || h[0].Reason != faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED || h[0].Status != syncv1.HeldStatus_HELD_STATUS_HELD {
			t.Errorf("held %v", h)
		}
		if !x.r.View(k).Seen.Covers(refused.Dot) {
			t.Error("the refused edit does not count")
		}
	}
}

// A released edit is a new one of the server's replica, in the author's name, with its old context: what others wrote meanwhile is not superseded by it.
func TestRule_AReleaseHasTheOldContext(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	barred := record.ID{66}
	w.denied[barred] = true
	refused := a.as(barred, k, note("12"))
	a.sync()
	b.edit(k, note("13")) // has not seen the refused edit
	b.sync()
	if left, err := w.ledger.Release(t.Context(), w.judge(k, refused.Dot)); err != nil || len(left) != 0 {
		t.Fatalf("left out %v (%v)", left, err)
	}
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	sib := a.r.View(k).Siblings(shortNumber)
	if len(sib) != 2 {
		t.Fatalf("shows %q, want both", a.shown(k))
	}
	for _, s := range sib {
		n := a.r.View(k).Info(s.Dot)
		if string(s.Value[2:]) == "12" && (n.Author != barred || s.Dot.Replica == refused.Dot.Replica || n.AuthoredAt != refused.AuthoredAt) {
			t.Errorf("released as %v by %v", s.Dot, n.Author)
		}
	}
	if _, err := w.ledger.Release(t.Context(), w.judge(k, refused.Dot)); reasonOf(err) != faultv1.Reason_REASON_STALE_READ {
		t.Errorf("released twice: %v", err)
	}
}

// A field that was rewritten by someone who saw the refused value is shown, and left out unless taken.
func TestRule_AReleaseLeavesOutWhatWasRewritten(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	barred := record.ID{66}
	w.denied[barred] = true
	refused := a.as(barred, k, note("12"))
	a.as(author, k, note("13")) // on the same tablet, over the refused value
	a.sync()
	if a.shown(k) != "13 " {
		t.Fatalf("shows %q", a.shown(k))
	}
	left, err := w.ledger.Release(t.Context(), w.judge(k, refused.Dot))
	if err != nil || len(left) != 1 || left[0] != shortNumber {
		t.Errorf("left out %v (%v)", left, err)
	}
	a.sync()
	if a.shown(k) != "13 " {
		t.Errorf("after the release shows %q", a.shown(k))
	}
}

// What a person gives up stays in the log, with the reason, and has no effect; what waited for it goes on.
func TestRule_GivenUpIsKeptAndFreesWhatWaited(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	lost := causal.Dot{Replica: causal.ReplicaID(w.id()), Counter: 1}
	one := w.madeUp(k, causal.ReplicaID(w.id()), note("11"))
	one.Context = causal.Vector{lost}
	two := w.madeUp(k, causal.ReplicaID(w.id()), draw(w, 4000))
	two.Context = causal.Vector{one.Dot}
	a.taken(a.forged(one))
	a.taken(a.forged(two))
	a.sync()
	if len(a.r.Held(k)) != 2 || !a.r.View(k).Empty() {
		t.Fatalf("%d wait: %s", len(a.r.Held(k)), a.draw())
	}
	if err := w.ledger.GiveUp(t.Context(), w.judge(k, one.Dot)); err != nil {
		t.Fatal(err)
	}
	a.sync()
	if a.shown(k) != "" || len(a.r.View(k).Values()) != 1 {
		t.Errorf("after it was given up: %s", a.draw())
	}
	if !a.r.View(k).Seen.Covers(one.Dot) {
		t.Error("what was given up does not count as seen")
	}
	h := a.r.Held(k)
	if h[0].Status != syncv1.HeldStatus_HELD_STATUS_GIVEN_UP || h[0].Detail != "entered twice" || h[1].Status != syncv1.HeldStatus_HELD_STATUS_APPLIED {
		t.Errorf("held %v", h)
	}
	entries, err := w.ledger.History(t.Context(), org, k)
	if err != nil || len(entries) != 2 {
		t.Errorf("%d edits in the log, want both (%v)", len(entries), err)
	}
}

// The same edit under another dot has no second effect; the same id with another body is refused, and held.
func TestRule_AnEditIDIsTheSameEdit(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	one := w.madeUp(k, causal.ReplicaID(w.id()), draw(w, 4000))
	a.taken(a.forged(one))
	again := one
	again.Dot.Replica = causal.ReplicaID(w.id())
	v := a.taken(a.forged(again)).GetVerdicts()
	if len(v) != 1 || v[0].GetHeld() != nil || !bytes.Equal(v[0].GetKnownReplica(), one.Dot.Replica[:]) || v[0].GetKnownCounter() != 1 {
		t.Errorf("verdicts %v", v)
	}
	other := w.madeUp(k, causal.ReplicaID(w.id()), draw(w, 2000))
	other.ID = one.ID
	v = a.taken(a.forged(other)).GetVerdicts()
	if len(v) != 1 || v[0].GetHeld().GetReason() != faultv1.Reason_REASON_ID_REUSED {
		t.Errorf("verdicts %v", v)
	}
	got, err := w.ledger.Read(t.Context(), org, k)
	if err != nil || len(got.State.Values()) != 1 {
		t.Errorf("%d values, want the one draw (%v)", len(got.State.Values()), err)
	}
}

// A badly signed page is refused whole and counts for nothing.
func TestRule_ABadlySignedPageCountsForNothing(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	a.edit(w.vial(), note("11"))
	a.edit(w.vial(), note("12"))
	_, good := a.request()
	for name, change := range map[string]func(*syncv1.ExchangeRequest){
		"a bit of the signature": func(m *syncv1.ExchangeRequest) { m.Page.Signature[5] ^= 1 },
		"no signature":           func(m *syncv1.ExchangeRequest) { m.Page.Signature = nil },
		"a value of the first":   func(m *syncv1.ExchangeRequest) { m.Page.Edits[0].Writes[0].Set[2] ^= 1 },
		"an author":              func(m *syncv1.ExchangeRequest) { m.Page.Authors[0][3] ^= 1 },
		"a time":                 func(m *syncv1.ExchangeRequest) { m.Page.Edits[1].AuthoredAtUnixMs++ },
		"one edit less":          func(m *syncv1.ExchangeRequest) { m.Page.Edits = m.Page.Edits[:1]; m.HeadCounter = 5 },
	} {
		m := proto.CloneOf(good)
		change(m)
		if n := len(m.Page.Edits); n == 2 { // the head as it would be, so that nothing but the signature is wrong
			m.HeadCounter = 5
		}
		t.Run(name, func(*testing.T) { a.refused(m, faultv1.Reason_REASON_BAD_SIGNATURE) })
	}
	a.sync()
	if a.r.Unsent() != 0 {
		t.Errorf("%d unsent", a.r.Unsent())
	}
}

// A signature is refused, and held, when the server's fold at its vector differs; one over what the server has takes effect, and is itself never late.
func TestRule_ASignatureIsHeldAgainstTheServersFold(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := record.Key{Kind: 4, ID: w.id()}
	a.edit(k, &chartv1.Session{ClinicId: proto.String(w.id().String())})
	a.sync()
	b.sync()
	a.edit(k, w.signed(a, k))
	b.edit(k, &chartv1.Session{OrderId: proto.String(w.id().String())}) // meanwhile, and outside the vector
	b.sync()
	a.sync()
	if h := a.r.Held(k); len(h) != 0 {
		t.Fatalf("held %v", h)
	}
	if late := w.schema.LateEntries(a.r.View(k)); len(late) != 1 {
		t.Errorf("%d late entries, want the one of the other tablet", len(late))
	}
	barred := record.ID{66}
	w.denied[barred] = true
	a.as(barred, k, &chartv1.Session{ResponsibleId: proto.String(w.id().String())}) // will be refused, so what is signed is not what the server folds
	a.edit(k, w.signed(a, k))
	a.sync()
	h := a.r.Held(k)
	if len(h) != 2 || h[1].Reason != faultv1.Reason_REASON_SIGNED_VALUES_DIFFER {
		t.Errorf("held %v", h)
	}
}

// signed is a session with a signature over what the tablet shows.
func (w *world) signed(t *tablet, k record.Key) *chartv1.Session {
	w.Helper()
	content, err := w.schema.ToSign(t.r.View(k))
	if err != nil {
		w.Fatal(err)
	}
	content.SignerId, content.Meaning = author.String(), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED
	return &chartv1.Session{Signatures: []*chartv1.Signature{{Id: w.id().String(), Content: content}}}
}

// The server's own API edits as a replica of its own, through the same path; what fails is refused there, since its maker hears it.
func TestRule_TheServerEditsAsAReplicaOfItsOwn(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	seen := a.r.View(k).Seen
	a.edit(k, note("12"))
	a.sync()
	d := ledger.Draft{ID: w.id(), Key: k, Context: seen, Author: author, AuthoredAt: 1, Writes: w.split(k, note("13"))}
	for range 2 { // again is a no-op
		if _, err := w.ledger.Edit(t.Context(), org, d); err != nil {
			t.Fatal(err)
		}
		if seq := w.sequence(); seq != 3 {
			t.Errorf("the log is at %d, want 3", seq)
		}
	}
	a.sync()
	if n := len(a.r.View(k).Siblings(shortNumber)); n != 2 {
		t.Errorf("shows %q, want both", a.shown(k))
	}
	w.denied[author] = true
	d.ID = w.id()
	before := w.sequence()
	if _, err := w.ledger.Edit(t.Context(), org, d); reasonOf(err) != faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED || w.sequence() != before {
		t.Errorf("%v, the log went from %d to %d", err, before, w.sequence())
	}
}

// What a restore lost and no tablet offers again is held as recovered values, for a person to take; states are replaced, not joined.
func TestRule_WhatARestoreLostIsRecoveredNotJoined(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	putBack := w.backup()
	b.sync()
	b.edit(k, note("12"))
	b.sync()
	a.sync()
	putBack() // and b is lost with what it kept
	a.sync()
	rec := a.r.Recovered()
	if a.shown(k) != "11 " || len(rec) != 1 || string(rec[0].Sibling.Value[2:]) != "12" || rec[0].Register != shortNumber || rec[0].Info.Author != author {
		t.Fatalf("shows %q, recovered %v", a.shown(k), rec)
	}
	a.restart()
	if len(a.r.Recovered()) != 1 {
		t.Error("a restart forgets recovered values")
	}
	a.store(a.r.Dismiss(rec[0]))
	a.restart()
	if len(a.r.Recovered()) != 0 {
		t.Error("dismissed, it is still there")
	}
	fresh := w.tablet()
	fresh.sync()
	sameDigest(t, a, fresh)
}

// A counter that the server wants and that is no longer kept starts a new incarnation; nothing that is still known is lost or doubled.
func TestRule_AWantedCounterThatIsGoneStartsANewIncarnation(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k, l := w.vial(), w.vial()
	a.edit(l, note("10"))
	a.sync()
	putBack := w.backup()
	a.edit(k, note("11"))
	a.sync()
	w.backUp() // of what is lost with the rest
	a.sync()
	a.edit(k, note("12"))
	a.sync()
	was := a.r.ID()
	putBack()
	a.sync()
	if a.r.ID() == was {
		t.Error("still the same incarnation")
	}
	if a.shown(k) != "12 " || a.shown(l) != "10 " || a.r.Unsent() != 0 {
		t.Errorf("shows %q and %q, %d unsent", a.shown(k), a.shown(l), a.r.Unsent())
	}
	fresh := w.tablet()
	fresh.sync()
	sameDigest(t, a, fresh)
}

func reasonOf(err error) faultv1.Reason {
	if refusal := fault.Of(err); refusal != nil {
		return refusal.Reason
	}
	return 0
}

// Only what took effect rewrote anything: a later edit that is held itself does not keep a released value out.
func TestRule_AReleaseIsNotLeftOutForWhatIsHeldItself(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	barred := record.ID{66}
	w.denied[barred] = true
	one := a.as(barred, k, note("12"))
	two := a.as(barred, k, note("13"))
	a.sync()
	if left, err := w.ledger.Release(t.Context(), w.judge(k, one.Dot)); err != nil || len(left) != 0 {
		t.Errorf("left out %v (%v)", left, err)
	}
	if err := w.ledger.GiveUp(t.Context(), w.judge(k, two.Dot)); err != nil {
		t.Fatal(err)
	}
	a.sync()
	if a.shown(k) != "12 " {
		t.Errorf("shows %q", a.shown(k))
	}
}

// Of a fork only what the server lacks goes on under new dots: what another copy handed in under others is not sent again.
func TestRule_AForkSendsOnlyWhatTheServerLacks(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b := a.clone()
	b.edit(k, note("12"))
	b.sync() // the chain is its own from here
	a.edit(k, draw(w, 4000))
	c := a.clone()
	a.edit(k, note("13"))
	c.edit(k, note("14"))
	a.sync() // forks, and hands the draw in
	c.sync() // forks, and need not
	a.sync()
	b.sync()
	sameDigest(t, a, b, c)
	entries, err := w.ledger.History(t.Context(), org, k)
	if err != nil || len(entries) != 5 {
		t.Errorf("%d edits came, want 5 (%v)", len(entries), err)
	}
	for _, e := range entries {
		if e.Effect != "applied" {
			t.Errorf("%v is %s", e.Edit.Dot, e.Effect)
		}
	}
	if n := len(a.r.View(k).Siblings(shortNumber)); n != 3 {
		t.Errorf("shows %q, want all three", a.shown(k))
	}
}

// Nobody signs for another: a signature whose signer is not the author of the edit is held.
func TestRule_NobodySignsForAnother(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.sessionKey()
	a.edit(k, visit(w.patient()))
	a.sync()
	a.as(record.ID{67}, k, w.signed(a, k)) // names the usual author as the signer
	a.sync()
	if h := a.r.Held(k); len(h) != 1 || h[0].Reason != faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED {
		t.Errorf("held %v", h)
	}
	a.edit(k, w.signed(a, k))
	a.sync()
	if n := len(w.schema.Signatures(a.r.View(k))); n != 1 {
		t.Errorf("%d signatures, want the author's own", n)
	}
}
