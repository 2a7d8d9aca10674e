package service

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/guard"
)

const ona = "onabotulinumtoxinA"

func (c client) dose(w *clinicServer) dosev1connect.DoseServiceClient {
	return dosev1connect.NewDoseServiceClient(&http.Client{Transport: bearerToken(c.token)}, w.address)
}

// put makes a record whole.
func (w *clinicServer) put(c client, r *chartv1.Record, mask ...string) {
	w.Helper()
	w.edit(c, r, nil, mask...)
}

// newVial makes a vial with a label, and returns its id.
func (w *clinicServer) newVial(c client, lotNumber string) string {
	w.Helper()
	v := &chartv1.Vial{
		Id: uuid.NewString(), ClinicId: proto.String(w.org.Clinic.String()), Presentation: &chartv1.VialPresentation{Product: ona, ContentMilliunits: 100_000},
		Labelling: &chartv1.VialLabelling{LotNumber: lotNumber, ExpiresOn: &recordv1.Date{Year: 2027, Month: 1, Day: 31},
			Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: actOf(c.staff, w.at)},
	}
	w.put(c, &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: v}}, "clinic_id", "presentation", "labelling")
	return v.GetId()
}

// newLot makes a record of a lot, recalled or not.
func (w *clinicServer) newLot(c client, number string, recalled bool) {
	w.Helper()
	l := &chartv1.Lot{Id: uuid.NewString(), Identity: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(ona), Number: number}}
	mask := []string{"identity"}
	if recalled {
		r := &chartv1.LotRecall{Id: uuid.NewString(), Notice: &chartv1.RecallNotice{Reason: "weak", NoticedOn: &recordv1.Date{Year: 2026, Month: 5, Day: 30},
			Entered: actOf(c.staff, w.at)}}
		l.Recalls, mask = append(l.Recalls, r), append(mask, "recalls["+r.GetId()+"]")
	}
	w.put(c, &chartv1.Record{Kind: &chartv1.Record_Lot{Lot: l}}, mask...)
}

// fill adds a syringe from a vial to a session.
func (w *clinicServer) fill(c client, s *chartv1.RecordView, vial string) {
	w.Helper()
	y := &chartv1.SessionSyringe{Id: uuid.NewString(), Filling: &chartv1.SyringeFilling{SyringeCode: proto.String("general_1_by_0_01"),
		CapacityNanoliters: 1_000_000, GraduationNanoliters: 10_000, VialId: vial, DrawnNanoliters: 100_000}}
	w.edit(c, sessionOf(&chartv1.Session{Id: s.GetRecord().GetSession().GetId(), Syringes: []*chartv1.SessionSyringe{y}}), s.GetContext(),
		"syringes["+y.GetId()+"]")
}

func codesOf(found []*dosev1.Finding) (all []string) {
	for _, f := range found {
		all = append(all, f.GetCode())
	}
	return all
}

