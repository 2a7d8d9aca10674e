package service

import (
	"context"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/gen/needlebook/chart/v1/chartv1connect"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// clinicServer is a server with an organisation, over HTTP.
type clinicServer struct {
	testing.TB
	*Service
	org     Organisation
	address string
	at      time.Time // its clock
}

func newClinicServer(t testing.TB) *clinicServer {
	t.Helper()
	w := &clinicServer{TB: t, at: time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)}
	now := func() time.Time { return w.at }
	st, err := boltstore.Open(boltstore.Config{Path: filepath.Join(t.TempDir(), "store"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		t.Fatal(err)
	}
	blobs, err := blob.Open(blob.Config{Path: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	w.Service, err = Open(t.Context(), Config{
		Store: st, Blobs: blobs, PublicURL: "https://needlebook.invalid", Now: now, HashCost: auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1},
	})
	if err != nil {
		t.Fatal(err)
	}
	if w.org, err = w.Found(t.Context(), Founding{Organisation: "Harbour Clinics", Clinic: "Harbour"}); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(w.Handler())
	t.Cleanup(func() {
		server.Close()
		if _, err := w.Ledger().Check(context.Background(), nil); err != nil {
			t.Error(err)
		}
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	w.address = server.URL
	return w
}

// client is a person who calls.
type client struct {
	chartv1connect.ChartServiceClient
	staff uuid.UUID
}

// bearerToken puts a token on each request.
type bearerToken string

func (b bearerToken) RoundTrip(r *http.Request) (*http.Response, error) {
	r.Header.Set("Authorization", "Bearer "+string(b))
	return http.DefaultTransport.RoundTrip(r)
}

// hire makes an account with roles at a clinic, uuid.Nil for all clinics, and a client that is signed in.
func (w *clinicServer) hire(org, clinic uuid.UUID, roles ...accessv1.Role) client {
	w.Helper()
	staff := uuid.New()
	var token string
	err := w.Store.Update(w.Context(), func(tx store.Writer) error {
		a, err := auth.SetPositions(tx, org, staff, []auth.Position{{Clinic: clinic, Roles: roles}}, false)
		if err != nil {
			return err
		}
		token, _, err = w.signer.Sign(a, uuid.Nil, w.at)
		return err
	})
	if err != nil {
		w.Fatal(err)
	}
	h := &http.Client{Transport: bearerToken(token)}
	return client{chartv1connect.NewChartServiceClient(h, w.address), staff}
}

func (w *clinicServer) injector() client {
	w.Helper()
	return w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
}

// reasonIn is the reason that an error carries, with its code.
func reasonIn(err error) (connect.Code, string) {
	var failed *connect.Error
	if err == nil {
		return 0, ""
	}
	if !asError(err, &failed) {
		return connect.CodeOf(err), ""
	}
	for _, d := range failed.Details() {
		if v, err := d.Value(); err == nil {
			if info, ok := v.(*errdetails.ErrorInfo); ok {
				return failed.Code(), info.GetReason()
			}
		}
	}
	return failed.Code(), ""
}

func asError(err error, to **connect.Error) bool {
	e, ok := err.(*connect.Error) //nolint:errorlint // clients return it bare
	*to = e
	return ok
}

func wantReason(t *testing.T, what string, err error, code connect.Code, reason string) {
	t.Helper()
	if gotCode, got := reasonIn(err); gotCode != code || got != reason {
		t.Errorf("%s: %v %s (%v), want %v %s", what, gotCode, got, err, code, reason)
	}
}

// entries is the audit log, oldest first.
func (w *clinicServer) entries() []audit.Entry {
	w.Helper()
	var out []audit.Entry
	err := w.Store.View(w.Context(), func(r store.Reader) error {
		p, err := audit.List(r, audit.Query{Org: w.org.ID, Limit: 1000})
		for _, l := range slices.Backward(p.Entries) {
			out = append(out, l.Entry)
		}
		return err
	})
	if err != nil {
		w.Fatal(err)
	}
	return out
}

// newPatient makes a patient's record and returns its id.
func (w *clinicServer) newPatient(c client, name string, year int32, clinic uuid.UUID) string {
	w.Helper()
	p := &chartv1.Patient{Id: uuid.NewString(), Name: &recordv1.PersonName{Full: name}, Birth: &chartv1.BirthDate{
		Date: &recordv1.Date{Year: year, Month: 4, Day: 2}, Proof: chartv1.BirthProof_BIRTH_PROOF_DOCUMENT, Checked: actOf(c.staff, w.at)}}
	mask := []string{"name", "birth"}
	if clinic != uuid.Nil {
		p.HomeClinicId, mask = proto.String(clinic.String()), append(mask, "home_clinic_id")
	}
	w.edit(c, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: p}}, nil, mask...)
	return p.GetId()
}

func (w *clinicServer) edit(c client, r *chartv1.Record, context []byte, mask ...string) *chartv1.EditRecordResponse {
	w.Helper()
	resp, err := c.EditRecord(w.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), Record: r, UpdateMask: mask, Context: context})
	if err != nil {
		w.Fatal(err)
	}
	return resp
}

// newSession makes a session with one injection given, and returns its view.
func (w *clinicServer) newSession(c client, patient string, clinic uuid.UUID, day int32) *chartv1.RecordView {
	w.Helper()
	injection := uuid.NewString()
	s := &chartv1.Session{
		Id: uuid.NewString(), PatientId: &patient, ClinicId: proto.String(clinic.String()), Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
		On: &recordv1.Date{Year: 2026, Month: 5, Day: day}, ResponsibleId: proto.String(c.staff.String()),
		Injections: []*chartv1.Injection{{Id: injection, Muscle: proto.String("mentalis"), Side: chartv1.Side_SIDE_MIDLINE.Enum(),
			Planned: &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 4000},
			Givings: []*chartv1.Giving{{Id: uuid.NewString(), Given: &chartv1.GivenDose{
				Dose: &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 4000}}}}}},
	}
	return w.edit(c, sessionOf(s), nil, "patient_id", "clinic_id", "kind", "on", "responsible_id", "injections["+injection+"]").GetView()
}

