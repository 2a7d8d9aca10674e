package server_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/service"
)

// TestHold_WhatThePersonMayRead: a device may hold the patients that who is signed in on it may read, and is told of others what a reader is told.
func TestHold_WhatThePersonMayRead(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	clinic := newRecord(optionsv1.RecordKind_RECORD_KIND_CLINIC)
	office := w.tablet(w.hire("ann", accessv1.Role_ROLE_ADMINISTRATOR, accessv1.Role_ROLE_INJECTOR))
	office.edit(clinic, &chartv1.Clinic{Name: proto.String("Harbour")})
	own, elsewhere, everybodys := newRecord(kindPatient), newRecord(kindPatient), newRecord(kindPatient)
	office.edit(own, patientAt(w.clinic))
	office.edit(elsewhere, patientAt(clinic.ID.String()))
	office.edit(everybodys, &chartv1.Patient{Name: &recordv1.PersonName{Full: "Zora Everywhere"}})
	office.sync()
	foreign := w.foreignPatient()

	eve := w.hireAt(&w.clinic, "eve", accessv1.Role_ROLE_INJECTOR)
	tab := &holder{tablet: w.tablet(eve)}
	for _, k := range []record.Key{own, everybodys} {
		if rows, err := tab.hold(k); err != nil || rows == 0 {
			t.Errorf("her own clinic's, or everybody's: %d rows, %v", rows, err)
		}
	}
	_, missing := tab.hold(newRecord(kindPatient))
	mustRefuse(t, "a missing patient", missing, faultv1.Reason_REASON_NOT_FOUND)
	_, err := tab.hold(foreign)
	mustRefuse(t, "another organisation's", err, faultv1.Reason_REASON_NOT_FOUND)
	if err.Error() != missing.Error() {
		t.Errorf("another organisation's says %v, a missing one %v", err, missing)
	}
	_, err = tab.hold(elsewhere)
	mustRefuse(t, "another clinic's", err, faultv1.Reason_REASON_NOT_ALLOWED)
	if m := infoOf(err).GetMetadata(); m["needs"] != "break_glass" || m["patient_id"] != elsewhere.ID.String() {
		t.Errorf("another clinic's: %v", m)
	}
	_, err = eve.access().BreakGlass(t.Context(), &accessv1.BreakGlassRequest{
		RequestId: uuid.NewString(), PatientId: elsewhere.ID.String(), Reason: "swelling after treatment at the harbour",
	})
	if err != nil {
		t.Fatal(err)
	}
	if rows, err := tab.hold(elsewhere); err != nil || rows == 0 {
		t.Errorf("opened with a reason: %d rows, %v", rows, err)
	}
}

func patientAt(clinic string) *chartv1.Patient {
	return &chartv1.Patient{Name: &recordv1.PersonName{Full: "Zora Test"}, HomeClinicId: &clinic}
}

// holder is a tablet that holds the patients that it asks for.
type holder struct {
	*tablet
	cursor []byte
}

// hold asks for a patient and returns how many records came.
func (t *holder) hold(k record.Key) (rows int, err error) {
	id := t.r.ID()
	m := &syncv1.ScopeChange{Mode: syncv1.ScopeMode_SCOPE_MODE_PATIENTS, Add: [][]byte{k.ID[:]}}
	resp, err := t.client.Exchange(t.w.Context(), &syncv1.ExchangeRequest{Replica: id[:], Cursor: t.cursor, Scope: m})
	if len(resp.GetCursor()) > 0 {
		t.cursor = resp.GetCursor()
	}
	for _, row := range resp.GetRows() {
		if string(row.GetRecordId()) == string(k.ID[:]) {
			rows++
		}
	}
	return rows, err
}

// foreignPatient is a patient of another organisation of the server.
func (w *world) foreignPatient() record.Key {
	w.Helper()
	svc := w.server.Service()
	o, err := svc.Found(w.Context(), service.Founding{Organisation: "Other", Clinic: "Other"})
	if err != nil {
		w.Fatal(err)
	}
	link, _, err := svc.Recover(w.Context(), o, uuid.Nil)
	if err != nil {
		w.Fatal(err)
	}
	_, code, _ := strings.Cut(link, "#invitation=")
	mine := w.admin
	w.admin = w.claim(code, "otto")
	author := w.hire("olga", accessv1.Role_ROLE_INJECTOR)
	w.admin = mine
	k := newRecord(kindPatient)
	e := (&tablet{w: w}).raw(author.id, k, patientAt(o.Clinic.String()))
	_, err = svc.Ledger().Edit(w.Context(), record.ID(o.ID), ledger.Draft{ID: e.ID, Key: k, Author: e.Author, Writes: e.Writes, Origin: record.FromServer})
	if err != nil {
		w.Fatal(err)
	}
	return k
}

// TestHold_WhoIsRefusedUsesUpNoPulls: a tablet that asks for everything it held, as after a restore, and is refused one patient after another, may still pull
// from the beginning.
func TestHold_WhoIsRefusedUsesUpNoPulls(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	id := tab.r.ID()
	for range 8 {
		missing := newRecord(kindPatient)
		_, err := tab.client.Exchange(t.Context(), &syncv1.ExchangeRequest{
			Replica: id[:], Scope: &syncv1.ScopeChange{Mode: syncv1.ScopeMode_SCOPE_MODE_PATIENTS, Add: [][]byte{missing.ID[:]}},
		})
		mustRefuse(t, "a missing patient", err, faultv1.Reason_REASON_NOT_FOUND)
	}
	if _, err := tab.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: id[:]}); err != nil {
		t.Errorf("the pull after the refusals: %v", err)
	}
}