// TestCheckSession_GathersFromTheLedger: a session named by its id is judged by what the ledger holds of it, a recall entered a minute ago in a second
// record of the lot among it, and who reads it is in the audit log.
func TestCheckSession_GathersFromTheLedger(t *testing.T) {
	w := newClinicServer(t)
	lead := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD)
	patient := w.newPatient(lead, "Zora Lind", 1980, w.org.Clinic)
	elsewhere := uuid.New()
	w.newSession(lead, patient, elsewhere, 1)
	s := w.newSession(lead, patient, w.org.Clinic, 31)
	vial := w.newVial(lead, "L7")
	w.newLot(lead, "L7", false)
	w.fill(lead, s, vial)
	id := s.GetRecord().GetSession().GetId()
	check := func(c client) (*dosev1.CheckSessionResponse, error) {
		return c.dose(w).CheckSession(t.Context(), &dosev1.CheckSessionRequest{Subject: &dosev1.CheckSessionRequest_SessionId{SessionId: id}})
	}
	before, err := check(lead)
	if err != nil {
		t.Fatal(err)
	}
	got := codesOf(before.GetFindings())
	for code, want := range map[string]bool{
		guard.CodeOrderMissing: true, guard.CodeInterval: true, guard.CodeRecalled: false, guard.CodeLotUnknown: false, guard.CodeVialUnknown: false,
		guard.CodePatientUnknown: false, guard.CodeClinicUnknown: false, guard.CodeClockUnchecked: false, guard.CodeDateDiffers: false,
	} {
		if slices.Contains(got, code) != want {
			t.Errorf("%s is found: %t, of %v", code, !want, got)
		}
	}
	if before.GetMayInject() || before.GetEdition().GetVersion() != formulary.BuiltinVersion {
		t.Errorf("may inject %t, by %v", before.GetMayInject(), before.GetEdition())
	}
	w.newLot(lead, "L7", true)
	after, err := check(lead)
	if err != nil || !slices.Contains(codesOf(after.GetFindings()), guard.CodeRecalled) {
		t.Errorf("a recall in another record of the lot: %v, %v", codesOf(after.GetFindings()), err)
	}
	entered := 0
	for _, e := range w.entries() {
		if strings.HasSuffix(e.Procedure, "CheckSession") && e.Patient.String() == patient {
			entered++
		}
	}
	if entered < 6 { // twice: the session, the patient, the session before
		t.Errorf("%d entries of what two checks read of the patient", entered)
	}
	desk := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_FRONT_DESK)
	_, err = check(desk)
	wantReason(t, "the front desk", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	other, err := w.Found(t.Context(), Founding{Organisation: "Other", Clinic: "Other"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = check(w.hire(other.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR))
	wantReason(t, "another organisation", err, connect.CodeNotFound, "NOT_FOUND")
}

// TestGetToxinHistory_OfOnePerson: sessions at every clinic count, those of a record that is linked to hers too; what may not be read makes its clinic one
// that was not checked, and is not told.
func TestGetToxinHistory_OfOnePerson(t *testing.T) {
	w := newClinicServer(t)
	everywhere := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR)
	here := w.injector()
	elsewhere := uuid.New()
	patient, same := w.newPatient(everywhere, "Zora Lind", 1980, w.org.Clinic), w.newPatient(everywhere, "Z Lind", 1980, elsewhere)
	w.newSession(everywhere, patient, w.org.Clinic, 2)
	w.newSession(everywhere, patient, elsewhere, 9)
	w.newSession(everywhere, same, elsewhere, 20)
	link := &chartv1.PatientLink{Id: uuid.NewString(), Claim: &chartv1.LinkClaim{PatientId: same, Grounds: "one person", Made: actOf(everywhere.staff, w.at)}}
	v := w.patientView(everywhere, patient)
	w.edit(everywhere, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patient, Links: []*chartv1.PatientLink{link}}}},
		v.GetContext(), "links["+link.GetId()+"]")
	ask := func(c client) *dosev1.GetToxinHistoryResponse {
		t.Helper()
		r, err := c.dose(w).GetToxinHistory(t.Context(), &dosev1.GetToxinHistoryRequest{Subject: &dosev1.GetToxinHistoryRequest_PatientId{PatientId: patient}})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	all := ask(everywhere)
	if p := all.GetProducts(); len(p) != 1 || p[0].GetTotal().GetGiven().GetLeastUnits() != "12" || len(all.GetTreatments()) != 3 || all.GetDaysSinceAny() != 12 {
		t.Errorf("who may read all: %v", all)
	}
	part := ask(here)
	if p := part.GetProducts(); len(p) != 1 || p[0].GetTotal().GetGiven().GetLeastUnits() != "8" || len(part.GetTreatments()) != 2 {
		t.Errorf("who may not read the linked record: %v", part)
	}
	unchecked := func(r *dosev1.GetToxinHistoryResponse) (out []string) {
		for _, k := range r.GetKnowledge() {
			if k.GetCompleteUntil() == nil {
				out = append(out, k.GetClinicId())
			}
		}
		return out
	}
	if got := unchecked(part); !slices.Contains(got, elsewhere.String()) || slices.Contains(got, w.org.Clinic.String()) {
		t.Errorf("not checked: %v, want the clinic of what was withheld", got)
	}
	sides, err := everywhere.dose(w).GetAsymmetry(t.Context(), &dosev1.GetAsymmetryRequest{Subject: &dosev1.GetAsymmetryRequest_PatientId{PatientId: patient}})
	if err != nil || len(sides.GetView().GetTreatments()) != 3 {
		t.Errorf("asymmetry: %v, %v", sides, err)
	}
}