func sessionOf(s *chartv1.Session) *chartv1.Record {
	return &chartv1.Record{Kind: &chartv1.Record_Session{Session: s}}
}

func TestEditRecord_TwiceHasOneEffect(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	view, err := c.GetPatient(t.Context(), &chartv1.GetPatientRequest{PatientId: patient})
	if err != nil {
		t.Fatal(err)
	}
	req := &chartv1.EditRecordRequest{
		RequestId: uuid.NewString(), UpdateMask: []string{"name"}, Context: view.GetView().GetContext(),
		Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient, Name: &recordv1.PersonName{Full: "Mara Velle"}}}},
	}
	first, err := c.EditRecord(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	if first.GetAlreadyApplied() || first.GetEdit().GetEditId() != req.GetRequestId() || first.GetView().GetRecord().GetPatient().GetName().GetFull() != "Mara Velle" {
		t.Errorf("first answer: %v", first)
	}
	w.at = w.at.Add(time.Minute)
	again, err := c.EditRecord(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	if !again.GetAlreadyApplied() || !proto.Equal(again.GetEdit(), first.GetEdit()) || !proto.Equal(again.GetView(), first.GetView()) {
		t.Errorf("asked again: %v\nwant %v", again, first)
	}
	req.Record.GetPatient().Name.Full = "Mara Wells"
	_, err = c.EditRecord(t.Context(), req)
	wantReason(t, "the id with another content", err, connect.CodeAlreadyExists, "ID_REUSED")

	history, err := c.GetRecordHistory(t.Context(), &chartv1.GetRecordHistoryRequest{
		Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, RecordId: patient}, Path: "name"})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(history.GetEntries()); n != 2 || history.GetEntries()[0].GetAuthorship().GetEditId() != req.GetRequestId() || len(history.GetEntries()[1].GetWrites()) != 1 {
		t.Errorf("history of the name: %v", history.GetEntries())
	}
}

