package record_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// The tests of this file hold one rule of the merge each, by the words that docs/protocol.md states it in.

var (
	visit     = record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: record.ID{15: 9}}
	injection = record.ID{15: 21}
)

// hand makes edits of one replica to the visit, each seen so far of the state given.
type hand struct {
	testing.TB
	schema  *record.Schema
	replica causal.ReplicaID
	counter uint64
}

func hands(t testing.TB) (a, b *hand) {
	t.Helper()
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	return &hand{TB: t, schema: s, replica: replicaID(0)}, &hand{TB: t, schema: s, replica: replicaID(1)}
}

// edit is an edit that writes m, made by someone who saw seen.
func (h *hand) edit(seen causal.Vector, m proto.Message, clear ...uint32) record.Edit {
	h.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		h.Fatal(err)
	}
	writes, err := h.schema.Split(visit.Kind, b)
	if err != nil {
		h.Fatal(err)
	}
	if len(clear) > 0 && (len(writes) == 0 || writes[0].Path != "") {
		writes = append([]record.Write{{}}, writes...)
	}
	if len(clear) > 0 {
		writes[0].Clear = clear
	}
	h.counter++
	e := record.Edit{
		ID: record.ID{0: h.replica[0], 15: byte(h.counter)}, Dot: causal.Dot{Replica: h.replica, Counter: h.counter}, Key: visit,
		Context: seen, Author: record.ID{8}, Writes: writes,
	}
	if err := e.Valid(); err != nil {
		h.Fatal(err)
	}
	if refusal := h.schema.Check(&e, record.FromDevice); refusal != nil {
		h.Fatal(refusal)
	}
	return e
}

func sessionOf(t testing.TB, st *record.State) *chartv1.Session {
	t.Helper()
	m := &chartv1.Session{}
	if err := proto.Unmarshal(st.Message(), m); err != nil {
		t.Fatal(err)
	}
	return m
}

func planned(product string, milliunits int32) *chartv1.Session {
	return &chartv1.Session{Injections: []*chartv1.Injection{{
		Id: injection.String(), Planned: &chartv1.Dose{Product: product, DoseMilliunits: milliunits},
	}}}
}

func act() *recordv1.Act {
	return &recordv1.Act{By: record.ID{8}.String(), At: &timestamppb.Timestamp{Seconds: 1_790_000_000}}
}

func void(reason string) *recordv1.Void {
	return &recordv1.Void{Reason: reason, By: act().By, At: act().At}
}

var plannedDose = record.Register{Path: record.Path("").Child(40, injection), Field: 6}

// A dose is one register with its product. Two people who change one part each make a conflict of two wholes; no dose is shown that nobody wrote.
func TestRule_ADoseAndItsProductAreNeverMixed(t *testing.T) {
	a, b := hands(t)
	first := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	st := record.Fold(visit, []record.Edit{first})
	x, y := a.edit(st.Seen, planned("onabotulinumtoxinA", 2500)), b.edit(st.Seen, planned("abobotulinumtoxinA", 4000))
	st.Apply(&x)
	st.Apply(&y)
	got := st.Conflicts()
	if len(got) != 1 || got[0].Register != plannedDose || len(got[0].Siblings) != 2 {
		t.Fatalf("conflicts %v", got)
	}
	for i, want := range []*chartv1.Session{planned("onabotulinumtoxinA", 2500), planned("abobotulinumtoxinA", 4000)} {
		one := &chartv1.Injection{}
		if err := proto.Unmarshal(got[0].Siblings[i].Value, one); err != nil || !proto.Equal(one.GetPlanned(), want.GetInjections()[0].GetPlanned()) {
			t.Errorf("sibling %d is %v (%v), want %v", i, one.GetPlanned(), err, want)
		}
	}
	if len(sessionOf(t, st).GetInjections()) != 1 || sessionOf(t, st).GetInjections()[0].GetPlanned() != nil {
		t.Error("the message takes one of two doses for the truth")
	}
}

