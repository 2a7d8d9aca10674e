package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

func (w *world) patient() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: w.id()}
}

func (w *world) sessionKey() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: w.id()}
}

func born(year int32) *chartv1.Patient {
	checked := &recordv1.Act{By: author.String(), At: &timestamppb.Timestamp{Seconds: 1}}
	return &chartv1.Patient{Birth: &chartv1.BirthDate{Date: &recordv1.Date{Year: year, Month: 1, Day: 1}, Proof: 1, Checked: checked}}
}

func visit(patient record.Key) *chartv1.Session {
	return &chartv1.Session{PatientId: proto.String(patient.ID.String())}
}

// counting stands in for the fold of a patient's records: it says how many there are.
func counting(patient record.ID, states []*record.State) *syncv1.SafetyEntry {
	e := &syncv1.SafetyEntry{PatientId: patient[:]}
	for range states {
		e.Alerts = append(e.Alerts, "record")
	}
	return e
}

// TestScope_HoldsTheAskedForAndAnIndexOfOthers: a tablet that holds some patients learns enough of all others, gets the whole history of one it asks for,
// and gives it back.
func TestScope_HoldsTheAskedForAndAnIndexOfOthers(t *testing.T) {
	w := newWorld(t)
	w.ledger.Summarise = counting
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p, q := w.patient(), w.patient()
	pVisit, qVisit := w.sessionKey(), w.sessionKey()
	desk.edit(p, born(1980))
	desk.edit(q, born(1990))
	desk.edit(pVisit, visit(p))
	desk.edit(qVisit, visit(q))
	vial := w.vial()
	desk.edit(vial, note("7"))
	desk.sync()
	room.sync()
	room.restart()
	if n := len(room.r.Keys(0)); n != 1 {
		t.Fatalf("%d records held, want the vial alone: %s", n, room.draw())
	}
	if s := room.r.Safety(); len(s) != 2 || len(s[0].GetAlerts()) != 2 {
		t.Fatalf("safety index: %v", s)
	}

	room.store(room.r.Hold(p.ID))
	room.restart()
	room.sync()
	if n := len(room.r.Keys(0)); n != 3 || len(room.r.Safety()) != 1 {
		t.Fatalf("%d records held, want the vial, the patient and the visit: %s", n, room.draw())
	}
	desk.edit(pVisit, &chartv1.Session{ClinicId: proto.String(w.id().String())})
	desk.edit(qVisit, &chartv1.Session{ClinicId: proto.String(w.id().String())})
	other := w.sessionKey()
	desk.edit(other, visit(q))
	desk.sync()
	room.sync()
	if room.r.View(pVisit).Digest() != desk.r.View(pVisit).Digest() {
		t.Error("the visit that changed is not the same")
	}
	if s := room.r.Safety(); len(s) != 1 || len(s[0].GetAlerts()) != 3 {
		t.Errorf("the index knows of the other patient's new visit: %v", s)
	}

	room.store(room.r.Unhold(p.ID))
	room.sync()
	if n := len(room.r.Keys(0)); n != 1 || len(room.r.Safety()) != 2 {
		t.Fatalf("%d records held after giving the patient back: %s", n, room.draw())
	}
	room.restart()
	room.store(room.r.Hold(p.ID))
	room.sync()
	if room.r.View(pVisit).Digest() != desk.r.View(pVisit).Digest() {
		t.Errorf("held again, the visit is not the same:\n%s\n%s", room.draw(), desk.draw())
	}
}

// TestScope_WhoIsTreatedIsHeld: a walk-in known only by the index is edited; at the sync her history comes, and what was written stays once.
func TestScope_WhoIsTreatedIsHeld(t *testing.T) {
	w := newWorld(t)
	w.ledger.Summarise = counting
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p, before := w.patient(), w.sessionKey()
	desk.edit(p, born(1980))
	desk.edit(before, visit(p))
	desk.sync()
	room.sync()
	now := w.sessionKey()
	room.edit(now, visit(p))
	if len(room.r.Keys(0)) != 1 {
		t.Fatal("the visit written offline is shown")
	}
	room.sync()
	desk.sync()
	sameDigest(t, desk, room)
	if room.r.View(before).Empty() {
		t.Error("her history did not come")
	}
}

// TestScope_OwnEditsStayWhenAPatientLeaves: what the server does not have yet is accepted after the records are gone from the tablet.
func TestScope_OwnEditsStayWhenAPatientLeaves(t *testing.T) {
	w := newWorld(t)
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p := w.patient()
	room.edit(p, born(1980))
	room.sync()
	room.edit(p, born(1981))
	room.store(room.r.Unhold(p.ID))
	room.restart()
	room.sync()
	desk.sync()
	if desk.r.View(p).Empty() || room.r.Unsent() != 0 {
		t.Fatal("the edit made before leaving is on the server")
	}
}

