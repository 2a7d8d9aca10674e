package guard_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/formulary"
	"needlebook/internal/guard"
	"needlebook/internal/reckon"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const (
	hold    = formularyv1.Level_LEVEL_HOLD
	caution = formularyv1.Level_LEVEL_CAUTION
	note    = formularyv1.Level_LEVEL_NOTE

	right   = chartv1.Side_SIDE_RIGHT
	left    = chartv1.Side_SIDE_LEFT
	midline = chartv1.Side_SIDE_MIDLINE

	ona  = "onabotulinumtoxinA"
	abo  = "abobotulinumtoxinA"
	inco = "incobotulinumtoxinA"
	rela = "relabotulinumtoxinA"
)

func builtin(t testing.TB) *formulary.Edition {
	t.Helper()
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func derived(t testing.TB, base *formulary.Edition, m *formularyv1.FormularyEdition) *formulary.Edition {
	t.Helper()
	m.Version = proto.String("clinic-1")
	e, err := formulary.Derive(base, m)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// byLead is what a clinic's medical lead set.
func byLead() *formularyv1.Provenance {
	return &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD}
}

// noon is the moment that the fixture is judged at; the visit is on that day.
func noon() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }

func act(by string, at time.Time) *recordv1.Act {
	return &recordv1.Act{By: by, At: timestamppb.New(at)}
}

func date(year, month, day int32) *recordv1.Date {
	return &recordv1.Date{Year: year, Month: month, Day: day}
}

func approximate(year, month int32) *recordv1.ApproximateDate {
	return &recordv1.ApproximateDate{Year: year, Month: &month}
}

func void() *recordv1.Void { return &recordv1.Void{Reason: "entered by mistake", By: "i1"} }

func person(id string, roles ...accessv1.Role) *accessv1.Staff {
	return &accessv1.Staff{Id: id, Positions: []*accessv1.Position{{Id: id + "-at", Assignment: &accessv1.Assignment{ClinicId: proto.String("c1"),
		Roles: roles}}}}
}

func credential(region string, kind accessv1.CredentialKind) *accessv1.Credential {
	return &accessv1.Credential{Id: region, Grant: &accessv1.CredentialGrant{Region: region, Kind: kind, Evidence: "ten supervised cases"}}
}

const (
	independent = accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT
	supervised  = accessv1.CredentialKind_CREDENTIAL_KIND_SUPERVISED
)

// planned is one planned injection; ids are numbered by position.
func planned(n int, product, muscle string, side chartv1.Side, milliunits int32) *chartv1.Injection {
	return &chartv1.Injection{Id: fmt.Sprint("j", n), Muscle: &muscle, Side: side.Enum(), Planned: &chartv1.Dose{Product: product,
		DoseMilliunits: milliunits},
		Depth: &chartv1.Depth{Layer: chartv1.DepthLayer_DEPTH_LAYER_INTRAMUSCULAR}}
}

// glabella is the labelled pattern of five injections.
func glabella(product string, each int32) []*chartv1.Injection {
	return []*chartv1.Injection{planned(1, product, "procerus", midline, each), planned(2, product, "corrugator_supercilii", right, each),
		planned(3, product, "corrugator_supercilii", left, each), planned(4, product, "corrugator_supercilii", right, each),
		planned(5, product, "corrugator_supercilii", left, each)}
}

// given turns a planned injection into one that was given from the vial v1.
func given(in *chartv1.Injection, volume int64) *chartv1.Injection {
	in.Givings = []*chartv1.Giving{{Id: in.GetId() + "g", Done: act("i1", noon()), Given: &chartv1.GivenDose{Dose: in.GetPlanned(),
		VialId:        proto.String("v1"),
		PreparationId: proto.String("m1"), VolumeNanoliters: &volume}}}
	return in
}

// mixedVial is 100 units in 2.5 mL, a labelled dilution, mixed three hours ago.
func mixedVial() *chartv1.Vial {
	mixed := noon().Add(-3 * time.Hour)
	return &chartv1.Vial{Id: "v1", ClinicId: proto.String("c1"), Presentation: &chartv1.VialPresentation{Product: ona, ContentMilliunits: 100_000},
		Labelling: &chartv1.VialLabelling{LotNumber: "A1", LotId: proto.String("l1"), ExpiresOn: date(2027, 1, 31)},
		Preparations: []*chartv1.Preparation{{Id: "m1", Mixed: act("i1", mixed), Checked: act("i2", mixed),
			Diluent: &chartv1.Diluent{Kind: "sodium_chloride_0_9_preservative_free", VolumeNanoliters: 2_500_000, ExpiresOn: date(2027, 1, 31)},
			Clarity: &chartv1.Clarity{Finding: chartv1.ClarityFinding_CLARITY_FINDING_CLEAR},
			UseBy:   &chartv1.UseBy{Until: timestamppb.New(mixed.Add(24 * time.Hour)), RuleCode: proto.String("onabotulinumtoxina_us_24h")}}}}
}

