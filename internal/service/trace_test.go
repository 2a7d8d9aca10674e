package service

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

const testProduct = "onabotulinumtoxinA"

// tracer is a person who traces and charts.
type tracer struct {
	client
	tracev1connect.TraceServiceClient
}

func (w *clinicServer) tracer(clinic uuid.UUID, roles ...accessv1.Role) tracer {
	w.Helper()
	c := w.hire(w.org.ID, clinic, roles...)
	return tracer{c, tracev1connect.NewTraceServiceClient(&http.Client{Transport: bearerToken(c.token)}, w.address)}
}

// lotVial makes a vial of a lot, mixed once, and returns its record.
func (w *clinicServer) lotVial(c client, clinic uuid.UUID, lot, diluentLot string) *chartv1.Vial {
	w.Helper()
	v := &chartv1.Vial{
		Id: uuid.NewString(), ClinicId: proto.String(clinic.String()), Presentation: &chartv1.VialPresentation{Product: testProduct, ContentMilliunits: 100_000},
		Labelling: &chartv1.VialLabelling{LotNumber: lot, ExpiresOn: &recordv1.Date{Year: 2027, Month: 1, Day: 31},
			Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: actOf(c.staff, w.at)},
		Preparations: []*chartv1.Preparation{{Id: uuid.NewString(), Diluent: &chartv1.Diluent{Kind: "sodium_chloride_9", VolumeNanoliters: 2_500_000, LotNumber: diluentLot},
			Mixed: actOf(c.staff, w.at)}},
	}
	w.edit(c, vialRecord(v), nil, "clinic_id", "presentation", "labelling", "preparations["+v.Preparations[0].Id+"]")
	return v
}

func vialRecord(v *chartv1.Vial) *chartv1.Record {
	return &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: v}}
}

// givingFrom is a giving of milliunits from a vial on a side.
func givingFrom(v *chartv1.Vial, side chartv1.Side, milliunits int32) *chartv1.Injection {
	return &chartv1.Injection{
		Id: uuid.NewString(), Muscle: proto.String("depressor_anguli_oris"), Side: side.Enum(),
		Givings: []*chartv1.Giving{{Id: uuid.NewString(), Given: &chartv1.GivenDose{
			Dose: &chartv1.Dose{Product: testProduct, DoseMilliunits: milliunits}, VialId: &v.Id, PreparationId: proto.String(v.GetPreparations()[0].GetId())}}},
	}
}

// newVisit makes a session on a day of May 2026 with injections.
func (w *clinicServer) newVisit(c client, patient string, clinic uuid.UUID, day int32, kind chartv1.SessionKind, in ...*chartv1.Injection) *chartv1.Session {
	w.Helper()
	s := &chartv1.Session{Id: uuid.NewString(), PatientId: &patient, ClinicId: proto.String(clinic.String()), Kind: kind.Enum(),
		On: &recordv1.Date{Year: 2026, Month: 5, Day: day}, ResponsibleId: proto.String(c.staff.String()), Injections: in}
	mask := []string{"patient_id", "clinic_id", "kind", "on", "responsible_id"}
	for _, i := range in {
		mask = append(mask, "injections["+i.Id+"]")
	}
	w.edit(c, sessionOf(s), nil, mask...)
	return s
}

const treatment = chartv1.SessionKind_SESSION_KIND_TREATMENT

// allExposures reads all pages of a trace.
func (w *clinicServer) allExposures(c tracer, req *tracev1.TraceLotRequest) (all []*tracev1.Exposure, first *tracev1.TraceLotResponse) {
	w.Helper()
	for {
		resp, err := c.TraceLot(w.Context(), req)
		if err != nil {
			w.Fatal(err)
		}
		if first == nil {
			first = resp
		}
		all = append(all, resp.GetExposures()...)
		if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
			return all, first
		}
	}
}

func label(number string, like bool) *tracev1.TraceLotRequest {
	return &tracev1.TraceLotRequest{Lot: &tracev1.TraceLotRequest_Label{Label: &tracev1.LotLabel{Number: number}}, AlsoLike: like}
}

