package service

import (
	"slices"
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/audit"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// push hands in edits as a tablet's page, under a replica that is nobody's. Who may push is not what is tried here.
func (w *clinicServer) push(replica causal.ReplicaID, edits ...record.Edit) {
	w.Helper()
	var head record.Hash
	for i := range edits {
		edits[i].Dot = causal.Dot{Replica: replica, Counter: uint64(i + 1)}
		edits[i].Previous = head
		head = edits[i].Hash()
	}
	page := wire.EncodePage(edits)
	page.Signature = make([]byte, 64)
	caller := ledger.Caller{
		Org: recordID(w.org.ID), Device: record.ID{0xde},
		Owns:   func(store.Reader, causal.ReplicaID) error { return nil },
		Claim:  func(store.Writer, causal.ReplicaID) error { return nil },
		Verify: func(_, _ []byte) error { return nil },
	}
	_, err := w.Ledger().Exchange(w.Context(), caller, &syncv1.ExchangeRequest{
		Replica: replica[:], Page: page, HeadCounter: uint64(len(edits)), HeadHash: head[:]})
	if err != nil {
		w.Fatal(err)
	}
}

// tabletEdit is an edit of a record by a typed message, made on a tablet from what context had seen.
func (w *clinicServer) tabletEdit(author uuid.UUID, r *chartv1.Record, context []byte, mask ...string) record.Edit {
	w.Helper()
	c, err := chart.New(w.Schema(), nil).Edit(&chartv1.EditRecordRequest{Record: r, UpdateMask: mask, Context: context})
	if err != nil {
		w.Fatal(err)
	}
	return record.Edit{ID: record.ID(uuid.New()), Key: c.Key, Context: c.Context, Author: record.ID(author), AuthoredAt: w.at.UnixMilli(), Writes: c.Writes}
}

func TestHeldEdits_ListReleaseGiveUp(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	lead := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	desk := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_FRONT_DESK)
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(c, patient, w.org.Clinic, 4)
	id := session.GetRecord().GetSession().GetId()
	order, kept := uuid.NewString(), uuid.NewString()
	// Somebody who may not chart charts on a tablet; an injector who has seen it rewrites one of the two fields.
	replica := causal.ReplicaID{0xfe, 1}
	w.push(replica,
		w.tabletEdit(desk.staff, sessionOf(&chartv1.Session{Id: id, OrderId: &order, SupervisorId: &kept}), session.GetContext(), "order_id", "supervisor_id"),
		w.tabletEdit(desk.staff, sessionOf(&chartv1.Session{Id: id, ResponsibleId: &order}), session.GetContext(), "responsible_id"),
	)
	now := w.view(c, id)
	if n := len(now.GetHeldEdits()); n != 2 || now.GetRecord().GetSession().OrderId != nil {
		t.Fatalf("%d held edits; order %v", n, now.GetRecord().GetSession().GetOrderId())
	}
	w.edit(c, sessionOf(&chartv1.Session{Id: id, OrderId: proto.String(kept)}), now.GetContext(), "order_id")

	_, err := c.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{})
	wantReason(t, "an injector lists them", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	list, err := lead.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{ClinicId: proto.String(w.org.Clinic.String()), PageSize: 1})
	if err != nil || len(list.GetHeldEdits()) != 1 || list.GetNextPageToken() == "" {
		t.Fatalf("first page: %v, %v", list, err)
	}
	first := list.GetHeldEdits()[0]
	if first.GetReason() != faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED || !slices.Equal(first.GetRewrittenPaths(), []string{"order_id"}) || len(first.GetWrites()) != 2 {
		t.Errorf("held edit: %v", first)
	}
	list, err = lead.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{ClinicId: proto.String(w.org.Clinic.String()), PageSize: 1, PageToken: list.GetNextPageToken()})
	if err != nil || len(list.GetHeldEdits()) != 1 || list.GetNextPageToken() != "" {
		t.Fatalf("second page: %v, %v", list, err)
	}
	second := list.GetHeldEdits()[0]
	if elsewhere, err := lead.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{ClinicId: proto.String(uuid.NewString())}); err != nil || len(elsewhere.GetHeldEdits()) != 0 {
		t.Errorf("at another clinic: %v, %v", elsewhere, err)
	}

	release := &chartv1.ReleaseHeldEditRequest{RequestId: uuid.NewString(), Dot: first.GetAuthorship().GetDot(), Reason: "she told me"}
	for range 2 {
		released, err := lead.ReleaseHeldEdit(t.Context(), release)
		if err != nil {
			t.Fatal(err)
		}
		s := released.GetView().GetRecord().GetSession()
		if s.GetOrderId() != kept || s.GetSupervisorId() != kept || released.GetEdit().GetStaffId() != desk.staff.String() {
			t.Errorf("released: order %s, supervisor %s, by %v", s.GetOrderId(), s.GetSupervisorId(), released.GetEdit())
		}
	}
	giveUp := &chartv1.GiveUpHeldEditRequest{RequestId: uuid.NewString(), Dot: second.GetAuthorship().GetDot(), Reason: "typed in error"}
	for range 2 {
		given, err := lead.GiveUpHeldEdit(t.Context(), giveUp)
		if err != nil || given.GetHeldEdit().GetStatus() != syncv1.HeldStatus_HELD_STATUS_GIVEN_UP {
			t.Errorf("given up: %v, %v", given, err)
		}
	}
	_, err = lead.ReleaseHeldEdit(t.Context(), &chartv1.ReleaseHeldEditRequest{RequestId: uuid.NewString(), Dot: second.GetAuthorship().GetDot(), Reason: "x"})
	wantReason(t, "releasing what was given up", err, connect.CodeAborted, "STALE_READ")
	_, err = lead.GiveUpHeldEdit(t.Context(), &chartv1.GiveUpHeldEditRequest{RequestId: uuid.NewString(), Reason: "x",
		Dot: &chartv1.Dot{ReplicaId: uuid.NewString(), Counter: 1}})
	wantReason(t, "giving up what is nowhere", err, connect.CodeNotFound, "NOT_FOUND")

	if list, err := lead.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{}); err != nil || len(list.GetHeldEdits()) != 0 {
		t.Errorf("after judging: %v, %v", list, err)
	}
	if list, err := lead.ListHeldEdits(t.Context(), &chartv1.ListHeldEditsRequest{IncludeJudged: true}); err != nil || len(list.GetHeldEdits()) != 2 {
		t.Errorf("judged ones included: %v, %v", list, err)
	}
	remark := slices.ContainsFunc(w.entries(), func(e audit.Entry) bool { return e.Remark == "she told me" && e.Record.String() == id })
	if !remark {
		t.Error("the reason for the release is not in the audit log")
	}
	history, err := c.GetRecordHistory(t.Context(), &chartv1.GetRecordHistoryRequest{PageSize: 2,
		Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: id}})
	if err != nil || len(history.GetEntries()) != 2 || history.GetNextPageToken() == "" {
		t.Errorf("history: %v, %v", history, err)
	}
}

