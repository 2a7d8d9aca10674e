package gather_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/reckon"
)

// shelf is records in memory. What is in withheld may not be read.
type shelf struct {
	views    map[string]*chartv1.RecordView
	withheld map[string]bool
	links    map[string][]string
}

func newShelf() *shelf {
	return &shelf{map[string]*chartv1.RecordView{}, map[string]bool{}, map[string][]string{}}
}

func id(n int) string { return fmt.Sprintf("00000000-0000-4000-8000-%012d", n) }

func (s *shelf) put(r *chartv1.Record, conflicts ...*chartv1.Conflict) {
	m := r.ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	inner := m.Get(fd).Message()
	id, kind := inner.Get(inner.Descriptor().Fields().ByName("id")).String(), optionsv1.RecordKind(fd.Number())
	for _, c := range conflicts {
		c.Key = &chartv1.RecordKey{Kind: kind, RecordId: id}
	}
	s.views[kind.String()+id] = &chartv1.RecordView{Record: r, Conflicts: conflicts}
}

func (s *shelf) View(kind optionsv1.RecordKind, id string) (*chartv1.RecordView, error) {
	v := s.views[kind.String()+id]
	switch {
	case v == nil:
		return nil, gather.ErrNone
	case s.withheld[id]:
		return nil, &gather.WithheldError{Clinics: []string{v.GetRecord().GetSession().GetClinicId()}}
	}
	return v, nil
}

func (s *shelf) Person(patient string) []string {
	all := append([]string{patient}, s.links[patient]...)
	slices.Sort(all)
	return all
}

func (s *shelf) Sessions(patient string) []string {
	return s.some(func(v *chartv1.RecordView) string {
		if x := v.GetRecord().GetSession(); x.GetPatientId() == patient {
			return x.GetId()
		}
		return ""
	})
}

func (s *shelf) List(kind optionsv1.RecordKind) []string {
	return s.some(func(v *chartv1.RecordView) string {
		switch kind {
		case optionsv1.RecordKind_RECORD_KIND_LOT:
			return v.GetRecord().GetLot().GetId()
		case optionsv1.RecordKind_RECORD_KIND_CLINIC:
			return v.GetRecord().GetClinic().GetId()
		}
		return ""
	})
}

func (s *shelf) some(of func(*chartv1.RecordView) string) (all []string) {
	for _, v := range s.views {
		if x := of(v); x != "" {
			all = append(all, x)
		}
	}
	slices.Sort(all)
	return all
}

func (s *shelf) CompleteUntil(string) *timestamppb.Timestamp { return timestamppb.New(at().AsTime()) }

func (s *shelf) Clock() dosev1.ClockState { return dosev1.ClockState_CLOCK_STATE_CHECKED }

func at() *timestamppb.Timestamp { return &timestamppb.Timestamp{Seconds: 1_777_636_800} } // 2026-05-01 12:00 UTC

func day(month, d int32) *recordv1.Date { return &recordv1.Date{Year: 2026, Month: month, Day: d} }

func sibling(json string) *chartv1.Sibling { return &chartv1.Sibling{ValueJson: json} }

