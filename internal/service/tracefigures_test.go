package service

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// followUp makes a visit that follows another up, and returns it.
func (w *clinicServer) followUp(c tracer, s *chartv1.Session, day int32, kind chartv1.SessionKind, in ...*chartv1.Injection) *chartv1.Session {
	w.Helper()
	out := w.newVisit(c.client, s.GetPatientId(), w.org.Clinic, day, kind, in...)
	w.edit(c.client, sessionOf(&chartv1.Session{Id: out.Id, Parent: &chartv1.SessionParent{SessionId: s.Id}}), nil, "parent")
	return out
}

// Figures of a small clinic, counted by hand: three treatments of the lower face, one touched up, two seen again of which one came out unlike.
func TestFiguresAndLogbook(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	lead := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	pair := func(right, left int32) []*chartv1.Injection {
		return []*chartv1.Injection{givingFrom(v, chartv1.Side_SIDE_RIGHT, right), givingFrom(v, chartv1.Side_SIDE_LEFT, left)}
	}
	a, b := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic), w.newPatient(c.client, "Zoe Anders", 1975, w.org.Clinic)
	first := w.newVisit(c.client, a, w.org.Clinic, 1, treatment, pair(2000, 2500)...)
	second := w.newVisit(c.client, b, w.org.Clinic, 2, treatment, pair(2000, 2000)...)
	w.newVisit(c.client, a, w.org.Clinic, 29, treatment, pair(1000, 1000)...)
	w.followUp(c, first, 12, chartv1.SessionKind_SESSION_KIND_TOUCH_UP, givingFrom(v, chartv1.Side_SIDE_LEFT, 500))
	for i, s := range []*chartv1.Session{first, second} {
		review := w.followUp(c, s, 12, chartv1.SessionKind_SESSION_KIND_REVIEW)
		for grade, side := range []chartv1.Side{chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT} {
			id := uuid.NewString()
			w.edit(c.client, sessionOf(&chartv1.Session{Id: review.Id, Ratings: []*chartv1.Rating{{Id: id, Grade: &chartv1.Grade{
				Scale: "four_grades", Version: "1", Direction: formularyv1.ScaleDirection_SCALE_DIRECTION_BETTER, Region: "lower_face", Side: side.Enum(),
				Contraction: chartv1.Contraction_CONTRACTION_SMILING, Grade: int32(i * grade), Rated: actOf(c.staff, w.at)}}}}), nil, "ratings["+id+"]")
		}
	}
	m, err := lead.GetFigures(t.Context(), &tracev1.GetFiguresRequest{Form: tracev1.FigureForm_FIGURE_FORM_CSV})
	if err != nil {
		t.Fatal(err)
	}
	if r := m.GetRates(); len(r) != 1 || r[0].GetRegion() != "lower_face" || r[0].GetTreatments() != 3 || r[0].GetTouchedUp() != 1 || r[0].GetTouchedUpPercent() != "33.3" ||
		r[0].GetReviewed() != 2 || r[0].GetUnlike() != 1 || r[0].GetUnlikePercent() != "50.0" {
		t.Errorf("rates %v", r)
	}
	if i := m.GetIntervals(); len(i) != 1 || i[0].GetCount() != 1 || i[0].GetMedianDays() != 28 {
		t.Errorf("intervals %v", i)
	}
	if m.GetPatients() != 2 || len(m.GetUnits()) != 2 || m.GetUnits()[0].GetDose().GetMostUnits() != "5" || m.GetUnits()[1].GetDose().GetMostUnits() != "6" {
		t.Errorf("%d patients, units %v", m.GetPatients(), m.GetUnits())
	}
	rows, err := csv.NewReader(bytes.NewReader(m.GetFile().GetData())).ReadAll()
	if err != nil || len(rows) != 1+3+2+1+1 || strings.Contains(string(m.GetFile().GetData()), a) {
		t.Errorf("%d rows, or a patient among them (%v)", len(rows), err)
	}
	svg, err := c.GetFigures(t.Context(), &tracev1.GetFiguresRequest{Form: tracev1.FigureForm_FIGURE_FORM_SVG})
	if err != nil || !strings.Contains(string(svg.GetFile().GetData()), "Units of onabotulinumtoxinA") {
		t.Errorf("plot: %v", err)
	}
	book, err := c.GetLogbook(t.Context(), &tracev1.GetLogbookRequest{PageSize: 3, Form: tracev1.FigureForm_FIGURE_FORM_CSV})
	if err != nil {
		t.Fatal(err)
	}
	if r := book.GetRegions(); len(book.GetCases()) != 3 || book.GetNextPageToken() == "" || len(r) != 1 || r[0].GetCases() != 4 || r[0].GetInjections() != 7 ||
		book.GetCases()[0].GetOn().GetDay() != 29 || bytes.Count(book.GetFile().GetData(), []byte("\r\n")) != 5 {
		t.Errorf("logbook %v", book)
	}
	_, err = c.GetLogbook(t.Context(), &tracev1.GetLogbookRequest{InjectorId: proto.String(lead.staff.String())})
	wantReason(t, "another's logbook", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = c.GetFigures(t.Context(), &tracev1.GetFiguresRequest{From: mayDay(9), Until: &recordv1.Date{Year: 2026, Month: 5, Day: 8}})
	wantReason(t, "a time that ends before it begins", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}