// TestRow9 tries to set, through the API, what only the server or another call sets.
func TestRow9_OutputOnly(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(c, patient, w.org.Clinic, 4)
	id := session.GetRecord().GetSession().GetId()
	element := uuid.NewString()
	before := w.view(c, id)
	for name, r := range map[string]struct {
		record *chartv1.Record
		path   string
	}{
		"that a patient is for practice": {&chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient,
			Practice: &chartv1.PracticeMark{Set: actOf(c.staff, w.at)}}}}, "practice"},
		"another's signature": {sessionOf(&chartv1.Session{Id: id, Signatures: []*chartv1.Signature{{Id: element, Content: &syncv1.SignedContent{
			Vector: []byte{0}, Digest: make([]byte, 32), Values: []byte{0}, SignerId: uuid.NewString(), Meaning: 1}}}}), "signatures[" + element + "]"},
		"that a patient was erased": {&chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient, Erased: &chartv1.Erasure{
			Basis: "none", Ordered: actOf(c.staff, w.at)}}}}, "erased"},
	} {
		_, err := c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), Record: r.record, UpdateMask: []string{r.path},
			Context: session.GetContext()})
		if code, reason := reasonIn(err); code != connect.CodeInvalidArgument || reason != "OUTPUT_ONLY" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if after := w.view(c, id); !proto.Equal(after, before) {
		t.Errorf("the record changed: %v", after)
	}
}