// TestRow1_TheSameEditAHundredTimesAtOnce sends one request over and over, and wants one effect and one answer.
func TestRow1_TheSameEditAHundredTimesAtOnce(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	req := &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: []string{"name"},
		Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient, Name: &recordv1.PersonName{Full: "Mara Velle"}}}}}
	answers := make(chan *chartv1.EditRecordResponse, 100)
	var all sync.WaitGroup
	for range 10 {
		all.Go(func() {
			for range 10 {
				resp, err := c.EditRecord(t.Context(), req)
				if err != nil {
					t.Errorf("one of a hundred: %v", err)
				}
				answers <- resp
			}
		})
	}
	all.Wait()
	close(answers)
	first := <-answers
	for a := range answers {
		if !proto.Equal(a.GetEdit(), first.GetEdit()) || !proto.Equal(a.GetView(), first.GetView()) {
			t.Fatalf("one answer is %v, another %v", a, first)
		}
	}
	history, err := c.GetRecordHistory(t.Context(), &chartv1.GetRecordHistoryRequest{
		Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, RecordId: patient}})
	if err != nil || len(history.GetEntries()) != 2 {
		t.Errorf("history: %d edits, %v; want that which made the record and this one", len(history.GetEntries()), err)
	}
}

// TestIndex_AfterARestart asks a server that has just started.
func TestIndex_AfterARestart(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	w.newSession(c, patient, w.org.Clinic, 4)
	running, err := newCharting(w.Service).index.follow(t.Context(), recordID(w.org.ID))
	if err != nil {
		t.Fatal(err)
	}
	before := len(running.keys.Keys())
	w.edit(c, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient, Name: &recordv1.PersonName{Full: "Ida Brook"}}}},
		w.patientView(c, patient).GetContext(), "name")
	for name, text := range map[string]string{"the new name": "brook", "the old name": "vell"} {
		found, err := c.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{Text: text})
		if err != nil || len(found.GetPatients()) != map[string]int{"brook": 1}[text] {
			t.Errorf("%s: %v, %v", name, found, err)
		}
	}
	fresh, err := newCharting(w.Service).index.follow(t.Context(), recordID(w.org.ID))
	if err != nil {
		t.Fatal(err)
	}
	h := newCharting(w.Service)
	h.index.orgs[recordID(w.org.ID)] = running
	if running, err = h.index.follow(t.Context(), recordID(w.org.ID)); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(running.keys.Keys(), fresh.keys.Keys()) || before != len(fresh.keys.Keys()) {
		t.Errorf("an index that followed holds %q, one built anew %q", running.keys.Keys(), fresh.keys.Keys())
	}
}

func (w *clinicServer) patientView(c client, patient string) *chartv1.RecordView {
	w.Helper()
	resp, err := c.GetPatient(w.Context(), &chartv1.GetPatientRequest{PatientId: patient})
	if err != nil {
		w.Fatal(err)
	}
	return resp.GetView()
}

func TestConflict_FromEditToSettlement(t *testing.T) {
	w := newClinicServer(t)
	c, other := w.injector(), w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(c, patient, w.org.Clinic, 4)
	id, injection := session.GetRecord().GetSession().GetId(), session.GetRecord().GetSession().GetInjections()[0].GetId()
	path := "injections[" + injection + "].planned"
	for i, who := range []client{c, other} {
		r := sessionOf(&chartv1.Session{Id: id, Injections: []*chartv1.Injection{{Id: injection, Planned: &chartv1.Dose{
			Product: "onabotulinumtoxinA", DoseMilliunits: 1000 * int32(i+1)}}}})
		w.edit(who, r, session.GetContext(), path)
	}
	list, err := c.ListConflicts(t.Context(), &chartv1.ListConflictsRequest{PatientId: &patient})
	if err != nil {
		t.Fatal(err)
	}
	if len(list.GetConflicts()) != 1 || list.GetConflicts()[0].GetPath() != path || len(list.GetConflicts()[0].GetSiblings()) != 2 {
		t.Fatalf("conflicts: %v", list.GetConflicts())
	}
	conflict := list.GetConflicts()[0]
	_, err = c.SignSession(t.Context(), &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: id, Context: conflict.GetContext(),
		Digest: w.view(c, id).GetDigest(), Meaning: 1, Statement: "I did this."})
	wantReason(t, "signing over a conflict", err, connect.CodeFailedPrecondition, "UNSETTLED_CONFLICT")

	settle := func(request string, keep int) (*chartv1.SettleConflictResponse, error) {
		return c.SettleConflict(t.Context(), &chartv1.SettleConflictRequest{
			RequestId: request, Key: conflict.GetKey(), Path: path, Context: conflict.GetContext(), Reason: "asked her",
			Choice: &chartv1.SettleConflictRequest_Keep{Keep: conflict.GetSiblings()[keep].GetAuthors()[0].GetDot()},
		})
	}
	request := uuid.NewString()
	settled, err := settle(request, 1)
	if err != nil {
		t.Fatal(err)
	}
	s := settled.GetView().GetRecord().GetSession()
	if len(settled.GetView().GetConflicts()) != 0 || s.GetInjections()[0].GetPlanned() == nil || s.GetSettlements()[0].GetChoice().GetReason() != "asked her" {
		t.Errorf("settled: %v", settled.GetView())
	}
	w.at = w.at.Add(time.Minute)
	again, err := settle(request, 1)
	if err != nil || !again.GetAlreadyApplied() || !proto.Equal(again.GetEdit(), settled.GetEdit()) {
		t.Errorf("asked again: %v, %v", again, err)
	}
	_, err = settle(uuid.NewString(), 0)
	wantReason(t, "settled meanwhile", err, connect.CodeAborted, "STALE_READ")
	if list, err := c.ListConflicts(t.Context(), &chartv1.ListConflictsRequest{}); err != nil || len(list.GetConflicts()) != 0 {
		t.Errorf("conflicts after settling: %v, %v", list, err)
	}
}