func orderFor(product string) *chartv1.Order {
	return &chartv1.Order{Id: "o1", PatientId: proto.String("p1"), Kind: chartv1.OrderKind_ORDER_KIND_PRESCRIPTION.Enum(),
		PrescriberId: proto.String("d1"),
		Examination:  &chartv1.Examination{Way: chartv1.ExaminationWay_EXAMINATION_WAY_IN_PERSON, Examined: act("d1", noon())},
		Validity:     &chartv1.Validity{From: date(2026, 1, 1), Until: date(2026, 12, 31)}, Repeats: proto.Int32(4),
		Lines: []*chartv1.OrderLine{{Id: "line", Leave: &chartv1.OrderLeave{Product: product, Regions: []string{"upper_face", "lower_face"},
			MostMilliunits: 100_000}}},
		Issued: &chartv1.OrderIssue{Issued: act("d1", noon()), Statement: "I order this treatment."}}
}

// questions asks about every condition that would hold, and about one drug.
func questions(e *formulary.Edition) *chartv1.Questionnaire {
	q := &chartv1.Questionnaire{Id: "q1", Version: proto.String("1")}
	var seen []string
	for _, c := range e.Contraindications() {
		if slices.Contains(seen, c.GetCondition()) {
			continue
		}
		seen = append(seen, c.GetCondition())
		q.Questions = append(q.Questions, &chartv1.Question{Id: c.GetCondition(), Body: &chartv1.QuestionText{Code: c.GetCondition(), Text: "Have you " +
			c.GetCondition() + "?",
			Form: chartv1.AnswerForm_ANSWER_FORM_YES_NO, Condition: proto.String(c.GetCondition()), MustBeAnswered: c.GetLevel() == hold}})
	}
	return q
}

func answers(q *chartv1.Questionnaire) []*chartv1.ScreeningAnswer {
	var all []*chartv1.ScreeningAnswer
	for _, question := range q.GetQuestions() {
		all = append(all, &chartv1.ScreeningAnswer{Id: "a-" + question.GetBody().GetCode(), Answer: &chartv1.Answer{QuestionnaireId: q.GetId(),
			Version:  q.GetVersion(),
			Question: question.GetBody().GetCode(), YesNo: chartv1.YesNo_YES_NO_NO.Enum(), Taken: act("i1", noon())}})
	}
	return all
}

func consentFor(id string, regions ...string) *chartv1.Consent {
	return &chartv1.Consent{Id: id, Explained: &chartv1.Explanation{ConsentTextId: "t1", Version: "1", Digest: []byte("words"), Regions: regions,
		Explained: act("i1", noon().Add(-time.Hour))},
		Decision:  &chartv1.ConsentDecision{Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN, Taken: act("i1", noon())},
		Signature: &chartv1.ConsentSignature{SignerName: "A Patient", Relation: "self", TextDigest: []byte("words"), Taken: act("i1", noon())}}
}

