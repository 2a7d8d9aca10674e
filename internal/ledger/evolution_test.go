package ledger_test

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// olderVial is the message of a vial as a version knew it that had no field blocked, no collection of notes, and no cause LOST to discard one.
func olderVial(t testing.TB) protoreflect.MessageDescriptor {
	t.Helper()
	file := protodesc.ToFileDescriptorProto((*chartv1.Vial)(nil).ProtoReflect().Descriptor().ParentFile())
	file = proto.CloneOf(file)
	for _, m := range file.GetMessageType() {
		if m.GetName() == "Vial" {
			m.Field = without(m.Field, func(f *descriptorpb.FieldDescriptorProto) bool {
				return f.GetName() == "blocked" || f.GetName() == "notes"
			})
		}
	}
	for _, e := range file.GetEnumType() {
		e.Value = without(e.Value, func(v *descriptorpb.EnumValueDescriptorProto) bool { return v.GetName() == "DISCARD_CAUSE_LOST" })
	}
	fd, err := protodesc.NewFile(file, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	return fd.Messages().ByName("Vial")
}

func without[T any](all []T, drop func(T) bool) []T {
	var out []T
	for _, x := range all {
		if !drop(x) {
			out = append(out, x)
		}
	}
	return out
}

// olderSchema knows vials as olderVial has them, and no other kind of record.
func olderSchema(t testing.TB) *record.Schema {
	t.Helper()
	s, err := record.NewSchema(olderVial(t))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// under makes the world's next tablets, or its server once it is opened again, know this schema.
func (w *world) under(s *record.Schema, fn func()) {
	was := w.schema
	w.schema = s
	fn()
	w.schema = was
}

// vialOfToday holds what an older version does not know: a field, an element, a value of an enum.
func vialOfToday(w *world) *chartv1.Vial {
	text := "arrived warm"
	act := &recordv1.Act{By: w.id().String(), At: &timestamppb.Timestamp{Seconds: 1_790_000_000}}
	return &chartv1.Vial{
		Blocked:   &chartv1.Block{Reason: "arrived warm", Set: act},
		Discarded: &chartv1.Discard{Cause: chartv1.DiscardCause_DISCARD_CAUSE_LOST, Done: act},
		Notes:     []*recordv1.Note{{Id: w.id().String(), Text: &text}},
	}
}

// TestEvolution_AnOlderTabletKeepsAndPassesOnWhatItDoesNotKnow, also trust's row 18 and 19: its digest is everyone's, after a restart too, and its own edits
// are taken.
func TestEvolution_AnOlderTabletKeepsAndPassesOnWhatItDoesNotKnow(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	var old *tablet
	older := olderSchema(t)
	w.under(older, func() { old = w.tablet() })
	k, order := w.vial(), record.Key{Kind: 3, ID: w.id()}
	a.edit(k, vialOfToday(w))
	a.edit(order, &chartv1.Order{PatientId: proto.String(w.id().String())})
	a.sync()
	old.sync()
	sameDigest(t, a, old)
	w.under(older, old.restart)
	sameDigest(t, a, old)
	w.under(older, func() { old.edit(k, note("11")) })
	old.sync()
	a.sync()
	sameDigest(t, a, old)
	if !bytes.Equal(a.r.View(k).Message(), old.r.View(k).Message()) {
		t.Error("the messages differ")
	}
	got := &chartv1.Vial{}
	if err := proto.Unmarshal(old.r.View(k).Message(), got); err != nil {
		t.Fatal(err)
	}
	if got.GetBlocked().GetReason() != "arrived warm" || got.GetDiscarded().GetCause() != chartv1.DiscardCause_DISCARD_CAUSE_LOST ||
		len(got.GetNotes()) != 1 || got.GetShortNumber() != "11" {
		t.Errorf("the older tablet holds %v", got)
	}
}

// TestRow18_AnOlderServerHoldsWhatItDoesNotKnowAndReleasesItLater: byte for byte as it came, one by one, without blocking what comes after; after the
// upgrade a person releases it and it takes effect.
func TestRow18_AnOlderServerHoldsWhatItDoesNotKnowAndReleasesItLater(t *testing.T) {
	w := newWorld(t)
	newer := w.schema
	a := w.tablet()
	w.reopen(olderSchema(t))
	k := w.vial()
	made := map[causal.Dot]record.Edit{}
	var want []byte
	w.under(newer, func() {
		v := vialOfToday(w)
		for _, one := range []*chartv1.Vial{{Blocked: v.Blocked}, {Discarded: v.Discarded}, {Notes: v.Notes}} {
			e := a.edit(k, one)
			made[e.Dot] = e
		}
		a.edit(k, note("11"))
		want = a.r.View(k).Message()
	})
	a.sync()
	held := a.r.Held(k)
	if len(held) != 3 || a.r.Unsent() != 0 {
		t.Fatalf("%d held, %d unsent", len(held), a.r.Unsent())
	}
	got, err := w.ledger.Read(t.Context(), org, k)
	if err != nil || len(got.State.Values()) != 1 {
		t.Errorf("the server shows %d values, want the one it knows (%v)", len(got.State.Values()), err)
	}
	for _, h := range held {
		e := made[h.Edit.Dot]
		if h.Reason != faultv1.Reason_REASON_SCHEMA_TOO_NEW || !bytes.Equal(h.Edit.AppendBinary(nil), e.AppendBinary(nil)) {
			t.Errorf("%v is held for %v, as it came: %v", h.Edit.Dot, h.Reason, h.Edit)
		}
	}
	for _, h := range held { // still too old
		if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: h.Edit.Dot}); err == nil {
			t.Errorf("%v was released by a server that does not know it", h.Edit.Dot)
		}
	}
	w.reopen(newer)
	for _, h := range held {
		if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: h.Edit.Dot}); err != nil {
			t.Errorf("release of %v: %v", h.Edit.Dot, err)
		}
	}
	a.sync()
	if !bytes.Equal(a.r.View(k).Message(), want) {
		t.Errorf("not what was charted: %s", a.draw())
	}
}