// Of many visits from many vials, a trace finds for every lot exactly the givings that a plain walk over all records finds, page by page.
func TestTraceLot_FindsWhatAPlainWalkFinds(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	r := rand.New(rand.NewPCG(7, 7))
	lots := []string{"K11", "K12", "K13", "M9"}
	var vials []*chartv1.Vial
	for i := range 16 {
		vials = append(vials, w.lotVial(c.client, w.org.Clinic, lots[i%len(lots)], fmt.Sprint("S", i%2)))
	}
	for i := range 40 {
		patient := w.newPatient(c.client, fmt.Sprint("Person ", i/2), 1980, w.org.Clinic)
		v := vials[r.IntN(len(vials))]
		w.newVisit(c.client, patient, w.org.Clinic, int32(1+r.IntN(28)), treatment,
			givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(vials[r.IntN(len(vials))], chartv1.Side_SIDE_LEFT, 2500))
	}
	for _, lot := range lots {
		want := w.plainWalk(lot)
		req := label(lot, false)
		req.PageSize = 3
		all, first := w.allExposures(c, req)
		var got []string
		people := map[string]bool{}
		for i, e := range all {
			people[e.GetPatientId()] = true
			if i > 0 && dateNumber(e.GetOn()) > dateNumber(all[i-1].GetOn()) {
				t.Errorf("%s: %v comes after %v", lot, e.GetOn(), all[i-1].GetOn())
			}
			for _, g := range e.GetGivings() {
				got = append(got, fmt.Sprint(e.GetPatientId(), e.GetSessionId(), g.GetGivingId(), g.GetMuscle(), g.GetSide(), g.GetDoseUnits(), g.GetProduct()))
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, want) || len(want) == 0 || int(first.GetPatientCount()) != len(people) || len(first.GetVials()) != 4 {
			t.Errorf("%s: %d givings, want %d; %d patients, counted %d; %d vials", lot, len(got), len(want), len(people), first.GetPatientCount(), len(first.GetVials()))
		}
	}
	all, _ := w.allExposures(c, label("S1", false))
	if len(all) == 0 || !all[0].GetThroughDiluent() {
		t.Errorf("a diluent's lot leads to %d exposures", len(all))
	}
}

// plainWalk is every giving from a vial of a lot, by reading every session and every vial.
func (w *clinicServer) plainWalk(lot string) (out []string) {
	w.Helper()
	of := map[string]bool{}
	scan := func(kind record.Kind, fn func(*chartv1.Record)) {
		err := w.Ledger().Scan(w.Context(), recordID(w.org.ID), kind, func(st *record.State) error {
			m, err := chart.Typed(st)
			fn(m)
			return err
		})
		if err != nil {
			w.Fatal(err)
		}
	}
	scan(optionsv1.RecordKind_RECORD_KIND_VIAL, func(m *chartv1.Record) {
		of[m.GetVial().GetId()] = m.GetVial().GetLabelling().GetLotNumber() == lot
	})
	scan(optionsv1.RecordKind_RECORD_KIND_SESSION, func(m *chartv1.Record) {
		for _, i := range m.GetSession().GetInjections() {
			for _, g := range i.GetGivings() {
				if of[g.GetGiven().GetVialId()] {
					units := fmt.Sprint(float64(g.GetGiven().GetDose().GetDoseMilliunits()) / 1000)
					out = append(out, fmt.Sprint(m.GetSession().GetPatientId(), m.GetSession().GetId(), g.GetId(), i.GetMuscle(), i.GetSide(), units, g.GetGiven().GetDose().GetProduct()))
				}
			}
		}
	})
	slices.Sort(out)
	return out
}

// A mistyped number is found and marked, is counted apart, and is never the lot; an alias that a person wrote makes it the lot.
func TestTraceLot_LikeNumbersAreMarkedAndNeverMerged(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	visit := func(name, lot string, day int32) {
		v := w.lotVial(c.client, w.org.Clinic, lot, "")
		w.newVisit(c.client, w.newPatient(c.client, name, 1980, w.org.Clinic), w.org.Clinic, day, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000))
	}
	for i, lot := range []string{"C4O21", "C4021", "c4021", "C4 021", "C4921", "C421", "D4921"} {
		visit(fmt.Sprint("Person ", i), lot, int32(i+1))
	}
	plain, first := w.allExposures(c, label("C4021", false))
	if len(plain) != 1 || first.GetPatientCount() != 1 || first.GetLikePatientCount() != 0 || plain[0].GetMatch() != tracev1.LotMatch_LOT_MATCH_SAME {
		t.Errorf("without like ones: %v", plain)
	}
	all, first := w.allExposures(c, label("C4021", true))
	want := []string{"C4 021", "C421", "C4921", "C4O21", "c4021"}
	if len(all) != 6 || first.GetPatientCount() != 1 || first.GetLikePatientCount() != 5 || !slices.Equal(first.GetLikeNumbers(), want) {
		t.Errorf("%d exposures, %d and %d patients, numbers %q, want %q", len(all), first.GetPatientCount(), first.GetLikePatientCount(), first.GetLikeNumbers(), want)
	}
	for _, e := range all {
		if same := e.GetMatch() == tracev1.LotMatch_LOT_MATCH_SAME; same != (e.GetMatchedNumber() == "") {
			t.Errorf("%q is marked %v", e.GetMatchedNumber(), e.GetMatch())
		}
	}
	lot := &chartv1.Lot{Id: uuid.NewString(), Identity: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(testProduct), Number: "C4021"},
		Aliases: []*chartv1.LotAlias{{Id: uuid.NewString(), Alias: &chartv1.LotAliasClaim{Number: "C4O21", Reason: "read again", Made: actOf(c.staff, w.at)}}}}
	w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_Lot{Lot: lot}}, nil, "identity", "aliases["+lot.Aliases[0].Id+"]")
	for _, req := range []*tracev1.TraceLotRequest{label("C4021", false), label("C4O21", false), {Lot: &tracev1.TraceLotRequest_LotId{LotId: lot.Id}}} {
		all, first := w.allExposures(c, req)
		if len(all) != 2 || first.GetPatientCount() != 2 || first.GetLot().GetId() != lot.Id || all[1].GetMatch() != tracev1.LotMatch_LOT_MATCH_ALIAS {
			t.Errorf("%v with an alias: %v", req, all)
		}
	}
}