// The records: patients 1 and 2 are one person, sessions 10 (the one that is asked about) to 13, clinics 20 and 21, vials 30 and 31, lots 40 to 43, order
// 50, people 60 to 62, text 70, questions 80.
func filled() *shelf {
	s := newShelf()
	s.links[id(1)], s.links[id(2)] = []string{id(2)}, []string{id(1)}
	s.put(&chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: id(1), HomeClinicId: proto.String(id(20))}}})
	s.put(&chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: id(2),
		Alerts: []*chartv1.Alert{{Id: id(90), Content: &chartv1.AlertContent{Kind: chartv1.AlertKind_ALERT_KIND_ALLERGY, Text: "latex"}}}}}},
		&chartv1.Conflict{Path: "prior_treatments[" + id(91) + "].report", Siblings: []*chartv1.Sibling{sibling(`{"product":"incobotulinumtoxinA"}`), {Cleared: true}}})
	visit := func(n, patient, clinic int, on *recordv1.Date) *chartv1.Session {
		return &chartv1.Session{Id: id(n), PatientId: proto.String(id(patient)), ClinicId: proto.String(id(clinic)), On: on,
			Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum()}
	}
	own := visit(10, 1, 20, day(5, 1))
	own.OrderId, own.ResponsibleId = proto.String(id(50)), proto.String(id(60))
	own.Consents = []*chartv1.Consent{{Id: id(92), Explained: &chartv1.Explanation{ConsentTextId: id(70), Explained: &recordv1.Act{By: id(61)}}}}
	own.Screening = []*chartv1.ScreeningAnswer{{Id: id(93), Answer: &chartv1.Answer{QuestionnaireId: id(80)}}}
	own.Syringes = []*chartv1.SessionSyringe{{Id: id(94)}}
	s.put(&chartv1.Record{Kind: &chartv1.Record_Session{Session: own}}, &chartv1.Conflict{Path: "syringes[" + id(94) + "].filling",
		Siblings: []*chartv1.Sibling{sibling(`{"vial_id":"` + id(30) + `"}`), sibling(`{"vial_id":"` + id(31) + `"}`)}})
	for _, x := range []*chartv1.Session{visit(11, 1, 21, day(1, 5)), visit(12, 2, 21, day(2, 5)), visit(13, 1, 20, day(6, 1))} {
		s.put(&chartv1.Record{Kind: &chartv1.Record_Session{Session: x}})
	}
	for _, n := range []int{20, 21} {
		s.put(&chartv1.Record{Kind: &chartv1.Record_Clinic{Clinic: &chartv1.Clinic{Id: id(n), Name: proto.String(fmt.Sprint("clinic ", n))}}})
	}
	for n, number := range map[int]string{30: "L7", 31: "L8"} {
		s.put(&chartv1.Record{Kind: &chartv1.Record_Vial{Vial: &chartv1.Vial{Id: id(n), Labelling: &chartv1.VialLabelling{LotNumber: number}}}})
	}
	lot := func(n int, number string, alias string) {
		l := &chartv1.Lot{Id: id(n), Identity: &chartv1.LotIdentity{Number: number}}
		if alias != "" {
			l.Aliases = []*chartv1.LotAlias{{Id: id(95), Alias: &chartv1.LotAliasClaim{Number: alias}}}
		}
		s.put(&chartv1.Record{Kind: &chartv1.Record_Lot{Lot: l}})
	}
	lot(40, "L7", "")
	lot(41, "l-8", "L8")
	lot(42, "L9", "")
	lot(43, "l 7", "")
	s.put(&chartv1.Record{Kind: &chartv1.Record_Order{Order: &chartv1.Order{Id: id(50), PrescriberId: proto.String(id(62))}}})
	for _, n := range []int{60, 61, 62, 63} {
		s.put(&chartv1.Record{Kind: &chartv1.Record_Staff{Staff: &accessv1.Staff{Id: id(n)}}})
	}
	s.put(&chartv1.Record{Kind: &chartv1.Record_ConsentText{ConsentText: &chartv1.ConsentText{Id: id(70)}}})
	s.put(&chartv1.Record{Kind: &chartv1.Record_Questionnaire{Questionnaire: &chartv1.Questionnaire{Id: id(80)}}})
	return s
}

func idsOf[M interface{ GetId() string }](all []M) (out []string) {
	for _, m := range all {
		out = append(out, m.GetId())
	}
	slices.Sort(out)
	return out
}