// TestEvolution_AnUpgradeReleasesWhatWasTooNew: with no person in between, in the order in which they came, with their authors, times and contexts. Whoever lost
// the right meanwhile has what she made held for that; what is still too new stays.
func TestEvolution_AnUpgradeReleasesWhatWasTooNew(t *testing.T) {
	w := newWorld(t)
	newer := w.schema
	a := w.tablet()
	w.reopen(olderSchema(t))
	k, other := w.vial(), w.vial()
	var want []byte
	made := map[string]record.Edit{}
	w.under(newer, func() {
		v := vialOfToday(w)
		for _, one := range []*chartv1.Vial{{Blocked: v.Blocked}, {Discarded: v.Discarded}, {Notes: v.Notes}} {
			e := a.edit(k, one)
			made[string(e.Writes[0].Set)] = e
		}
		more := "opened on the ferry" // after the note was begun, and held with it
		a.edit(k, &chartv1.Vial{Notes: []*recordv1.Note{{Id: v.GetNotes()[0].GetId(), Text: &more}}})
		a.edit(k, note("11"))
		want = a.r.View(k).Message()
		a.as(record.ID{66}, other, &chartv1.Vial{Blocked: v.Blocked})
	})
	a.sync()
	if got, err := w.ledger.Readmit(t.Context()); err != nil || got != (ledger.Readmitted{TooNew: 5}) {
		t.Fatalf("by the server that is too old: %+v, %v", got, err)
	}
	w.reopen(newer)
	w.denied[record.ID{66}] = true
	before, err := w.ledger.Sequence(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	got, err := w.ledger.Readmit(t.Context())
	if err != nil || got != (ledger.Readmitted{Released: 4, Held: 1}) {
		t.Fatalf("after the upgrade: %+v, %v", got, err)
	}
	if after, _ := w.ledger.Sequence(t.Context()); after != before+4*2+1 {
		t.Errorf("%d events, want a judgement and an edit for each of 4, and a judgement", after-before)
	}
	again, err := w.ledger.Readmit(t.Context())
	if after, _ := w.ledger.Sequence(t.Context()); err != nil || again != (ledger.Readmitted{}) || after != before+9 {
		t.Errorf("once more: %+v, %v", again, err)
	}
	a.sync()
	if !bytes.Equal(a.r.View(k).Message(), want) {
		t.Errorf("not what was charted: %s", a.draw())
	}
	log, err := w.ledger.History(t.Context(), org, k)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range log {
		was, ok := made[string(e.Edit.Writes[0].Set)]
		if ok && (e.Edit.Author != was.Author || e.Edit.AuthoredAt != was.AuthoredAt || !e.Edit.Context.Descends(was.Context)) {
			t.Errorf("%v is not as its author made it: %v", was.Dot, e.Edit)
		}
	}
	if h := a.r.Held(other); len(h) != 1 || h[0].Status != syncv1.HeldStatus_HELD_STATUS_HELD || h[0].Reason == faultv1.Reason_REASON_SCHEMA_TOO_NEW {
		t.Errorf("of an author without the right: %v", h)
	}
}

// TestRow19_AnOlderTabletHandsInItsWork: what a tablet of an earlier version makes is taken, whatever it does not know stands in the record.
func TestRow19_AnOlderTabletHandsInItsWork(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, vialOfToday(w))
	a.sync()
	w.under(olderSchema(t), func() {
		old := w.tablet()
		old.edit(k, note("11"))
		old.sync()
		if old.r.Unsent() != 0 || len(old.r.Held(k)) != 0 {
			t.Errorf("%d unsent, %d held", old.r.Unsent(), len(old.r.Held(k)))
		}
	})
	a.sync()
	if got := a.r.View(k).Siblings(record.Register{Field: 4}); len(got) != 1 {
		t.Errorf("%d values of the short number, want 1", len(got))
	}
}

