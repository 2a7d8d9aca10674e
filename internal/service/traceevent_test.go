package service

import (
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// The sections are those of FDA form 3500 (MedWatch), A to G. What the record knows is filled in, what it does not is said to be blank.
func TestEventReport_IsFilledFromTheRecord(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	patient := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	s := w.newVisit(c.client, patient, w.org.Clinic, 3, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(v, chartv1.Side_SIDE_LEFT, 2500))
	event := &chartv1.AdverseEvent{Id: uuid.NewString(), PatientId: &patient, SessionId: &s.Id, ClinicId: proto.String(w.org.Clinic.String()),
		Event: &chartv1.EventDescription{Kind: "smile_asymmetry", Text: "The left corner stays lower.", Regions: []string{"lower_face"}, Side: chartv1.Side_SIDE_LEFT.Enum(),
			Onset: &recordv1.ApproximateDate{Year: 2026, Month: proto.Int32(5), Day: proto.Int32(9)}, Reported: actOf(c.staff, w.at)},
		Seriousness: &chartv1.SeriousnessList{Judged: actOf(c.staff, w.at)}}
	w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_AdverseEvent{AdverseEvent: event}}, nil, "patient_id", "session_id", "clinic_id", "event", "seriousness")
	m, err := c.GetEventReport(t.Context(), &tracev1.GetEventReportRequest{AdverseEventId: event.Id, Form: tracev1.FigureForm_FIGURE_FORM_CSV})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]*tracev1.ReportField{}
	for _, f := range m.GetFields() {
		if got[f.GetSection()] == nil {
			got[f.GetSection()] = f
		}
		if f.GetBlank() != (f.GetValue() == "") {
			t.Errorf("%s: blank %v, value %q", f.GetSection(), f.GetBlank(), f.GetValue())
		}
	}
	for section, want := range map[string]string{
		"A2": "1980-04-02", "B2": "not serious", "B3": "2026-05-09", "B4": "2026-06-01", "C": "the vial is kept", "D1": testProduct + ", 100 units a vial",
		"D2": "4.5 units, once", "D3": "2026-05-03", "D4": "treatment of the lower face", "D6": "C4021", "D7": "2027-01-31", "A4": "", "B6": "", "D5": "", "D8": "",
	} {
		if f := got[section]; f == nil || f.GetValue() != want {
			t.Errorf("%s: %v, want %q", section, f, want)
		}
	}
	for _, section := range strings.Fields("A1 A2 A3 A4 B1 B2 B3 B4 B5 B6 B7 C D1 D2 D3 D4 D5 D6 D7 D8 D9 E F G") {
		if got[section] == nil {
			t.Errorf("no field of section %s", section)
		}
	}
	if !strings.Contains(got["B5"].GetValue(), "The left corner stays lower.") || !strings.Contains(string(m.GetFile().GetData()), "C4021") {
		t.Errorf("narrative %q", got["B5"].GetValue())
	}
}