// Every patient of a page is in the audit log, of whatever clinic she is; who may not trace is refused.
func TestTraceLot_EveryPatientListedIsAudited(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	other := uuid.New()
	var patients []string
	for i := range 5 {
		patients = append(patients, w.newPatient(c.client, fmt.Sprint("Person ", i), 1980, other))
		w.newVisit(c.client, patients[i], other, int32(i+1), treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000))
	}
	injector := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	before := len(w.entries())
	all, _ := w.allExposures(injector, label("C4021", false))
	if len(all) != 5 {
		t.Fatalf("%d exposures", len(all))
	}
	seen := map[string]bool{}
	for _, e := range w.entries()[before:] {
		if e.Staff == injector.staff && e.Action == optionsv1.Action_ACTION_TRACE {
			seen[e.Patient.String()] = true
		}
	}
	for _, p := range patients {
		if !seen[p] {
			t.Errorf("patient %s is not in the audit log", p)
		}
	}
	desk := w.tracer(w.org.Clinic, accessv1.Role_ROLE_FRONT_DESK)
	_, err := desk.TraceLot(t.Context(), label("C4021", false))
	wantReason(t, "the front desk", err, connect.CodePermissionDenied, "NOT_ALLOWED")
}

// What is in conflict is a span, what was voided is gone, and a session that only the vial knows is listed without a patient.
func TestTraceLot_ConflictsVoidsAndUnknownSessions(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	patient := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	s := w.newVisit(c.client, patient, w.org.Clinic, 3, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(v, chartv1.Side_SIDE_LEFT, 2000))
	in := s.GetInjections()[0]
	given := proto.CloneOf(in)
	given.Givings[0].Given.Dose.DoseMilliunits = 3000
	path := "injections[" + in.Id + "].givings[" + in.Givings[0].Id + "]"
	w.edit(c.client, sessionOf(&chartv1.Session{Id: s.Id, Injections: []*chartv1.Injection{given}}), nil, path+".given") // has not seen the other
	void := proto.CloneOf(s.GetInjections()[1])
	void.Givings[0].Void = &recordv1.Void{Reason: "tapped by mistake", By: c.staff.String(), At: actOf(c.staff, w.at).GetAt()}
	w.edit(c.client, sessionOf(&chartv1.Session{Id: s.Id, Injections: []*chartv1.Injection{void}}), nil, "injections["+void.Id+"].givings["+void.Givings[0].Id+"].void")
	unknown := uuid.NewString()
	w.edit(c.client, vialRecord(&chartv1.Vial{Id: v.Id, Draws: []*chartv1.Draw{{Id: unknown, Amount: &chartv1.DrawAmount{SessionId: unknown, VolumeNanoliters: 100_000}}}}), nil,
		"draws["+unknown+"]")
	all, first := w.allExposures(c, label("C4021", false))
	if len(all) != 2 || first.GetPatientCount() != 1 {
		t.Fatalf("%d exposures of %d patients", len(all), first.GetPatientCount())
	}
	g := all[0].GetGivings()
	if len(g) != 1 || !g[0].GetInConflict() || g[0].GetDose().GetLeastUnits() != "2" || g[0].GetDose().GetMostUnits() != "3" || g[0].GetDoseUnits() != "" {
		t.Errorf("givings %v", g)
	}
	if e := all[1]; e.GetSessionId() != unknown || e.GetPatientId() != "" || e.GetOn() != nil {
		t.Errorf("a session that is not here: %v", e)
	}
}