// TestEvolution_AKindThatTheServerDoesNotKnowIsHeld: also a record of a kind that is new.
func TestEvolution_AKindThatTheServerDoesNotKnowIsHeld(t *testing.T) {
	w := newWorld(t)
	newer := w.schema
	a := w.tablet()
	w.reopen(olderSchema(t))
	k := record.Key{Kind: 3, ID: w.id()}
	w.under(newer, func() { a.edit(k, &chartv1.Order{PatientId: proto.String(w.id().String())}) })
	a.sync()
	if h := a.r.Held(k); len(h) != 1 || h[0].Status != syncv1.HeldStatus_HELD_STATUS_HELD || h[0].Reason != faultv1.Reason_REASON_SCHEMA_TOO_NEW {
		t.Fatalf("held %v", h)
	}
	w.reopen(newer)
	if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: a.r.Held(k)[0].Edit.Dot}); err != nil {
		t.Fatal(err)
	}
	a.sync()
	if a.r.View(k).Empty() {
		t.Error("the order is not there")
	}
}

// TestEvolution_AnOlderTabletDoesNotWriteWhatItDoesNotKnow: what cannot be checked where it is made is an error there.
func TestEvolution_AnOlderTabletDoesNotWriteWhatItDoesNotKnow(t *testing.T) {
	w := newWorld(t)
	k := w.vial()
	writes := w.split(k, vialOfToday(w))
	w.under(olderSchema(t), func() {
		old := w.tablet()
		for _, one := range writes {
			if _, _, err := old.r.Edit(replica.Draft{ID: w.id(), Key: k, Author: author, Writes: []record.Write{one}}); err == nil {
				t.Errorf("wrote %q at %x", one.Set, one.Path)
			}
		}
	})
}

// reopen stops the server and starts it as a version that knows this schema.
func (w *world) reopen(s *record.Schema) {
	w.Helper()
	w.close()
	w.schema = s
	w.open()
}
