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
	token string
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
	return client{chartv1connect.NewChartServiceClient(h, w.address), staff, token}
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
