package ledger_test

import (
	"bytes"
	"math"
	"sync"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// The tests of this file are named after what a broken or hostile tablet sends, and hold what it must be answered. Each looks also at what it must not
// change: the head of the log.

// request is the tablet's next exchange, signed.
func (t *tablet) request() (replica.Step, *syncv1.ExchangeRequest) {
	t.w.Helper()
	t.r.Poll()
	s := t.r.Next()
	if s.Exchange == nil {
		t.w.Fatal("the next step is no exchange")
	}
	if s.Statement != nil {
		s.Exchange.Page.Signature = t.sign(s.Statement)
	}
	return s, s.Exchange
}

// forged is an exchange with a page of edits that the tablet made up, rightly chained and signed.
func (t *tablet) forged(edits ...record.Edit) *syncv1.ExchangeRequest {
	chain(edits)
	last := edits[len(edits)-1]
	head := last.Hash()
	m := &syncv1.ExchangeRequest{Replica: last.Dot.Replica[:], HeadCounter: last.Dot.Counter, HeadHash: head[:], Page: wire.EncodePage(edits)}
	m.Page.Signature = t.sign(wire.Statement(last.Dot.Replica, edits[0].Dot.Counter, last.Dot.Counter, head))
	return m
}

func chain(edits []record.Edit) {
	for i := 1; i < len(edits); i++ {
		edits[i].Previous = edits[i-1].Hash()
	}
}

// madeUp is a first edit of a replica.
func (w *world) madeUp(k record.Key, replica causal.ReplicaID, m proto.Message) record.Edit {
	return record.Edit{ID: w.id(), Dot: causal.Dot{Replica: replica, Counter: 1}, Key: k, Author: author, AuthoredAt: 1, Writes: w.split(k, m)}
}

// refused sends a request and wants this refusal, and that nothing of it is in the log.
func (t *tablet) refused(m *syncv1.ExchangeRequest, want faultv1.Reason) *fault.Error {
	t.w.Helper()
	before := t.w.sequence()
	_, err := t.w.ledger.Exchange(t.w.Context(), t.caller(), m)
	refusal := fault.Of(err)
	if refusal == nil || refusal.Reason != want {
		t.w.Errorf("answered %v, want %v", err, want)
		refusal = fault.New(want, "", "", "")
	}
	if now := t.w.sequence(); now != before {
		t.w.Errorf("the log went from %d to %d", before, now)
	}
	return refusal
}

// taken sends a request that is answered.
func (t *tablet) taken(m *syncv1.ExchangeRequest) *syncv1.ExchangeResponse {
	t.w.Helper()
	resp, err := t.w.ledger.Exchange(t.w.Context(), t.caller(), m)
	if err != nil {
		t.w.Fatal(err)
	}
	return resp
}

func (w *world) sequence() uint64 {
	w.Helper()
	seq, err := w.ledger.Sequence(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	return seq
}

func TestRow1_TheSamePushAHundredTimesAtOnce(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	a.edit(k, note("11"))
	w.denied[record.ID{66}] = true
	refused := draft(w, k, w.split(k, note("12")))
	refused.Author = record.ID{66}
	_, ch, err := a.r.Edit(refused)
	if err != nil {
		t.Fatal(err)
	}
	a.store(ch)
	_, m := a.request()
	caller := a.caller()
	w.owner[a.r.ID()] = a.device // claimed before, so that the calls only read it
	caller.Claim = func(w store.Writer, r causal.ReplicaID) error { return caller.Owns(w, r) }
	answers := make([][]byte, 100)
	var wg sync.WaitGroup
	for i := range answers {
		wg.Go(func() {
			resp, err := w.ledger.Exchange(t.Context(), caller, proto.CloneOf(m))
			if err != nil {
				t.Error(err)
				return
			}
			answers[i], err = proto.MarshalOptions{Deterministic: true}.Marshal(resp)
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	for i := range answers {
		if !bytes.Equal(answers[i], answers[0]) {
			t.Fatalf("answer %d differs from the first", i)
		}
	}
	if seq := w.sequence(); seq != 2 {
		t.Errorf("%d events, want 2", seq)
	}
}

func TestRow2_AnAnswerThatWasLostIsGivenAgain(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	a.edit(k, note("11"))
	w.denied[author] = true
	_, m := a.request()
	first := a.taken(m)
	w.denied[author] = false // what was said once is said again, whatever was learnt since
	second := a.taken(m)
	if !proto.Equal(first, second) || len(second.GetVerdicts()) != 1 {
		t.Errorf("first %v\nthen %v", first, second)
	}
}

func TestRow3_AUsedDotWithOtherContent(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	e := a.edit(k, note("11"))
	a.sync()
	other := w.madeUp(k, e.Dot.Replica, note("12"))
	next := w.madeUp(k, e.Dot.Replica, note("13"))
	next.Dot.Counter = 2
	refusal := a.refused(a.forged(other, next), faultv1.Reason_REASON_DOT_COLLISION)
	if refusal.Meta["counter"] != "1" {
		t.Errorf("names counter %q, want 1", refusal.Meta["counter"])
	}
	// The ids of the page that was refused are free: under another replica they are taken.
	other.Dot.Replica = causal.ReplicaID(w.id())
	if resp := a.taken(a.forged(other)); len(resp.GetVerdicts()) != 0 {
		t.Errorf("verdict %v", resp.GetVerdicts())
	}
}

func TestRow4_AReplicaOfAnotherDevice(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	e := a.edit(k, note("11"))
	a.sync()
	next := w.madeUp(k, e.Dot.Replica, note("12"))
	next.Dot.Counter, next.Previous = 2, e.Hash()
	b.refused(b.forged(next), faultv1.Reason_REASON_ACTOR_NOT_YOURS)
	id := a.r.ID()
	b.refused(&syncv1.ExchangeRequest{Replica: id[:]}, faultv1.Reason_REASON_ACTOR_NOT_YOURS)
	if _, err := w.ledger.Hello(t.Context(), b.caller(), &syncv1.HelloRequest{Replica: id[:]}); fault.Of(err) == nil {
		t.Error("says hello as another device's replica")
	}
	// Signed by another key than the device's, it counts for nothing whoever sends it.
	a.refused(b.forged(next), faultv1.Reason_REASON_BAD_SIGNATURE)
}

func TestRow5_CountersThatJumpOrWrap(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	e := a.edit(k, note("11"))
	a.sync()
	for _, counter := range []uint64{3, 1 << 31, 1 << 62, 1 << 63, math.MaxUint64} {
		far := w.madeUp(k, e.Dot.Replica, note("12"))
		far.Dot.Counter = counter
		if refusal := a.refused(a.forged(far), faultv1.Reason_REASON_RESUME_FROM); refusal.Meta["counter"] != "2" {
			t.Errorf("counter %d: wants %q, want 2", counter, refusal.Meta["counter"])
		}
		h := far.Hash()
		silent := &syncv1.ExchangeRequest{Replica: e.Dot.Replica[:], HeadCounter: counter, HeadHash: h[:]}
		a.refused(silent, faultv1.Reason_REASON_RESUME_FROM)
	}
	last, over := w.madeUp(k, e.Dot.Replica, note("12")), w.madeUp(k, e.Dot.Replica, note("13"))
	last.Dot.Counter, over.Dot.Counter = math.MaxUint64, 0
	a.refused(a.forged(last, over), faultv1.Reason_REASON_NOT_CANONICAL)
	zero := a.forged(w.madeUp(k, e.Dot.Replica, note("12")))
	zero.Page.FirstCounter = 0
	a.refused(zero, faultv1.Reason_REASON_NOT_CANONICAL)
	// A page that goes beyond the head that the same request claims is not what a replica sends.
	next := w.madeUp(k, e.Dot.Replica, note("12"))
	next.Dot.Counter, next.Previous = 2, e.Hash()
	short := a.forged(next)
	short.HeadCounter = 1
	a.refused(short, faultv1.Reason_REASON_NOT_CANONICAL)
	wrong := a.forged(next)
	wrong.HeadHash = bytes.Repeat([]byte{1}, 32)
	a.refused(wrong, faultv1.Reason_REASON_NOT_CANONICAL)
}

func TestRow6_AContextFromTheFuture(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	e := w.madeUp(k, causal.ReplicaID(w.id()), note("12"))
	e.Context = causal.Vector{{Replica: causal.ReplicaID(w.id()), Counter: 9}}
	m := a.forged(e)
	v := a.taken(m).GetVerdicts()
	if len(v) != 1 || v[0].GetHeld().GetStatus() != syncv1.HeldStatus_HELD_STATUS_WAITING || v[0].GetHeld().GetReason() != faultv1.Reason_REASON_UNKNOWN_CONTEXT {
		t.Fatalf("verdicts %v", v)
	}
	// It has no effect, is shown, and does not hold up what others do to the record.
	b.edit(k, note("13"))
	b.sync()
	if got := b.r.View(k); got.Seen.Covers(e.Dot) || len(got.Conflicts()) != 0 || len(b.r.Held(k)) != 1 {
		t.Errorf("%d held: %s", len(b.r.Held(k)), b.draw())
	}
	// A cursor that was never given out is forged.
	_, m = b.request()
	m.Cursor = bytes.Repeat([]byte{1}, len(m.Cursor))
	b.refused(m, faultv1.Reason_REASON_BAD_CURSOR)
}

func TestRow7_ReferencesInACircleOrTooDeep(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	mine := causal.ReplicaID(w.id())
	self := w.madeUp(k, mine, note("11"))
	self.Context = causal.Vector{self.Dot}
	a.refused(a.forged(self), faultv1.Reason_REASON_NOT_CANONICAL)
	deep := w.madeUp(k, mine, note("11"))
	for range 3000 {
		deep.Writes[0].Path = deep.Writes[0].Path.Child(7, record.ID{1})
	}
	a.refused(a.forged(deep), faultv1.Reason_REASON_NOT_CANONICAL)
	// Two edits that each name the other: both wait, and nothing walks in a circle.
	other := causal.ReplicaID(w.id())
	one, two := w.madeUp(k, mine, note("11")), w.madeUp(k, other, note("12"))
	one.Context, two.Context = causal.Vector{two.Dot}, causal.Vector{one.Dot}
	a.taken(a.forged(one))
	a.taken(a.forged(two))
	// A kind that no key of the store can hold.
	beyond := w.madeUp(k, causal.ReplicaID(w.id()), note("11"))
	beyond.Key.Kind = 70_000
	a.refused(a.forged(beyond), faultv1.Reason_REASON_NOT_CANONICAL)
	// Messages in messages, deeper than any that records use.
	value := []byte{}
	for len(value) < 40_000 {
		value = append(protowire.AppendTag(nil, 2, protowire.BytesType), protowire.AppendBytes(nil, value)...)
	}
	nested := w.madeUp(k, causal.ReplicaID(w.id()), note("11"))
	nested.Writes = []record.Write{{Set: value}}
	v := a.taken(a.forged(nested)).GetVerdicts()
	if len(v) != 1 || v[0].GetHeld().GetStatus() != syncv1.HeldStatus_HELD_STATUS_HELD {
		t.Errorf("verdicts %v", v)
	}
}

func TestRow9_AFieldThatOnlyTheServerSets(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.sync()
	k := w.vial()
	e := w.madeUp(k, a.r.ID(), &chartv1.Vial{Practice: &chartv1.PracticeMark{}})
	if len(e.Writes) == 0 {
		t.Fatal("nothing is written")
	}
	v := a.taken(a.forged(e)).GetVerdicts()
	if len(v) != 1 || v[0].GetHeld().GetReason() != faultv1.Reason_REASON_OUTPUT_ONLY {
		t.Errorf("verdicts %v", v)
	}
	got, err := w.ledger.Read(t.Context(), org, k)
	if err != nil || !got.State.Empty() {
		t.Errorf("%v is in the record (%v)", got.State.Fragments(), err)
	}
	if _, _, err := a.r.Edit(replica.Draft{ID: w.id(), Key: k, Author: author, Writes: e.Writes}); fault.Of(err) == nil || fault.Of(err).Reason != faultv1.Reason_REASON_OUTPUT_ONLY {
		t.Errorf("the tablet itself makes it: %v", err)
	}
}

func TestRow11_ADeviceWhoseClockIsWrong(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	clocks := []int64{4_102_444_800_000, 0, -1, math.MaxInt64, math.MinInt64} // the first is the year 2100, then 1970, then what no clock shows
	for i, at := range clocks {
		d := draft(w, k, w.split(k, note(string(rune('A'+i)))))
		d.AuthoredAt = at
		_, ch, err := a.r.Edit(d)
		if err != nil {
			t.Fatal(err)
		}
		a.store(ch)
	}
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	sib := b.r.View(k).Siblings(record.Register{Field: 4})
	if len(sib) != 1 || string(sib[0].Value[2:]) != "E" || b.r.View(k).Info(sib[0].Dot).AuthoredAt != math.MinInt64 {
		t.Errorf("the last to write is not what is shown: %s", b.draw())
	}
}

func TestRow23_ACursorOfAnotherDeviceOrAltered(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	a.edit(w.vial(), note("11"))
	a.sync()
	b.sync()
	_, mine := a.request()
	_, theirs := b.request()
	good := bytes.Clone(mine.Cursor)
	mine.Cursor = theirs.Cursor
	a.refused(mine, faultv1.Reason_REASON_BAD_CURSOR)
	for i := range good {
		for bit := range 8 {
			mine.Cursor = bytes.Clone(good)
			mine.Cursor[i] ^= 1 << bit
			a.refused(mine, faultv1.Reason_REASON_BAD_CURSOR)
		}
	}
	for _, n := range []int{1, len(good) - 1} {
		mine.Cursor = good[:n]
		a.refused(mine, faultv1.Reason_REASON_BAD_CURSOR)
	}
	mine.Cursor = append(bytes.Clone(good), 0)
	a.refused(mine, faultv1.Reason_REASON_BAD_CURSOR)
	caller := a.caller()
	caller.Org = record.ID{77}
	mine.Cursor = good
	_, err := w.ledger.Exchange(t.Context(), caller, mine)
	if refusal := fault.Of(err); refusal == nil || refusal.Reason != faultv1.Reason_REASON_BAD_CURSOR {
		t.Errorf("in another organisation: %v", err)
	}
	a.taken(mine)
}
