package server_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/auth"
)

func TestSignInRefusals(t *testing.T) {
	w := newWorld(t)
	_, err := w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "ada", Password: "not the one, surely"})
	mustRefuse(t, "wrong password", err, faultv1.Reason_REASON_BAD_PASSWORD)
	_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "nobody", Password: password})
	mustRefuse(t, "unknown name", err, faultv1.Reason_REASON_BAD_PASSWORD)
	_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "ada"})
	mustRefuse(t, "no password", err, faultv1.Reason_REASON_INVALID_FIELD)
	device := w.tablet(w.admin).id.String()
	_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "ada", Password: password, DeviceId: &device})
	mustRefuse(t, "a device that does not sign", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	if f := infoOf(err).GetMetadata()["field"]; f != "proof" {
		t.Errorf("a device that does not sign: field %q, %v", f, err)
	}
	_, err = syncv1connect.NewSyncServiceClient(w.client(w.admin.token), w.url).Exchange(t.Context(), &syncv1.ExchangeRequest{})
	mustRefuse(t, "a sync without a device", err, faultv1.Reason_REASON_NOT_ALLOWED)
	if f := infoOf(err).GetMetadata()["field"]; f != "access token" {
		t.Errorf("a sync without a device: field %q, %v", f, err)
	}
	for range 40 {
		_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "ada", Password: "guess after guess after"})
	}
	mustRefuse(t, "guessing", err, faultv1.Reason_REASON_RATE_LIMITED)
}

