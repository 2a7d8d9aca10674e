package service

import (
	"slices"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/store"
)

// TestRow8_AnotherOrganisation asks for what is there elsewhere and for what is nowhere: the answers are the same, byte for byte but for the call's
// id.
func TestRow8_AnotherOrganisation(t *testing.T) {
	w := newClinicServer(t)
	other, err := w.Found(t.Context(), Founding{Organisation: "Hill Clinics", Clinic: "Hill"})
	if err != nil {
		t.Fatal(err)
	}
	c, stranger := w.injector(), w.hire(other.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD)
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(c, patient, w.org.Clinic, 4)
	id := session.GetRecord().GetSession().GetId()
	ask := func(session, patient string) map[string]error {
		ctx := t.Context()
		key := &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: session}
		errs := map[string]error{}
		_, errs["GetSession"] = stranger.GetSession(ctx, &chartv1.GetSessionRequest{SessionId: session})
		_, errs["GetPatient"] = stranger.GetPatient(ctx, &chartv1.GetPatientRequest{PatientId: patient})
		_, errs["GetRecord"] = stranger.GetRecord(ctx, &chartv1.GetRecordRequest{Key: key})
		_, errs["GetRecordHistory"] = stranger.GetRecordHistory(ctx, &chartv1.GetRecordHistoryRequest{Key: key})
		_, errs["SignSession"] = stranger.SignSession(ctx, &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: session, Context: []byte{0},
			Digest: make([]byte, 32), Meaning: 1, Statement: "x"})
		_, errs["SettleConflict"] = stranger.SettleConflict(ctx, &chartv1.SettleConflictRequest{RequestId: uuid.NewString(), Key: key, Path: "order_id",
			Context: []byte{0}, Reason: "x", Choice: &chartv1.SettleConflictRequest_Clear{Clear: true}})
		return errs
	}
	missing := ask(uuid.NewString(), uuid.NewString())
	for name, err := range ask(id, patient) {
		wantReason(t, name, err, connect.CodeNotFound, "NOT_FOUND")
		if err.Error() != missing[name].Error() {
			t.Errorf("%s tells what is there (%v) from what is not (%v)", name, err, missing[name])
		}
	}
	list, err := stranger.ListSessions(t.Context(), &chartv1.ListSessionsRequest{PatientId: &patient})
	if err != nil || len(list.GetViews()) != 0 {
		t.Errorf("sessions: %v, %v", list, err)
	}
	found, err := stranger.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{Text: "Mara"})
	if err != nil || len(found.GetPatients()) != 0 {
		t.Errorf("search: %v, %v", found, err)
	}
}

func TestRights_AnotherClinicWantsAReason(t *testing.T) {
	w := newClinicServer(t)
	elsewhere := uuid.New()
	owner, c := w.hire(w.org.ID, elsewhere, accessv1.Role_ROLE_INJECTOR), w.injector()
	patient := w.newPatient(owner, "Mara Vell", 1980, elsewhere)
	session := w.newSession(owner, patient, elsewhere, 4).GetRecord().GetSession().GetId()
	_, err := c.GetSession(t.Context(), &chartv1.GetSessionRequest{SessionId: session})
	wantReason(t, "without a reason", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	if list, err := c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{}); err != nil || len(list.GetViews()) != 0 {
		t.Errorf("a list without a reason: %v, %v", list, err)
	}
	found, err := c.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{Text: "vell mara"})
	if err != nil || len(found.GetPatients()) != 1 || found.GetPatients()[0].GetOwnClinic() {
		t.Errorf("search over all clinics: %v, %v", found, err)
	}
	p := auth.Principal{Staff: c.staff, Org: w.org.ID}
	err = w.Store.Update(t.Context(), func(tx store.Writer) error {
		_, err := auth.BreakGlass(tx, w.at, p, uuid.MustParse(patient), "she is here and faint", time.Hour)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	w.view(c, session)
	last := w.entries()[len(w.entries())-1]
	if last.Relation != audit.BreakGlass || last.Patient.String() != patient || last.Record.String() != session || last.Staff != c.staff {
		t.Errorf("the audit log says %+v", last)
	}
	refused := slices.IndexFunc(w.entries(), func(e audit.Entry) bool {
		return e.Outcome == accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED && e.Record.String() == session && e.Staff == c.staff
	})
	if refused < 0 {
		t.Error("the refusal is not in the audit log")
	}
	w.at = w.at.Add(2 * time.Hour)
	late := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_ADMINISTRATOR)
	_, err = late.GetSession(t.Context(), &chartv1.GetSessionRequest{SessionId: session})
	wantReason(t, "an administrator", err, connect.CodePermissionDenied, "NOT_ALLOWED")
}

// TestRights_OnesOwnPatientTreatedElsewhere reads what another clinic did to a patient of one's own, and may not sign or change it.
func TestRights_OnesOwnPatientTreatedElsewhere(t *testing.T) {
	w := newClinicServer(t)
	elsewhere := uuid.New()
	there, c := w.hire(w.org.ID, elsewhere, accessv1.Role_ROLE_INJECTOR), w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(there, patient, elsewhere, 4)
	id := session.GetRecord().GetSession().GetId()
	w.view(c, id)
	w.view(there, id)
	_, err := c.SignSession(t.Context(), &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: id, Context: session.GetContext(),
		Digest: session.GetDigest(), Meaning: 1, Statement: "I did this."})
	wantReason(t, "signing what another clinic did", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: []string{"order_id"},
		Record: sessionOf(&chartv1.Session{Id: id}), Context: session.GetContext()})
	wantReason(t, "changing what another clinic did", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: []string{"clinic_id"},
		Record: sessionOf(&chartv1.Session{Id: uuid.NewString(), ClinicId: proto.String(elsewhere.String())})})
	wantReason(t, "making a session of another clinic", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = there.GetPatient(t.Context(), &chartv1.GetPatientRequest{PatientId: patient})
	wantReason(t, "the patient's record, from where she was treated", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	if _, err := there.SignSession(t.Context(), &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: id, Context: session.GetContext(),
		Digest: session.GetDigest(), Meaning: 1, Statement: "I did this."}); err != nil {
		t.Errorf("signing what one did: %v", err)
	}
}