// TestRow18 sends a field and a value of an enumeration that this version does not know. Through the API they are refused by name; in a tablet's page
// they are held, byte for byte.
func TestRow18_UnknownFieldsAndValues(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	session := w.newSession(c, patient, w.org.Clinic, 4)
	id := session.GetRecord().GetSession().GetId()
	_, err := c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), Context: session.GetContext(), UpdateMask: []string{"kind"},
		Record: sessionOf(&chartv1.Session{Id: id, Kind: chartv1.SessionKind(99).Enum()})})
	if _, reason := reasonIn(err); reason != "SCHEMA_TOO_NEW" && reason != "INVALID_FIELD" {
		t.Errorf("an enumeration's value through the API: %v", err)
	}

	unknown := protowire.AppendString(protowire.AppendTag(nil, 900, protowire.BytesType), "from a later version")
	seen, err := chart.ReadContext(session.GetContext())
	if err != nil {
		t.Fatal(err)
	}
	e := record.Edit{ID: record.ID(uuid.New()), Key: record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: record.ID(uuid.MustParse(id))},
		Context: seen, Author: record.ID(c.staff), AuthoredAt: w.at.UnixMilli(), Writes: []record.Write{{Set: unknown}}}
	w.push(causal.ReplicaID{0xfe, 2}, e)
	held := w.view(c, id).GetHeldEdits()
	if len(held) != 1 || held[0].GetReason() != faultv1.Reason_REASON_SCHEMA_TOO_NEW || held[0].GetWrites()[0].GetPath() != "900" {
		t.Fatalf("held: %v", held)
	}
	r, err := w.Ledger().Read(t.Context(), recordID(w.org.ID), e.Key)
	if err != nil || string(r.Held[0].Edit.Writes[0].Set) != string(unknown) {
		t.Errorf("kept as %x, want %x (%v)", r.Held[0].Edit.Writes[0].Set, unknown, err)
	}
}

// TestRow20 sends names with characters that no record may hold.
func TestRow20_TextThatHidesOrTurns(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	for name, text := range map[string]string{"NUL": "An\x00na", "override": "An\u202ena", "zero width": "An\u200bna", "control": "An\x07na"} {
		p := &chartv1.Patient{Id: uuid.NewString(), Name: &recordv1.PersonName{Full: text}}
		_, err := c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: []string{"name"},
			Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: p}}})
		wantReason(t, name, err, connect.CodeInvalidArgument, "INVALID_FIELD")
	}
	id := w.newPatient(c, "Le\u0301a Fre\u0300re", 1980, w.org.Clinic)
	got, err := c.GetPatient(t.Context(), &chartv1.GetPatientRequest{PatientId: id})
	if full := got.GetView().GetRecord().GetPatient().GetName().GetFull(); err != nil || full != "L\u00e9a Fr\u00e8re" {
		t.Errorf("name is %+q, %v", full, err)
	}
}

// TestAudit_EveryReadOfAPatientIsEntered calls each read and looks for its entry.
func TestAudit_EveryReadOfAPatientIsEntered(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	patient := w.newPatient(c, "Mara Vell", 1980, w.org.Clinic)
	id := w.newSession(c, patient, w.org.Clinic, 4).GetRecord().GetSession().GetId()
	key := &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: id}
	for method, read := range map[string]func() error{
		"GetPatient": func() error {
			_, err := c.GetPatient(t.Context(), &chartv1.GetPatientRequest{PatientId: patient})
			return err
		},
		"GetSession": func() error {
			_, err := c.GetSession(t.Context(), &chartv1.GetSessionRequest{SessionId: id})
			return err
		},
		"GetRecord": func() error { _, err := c.GetRecord(t.Context(), &chartv1.GetRecordRequest{Key: key}); return err },
		"GetRecordHistory": func() error {
			_, err := c.GetRecordHistory(t.Context(), &chartv1.GetRecordHistoryRequest{Key: key})
			return err
		},
		"ListSessions": func() error { _, err := c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{}); return err },
		"SearchPatients": func() error {
			_, err := c.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{Text: "mara"})
			return err
		},
	} {
		before := len(w.entries())
		if err := read(); err != nil {
			t.Errorf("%s: %v", method, err)
			continue
		}
		after := w.entries()
		if len(after) != before+1 {
			t.Errorf("%s left %d entries, want 1", method, len(after)-before)
			continue
		}
		e := after[before]
		if e.Procedure != "needlebook.chart.v1.ChartService/"+method || e.Patient.String() != patient || e.Staff != c.staff ||
			e.Outcome != accessv1.AuditOutcome_AUDIT_OUTCOME_DONE || e.Relation != audit.OwnClinic {
			t.Errorf("%s left %+v", method, e)
		}
	}
}
