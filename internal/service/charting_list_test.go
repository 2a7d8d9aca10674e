package service

import (
	"slices"
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

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