// A recall is written once however often it is asked for, stands until it is lifted with a reason, and both stay in the record.
func TestRecallLot_IsReversibleAndDoneOnce(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	req := &tracev1.RecallLotRequest{RequestId: uuid.NewString(), Reason: "cold chain broken at the maker's", Reference: "N-12",
		NoticedOn: &recordv1.Date{Year: 2026, Month: 5, Day: 30},
		Lot:       &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(testProduct), Number: "C4021"}}
	first, err := c.RecallLot(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	w.at = w.at.Add(time.Minute)
	again, err := c.RecallLot(t.Context(), req)
	if err != nil || !again.GetAlreadyApplied() || !proto.Equal(again.GetView(), first.GetView()) {
		t.Errorf("asked again: %v (%v)", again, err)
	}
	lot := first.GetView().GetRecord().GetLot()
	if len(lot.GetRecalls()) != 1 || lot.GetRecalls()[0].GetNotice().GetReason() != req.Reason || lot.GetIdentity().GetNumber() != "C4021" {
		t.Fatalf("lot %v", lot)
	}
	req.Reason = "another"
	_, err = c.RecallLot(t.Context(), req)
	wantReason(t, "the id with another reason", err, connect.CodeAlreadyExists, "ID_REUSED")
	second := proto.CloneOf(req)
	second.RequestId = uuid.NewString()
	more, err := c.RecallLot(t.Context(), second)
	if err != nil || more.GetView().GetRecord().GetLot().GetId() != lot.GetId() || len(more.GetView().GetRecord().GetLot().GetRecalls()) != 2 {
		t.Errorf("a second recall: %v (%v)", more, err)
	}
	lifted, err := c.LiftRecall(t.Context(), &tracev1.LiftRecallRequest{RequestId: uuid.NewString(), LotId: lot.GetId(), RecallId: first.GetRecallId(), Reason: "wrong number in the notice"})
	if err != nil {
		t.Fatal(err)
	}
	standing := 0
	for _, x := range lifted.GetView().GetRecord().GetLot().GetRecalls() {
		if x.GetLifted() == nil {
			standing++
		}
	}
	if standing != 1 || len(lifted.GetView().GetRecord().GetLot().GetRecalls()) != 2 {
		t.Errorf("after lifting one: %v", lifted.GetView().GetRecord().GetLot())
	}
	auditor := w.tracer(uuid.Nil, accessv1.Role_ROLE_AUDITOR)
	_, err = auditor.RecallLot(t.Context(), second)
	wantReason(t, "an auditor", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	bad := proto.CloneOf(req)
	bad.RequestId, bad.Lot.Product = uuid.NewString(), nil
	_, err = c.RecallLot(t.Context(), bad)
	wantReason(t, "no product", err, connect.CodeInvalidArgument, "INVALID_FIELD")
	bad.Lot.Product = proto.String("onabotulinumtoxinB")
	_, err = c.RecallLot(t.Context(), bad)
	wantReason(t, "a product that nobody knows", err, connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")
}

// The call list has each person once, linked records together; an attempt counts until it is taken back.
func TestListCalls_OnePersonOneCall(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	a, b := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic), w.newPatient(c.client, "Mara Velle", 1980, w.org.Clinic)
	z := w.newPatient(c.client, "Zoe Anders", 1975, w.org.Clinic)
	for i, p := range []string{a, b, b, z} {
		w.newVisit(c.client, p, w.org.Clinic, int32(i+1), treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000))
	}
	recall, err := c.RecallLot(t.Context(), &tracev1.RecallLotRequest{RequestId: uuid.NewString(), Reason: "particles", NoticedOn: &recordv1.Date{Year: 2026, Month: 5, Day: 30},
		Lot: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(testProduct), Number: "C4021"}})
	if err != nil {
		t.Fatal(err)
	}
	lot := recall.GetView().GetRecord().GetLot().GetId()
	calls := func(open bool) *tracev1.ListCallsResponse {
		resp, err := c.ListCalls(t.Context(), &tracev1.ListCallsRequest{LotId: lot, OpenOnly: open})
		if err != nil {
			t.Fatal(err)
		}
		return resp
	}
	if n := calls(false).GetPeople(); n != 3 {
		t.Errorf("%d people before the link", n)
	}
	link := &chartv1.PatientLink{Id: uuid.NewString(), Claim: &chartv1.LinkClaim{PatientId: b, Grounds: "passport seen", Made: actOf(c.staff, w.at)}}
	w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: a, Links: []*chartv1.PatientLink{link}}}}, nil, "links["+link.Id+"]")
	all := calls(false)
	if all.GetPeople() != 2 || all.GetCalls()[0].GetPatientId() != z || all.GetCalls()[1].GetPatientId() != b || all.GetCalls()[1].GetSessions() != 3 ||
		!slices.Equal(all.GetCalls()[1].GetLinkedPatientIds(), []string{a}) {
		t.Errorf("after the link: %v", all)
	}
	note := &tracev1.NoteCallRequest{RequestId: uuid.NewString(), PatientId: a, LotId: lot, Way: "telephone", Result: "told, comes on Monday", Reached: true}
	noted, err := c.NoteCall(t.Context(), note)
	if err != nil || noted.GetAttempt().GetAttempt().GetMade().GetBy() != c.staff.String() {
		t.Fatalf("note: %v (%v)", noted, err)
	}
	if open := calls(true); open.GetReached() != 1 || len(open.GetCalls()) != 1 || open.GetCalls()[0].GetPatientId() != z {
		t.Errorf("after one was reached: %v", open)
	}
	if _, err := c.UndoCall(t.Context(), &tracev1.UndoCallRequest{RequestId: uuid.NewString(), PatientId: a, ContactId: note.RequestId, Reason: "wrong person"}); err != nil {
		t.Fatal(err)
	}
	after := calls(false)
	if after.GetReached() != 0 || len(after.GetCalls()[1].GetAttempts()) != 1 || after.GetCalls()[1].GetAttempts()[0].GetUndone() == nil {
		t.Errorf("after it was taken back: %v", after)
	}
}