// TestSession: everything that the session names comes along, through conflicts, links and lot numbers, and nothing else.
func TestSession(t *testing.T) {
	s := filled()
	f, err := gather.Session(s, id(10))
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		what      string
		got, want []string
	}{
		{"earlier sessions, the later left out", idsOf(f.GetHistory()), []string{id(11), id(12)}},
		{"vials of both values in conflict", idsOf(f.GetVials()), []string{id(30), id(31)}},
		{"lots by number, by alias and by what looks alike", idsOf(f.GetLots()), []string{id(40), id(41), id(43)}},
		{"people who act in it", idsOf(f.GetStaff()), []string{id(60), id(61), id(62)}},
		{"texts", idsOf(f.GetConsentTexts()), []string{id(70)}},
		{"questions", idsOf(f.GetQuestionnaires()), []string{id(80)}},
		{"the rest", []string{f.GetPatient().GetId(), f.GetOrder().GetId(), f.GetClinic().GetId()}, []string{id(1), id(50), id(20)}},
		{"alerts of the linked record", idsOf(f.GetPatient().GetAlerts()), []string{id(90)}},
	} {
		if !slices.Equal(row.got, row.want) {
			t.Errorf("%s: %v, want %v", row.what, row.got, row.want)
		}
	}
	if len(f.GetConflicts()) != 2 || f.GetConflicts()[1].GetKey().GetRecordId() != id(1) || !slices.Equal(f.GetConflicts()[1].GetValuesJson(),
		[]string{`{"product":"incobotulinumtoxinA"}`, "null"}) {
		t.Errorf("conflicts %v: those of the linked record's reports are the patient's", f.GetConflicts())
	}
	if len(s.views["RECORD_KIND_PATIENT"+id(1)].GetRecord().GetPatient().GetAlerts()) != 0 {
		t.Error("a view was changed")
	}
}

// TestWithheld: a session that may not be read is not told, and its clinic is one that was not checked.
func TestWithheld(t *testing.T) {
	s := filled()
	s.withheld[id(12)] = true
	f, err := gather.History(s, id(1))
	if err != nil {
		t.Fatal(err)
	}
	if got := idsOf(f.GetSessions()); !slices.Equal(got, []string{id(10), id(11), id(13)}) {
		t.Errorf("sessions %v", got)
	}
	for _, k := range f.GetKnowledge() {
		if (k.GetCompleteUntil() == nil) != (k.GetClinicId() == id(21)) {
			t.Errorf("clinic %s is complete until %v", k.GetClinicId(), k.GetCompleteUntil())
		}
		if n, ok := strings.CutPrefix(k.GetClinicName(), "clinic "); !ok || id(atoi(t, n)) != k.GetClinicId() {
			t.Errorf("clinic %s is called %q", k.GetClinicId(), k.GetClinicName())
		}
	}
	s.withheld[id(2)] = true // of a patient's record no clinic is known
	if f, err = gather.History(s, id(1)); err != nil {
		t.Fatal(err)
	}
	for _, k := range f.GetKnowledge() {
		if k.GetCompleteUntil() != nil {
			t.Errorf("clinic %s counts as checked", k.GetClinicId())
		}
	}
	s.withheld[id(1)] = true
	var withheld *gather.WithheldError
	if _, err := gather.History(s, id(1)); !errors.As(err, &withheld) {
		t.Errorf("the patient's own record: %v", err)
	}
	if _, err := gather.History(s, id(9)); !errors.Is(err, gather.ErrNone) {
		t.Errorf("no patient: %v", err)
	}
}

// Law: with any of the records absent or withheld the facts can be judged, and a session that may not go on with all of them may not go on without some.
func TestAnyPartOfTheRecords(t *testing.T) {
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(300) {
		s, rng := filled(), rand.New(rand.NewPCG(seed, 1))
		for key, v := range s.views {
			switch {
			case v.GetRecord().GetSession().GetId() == id(10):
			case rng.IntN(3) == 0:
				delete(s.views, key)
			case rng.IntN(3) == 0:
				s.withheld[key[len(key)-36:]] = true
			}
		}
		f, err := gather.Session(s, id(10))
		if err != nil {
			t.Fatal(err)
		}
		q := &dosev1.CheckSessionRequest{AsOf: at(), Subject: &dosev1.CheckSessionRequest_Facts{Facts: f}}
		r, err := reckon.CheckSession(gather.ForSession(s, e, f.GetSession()), q)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if r.GetMayInject() {
			t.Fatalf("seed %d: may go on", seed)
		}
	}
}

