package server_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// TestStaff_AccountAndRecordChangeTogether: a person fills her own record up, from a tablet, with concurrent values. What her record cannot take is not
// granted; and she is kept out all the same.
func TestStaff_AccountAndRecordChangeTogether(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	eve, lea := w.hire("eve", accessv1.Role_ROLE_INJECTOR), w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	w.tablet(eve).fillStaffRecord()
	set := func(m *accessv1.SetStaffRolesRequest) error {
		m.RequestId, m.StaffId, m.Reason = uuid.NewString(), eve.id.String(), strings.Repeat("r", 500)
		_, err := w.admin.access().SetStaffRoles(t.Context(), m)
		return err
	}
	lead := []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD}}}
	mustRefuse(t, "a right", set(&accessv1.SetStaffRolesRequest{Assignments: lead}), faultv1.Reason_REASON_RECORD_FULL)
	_, err := w.signIn("eve").access().ListAudit(t.Context(), &accessv1.ListAuditRequest{})
	mustRefuse(t, "what she was not granted", err, faultv1.Reason_REASON_NOT_ALLOWED)

	suspended := true
	mustRefuse(t, "a suspension", set(&accessv1.SetStaffRolesRequest{Suspended: &suspended}), faultv1.Reason_REASON_RECORD_FULL)
	_, err = eve.access().BreakGlass(t.Context(), &accessv1.BreakGlassRequest{RequestId: uuid.NewString(), PatientId: uuid.NewString(), Reason: "x"})
	mustRefuse(t, "one who is suspended", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	if err := w.server.Service().Maintain(t.Context()); err != nil {
		t.Fatal(err)
	}
	_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "eve", Password: password})
	mustRefuse(t, "one who is suspended, later", err, faultv1.Reason_REASON_BAD_PASSWORD)
	list, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{StaffId: new(w.admin.id.String()), PageSize: 2})
	if err != nil || len(list.GetEntries()) != 2 || list.GetEntries()[0].GetReason() != faultv1.Reason_REASON_UNSPECIFIED ||
		list.GetEntries()[1].GetReason() != faultv1.Reason_REASON_RECORD_FULL {
		t.Errorf("the audit log has %v, %v; want a right refused and a suspension done", list, err)
	}
}

// fillStaffRecord leaves less room in the record of who is signed in than any change to her rights needs.
func (t *tablet) fillStaffRecord() {
	t.w.Helper()
	k := record.Key{Kind: kindStaff, ID: record.ID(t.who.id)}
	wide := func(n int) string { return strings.Repeat("\U0001f489", n) }
	var edits []record.Edit
	for range 15 {
		name := &recordv1.PersonName{Full: wide(200), Family: wide(120), Given: wide(120), Preferred: wide(120), Former: wide(200)}
		edits = append(edits, t.raw(t.who.id, k, &accessv1.Staff{Name: name}))
	}
	for _, n := range []int{400, 400, 400, 400, 400, 400, 400, 400, 400, 400, 200, 100, 50, 25, 12, 1} {
		edits = append(edits, t.raw(t.who.id, k, &accessv1.Staff{Contact: &recordv1.Contact{Street: wide(n)}}))
	}
	resp, err := t.send(edits...)
	if err != nil || len(resp.GetVerdicts()) == 0 {
		t.w.Fatalf("the record is not full: %d verdicts, %v", len(resp.GetVerdicts()), err)
	}
}
