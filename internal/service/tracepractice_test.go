package service

import (
	"slices"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// practised is two visits of one lot within three weeks, at two clinics, of a patient who is for practice or not, by the mark of the patient and by that of the visits.
func (w *clinicServer) practised(c tracer, lot string, patientMark, visitMark bool) (sessions []string) {
	w.Helper()
	mark := &chartv1.PracticeMark{Set: actOf(c.staff, w.at)}
	p := &chartv1.Patient{Id: uuid.NewString(), Name: &recordv1.PersonName{Full: "Someone " + lot}, HomeClinicId: proto.String(w.org.Clinic.String())}
	mask := []string{"name", "home_clinic_id"}
	if patientMark {
		p.Practice, mask = mark, append(mask, "practice")
	}
	w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: p}}, nil, mask...)
	v := w.lotVial(c.client, w.org.Clinic, lot, "")
	for i, clinic := range []uuid.UUID{w.org.Clinic, uuid.New()} {
		s := &chartv1.Session{PatientId: &p.Id, ClinicId: proto.String(clinic.String()), Kind: treatment.Enum(),
			On: &recordv1.Date{Year: 2026, Month: 5, Day: int32(3 + 14*i)}, Injections: []*chartv1.Injection{givingFrom(v, chartv1.Side_SIDE_LEFT, 2000)},
			Review: &chartv1.ReviewDate{From: &recordv1.Date{Year: 2026, Month: 5, Day: 20}, Until: &recordv1.Date{Year: 2026, Month: 5, Day: 28}, Set: actOf(c.staff, w.at)}}
		if visitMark {
			s.Practice = mark
		}
		id := uuid.New()
		w.push([16]byte{0xd0, byte(i), id[0], id[1]}, w.firstEdit(c.staff, optionsv1.RecordKind_RECORD_KIND_SESSION, id, s))
		sessions = append(sessions, id.String())
	}
	return sessions
}

// TestPractice_CountsNowhere: the mark of the patient alone decides whether traces, figures, reviews, days and findings know of a visit.
func TestPractice_CountsNowhere(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	first, last := &recordv1.Date{Year: 2026, Month: 5, Day: 1}, &recordv1.Date{Year: 2026, Month: 5, Day: 31}
	figures := func() uint32 {
		m, err := c.GetFigures(t.Context(), &tracev1.GetFiguresRequest{From: first, Until: last})
		if err != nil {
			t.Fatal(err)
		}
		return m.GetPatients()
	}
	for _, x := range []struct {
		name        string
		patient     bool
		visit, real bool
	}{{"PA1", false, false, true}, {"PB2", true, true, false}, {"PC3", true, false, false}, {"PD4", false, true, true}} {
		before, day := figures(), w.day(c, w.org.Clinic, 3).GetReport().GetSessions()
		sessions := w.practised(c, x.name, x.patient, x.visit)
		_, traced := w.allExposures(c, label(x.name, false))
		due, err := c.ListReviewsDue(t.Context(), &tracev1.ListReviewsDueRequest{Until: last})
		if err != nil {
			t.Fatal(err)
		}
		isDue := slices.ContainsFunc(due.GetReviews(), func(r *tracev1.ReviewDue) bool { return r.GetSessionId() == sessions[1] })
		found := slices.ContainsFunc(w.foundBy(c.client, &dosev1.ListFindingsRequest{}), func(f *dosev1.Finding) bool {
			return slices.Contains(f.GetAbout(), "RECORD_KIND_SESSION/"+sessions[0])
		})
		for what, counts := range map[string]bool{
			"trace": traced.GetPatientCount() > 0, "figures": figures() > before, "reviews": isDue, "findings": found,
			"day": w.day(c, w.org.Clinic, 3).GetReport().GetSessions() > day,
		} {
			if counts != x.real {
				t.Errorf("%s: %s count it: %v, want %v", x.name, what, counts, x.real)
			}
		}
	}
}