// TestChosen: the clinic's edition by its content, and the shipped one where it cannot be had.
func TestChosen(t *testing.T) {
	builtin, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	m := &formularyv1.FormularyEdition{Id: id(100), Label: proto.String("Harbour"), Version: proto.String("harbour-1"), Base: builtin.Reference()}
	own, err := formulary.Derive(builtin, m)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		what   string
		change func(*shelf, *chartv1.Clinic, *formularyv1.FormularyEdition)
		own    bool
		ok     bool
	}{
		{"chosen", func(*shelf, *chartv1.Clinic, *formularyv1.FormularyEdition) {}, true, true},
		{"none chosen", func(_ *shelf, c *chartv1.Clinic, _ *formularyv1.FormularyEdition) { c.Formulary = nil }, false, true},
		{"not here", func(s *shelf, _ *chartv1.Clinic, _ *formularyv1.FormularyEdition) {
			delete(s.views, "RECORD_KIND_FORMULARY_EDITION"+id(100))
		}, false, false},
		{"changed since", func(_ *shelf, _ *chartv1.Clinic, m *formularyv1.FormularyEdition) {
			m.Products = append(m.Products, &formularyv1.ProductEntry{Value: &formularyv1.Product{Name: "exampletoxinA"}})
		}, false, false},
		{"withdrawn", func(_ *shelf, _ *chartv1.Clinic, m *formularyv1.FormularyEdition) {
			m.Withdrawn = &recordv1.Void{Reason: "wrong"}
		}, false, false},
	} {
		s := newShelf()
		c, edition := &chartv1.Clinic{Id: id(20), Formulary: &chartv1.ClinicFormulary{Edition: own.Reference()}}, proto.CloneOf(m)
		s.put(&chartv1.Record{Kind: &chartv1.Record_Clinic{Clinic: c}})
		s.put(&chartv1.Record{Kind: &chartv1.Record_FormularyEdition{FormularyEdition: edition}})
		row.change(s, c, edition)
		e, ok := gather.Chosen(s, builtin, id(20))
		if (e.Version() == "harbour-1") != row.own || ok != row.ok {
			t.Errorf("%s: %s, %t", row.what, e.Version(), ok)
		}
		session := &chartv1.Session{ClinicId: proto.String(id(20)), Basis: &chartv1.SessionBasis{Edition: builtin.Reference()}}
		if e := gather.ForSession(s, builtin, session); e.Version() != builtin.Version() {
			t.Errorf("%s: a session that began with the shipped one is judged by %s", row.what, e.Version())
		}
	}
}

// FuzzConflict: whatever a register in conflict is said to hold, gathering answers and reckoning answers or refuses.
func FuzzConflict(f *testing.F) {
	for _, text := range []string{`{"vial_id":"x"}`, `"x"`, `null`, `[{"by":{"by":"x"}}]`, `{`, "", `{"vial_id":{"vial_id":"` + id(30) + `"}}`} {
		f.Add("syringes["+id(94)+"].filling", text)
		f.Add("order_id", text)
	}
	e, err := formulary.Builtin()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, path, text string) {
		s := filled()
		own := s.views["RECORD_KIND_SESSION"+id(10)]
		own.Conflicts[0].Path, own.Conflicts[0].Siblings = path, []*chartv1.Sibling{sibling(text), sibling(`{"vial_id":"` + id(31) + `"}`)}
		facts, err := gather.Session(s, id(10))
		if err != nil {
			t.Fatal(err)
		}
		q := &dosev1.CheckSessionRequest{AsOf: at(), Subject: &dosev1.CheckSessionRequest_Facts{Facts: facts}}
		if r, err := reckon.CheckSession(e, q); err == nil && r.GetMayInject() {
			t.Fatal("may go on")
		}
	})
}

func atoi(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