// TestClinicsEdition: a clinic's own edition, once its record names it by its content, is the one that its people reckon with and whose products they may
// write; another clinic's people reckon with the shipped one; an edition that was changed since is not taken.
func TestClinicsEdition(t *testing.T) {
	w := newClinicServer(t)
	lead := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_ADMINISTRATOR)
	builtin, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	m := formulary.FillIDs(&formularyv1.FormularyEdition{
		Id: uuid.NewString(), Label: proto.String("Harbour"), Version: proto.String("harbour-1"), Base: builtin.Reference(),
		Products: []*formularyv1.ProductEntry{{Value: &formularyv1.Product{Name: "exampletoxinA", UnitName: "units of exampletoxinA", Provenance: &formularyv1.Provenance{
			Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "a trial"}}}},
	})
	own, err := formulary.Derive(builtin, m)
	if err != nil {
		t.Fatal(err)
	}
	vial := func() error {
		v := &chartv1.Vial{Id: uuid.NewString(), ClinicId: proto.String(w.org.Clinic.String()),
			Presentation: &chartv1.VialPresentation{Product: "exampletoxinA", ContentMilliunits: 50_000}}
		_, err := lead.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), UpdateMask: []string{"clinic_id", "presentation"},
			Record: &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: v}}})
		return err
	}
	prepare := func(c client, edition *string) (*dosev1.PrepareResponse, error) {
		return c.dose(w).Prepare(t.Context(), &dosev1.PrepareRequest{Product: "exampletoxinA", Vial: &dosev1.VialContent{ContentUnits: "50", DiluentMl: proto.String("1")},
			Formulary: &dosev1.FormularyChoice{EditionId: edition}})
	}
	_, err = prepare(lead, nil)
	wantReason(t, "before the clinic chose it", err, connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")
	wantReason(t, "a vial of it", vial(), connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")

	w.put(lead, &chartv1.Record{Kind: &chartv1.Record_FormularyEdition{FormularyEdition: m}}, "label", "version", "base",
		"products["+m.GetProducts()[0].GetId()+"]")
	wantReason(t, "an edition that no clinic chose", vial(), connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")
	w.choose(lead, own.Reference())
	r, err := prepare(lead, nil)
	if err != nil || r.GetEdition().GetHash() != own.Hash() || r.GetEdition().GetVersion() != "harbour-1" || r.GetEdition().GetEditionId() != m.GetId() {
		t.Errorf("the clinic's own: %v, %v", r.GetEdition(), err)
	}
	if err := vial(); err != nil {
		t.Errorf("a vial of the clinic's own product: %v", err)
	}
	away := w.hire(w.org.ID, uuid.New(), accessv1.Role_ROLE_INJECTOR)
	_, err = prepare(away, nil)
	wantReason(t, "another clinic", err, connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")
	if r, err := prepare(away, proto.String(m.GetId())); err != nil || r.GetEdition().GetHash() != own.Hash() {
		t.Errorf("another clinic that names it: %v, %v", r.GetEdition(), err)
	}
	_, err = prepare(away, proto.String(uuid.NewString()))
	wantReason(t, "an edition that is not there", err, connect.CodeInvalidArgument, "INVALID_FIELD")

	amend := func(with *formularyv1.FormularyEdition, mask ...string) error {
		with.Id = m.GetId()
		v, err := lead.GetRecord(t.Context(), &chartv1.GetRecordRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION, m.GetId())})
		if err != nil {
			t.Fatal(err)
		}
		_, err = lead.EditRecord(t.Context(), &chartv1.EditRecordRequest{RequestId: uuid.NewString(), Context: v.GetView().GetContext(), UpdateMask: mask,
			Record: &chartv1.Record{Kind: &chartv1.Record_FormularyEdition{FormularyEdition: with}}})
		return err
	}
	wantReason(t, "a change of an edition in use", amend(&formularyv1.FormularyEdition{Label: proto.String("Another")}, "label"),
		connect.CodeInvalidArgument, "OUTPUT_ONLY")
	wantReason(t, "an entry of an edition in use", amend(&formularyv1.FormularyEdition{Products: []*formularyv1.ProductEntry{{Id: m.GetProducts()[0].GetId(),
		Value: &formularyv1.Product{Name: "othertoxinA", UnitName: "units", Provenance: m.GetProducts()[0].GetValue().GetProvenance()}}}},
		"products["+m.GetProducts()[0].GetId()+"].value"), connect.CodeInvalidArgument, "OUTPUT_ONLY")

	changed := proto.CloneOf(own.Reference())
	changed.Hash = make([]byte, 32)
	w.choose(lead, changed)
	_, err = prepare(lead, nil)
	wantReason(t, "another content than was chosen", err, connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")

	w.choose(lead, own.Reference())
	if err := amend(&formularyv1.FormularyEdition{Withdrawn: &recordv1.Void{Reason: "wrong", By: lead.staff.String(), At: timestamppb.New(w.at)}}, "withdrawn"); err != nil {
		t.Errorf("an edition in use cannot be withdrawn: %v", err)
	}
	_, err = prepare(lead, nil)
	wantReason(t, "an edition that was withdrawn", err, connect.CodeInvalidArgument, "UNKNOWN_PRODUCT")
}

// TestListFindings_ByTheClinicsOwnInterval: the interval between two treatments is that of the clinics' own editions, the longest of theirs.
func TestListFindings_ByTheClinicsOwnInterval(t *testing.T) {
	w := newClinicServer(t)
	lead := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_ADMINISTRATOR)
	builtin, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	m := formulary.FillIDs(&formularyv1.FormularyEdition{
		Id: uuid.NewString(), Label: proto.String("Harbour"), Version: proto.String("harbour-1"), Base: builtin.Reference(),
		IntervalRules: []*formularyv1.IntervalRuleEntry{{Value: &formularyv1.IntervalRule{Code: "ours", Product: proto.String(ona), Level: formularyv1.Level_LEVEL_CAUTION,
			Least: &formularyv1.Period{Days: 120}, Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "ours"}}}},
	})
	own, err := formulary.Derive(builtin, m)
	if err != nil {
		t.Fatal(err)
	}
	patient := w.newPatient(lead, "Zora Lind", 1980, w.org.Clinic)
	w.newSession(lead, patient, w.org.Clinic, 1)
	w.newSession(lead, patient, uuid.New(), 20)
	least := func() string {
		found := w.foundBy(lead, &dosev1.ListFindingsRequest{})
		if len(found) != 1 {
			t.Fatalf("found %v", found)
		}
		return found[0].GetFigures()["least_days"]
	}
	if got := least(); got != "92" { // 3 months from 1 May, S06
		t.Errorf("the shipped edition's: %s", got)
	}
	w.put(lead, &chartv1.Record{Kind: &chartv1.Record_FormularyEdition{FormularyEdition: m}}, "label", "version", "base",
		"interval_rules["+m.GetIntervalRules()[0].GetId()+"]")
	w.choose(lead, own.Reference())
	if got := least(); got != "120" {
		t.Errorf("the clinic's own: %s", got)
	}
}

// choose sets the clinic's edition.
func (w *clinicServer) choose(c client, ref *formularyv1.EditionReference) {
	w.Helper()
	v, err := c.GetRecord(w.Context(), &chartv1.GetRecordRequest{Key: keyOf(kindClinic, w.org.Clinic.String())})
	if err != nil {
		w.Fatal(err)
	}
	w.edit(c, &chartv1.Record{Kind: &chartv1.Record_Clinic{Clinic: &chartv1.Clinic{Id: w.org.Clinic.String(),
		Formulary: &chartv1.ClinicFormulary{Edition: ref, Chosen: actOf(c.staff, w.at)}}}}, v.GetView().GetContext(), "formulary")
}
