package service

import (
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

func mayDay(day int32) *recordv1.Date { return &recordv1.Date{Year: 2026, Month: 5, Day: day} }

func (w *clinicServer) day(c tracer, clinic uuid.UUID, day int32) *tracev1.GetDayCloseResponse {
	w.Helper()
	resp, err := c.GetDayClose(w.Context(), &tracev1.GetDayCloseRequest{ClinicId: clinic.String(), Day: mayDay(day)})
	if err != nil {
		w.Fatal(err)
	}
	return resp
}

// drawAndWaste charts that a vial was drawn from for a session, and what of it was thrown away, in milliunits.
func (w *clinicServer) drawAndWaste(c tracer, v *chartv1.Vial, session string, drawn, wasted int32, day int) {
	w.Helper()
	at := actOf(c.staff, time.Date(2026, 5, day, 11, 0, 0, 0, time.UTC))
	draw, waste := uuid.NewString(), uuid.NewString()
	w.edit(c.client, vialRecord(&chartv1.Vial{Id: v.Id,
		Draws: []*chartv1.Draw{{Id: draw, Drawn: at, Amount: &chartv1.DrawAmount{SessionId: session, PreparationId: &v.Preparations[0].Id,
			VolumeNanoliters: int64(drawn) * 25, DoseMilliunits: drawn}}},
		Wastes: []*chartv1.Waste{{Id: waste, Amount: &chartv1.WasteAmount{DoseMilliunits: &wasted, VolumeNanoliters: proto.Int64(int64(wasted) * 25), Reason: "left in the syringe", Done: at}}},
	}), nil, "draws["+draw+"]", "wastes["+waste+"]")
}

// A day shows what is open on it, is closed by a named person over exactly what was shown, and is opened again by what comes late, named edit by edit.
func TestDayClose_IsReopenedByWhatComesLate(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	patient := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	s := w.newVisit(c.client, patient, w.org.Clinic, 3, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(v, chartv1.Side_SIDE_LEFT, 2500))
	w.newVisit(c.client, patient, w.org.Clinic, 4, treatment, givingFrom(v, chartv1.Side_SIDE_LEFT, 1000)) // another day
	w.drawAndWaste(c, v, s.Id, 6000, 500, 3)
	answer := uuid.NewString()
	w.edit(c.client, sessionOf(&chartv1.Session{Id: s.Id, FindingAnswers: []*chartv1.FindingAnswer{{Id: answer, Answer: &chartv1.FindingDecision{
		FindingId: "aa00000000000000000000000000000000000000000000000000000000000000", Code: "INTERVAL_NOT_MET", Level: formularyv1.Level_LEVEL_HOLD, Text: "too soon",
		Decision: chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED, Reason: "asked for by the surgeon", Decided: actOf(c.staff, w.at), Role: accessv1.Role_ROLE_INJECTOR}}}}),
		nil, "finding_answers["+answer+"]")
	day := w.day(c, w.org.Clinic, 3)
	r := day.GetReport()
	if r.GetSessions() != 1 || r.GetSignedSessions() != 0 || len(r.GetUnsigned()) != 1 || len(r.GetVials()) != 1 || len(r.GetLiftedHolds()) != 1 || day.GetClosed() ||
		r.GetLiftedHolds()[0].GetDecision().GetReason() != "asked for by the surgeon" || day.GetOpenItems() != 1 {
		t.Fatalf("the day: %v", day)
	}
	if b := r.GetVials()[0]; b.GetGiven().GetMostUnits() != "5.5" || b.GetDrawn().GetMostUnits() != "6" || b.GetWasted().GetMostUnits() != "0.5" ||
		b.GetLeft().GetMostUnits() != "94" || b.GetUnaccounted().GetMostUnits() != "0" || b.GetOverdrawn() || b.GetLotNumber() != "C4021" {
		t.Errorf("the vial: %v", b)
	}
	closeIt := &tracev1.CloseDayRequest{RequestId: uuid.NewString(), ClinicId: w.org.Clinic.String(), Day: mayDay(3), ReportDigest: day.GetReportDigest()}
	_, err := c.CloseDay(t.Context(), closeIt)
	wantReason(t, "open items without a word", err, connect.CodeInvalidArgument, "INVALID_FIELD")
	closeIt.Remark = "signed tomorrow"
	closed, err := c.CloseDay(t.Context(), closeIt)
	if err != nil || !closed.GetDay().GetClosed() || closed.GetDay().GetClosing().GetSeen().GetClosed().GetBy() != c.staff.String() || closed.GetAlreadyApplied() {
		t.Fatalf("closed: %v (%v)", closed, err)
	}
	again, err := c.CloseDay(t.Context(), closeIt)
	if err != nil || !again.GetAlreadyApplied() || again.GetClosingId() != closed.GetClosingId() {
		t.Errorf("closed twice: %v (%v)", again, err)
	}

	late := s.GetInjections()[0]
	path := "injections[" + late.Id + "].givings[" + late.Givings[0].Id + "].spill"
	late.Givings[0].Spill = &chartv1.Spill{Text: "a drop ran off", Seen: actOf(c.staff, w.at)}
	w.edit(c.client, sessionOf(&chartv1.Session{Id: s.Id, Injections: []*chartv1.Injection{late}}), nil, path)
	other := w.newVisit(c.client, patient, w.org.Clinic, 3, chartv1.SessionKind_SESSION_KIND_CONSULTATION)
	day = w.day(c, w.org.Clinic, 3)
	entries := day.GetReport().GetLateEntries()
	if day.GetClosed() || len(entries) != 2 {
		t.Fatalf("%d late entries: %v", len(entries), entries)
	}
	found := map[string]string{}
	for _, e := range entries {
		found[e.GetKey().GetRecordId()] = e.GetPaths()[0]
	}
	if found[s.Id] != path || found[other.Id] == "" {
		t.Errorf("late: %v", found)
	}
	_, err = c.CloseDay(t.Context(), &tracev1.CloseDayRequest{RequestId: uuid.NewString(), ClinicId: w.org.Clinic.String(), Day: mayDay(3),
		ReportDigest: closeIt.ReportDigest, Remark: "x"})
	wantReason(t, "what was shown before", err, connect.CodeAborted, "STALE_READ")
	second, err := c.CloseDay(t.Context(), &tracev1.CloseDayRequest{RequestId: uuid.NewString(), ClinicId: w.org.Clinic.String(), Day: mayDay(3),
		ReportDigest: day.GetReportDigest(), Remark: "seen"})
	if err != nil || !second.GetDay().GetClosed() || len(second.GetDay().GetView().GetRecord().GetDayClose().GetClosings()) != 2 {
		t.Errorf("closed over it: %v (%v)", second, err)
	}
	open, err := c.ReopenDay(t.Context(), &tracev1.ReopenDayRequest{RequestId: uuid.NewString(), ClinicId: w.org.Clinic.String(), Day: mayDay(3),
		ClosingId: second.GetClosingId(), Reason: "counted wrongly"})
	if err != nil || open.GetDay().GetClosed() || open.GetDay().GetClosing().GetId() != closed.GetClosingId() {
		t.Errorf("taken back: %v (%v)", open, err)
	}
	stranger := w.tracer(uuid.New(), accessv1.Role_ROLE_INJECTOR)
	_, err = stranger.GetDayClose(t.Context(), &tracev1.GetDayCloseRequest{ClinicId: w.org.Clinic.String(), Day: mayDay(3)})
	wantReason(t, "an injector of another clinic", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = c.GetDayClose(t.Context(), &tracev1.GetDayCloseRequest{ClinicId: w.org.Clinic.String(), Day: &recordv1.Date{Year: 2026, Month: 2, Day: 30}})
	wantReason(t, "the 30th of February", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}

// Where a dose is in conflict the vial's account is a range, and the conflict is among what is open.
func TestDayClose_ConflictsAreRanges(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	s := w.newVisit(c.client, w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic), w.org.Clinic, 3, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000))
	w.drawAndWaste(c, v, s.Id, 3000, 0, 3)
	in := s.GetInjections()[0]
	in.Givings[0].Given.Dose.DoseMilliunits = 3500
	w.edit(c.client, sessionOf(&chartv1.Session{Id: s.Id, Injections: []*chartv1.Injection{in}}), nil, "injections["+in.Id+"].givings["+in.Givings[0].Id+"].given")
	r := w.day(c, w.org.Clinic, 3).GetReport()
	b := r.GetVials()[0]
	if b.GetGiven().GetLeastUnits() != "2" || b.GetGiven().GetMostUnits() != "3.5" || b.GetGiven().GetCertain() || b.GetUnaccounted().GetMostUnits() != "1" {
		t.Errorf("the vial: %v", b)
	}
	if len(r.GetConflicts()) != 1 || r.GetConflicts()[0].GetRecordId() != s.Id || r.GetConflicts()[0].GetKind() != optionsv1.RecordKind_RECORD_KIND_SESSION {
		t.Errorf("conflicts: %v", r.GetConflicts())
	}
}

// A review is due two weeks after by the built-in rule, or as it was set; it is gone once somebody looked back or gave more; each side's dose is beside it.
func TestListReviewsDue(t *testing.T) {
	w := newClinicServer(t) // the clock stands at 1 June 2026
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	desk := w.tracer(w.org.Clinic, accessv1.Role_ROLE_FRONT_DESK)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	visit := func(name string, day int32) *chartv1.Session {
		return w.newVisit(c.client, w.newPatient(c.client, name, 1980, w.org.Clinic), w.org.Clinic, day, treatment,
			givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(v, chartv1.Side_SIDE_LEFT, 3000))
	}
	old, set, soon, seen := visit("Mara Vell", 10), visit("Zoe Anders", 12), visit("Ida Quill", 25), visit("Tom Reed", 5)
	w.edit(c.client, sessionOf(&chartv1.Session{Id: set.Id, Review: &chartv1.ReviewDate{From: mayDay(20), Until: mayDay(27), Set: actOf(c.staff, w.at)}}), nil, "review")
	back := w.newVisit(c.client, seen.GetPatientId(), w.org.Clinic, 20, chartv1.SessionKind_SESSION_KIND_REVIEW)
	w.edit(c.client, sessionOf(&chartv1.Session{Id: back.Id, Parent: &chartv1.SessionParent{SessionId: seen.Id}}), nil, "parent")
	resp, err := desk.ListReviewsDue(t.Context(), &tracev1.ListReviewsDueRequest{ClinicId: proto.String(w.org.Clinic.String())})
	if err != nil {
		t.Fatal(err)
	}
	got := resp.GetReviews()
	if len(got) != 2 || got[0].GetSessionId() != old.Id || got[1].GetSessionId() != set.Id {
		t.Fatalf("due: %v", got)
	}
	if r := got[0]; r.GetRuleCode() != "two_weeks" || !proto.Equal(r.GetReview().GetFrom(), mayDay(24)) || r.GetReview().GetUntil() != nil || r.GetOverdue() {
		t.Errorf("by the rule, which has no last day: %v", r)
	}
	if r := got[1]; r.GetRuleCode() != "" || !r.GetOverdue() || r.GetOverdueDays() != 5 || r.GetPatient().GetName().GetFull() != "Zoe Anders" {
		t.Errorf("as it was set: %v", r)
	}
	if g := got[0].GetGiven(); len(g) != 2 || g[0].GetDose().GetMostUnits() != "2" || g[1].GetDose().GetMostUnits() != "3" || g[0].GetSide() == g[1].GetSide() {
		t.Errorf("sides: %v", g)
	}
	later, err := desk.ListReviewsDue(t.Context(), &tracev1.ListReviewsDueRequest{Until: &recordv1.Date{Year: 2026, Month: 6, Day: 8}})
	if err != nil || len(later.GetReviews()) != 3 || later.GetReviews()[2].GetSessionId() != soon.Id {
		t.Errorf("a week on: %v (%v)", later, err)
	}
	stranger := w.tracer(uuid.New(), accessv1.Role_ROLE_INJECTOR)
	if none, err := stranger.ListReviewsDue(t.Context(), &tracev1.ListReviewsDueRequest{}); err != nil || len(none.GetReviews()) != 0 {
		t.Errorf("at another clinic: %v (%v)", none, err)
	}
}