// clear is a visit that raises notes alone: five injections of four units in the glabella, planned, with all that belongs to it.
func clear(e *formulary.Edition) *dosev1.CheckSessionRequest {
	yes := true
	sum := e.Sum()
	q := questions(e)
	upperAndLower := []*accessv1.Credential{credential("upper_face", independent), credential("lower_face", independent)}
	injector, colleague := person("i1", accessv1.Role_ROLE_INJECTOR), person("i2", accessv1.Role_ROLE_INJECTOR)
	injector.Credentials, colleague.Credentials = upperAndLower, upperAndLower
	prescriber := person("d1", accessv1.Role_ROLE_MEDICAL_LEAD)
	prescriber.Prescribes = &accessv1.Prescribing{Basis: "licence 12345"}
	return &dosev1.CheckSessionRequest{AsOf: timestamppb.New(noon()), Formulary: &dosev1.FormularyChoice{Market: "US"},
		Subject: &dosev1.CheckSessionRequest_Facts{Facts: &dosev1.SessionFacts{
			Clock: dosev1.ClockState_CLOCK_STATE_CHECKED,
			Session: &chartv1.Session{Id: "s1", PatientId: proto.String("p1"), ClinicId: proto.String("c1"),
				Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
				On:   date(2026, 3, 2), OrderId: proto.String("o1"), ResponsibleId: proto.String("i1"),
				Basis:          &chartv1.SessionBasis{Edition: &formularyv1.EditionReference{Version: e.Version(), Hash: sum[:]}},
				IdentityChecks: []*chartv1.IdentityCheck{{Id: "k1", Check: &chartv1.IdentifiersChecked{Identifiers: []string{"full_name", "date_of_birth"}}}},
				ReadinessChecks: []*chartv1.ReadinessCheck{{Id: "r1", Check: &chartv1.ReadinessAnswers{Identity: &yes, Sides: &yes, Product: &yes, Consent: &yes,
					Order: &yes,
					Skin:  &yes, Done: act("i1", noon())}}},
				Screening: answers(q), Consents: []*chartv1.Consent{consentFor("e1", "upper_face", "lower_face")}, Injections: glabella(ona, 4000)},
			Patient: &chartv1.Patient{Id: "p1", Birth: &chartv1.BirthDate{Date: date(1980, 5, 5), Proof: chartv1.BirthProof_BIRTH_PROOF_DOCUMENT}},
			Vials:   []*chartv1.Vial{mixedVial()},
			Lots: []*chartv1.Lot{{Id: "l1", Identity: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(ona), Number: "A1"},
				ExpiresOn: date(2027, 1, 31)}},
			Order: orderFor(ona),
			Clinic: &chartv1.Clinic{Id: "c1", Policies: &chartv1.ClinicPolicies{BirthProof: true, ExaminationInPerson: true, YoungestYears: 18,
				PreparationCheck: true},
				Syringes: []*chartv1.StockedSyringe{{Id: "y1", SyringeCode: proto.String("general_1_by_0_01")}}},
			Staff:          []*accessv1.Staff{injector, colleague, prescriber},
			ConsentTexts:   []*chartv1.ConsentText{{Id: "t1", Version: proto.String("1"), Published: &chartv1.TextPublication{Digest: []byte("words")}}},
			Questionnaires: []*chartv1.Questionnaire{q},
			Knowledge:      []*dosev1.ClinicKnowledgeFact{{ClinicId: "c1", CompleteUntil: timestamppb.New(noon())}},
		}}}
}

// lips is the clear visit with six small superficial injections in the lips in place of the glabella.
func lips(r *dosev1.CheckSessionRequest) {
	s := r.GetFacts().GetSession()
	s.Injections = nil
	for i, side := range []chartv1.Side{right, left, right, left} {
		in := planned(i+1, ona, "orbicularis_oris", side, 1000)
		in.Depth.Layer = chartv1.DepthLayer_DEPTH_LAYER_INTRADERMAL
		s.Injections = append(s.Injections, in)
	}
}

// earlier is a visit of the same patient that gave the glabella a dose.
func earlier(id string, on *recordv1.Date, clinic, product string, each int32) *chartv1.Session {
	s := &chartv1.Session{Id: id, PatientId: proto.String("p1"), ClinicId: &clinic, On: on, Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum()}
	for _, in := range glabella(product, each) {
		s.Injections = append(s.Injections, given(in, int64(each)*25))
	}
	return s
}

func check(t testing.TB, e *formulary.Edition, r *dosev1.CheckSessionRequest) *dosev1.CheckSessionResponse {
	t.Helper()
	response, err := reckon.CheckSession(e, r)
	if err != nil {
		t.Fatal(err)
	}
	return response
}

func of(found []*dosev1.Finding, code string) *dosev1.Finding {
	for _, f := range found {
		if f.GetCode() == code {
			return f
		}
	}
	return nil
}

func codes(found []*dosev1.Finding, level formularyv1.Level) []string {
	var all []string
	for _, f := range found {
		if f.GetLevel() == level {
			all = append(all, f.GetCode())
		}
	}
	return all
}

// The fixture is what every row of the table starts from: it raises notes alone.
func TestClearVisitRaisesNotesAlone(t *testing.T) {
	e := builtin(t)
	r := check(t, e, clear(e))
	for _, f := range r.GetFindings() {
		if f.GetLevel() != note {
			t.Errorf("%s %s: %s", f.GetLevel(), f.GetCode(), f.GetText())
		}
	}
	if !r.GetMayInject() {
		t.Error("a clear visit may not inject")
	}
	if _, ok := guard.RuleOf("NO_SUCH_CODE"); ok {
		t.Error("a rule of no code")
	}
}

// checked is check where a request that is refused has no findings.
func checked(e *formulary.Edition, v visit) []*dosev1.Finding {
	response, err := reckon.CheckSession(e, v.r)
	if err != nil {
		return nil
	}
	return response.GetFindings()
}