func TestRefresh(t *testing.T) {
	w := newWorld(t)
	tab := w.tablet(w.admin)
	tokens := tab.signIn()
	r1, r2, r3 := uuid.NewString(), uuid.NewString(), uuid.NewString()
	refresh := func(request, token string, sign bool) (*accessv1.RefreshResponse, error) {
		m := &accessv1.RefreshRequest{RefreshToken: token, RequestId: request}
		if sign {
			m.Proof = tab.proof(auth.RefreshStatement(token, request))
		}
		return w.access("").Refresh(t.Context(), m)
	}
	_, err := refresh(r1, tokens.GetRefreshToken(), false)
	mustRefuse(t, "without the device", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	next, err := refresh(r1, tokens.GetRefreshToken(), true)
	if err != nil || next.GetStaff().GetSignInName() != "ada" {
		t.Fatalf("refresh: %v %v", next, err)
	}
	again, err := refresh(r1, tokens.GetRefreshToken(), true)
	if err != nil || again.GetTokens().GetRefreshToken() != next.GetTokens().GetRefreshToken() {
		t.Errorf("the answer was lost and asked for again: %v", err)
	}
	w.pass(auth.ReplayWindow + time.Second)
	_, err = refresh(r2, tokens.GetRefreshToken(), true)
	mustRefuse(t, "a traded token", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	_, err = refresh(r3, next.GetTokens().GetRefreshToken(), true)
	mustRefuse(t, "the sign-in was ended", err, faultv1.Reason_REASON_UNAUTHENTICATED)
}

func TestEnrolment_OnceAndTheSameAnswerAgain(t *testing.T) {
	w := newWorld(t)
	key, public := newKey(t)
	req := enrolRequest(t, w.enrolCode(), key, public, uuid.New())
	first, err := w.access("").EnrolDevice(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	again, err := w.access("").EnrolDevice(t.Context(), req)
	if err != nil || !proto.Equal(first, again) {
		t.Errorf("again: %v, %v", again, err)
	}
	other, otherPublic := newKey(t)
	_, err = w.access("").EnrolDevice(t.Context(), enrolRequest(t, req.GetCode(), other, otherPublic, uuid.New()))
	mustRefuse(t, "a used code", err, faultv1.Reason_REASON_BAD_CODE)
	stolen := enrolRequest(t, w.enrolCode(), other, otherPublic, uuid.New())
	stolen.PublicKey = public.Bytes()
	_, err = w.access("").EnrolDevice(t.Context(), stolen)
	mustRefuse(t, "another's key", err, faultv1.Reason_REASON_BAD_SIGNATURE)
	late := enrolRequest(t, w.enrolCode(), other, otherPublic, uuid.New())
	w.pass(auth.CodeLife)
	_, err = w.access("").EnrolDevice(t.Context(), late)
	mustRefuse(t, "an expired code", err, faultv1.Reason_REASON_BAD_CODE)
}

func TestStaff_ChangesAreOneEffectAndRightsFollowAtOnce(t *testing.T) {
	w := newWorld(t)
	admin := w.admin.access()
	add := &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: "Eve Odd"},
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR}}},
	}
	first, err := admin.AddStaff(t.Context(), add)
	if err != nil {
		t.Fatal(err)
	}
	again, err := admin.AddStaff(t.Context(), add)
	if err != nil || !proto.Equal(first, again) {
		t.Errorf("again: %v %v", again, err)
	}
	add.Name.Full = "Eve Other"
	_, err = admin.AddStaff(t.Context(), add)
	mustRefuse(t, "the id with another body", err, faultv1.Reason_REASON_ID_REUSED)

	_, code, _ := strings.Cut(first.GetInvitationUrl(), "#invitation=")
	eve := w.claim(code, "eve")
	if eve.id.String() != first.GetStaff().GetId() {
		t.Error("another person came in")
	}
	_, err = eve.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	mustRefuse(t, "an injector lists staff", err, faultv1.Reason_REASON_NOT_ALLOWED)
	set := &accessv1.SetStaffRolesRequest{
		RequestId: uuid.NewString(), StaffId: eve.id.String(), Reason: "the office, too",
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_ADMINISTRATOR}}},
	}
	changed, err := admin.SetStaffRoles(t.Context(), set)
	if err != nil {
		t.Fatal(err)
	}
	repeated, err := admin.SetStaffRoles(t.Context(), set)
	if err != nil || !proto.Equal(changed, repeated) {
		t.Errorf("again: %v %v", repeated, err)
	}
	_, err = eve.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	mustRefuse(t, "a token of the roles before", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	eve = w.signIn("eve")
	list, err := eve.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	if err != nil || len(list.GetStaff()) != 2 || list.GetStaff()[1].GetSignInName() != "eve" {
		t.Errorf("with the new roles: %v %v", list, err)
	}
	set.RequestId, set.Context = uuid.NewString(), []byte{0}
	_, err = admin.SetStaffRoles(t.Context(), set)
	mustRefuse(t, "on an old state", err, faultv1.Reason_REASON_STALE_READ)
	suspended := true
	_, err = admin.SetStaffRoles(t.Context(), &accessv1.SetStaffRolesRequest{
		RequestId: uuid.NewString(), StaffId: eve.id.String(), Reason: "left", Suspended: &suspended, Context: changed.GetContext(),
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = eve.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	mustRefuse(t, "suspended", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	_, err = admin.SetStaffRoles(t.Context(), &accessv1.SetStaffRolesRequest{
		RequestId: uuid.NewString(), StaffId: w.admin.id.String(), Reason: "oops", Suspended: &suspended,
	})
	mustRefuse(t, "the last administrator", err, faultv1.Reason_REASON_INVALID_FIELD)
	suspended = false
	back, err := admin.SetStaffRoles(t.Context(), &accessv1.SetStaffRolesRequest{
		RequestId: uuid.NewString(), StaffId: eve.id.String(), Reason: "came back", Suspended: &suspended,
	})
	if err != nil || back.GetStaff().GetSuspended() != nil {
		t.Errorf("let in again: %v %v", back, err)
	}
	w.signIn("eve")
}

// signIn signs a person in without a device.
func (w *world) signIn(name string) *person {
	w.Helper()
	resp, err := w.access("").SignIn(w.Context(), &accessv1.SignInRequest{SignInName: name, Password: password})
	if err != nil {
		w.Fatalf("sign in %s: %v", name, err)
	}
	return &person{w: w, id: uuid.MustParse(resp.GetStaff().GetId()), name: name, token: resp.GetTokens().GetAccessToken()}
}

// TestPositionsEnd: the last day of a locum's position is over, and so are the rights, when the server does what time brings about.
func TestPositionsEnd(t *testing.T) {
	w := newWorld(t)
	today := w.now().UTC()
	resp, err := w.admin.access().AddStaff(t.Context(), &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: "Lou Short"}, Assignments: []*accessv1.RoleAssignment{{
			Roles: []accessv1.Role{accessv1.Role_ROLE_AUDITOR},
			Until: &recordv1.Date{Year: int32(today.Year()), Month: int32(today.Month()), Day: int32(today.Day())},
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ := strings.Cut(resp.GetInvitationUrl(), "#invitation=")
	lou := w.claim(code, "lou")
	if _, err := lou.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{}); err != nil {
		t.Errorf("on the last day: %v", err)
	}
	w.pass(24 * time.Hour)
	if err := w.server.Service().Maintain(t.Context()); err != nil {
		t.Fatal(err)
	}
	lou = w.signIn("lou")
	_, err = lou.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{})
	mustRefuse(t, "the day after", err, faultv1.Reason_REASON_NOT_ALLOWED)
}

func TestBreakGlassIsInTheAuditLogWithItsReason(t *testing.T) {
	w := newWorld(t)
	eve, lea := w.hire("eve", accessv1.Role_ROLE_INJECTOR), w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	tab := w.tablet(eve)
	k := newRecord(kindPatient)
	tab.edit(k, &chartv1.Patient{Name: &recordv1.PersonName{Full: "Zora Test"}})
	tab.sync()
	req := &accessv1.BreakGlassRequest{RequestId: uuid.NewString(), PatientId: uuid.UUID(k.ID).String(), Reason: "swelling after treatment elsewhere"}
	first, err := eve.access().BreakGlass(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	again, err := eve.access().BreakGlass(t.Context(), req)
	if err != nil || !proto.Equal(first, again) {
		t.Errorf("again: %v %v", again, err)
	}
	patient := req.GetPatientId()
	list, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PatientId: &patient})
	if err != nil || len(list.GetEntries()) != 1 || list.GetEntries()[0].GetRemark() != req.GetReason() ||
		list.GetEntries()[0].GetStaffId() != eve.id.String() || list.GetEntries()[0].GetRelation() == "" {
		t.Errorf("entries %v, %v", list, err)
	}
	req.RequestId, req.PatientId = uuid.NewString(), uuid.NewString()
	_, err = eve.access().BreakGlass(t.Context(), req)
	mustRefuse(t, "a patient that is not there", err, faultv1.Reason_REASON_NOT_FOUND)
}

// TestListAudit_PagesHoldEachEntryOnce walks the log while it grows: reading it is an entry, too.
func TestListAudit_PagesHoldEachEntryOnce(t *testing.T) {
	w := newWorld(t)
	lea := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	for range 25 {
		w.enrolCode()
	}
	var seen []uint64
	token := ""
	for {
		resp, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 7, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range resp.GetEntries() {
			seen = append(seen, e.GetSequence())
		}
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	down := func(a, b uint64) int { return int(b) - int(a) }
	if !slices.IsSortedFunc(seen, down) || len(seen) < 28 || seen[len(seen)-1] != 1 || int(seen[0]) != len(seen) {
		t.Errorf("sequences %v", seen)
	}
	_, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageToken: "AAAAAAAAAAAAAAAAAAAAAAAAAAAA"})
	mustRefuse(t, "a forged page token", err, faultv1.Reason_REASON_INVALID_FIELD)
}

func TestListDevices_ByLabelInPages(t *testing.T) {
	w := newWorld(t)
	var tabs []*tablet
	for range 5 {
		tabs = append(tabs, w.tablet(w.admin))
	}
	tabs[0].sync()
	var ids []string
	token := ""
	for {
		resp, err := w.admin.access().ListDevices(t.Context(), &accessv1.ListDevicesRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range resp.GetDevices() {
			ids = append(ids, d.GetDevice().GetId())
			if (d.GetLastExchangeAt() != nil) != (d.GetDevice().GetId() == tabs[0].id.String()) {
				t.Errorf("last heard of: %v", d)
			}
		}
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	if slices.Sort(ids); len(slices.Compact(ids)) != 5 {
		t.Errorf("devices %v", ids)
	}
}