func (w *clinicServer) view(c client, session string) *chartv1.RecordView {
	w.Helper()
	resp, err := c.GetSession(w.Context(), &chartv1.GetSessionRequest{SessionId: session})
	if err != nil {
		w.Fatal(err)
	}
	return resp.GetView()
}

func TestSignSession_AsItWasSeen(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	seen := w.newSession(c, patient, w.org.Clinic, 4)
	id := seen.GetRecord().GetSession().GetId()
	// What comes after the screen was drawn is late, and does not stop the signature.
	w.edit(c, sessionOf(&chartv1.Session{Id: id, OrderId: proto.String(uuid.NewString())}), seen.GetContext(), "order_id")
	req := &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: id, Context: seen.GetContext(), Digest: seen.GetDigest(), Meaning: 1,
		Statement: "I did this and this is what was done."}
	signed, err := c.SignSession(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	content := signed.GetSignature().GetContent()
	if content.GetSignerId() != c.staff.String() || string(content.GetVector()) != string(seen.GetContext()) || signed.GetSignature().GetRole() != accessv1.Role_ROLE_INJECTOR {
		t.Errorf("signature: %v", signed.GetSignature())
	}
	late := signed.GetView().GetLateEntries()
	if len(late) != 1 || late[0].GetWrites()[0].GetPath() != "order_id" || late[0].GetSignatureId() != req.GetRequestId() {
		t.Errorf("late entries: %v", late)
	}
	w.at = w.at.Add(time.Minute)
	if again, err := c.SignSession(t.Context(), req); err != nil || !again.GetAlreadyApplied() || !proto.Equal(again.GetSignature(), signed.GetSignature()) {
		t.Errorf("asked again: %v, %v", again, err)
	}
	wrong := proto.Clone(req).(*chartv1.SignSessionRequest)
	wrong.RequestId, wrong.Context = uuid.NewString(), signed.GetView().GetContext()
	_, err = c.SignSession(t.Context(), wrong)
	wantReason(t, "the digest of another state", err, connect.CodeFailedPrecondition, "SIGNED_VALUES_DIFFER")

	now := w.view(c, id)
	addendum, err := c.SignSession(t.Context(), &chartv1.SignSessionRequest{RequestId: uuid.NewString(), SessionId: id, Context: now.GetContext(),
		Digest: now.GetDigest(), Meaning: 3, Statement: "I have read what came after the signature."})
	if err != nil || len(addendum.GetView().GetLateEntries()) != 0 {
		t.Errorf("addendum: %v, %v", addendum.GetView().GetLateEntries(), err)
	}
	unsigned, err := c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{UnsignedOnly: true})
	if err != nil || len(unsigned.GetViews()) != 0 {
		t.Errorf("unsigned: %v, %v", unsigned, err)
	}
}

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