// TestScope_ARefusedWishIsGivenUp: a patient whom the device may not hold is refused once; then the sync goes on, and the wish does not come back.
func TestScope_ARefusedWishIsGivenUp(t *testing.T) {
	w := newWorld(t)
	room := w.tablet()
	room.store(room.r.LimitScope())
	room.sync()
	barred := w.id()
	w.mayHold = func(p record.ID) error {
		if p == barred {
			return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "scope.add", "", "").With("patient_id", p.String())
		}
		return nil
	}
	k := w.vial()
	room.edit(k, note("11"))
	room.store(room.r.Hold(barred))
	if _, err := room.step(false); fault.Of(err) == nil {
		t.Fatalf("the wish was not refused: %v", err)
	}
	room.sync()
	room.restart()
	room.sync()
	if room.r.Unsent() != 0 {
		t.Error("the edit was not taken")
	}
}

// TestScope_TheChainTellsWhoEntered: after a file was put back by hand, another patient enters where one had entered before. What the device was told before
// no longer holds, and its cursor says so.
func TestScope_TheChainTellsWhoEntered(t *testing.T) {
	w := newWorld(t)
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p, q := w.patient(), w.patient()
	desk.edit(p, born(1980))
	desk.edit(q, born(1990))
	desk.sync()
	room.sync()
	again := room.clone()
	putBack := w.backup()
	room.store(room.r.Hold(p.ID))
	room.sync()
	putBack()
	again.store(again.r.Hold(q.ID))
	again.sync()
	room.sync()
	again.sync()
	sameDigest(t, room, again)
	if room.r.View(q).Empty() {
		t.Error("the patient of the device's scope did not come")
	}
}

// TestScope_WhatARestoreLostIsRecoveredBeforeItIsGivenBack: a tablet that gives a patient back, and learns at the same exchange that the server was restored,
// first finds out what the server lost of her.
func TestScope_WhatARestoreLostIsRecoveredBeforeItIsGivenBack(t *testing.T) {
	w := newWorld(t)
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p := w.patient()
	desk.edit(p, &chartv1.Patient{Language: proto.String("en")})
	desk.sync()
	room.store(room.r.Hold(p.ID))
	room.sync()
	putBack := w.backup()
	desk.edit(p, born(1980))
	desk.sync()
	room.sync()
	putBack()
	room.store(room.r.Unhold(p.ID))
	room.sync()
	room.sync()
	if len(room.r.Recovered()) != 1 {
		t.Errorf("%d values recovered, want the date of birth", len(room.r.Recovered()))
	}
	if !room.r.View(p).Empty() {
		t.Error("the patient who was given back is still held")
	}
}

// TestScope_WhomTheServerBarsAfterARestoreIsForgotten: a tablet that asks again for the patients it holds is refused one of them, and the sync goes on. What it
// had of her is not taken for lost.
func TestScope_WhomTheServerBarsAfterARestoreIsForgotten(t *testing.T) {
	w := newWorld(t)
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	p, q := w.patient(), w.patient()
	desk.edit(p, born(1980))
	desk.edit(q, born(1990))
	desk.sync()
	room.store(room.r.Hold(p.ID))
	room.store(room.r.Hold(q.ID))
	putBack := w.backup()
	room.sync()
	putBack()
	w.mayHold = func(id record.ID) error {
		if id == p.ID {
			return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "scope.add", "", "").With("patient_id", id.String())
		}
		return nil
	}
	room.sync()
	if !room.r.View(p).Empty() || room.r.View(q).Empty() || len(room.r.Recovered()) > 0 {
		t.Errorf("the barred patient is shown %v, the other %v, %d values recovered", !room.r.View(p).Empty(), !room.r.View(q).Empty(), len(room.r.Recovered()))
	}
}

// TestScope_APatientWhomARestoreLostIsRecovered: the server knows nothing of a patient any more whom a tablet asks for again. Her values are kept for a person.
func TestScope_APatientWhomARestoreLostIsRecovered(t *testing.T) {
	w := newWorld(t)
	desk, room := w.tablet(), w.tablet()
	room.store(room.r.LimitScope())
	putBack := w.backup()
	p := w.patient()
	desk.edit(p, born(1980))
	desk.sync()
	room.store(room.r.Hold(p.ID))
	room.sync()
	putBack()
	w.mayHold = func(id record.ID) error {
		return fault.New(faultv1.Reason_REASON_NOT_FOUND, "scope.add", "", "").With("patient_id", id.String())
	}
	room.sync()
	if len(room.r.Recovered()) != 1 {
		t.Errorf("%d values recovered, want the date of birth", len(room.r.Recovered()))
	}
}
