package service

import (
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// TestPractice: only a new record of a patient may be made for practice, and it stays so.
func TestPractice(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	id := uuid.NewString()
	made, err := c.EditRecord(t.Context(), &chartv1.EditRecordRequest{
		RequestId: uuid.NewString(), UpdateMask: []string{"name", "practice"},
		Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{
			Id: id, Name: &recordv1.PersonName{Full: "PRACTICE Nobody"}, Practice: &chartv1.PracticeMark{Set: actOf(c.staff, w.at)},
		}}},
	})
	if err != nil || made.GetView().GetRecord().GetPatient().GetPractice() == nil {
		t.Fatalf("a new patient for practice: %v, %v", made, err)
	}
	_, err = c.EditRecord(t.Context(), &chartv1.EditRecordRequest{
		RequestId: uuid.NewString(), UpdateMask: []string{"practice"}, Context: made.GetView().GetContext(),
		Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: id}}},
	})
	if code, reason := reasonIn(err); code != connect.CodeInvalidArgument || reason != "OUTPUT_ONLY" {
		t.Errorf("the mark taken away: %v", err)
	}
}

// TestEditRecord_MovesOfAVisit: the server asks the table of deeds when one step of a visit is written, and an assistant finishes nobody's treatment.
func TestEditRecord_MovesOfAVisit(t *testing.T) {
	w := newClinicServer(t)
	c := w.injector()
	view := w.newSession(c, w.newPatient(c, "Mara Vell", 1980, w.org.Clinic), w.org.Clinic, 4)
	session := view.GetRecord().GetSession()
	move := func(step chartv1.SessionStep) error {
		id := uuid.NewString()
		resp, err := c.EditRecord(t.Context(), &chartv1.EditRecordRequest{
			RequestId: uuid.NewString(), UpdateMask: []string{"states[" + id + "]"}, Context: view.GetContext(),
			Record: sessionOf(&chartv1.Session{Id: session.GetId(), States: []*chartv1.SessionState{{Id: id, Change: &chartv1.StateChange{
				Step: step, Moved: actOf(c.staff, w.at),
			}}}}),
		})
		if err == nil {
			view = resp.GetView()
		}
		return err
	}
	if _, reason := reasonIn(move(chartv1.SessionStep_SESSION_STEP_CANCELLED)); reason != "INVALID_FIELD" {
		t.Errorf("a visit in which something was given is cancelled: %s", reason)
	}
	if err := move(chartv1.SessionStep_SESSION_STEP_FINISHED); err != nil {
		t.Errorf("finished: %v", err)
	}
	if _, reason := reasonIn(move(chartv1.SessionStep_SESSION_STEP_PAUSED)); reason != "INVALID_FIELD" {
		t.Errorf("paused when it was over: %s", reason)
	}
}

// TestEditRecord_APublishedTextStaysAsItIs: it may be withdrawn, and nothing else.
func TestEditRecord_APublishedTextStaysAsItIs(t *testing.T) {
	w := newClinicServer(t)
	c := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD)
	id := uuid.NewString()
	text := func(m *chartv1.ConsentText, context []byte, mask ...string) (*chartv1.EditRecordResponse, error) {
		m.Id = id
		return c.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: mask, Context: context,
			Record: &chartv1.Record{Kind: &chartv1.Record_ConsentText{ConsentText: m}}})
	}
	published := &chartv1.TextPublication{Digest: make([]byte, 32), Published: actOf(c.staff, w.at)}
	made, err := text(&chartv1.ConsentText{Title: proto.String("Mouth"), Published: published}, nil, "title", "published")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := text(&chartv1.ConsentText{Title: proto.String("Chin")}, made.GetView().GetContext(), "title"); err == nil {
		t.Error("another title")
	} else if _, reason := reasonIn(err); reason != "INVALID_FIELD" {
		t.Errorf("another title: %v", err)
	}
	withdrawn := &recordv1.Void{Reason: "a new version", By: c.staff.String(), At: actOf(c.staff, w.at).GetAt()}
	if _, err := text(&chartv1.ConsentText{Withdrawn: withdrawn}, made.GetView().GetContext(), "withdrawn"); err != nil {
		t.Errorf("withdrawn: %v", err)
	}
}