func TestListSessions_PagesNewestFirst(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	stranger := w.newPatient(c, "Ida Brook", 1990, w.org.Clinic)
	for day := range int32(7) {
		w.newSession(c, patient, w.org.Clinic, day+1)
		w.newSession(c, stranger, w.org.Clinic, day+1)
	}
	for _, of := range []*string{&patient, nil} {
		req := &chartv1.ListSessionsRequest{PatientId: of, PageSize: 3, From: &recordv1.Date{Year: 2026, Month: 5, Day: 2}}
		var days []int32
		seen := map[string]bool{}
		for {
			resp, err := c.ListSessions(t.Context(), req)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range resp.GetViews() {
				s := v.GetRecord().GetSession()
				if days = append(days, -s.GetOn().GetDay()); seen[s.GetId()] {
					t.Errorf("%s comes twice", s.GetId())
				}
				seen[s.GetId()] = true
			}
			if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		want := 12
		if of != nil {
			want = 6
		}
		if len(days) != want || !slices.IsSorted(days) {
			t.Errorf("days (negative): %v, want %d, newest first", days, want)
		}
	}
	resp, err := c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{PageSize: 3})
	if err != nil {
		t.Fatal(err)
	}
	_, err = c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{PageSize: 3, PatientId: &patient, PageToken: resp.GetNextPageToken()})
	wantReason(t, "the token of another list", err, connect.CodeInvalidArgument, "INVALID_FIELD")
	_, err = c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{PageToken: "AAAA"})
	wantReason(t, "a forged token", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}

func TestSearchPatients(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	ids := map[string]string{}
	for i, name := range []string{"Élodie Øster", "Elodie Ostermann", "Νίκος Παππάς", "山田太郎", "O'Brien, Sean", "Sean Obrienson"} {
		ids[name] = w.newPatient(c, name, int32(1970+i), w.org.Clinic)
	}
	w.newSession(c, ids["Νίκος Παππάς"], w.org.Clinic, 4)
	w.newSession(c, ids["Νίκος Παππάς"], w.org.Clinic, 9)
	for name, s := range map[string]struct {
		req  *chartv1.SearchPatientsRequest
		want []string
	}{
		"the whole name first":  {&chartv1.SearchPatientsRequest{Text: "oster elodie"}, []string{"Élodie Øster", "Elodie Ostermann"}},
		"without case, Greek":   {&chartv1.SearchPatientsRequest{Text: "ΠΑΠΠΑΣ"}, []string{"Νίκος Παππάς"}},
		"the middle, Han":       {&chartv1.SearchPatientsRequest{Text: "太郎"}, []string{"山田太郎"}},
		"an apostrophe":         {&chartv1.SearchPatientsRequest{Text: "sean obrien"}, []string{"O'Brien, Sean", "Sean Obrienson"}},
		"born on":               {&chartv1.SearchPatientsRequest{BornOn: &recordv1.Date{Year: 1972, Month: 4, Day: 2}}, []string{"Νίκος Παππάς"}},
		"a name and a birthday": {&chartv1.SearchPatientsRequest{Text: "elo", BornOn: &recordv1.Date{Year: 1971, Month: 4, Day: 2}}, []string{"Elodie Ostermann"}},
		"nobody":                {&chartv1.SearchPatientsRequest{Text: "zz"}, nil},
		"only signs":            {&chartv1.SearchPatientsRequest{Text: "-"}, nil},
		"another clinic":        {&chartv1.SearchPatientsRequest{Text: "elodie", ClinicId: proto.String(uuid.NewString())}, nil},
	} {
		var got, want []string
		s.req.PageSize = 1
		for {
			resp, err := c.SearchPatients(t.Context(), s.req)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			for _, p := range resp.GetPatients() {
				got = append(got, p.GetPatientId())
				if last := p.GetLastTreatments(); p.GetName().GetFull() == "Νίκος Παππάς" && (len(last) != 1 || last[0].GetOn().GetDay() != 9) {
					t.Errorf("%s: last treatments %v", name, last)
				}
			}
			if s.req.PageToken = resp.GetNextPageToken(); s.req.PageToken == "" {
				break
			}
		}
		for _, n := range s.want {
			want = append(want, ids[n])
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v (%v)", name, got, want, s.want)
		}
	}
	_, err := c.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{BornOn: &recordv1.Date{Year: 1971, Month: 2, Day: 30}})
	wantReason(t, "30 February", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}