// No path enters a register: a write into a dose, or beside the elements of a collection, is not one.
func TestRule_NoPathEntersARegister(t *testing.T) {
	a, _ := hands(t)
	for name, w := range map[string]record.Write{
		"into a dose":               {Path: plannedDose.Path.Child(6, record.ID{1}), Clear: []uint32{2}},
		"into a basis":              {Path: record.Path("").Child(11, record.ID{1}), Clear: []uint32{2}},
		"over a whole collection":   {Clear: []uint32{40}},
		"of a collection, as bytes": {Set: []byte{40<<3&0x7f | 2 | 0x80, 40 >> 4, 0}},
	} {
		e := a.edit(nil, planned("onabotulinumtoxinA", 1))
		e.Writes = []record.Write{w}
		if err := e.Valid(); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if a.schema.Check(&e, record.FromDevice) == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// Presence is explicit: nothing answered, answered "no" and cleared on purpose are three things.
func TestRule_UnansweredIsNotNo(t *testing.T) {
	a, _ := hands(t)
	position := record.Register{Path: plannedDose.Path, Field: 8}
	at := func(p *int32, clear ...uint32) record.Edit {
		e := a.edit(nil, &chartv1.Session{Injections: []*chartv1.Injection{{Id: injection.String(), Position: p, Muscle: proto.String("mentalis")}}})
		e.Writes[0].Clear = clear
		return e
	}
	unanswered, zero, cleared := at(nil), at(proto.Int32(0)), at(nil, 8)
	states := map[string]*record.State{}
	for name, e := range map[string]record.Edit{"unanswered": unanswered, "zero": zero, "cleared": cleared} {
		states[name] = record.Fold(visit, []record.Edit{e})
	}
	if states["unanswered"].Siblings(position) != nil {
		t.Error("unanswered has a value")
	}
	if s := states["zero"].Siblings(position); len(s) != 1 || s[0].Cleared || sessionOf(t, states["zero"]).GetInjections()[0].Position == nil {
		t.Errorf("zero is %v", s)
	}
	if s := states["cleared"].Siblings(position); len(s) != 1 || !s[0].Cleared {
		t.Errorf("cleared is %v", s)
	}
}

// A write supersedes the siblings in its context and no others, however many writes its author made since.
func TestRule_AWriteSupersedesOnlyWhatItsContextSaw(t *testing.T) {
	a, b := hands(t)
	muscle := record.Register{Path: plannedDose.Path, Field: 2}
	name := func(s string) *chartv1.Session {
		return &chartv1.Session{Injections: []*chartv1.Injection{{Id: injection.String(), Muscle: &s}}}
	}
	one := a.edit(nil, name("mentalis"))
	two := b.edit(nil, name("frontalis"))
	st := record.Fold(visit, []record.Edit{one, two})
	three := a.edit(causal.Vector{one.Dot}, name("procerus"))
	st.Apply(&three)
	got := st.Siblings(muscle)
	if len(got) != 2 || got[0].Dot != three.Dot || got[1].Dot != two.Dot {
		t.Fatalf("after a write that saw one of two: %v", got)
	}
	blind := b.edit(nil, name("nasalis")) // its author's own earlier value is not in its context either
	st.Apply(&blind)
	if got := st.Siblings(muscle); len(got) != 3 {
		t.Fatalf("after a write that saw nothing: %v", got)
	}
	all := a.edit(st.Seen, name("mentalis"))
	st.Apply(&all)
	if got := st.Siblings(muscle); len(got) != 1 || got[0].Dot != all.Dot {
		t.Fatalf("after a write that saw all: %v", got)
	}
}

// Equal values show as one and keep both dots: a third who saw only one of them does not remove the other.
func TestRule_EqualValuesShowAsOneAndKeepBothDots(t *testing.T) {
	a, b := hands(t)
	x, y := a.edit(nil, planned("onabotulinumtoxinA", 4000)), b.edit(nil, planned("onabotulinumtoxinA", 4000))
	st := record.Fold(visit, []record.Edit{x, y})
	if len(st.Conflicts()) != 0 || sessionOf(t, st).GetInjections()[0].GetPlanned().GetDoseMilliunits() != 4000 {
		t.Error("equal values are a conflict")
	}
	if got := st.Siblings(plannedDose); len(got) != 2 {
		t.Fatalf("%d dots, want both", len(got))
	}
	z := a.edit(causal.Vector{x.Dot}, planned("onabotulinumtoxinA", 2000))
	st.Apply(&z)
	if got := st.Conflicts(); len(got) != 1 || len(got[0].Siblings) != 2 {
		t.Errorf("the value that was not seen is gone: %v", st.Siblings(plannedDose))
	}
}

// Cleared is a sibling like any other: it stands beside a concurrent value, supersedes what it saw, and is itself superseded.
func TestRule_ClearedIsASibling(t *testing.T) {
	a, b := hands(t)
	after := func(s string) *chartv1.Session {
		return &chartv1.Session{OrderId: proto.String(record.ID{1}.String()), ClinicId: &s}
	}
	first := a.edit(nil, after(record.ID{2}.String()))
	st := record.Fold(visit, []record.Edit{first})
	cleared, changed := a.edit(st.Seen, &chartv1.Session{}, 3), b.edit(st.Seen, &chartv1.Session{ClinicId: proto.String(record.ID{3}.String())})
	st.Apply(&cleared)
	st.Apply(&changed)
	clinic := record.Register{Field: 3}
	if other := record.Fold(visit, []record.Edit{first, changed, cleared}); other.Digest() != st.Digest() {
		t.Errorf("cleared after it was changed: %v, before: %v", other.Siblings(clinic), st.Siblings(clinic))
	}
	if got := st.Conflicts(); len(got) != 1 || got[0].Register != clinic || !got[0].Siblings[0].Cleared || got[0].Siblings[1].Cleared {
		t.Fatalf("conflicts %v", got)
	}
	settled := b.edit(st.Seen, &chartv1.Session{}, 3)
	st.Apply(&settled)
	if got := st.Siblings(clinic); len(got) != 1 || !got[0].Cleared || sessionOf(t, st).ClinicId != nil {
		t.Errorf("settled as cleared: %v", got)
	}
}

// Adding an element never conflicts, and each giving is one of its own: two tablets that give one planned injection show two givings.
func TestRule_TwoTabletsThatGiveOneInjectionShowTwoGivings(t *testing.T) {
	a, b := hands(t)
	plan := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	st := record.Fold(visit, []record.Edit{plan})
	give := func(id byte) *chartv1.Session {
		dose := &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 4000}
		return &chartv1.Session{Injections: []*chartv1.Injection{{Id: injection.String(), Givings: []*chartv1.Giving{
			{Id: record.ID{15: id}.String(), Given: &chartv1.GivenDose{Dose: dose}, Done: act()},
		}}}}
	}
	x, y := a.edit(st.Seen, give(31)), b.edit(st.Seen, give(32))
	one, two := st.Clone(), st.Clone()
	one.Apply(&x)
	two.Apply(&y)
	got := record.Join(one, two)
	if len(got.Conflicts()) != 0 {
		t.Errorf("conflicts %v", got.Conflicts())
	}
	if n := len(sessionOf(t, got).GetInjections()[0].GetGivings()); n != 2 {
		t.Errorf("%d givings, want 2", n)
	}
}

// A void concurrent with a change shows both: nothing given is deleted, and the change is not lost under the void.
func TestRule_AVoidAndAConcurrentChangeAreBothShown(t *testing.T) {
	a, b := hands(t)
	plan := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	st := record.Fold(visit, []record.Edit{plan})
	voided := a.edit(st.Seen, &chartv1.Session{Injections: []*chartv1.Injection{{Id: injection.String(), Void: void("wrong side")}}})
	changed := b.edit(st.Seen, planned("onabotulinumtoxinA", 2000))
	one, two := st.Clone(), st.Clone()
	one.Apply(&voided)
	two.Apply(&changed)
	for _, st := range []*record.State{record.Join(one, two), record.Join(two, one)} {
		got := sessionOf(t, st).GetInjections()
		if len(got) != 1 || got[0].GetVoid().GetReason() != "wrong side" || got[0].GetPlanned().GetDoseMilliunits() != 2000 {
			t.Errorf("injections %v", got)
		}
	}
}

// A state's vector takes dots, never contexts: what an author had seen elsewhere, or of other records, is not thereby in the state.
func TestRule_AVectorTakesDotsNeverContexts(t *testing.T) {
	a, b := hands(t)
	first := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	st := record.Fold(visit, []record.Edit{first})
	e := b.edit(causal.Vector{{Replica: first.Dot.Replica, Counter: 9}}, planned("onabotulinumtoxinA", 2000)) // counters 2 to 9 wrote other records
	st.Apply(&e)
	if want := (causal.Vector{first.Dot, e.Dot}); st.Seen.Compare(want) != causal.Equal {
		t.Errorf("seen %v, want %v", st.Seen, want)
	}
	// An edit that comes later with a counter that the context named is still applied.
	later := a.edit(st.Seen, planned("onabotulinumtoxinA", 1000))
	st.Apply(&later)
	if got := st.Siblings(plannedDose); len(got) != 1 || got[0].Dot != later.Dot {
		t.Errorf("siblings %v", got)
	}
}

// A replica's counters run over all its records; of one record any lower counter has been seen, though the vector names only the highest.
func TestRule_PerRecordAnyLowerCounterHasBeenSeen(t *testing.T) {
	a, b := hands(t)
	a.counter = 41 // the first of this record is the replica's 42nd
	first := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	a.counter = 69
	second := a.edit(causal.Vector{first.Dot}, &chartv1.Session{ClinicId: proto.String(record.ID{3}.String())})
	st := record.Fold(visit, []record.Edit{first, second})
	if len(st.Seen) != 1 || st.Seen[0] != second.Dot {
		t.Fatalf("seen %v", st.Seen)
	}
	e := b.edit(st.Seen, planned("onabotulinumtoxinA", 2000))
	st.Apply(&e)
	if got := st.Siblings(plannedDose); len(got) != 1 || got[0].Dot != e.Dot {
		t.Errorf("siblings %v", got)
	}
}

// Nothing but a record's own edits is in its digest, and a replica's digest is made of them; a clock or an author's claim is in it as data only.
func TestRule_DigestsArePerRecord(t *testing.T) {
	a, b := hands(t)
	x, y := a.edit(nil, planned("onabotulinumtoxinA", 4000)), b.edit(nil, planned("onabotulinumtoxinA", 4000))
	one, two := record.Fold(visit, []record.Edit{x, y}), record.Fold(visit, []record.Edit{y, x})
	if one.Digest() != two.Digest() {
		t.Error("two orders of two concurrent edits differ")
	}
	if record.Fold(visit, []record.Edit{x}).Digest() == one.Digest() {
		t.Error("an edit more does not show")
	}
	moved := x
	moved.Key.ID = record.ID{15: 10}
	if record.Fold(moved.Key, []record.Edit{moved}).Digest() == record.Fold(visit, []record.Edit{x}).Digest() {
		t.Error("two records share a digest")
	}
}

// sign adds a signature over the state to it.
func (h *hand) sign(st *record.State) record.Edit {
	h.Helper()
	content, err := h.schema.ToSign(st)
	if err != nil {
		h.Fatal(err)
	}
	content.SignerId, content.Meaning = record.ID{8}.String(), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED
	return h.edit(st.Seen, &chartv1.Session{Signatures: []*chartv1.Signature{{Id: record.ID{15: byte(50 + h.counter)}.String(), Content: content}}})
}

// A signature is refused when the fold at its vector differs in any of what was signed; it is never itself late; an edit outside its vector is.
func TestRule_SigningCoversExactlyWhatWasSeen(t *testing.T) {
	a, b := hands(t)
	first := a.edit(nil, planned("onabotulinumtoxinA", 4000))
	at := record.Fold(visit, []record.Edit{first})
	signed := a.sign(at)
	sigs, err := a.schema.SignaturesIn(&signed)
	if err != nil || len(sigs) != 1 {
		t.Fatalf("signatures %v (%v)", sigs, err)
	}
	if err := a.schema.CheckSignature(at, sigs[0].Content); err != nil {
		t.Errorf("the fold that was signed: %v", err)
	}
	for name, change := range map[string]func(*syncv1.SignedContent){
		"values": func(c *syncv1.SignedContent) { c.Values = append(bytes.Clone(c.Values), 0) },
		"digest": func(c *syncv1.SignedContent) { c.Digest = bytes.Repeat([]byte{1}, 32) },
		"vector": func(c *syncv1.SignedContent) { c.Vector = causal.Vector{}.AppendBinary(nil) },
	} {
		c := proto.CloneOf(sigs[0].Content)
		change(c)
		if reasonOf(a.schema.CheckSignature(at, c)) != faultv1.Reason_REASON_SIGNED_VALUES_DIFFER {
			t.Errorf("other %s are taken", name)
		}
	}
	st := at.Clone()
	st.Apply(&signed)
	if late := a.schema.LateEntries(st); len(late) != 0 {
		t.Errorf("the signature itself is late: %v", late)
	}
	outside := b.edit(at.Seen, planned("onabotulinumtoxinA", 2000))
	st.Apply(&outside)
	late := a.schema.LateEntries(st)
	if len(late) != 1 || late[0].Sibling.Dot != outside.Dot || late[0].Register != plannedDose {
		t.Fatalf("late entries %v", late)
	}
	// What was signed stays as signed, values included; an addendum signs the rest.
	kept := &chartv1.Session{}
	err = proto.Unmarshal(a.schema.Signatures(st)[0].Content.GetValues(), kept)
	if err != nil || kept.GetInjections()[0].GetPlanned().GetDoseMilliunits() != 4000 {
		t.Errorf("signed values %v (%v)", kept, err)
	}
	addendum := b.sign(st)
	st.Apply(&addendum)
	if late := a.schema.LateEntries(st); len(late) != 0 {
		t.Errorf("late after the addendum: %v", late)
	}
	if len(kept.GetSignatures()) != 0 {
		t.Error("signatures are part of what is signed")
	}
}

// While a field is in conflict there is nothing to sign.
func TestRule_AConflictCannotBeSigned(t *testing.T) {
	a, b := hands(t)
	x, y := a.edit(nil, planned("onabotulinumtoxinA", 4000)), b.edit(nil, planned("onabotulinumtoxinA", 2000))
	_, err := a.schema.ToSign(record.Fold(visit, []record.Edit{x, y}))
	if reasonOf(err) != faultv1.Reason_REASON_UNSETTLED_CONFLICT {
		t.Errorf("%v", err)
	}
}

func reasonOf(err error) faultv1.Reason {
	var refusal *fault.Error
	if errors.As(err, &refusal) {
		return refusal.Reason
	}
	return 0
}

// Writes into elements that only a held edit created are held with it, whoever made them; the rest of their edit takes effect.
func TestRule_WhatFollowsAHeldElementIsHeldWithIt(t *testing.T) {
	a, b := hands(t)
	first := a.edit(nil, &chartv1.Session{ClinicId: proto.String(record.ID{3}.String())})
	st := record.Fold(visit, []record.Edit{first})
	held := a.edit(st.Seen, planned("onabotulinumtoxinA", 4000))
	follower := b.edit(st.Seen, &chartv1.Session{
		OrderId:    proto.String(record.ID{4}.String()),
		Injections: []*chartv1.Injection{{Id: injection.String(), Givings: []*chartv1.Giving{{Id: record.ID{15: 31}.String(), Done: act()}}}},
	})
	apply, hold := record.Partition(st, []record.Edit{held}, &follower)
	if len(apply) != 1 || apply[0].Path != "" || len(hold) != 1 || hold[0].Path == "" {
		t.Errorf("applies %v, holds %v", apply, hold)
	}
	st.Apply(&held)
	if apply, hold := record.Partition(st, []record.Edit{held}, &follower); len(apply) != 2 || len(hold) != 0 {
		t.Errorf("once the element is there: applies %v, holds %v", apply, hold)
	}
}

// What is released leaves out what someone rewrote after seeing the held value, says so, and takes it all the same when told.
func TestRule_AReleaseLeavesOutWhatWasRewritten(t *testing.T) {
	a, b := hands(t)
	held := a.edit(nil, &chartv1.Session{ClinicId: proto.String(record.ID{3}.String()), OrderId: proto.String(record.ID{4}.String())}, 7)
	saw := b.edit(causal.Vector{held.Dot}, &chartv1.Session{ClinicId: proto.String(record.ID{5}.String())})
	blind := b.edit(nil, &chartv1.Session{OrderId: proto.String(record.ID{6}.String())})
	later := []record.Edit{saw, blind}
	writes, left := record.Release(&held, later, nil)
	if len(left) != 1 || left[0] != (record.Register{Field: 3}) {
		t.Errorf("left out %v", left)
	}
	order := a.edit(nil, &chartv1.Session{OrderId: proto.String(record.ID{4}.String())}, 7)
	if !sameWrites(writes, order.Writes) {
		t.Errorf("writes %v, want %v", writes, order.Writes)
	}
	if writes, left := record.Release(&held, later, left); len(left) != 0 || !sameWrites(writes, held.Writes) {
		t.Errorf("taken all the same: writes %v, left out %v", writes, left)
	}
}

// A register holds at most sixteen concurrent values; an edit that saw them makes room.
func TestRule_SiblingsAreBounded(t *testing.T) {
	a, _ := hands(t)
	st := record.NewState(visit)
	crowd := func(i int) record.Edit {
		h := &hand{TB: t, schema: a.schema, replica: replicaID(i)}
		return h.edit(nil, planned("onabotulinumtoxinA", int32(1000+i)))
	}
	for i := range record.MaxSiblings {
		e := crowd(i + 1)
		if st.CrowdedBy(&e) {
			t.Fatalf("crowded by %d values", i+1)
		}
		st.Apply(&e)
	}
	e := crowd(40)
	if !st.CrowdedBy(&e) {
		t.Error("not crowded by one more")
	}
	e.Context = st.Seen
	if st.CrowdedBy(&e) {
		t.Error("crowded by an edit that settles them")
	}
}

func sameWrites(a, b []record.Write) bool {
	return slices.EqualFunc(a, b, func(x, y record.Write) bool {
		return x.Path == y.Path && bytes.Equal(x.Set, y.Set) && slices.Equal(x.Clear, y.Clear)
	})
}
