package reckon

import (
	"strconv"

	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/guard"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// The bounds of the schema that a check relies on.
const (
	mostInjections      = 200
	mostGivings         = 20
	mostDoseMilliunits  = 10_000_000
	mostFactRecords     = 64
	mostConsentTexts    = 32
	mostQuestionnaires  = 16
	mostReadings        = 64
	mostSingleReadings  = 256
	mostListedInSession = 500
)

// CheckSession gives the findings of a session from the facts that the request holds, and nothing else: holds first, then cautions, then notes. Where
// registers are in conflict every reading of them is judged and the worst is answered. A request that names a session in place of facts is for the server,
// which fills them in: here it is INVALID_FIELD. The request is only read. For errors see the package comment.
func CheckSession(e *formulary.Edition, r *dosev1.CheckSessionRequest) (*dosev1.CheckSessionResponse, error) {
	in, err := readCheck(e, r)
	if err != nil {
		return nil, err
	}
	readings, err := in.readings()
	if err != nil {
		return nil, err
	}
	found := make([][]*dosev1.Finding, len(readings))
	for i := range readings {
		found[i] = guard.Check(e, &readings[i])
	}
	totals, err := in.totals()
	if err != nil {
		return nil, err
	}
	worst := guard.Worst(found...)
	return &dosev1.CheckSessionResponse{Findings: worst, Totals: totals, MayInject: guard.MayInject(worst), Edition: used(e), Caution: Caution}, nil
}

// checkReader is what a request for a check says, read.
type checkReader struct {
	visitReader
	market    string
	facts     *dosev1.SessionFacts
	at        *timestamppb.Timestamp
	registers []register
	doubted   []string
	// before are the treatments before this one, with their names; those that no rule reaches are left out.
	before []dose.Treatment
	names  []string
	held   []string
}

func readCheck(e *formulary.Edition, r *dosev1.CheckSessionRequest) (*checkReader, error) {
	in := &checkReader{visitReader: visitReader{reader: &reader{edition: e}}, facts: r.GetFacts(), at: r.GetAsOf()}
	in.market = in.choice(r.GetFormulary())
	if in.at == nil || in.at.CheckValid() != nil {
		in.refuse(badField, "as_of", "", "the moment that dates are judged at, a time of the years 1850 to 2200")
	}
	if in.facts == nil {
		in.refuse(badField, "facts", "", "the facts to judge by; session_id is for the server")
	} else if in.facts.GetSession() == nil {
		in.refuse(badField, "facts.session", "", "the session to check")
	}
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	at := in.at.AsTime().UTC()
	day, err := dose.NewDay(at.Year(), int(at.Month()), at.Day())
	if err != nil {
		return nil, fault.New(badField, "as_of", at.Format("2006-01-02"), "a time of the years 1850 to 2200")
	}
	in.on, in.patient = day, in.facts.GetPatient()
	in.bounds()
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	in.injections("facts.session", in.facts.GetSession())
	in.readRegisters()
	in.readBefore()
	in.held = in.readHeld(in.facts.GetHeld())
	return in, in.refused.Err()
}

// bounds refuses lists that are longer than the schema allows.
func (in *checkReader) bounds() {
	f, s := in.facts, in.facts.GetSession()
	for _, list := range []struct {
		field   string
		n, most int
	}{
		{"history", len(f.GetHistory()), mostSessions}, {"vials", len(f.GetVials()), mostFactRecords}, {"lots", len(f.GetLots()), mostFactRecords},
		{"staff", len(f.GetStaff()), mostFactRecords}, {"consent_texts", len(f.GetConsentTexts()), mostConsentTexts},
		{"questionnaires", len(f.GetQuestionnaires()), mostQuestionnaires}, {"conflicts", len(f.GetConflicts()), mostConflicts},
		{"knowledge", len(f.GetKnowledge()), mostClinics}, {"session.injections", len(s.GetInjections()), mostInjections},
		{"session.screening", len(s.GetScreening()), mostListedInSession}, {"session.finding_answers", len(s.GetFindingAnswers()), mostListedInSession},
		{"session.consents", len(s.GetConsents()), mostListedInSession}, {"session.syringes", len(s.GetSyringes()), mostListedInSession},
		{"patient.prior_treatments", len(f.GetPatient().GetPriorTreatments()), mostReports},
	} {
		if list.n > list.most {
			in.refuse(badField, "facts."+list.field, strconv.Itoa(list.n), "at most "+strconv.Itoa(list.most))
		}
	}
}

// injections reads the quantities of the session, which guard then relies on.
func (in *checkReader) injections(field string, s *chartv1.Session) {
	seen := make(map[string]bool, len(s.GetInjections()))
	once := func(at, id string) {
		if id == "" || seen[id] {
			in.refuse(badField, at+".id", id, "an id that no other element of the session has")
		}
		seen[id] = true
	}
	for i, injection := range s.GetInjections() {
		at := field + ".injections[" + strconv.Itoa(i) + "]"
		once(at, injection.GetId())
		if injection.GetPlanned() != nil {
			in.dose(at+".planned", injection.GetPlanned())
		}
		if len(injection.GetGivings()) > mostGivings {
			in.refuse(badField, at+".givings", strconv.Itoa(len(injection.GetGivings())), "at most 20")
		}
		for j, g := range injection.GetGivings() {
			once(at+".givings["+strconv.Itoa(j)+"]", g.GetId())
			if g.GetGiven().GetDose() != nil {
				in.dose(at+".givings["+strconv.Itoa(j)+"].given.dose", g.GetGiven().GetDose())
			}
			if v := g.GetGiven().GetVolumeNanoliters(); v < 0 || v > int64(dose.MaxVolume) {
				in.refuse(badQuantity, at+".givings["+strconv.Itoa(j)+"].given.volume_nanoliters", strconv.FormatInt(v, 10), "nanolitres, 0 to 100000000")
			}
		}
	}
}

// dose reads a dose of a record. The formulary need not know its product; guard says so.
func (in *checkReader) dose(field string, d *chartv1.Dose) {
	in.productName(field+".product", d.GetProduct())
	if n := d.GetDoseMilliunits(); n < 0 || n > mostDoseMilliunits {
		in.refuse(badQuantity, field+".dose_milliunits", strconv.Itoa(int(n)), "thousandths of a unit, 0 to 10000000")
	}
}

// readBefore reads the treatments that an interval or a window can reach, and the visits that touch-ups among them belong to.
func (in *checkReader) readBefore() {
	reached := guard.LongestLookBack(in.edition, in.on)
	keep := map[string]bool{in.facts.GetSession().GetParent().GetSessionId(): true}
	recent := make([]bool, len(in.facts.GetHistory()))
	for i, s := range in.facts.GetHistory() {
		field := "facts.history[" + strconv.Itoa(i) + "]"
		recent[i] = s.GetOn() == nil || in.conflicts[s.GetId()] != nil || in.day(field+".on", s.GetOn()) >= reached
		if recent[i] && s.GetKind() == chartv1.SessionKind_SESSION_KIND_TOUCH_UP {
			keep[s.GetParent().GetSessionId()] = true
		}
	}
	seen := make(map[string]bool, len(recent))
	for i, s := range in.facts.GetHistory() {
		field := "facts.history[" + strconv.Itoa(i) + "]"
		if s.GetId() == "" || seen[s.GetId()] {
			in.refuse(badField, field+".id", s.GetId(), "an id that no other session has")
		}
		seen[s.GetId()] = true
		if (recent[i] || keep[s.GetId()]) && s.GetId() != in.facts.GetSession().GetId() {
			in.session(field, s)
		}
	}
	in.readReports()
	in.before = in.treatments
	for i := range in.visits {
		in.names = append(in.names, in.nameOf(i))
	}
}

func (in *checkReader) nameOf(i int) string {
	if s := in.visits[i].session; s != nil {
		return "RECORD_KIND_SESSION/" + s.GetId()
	}
	return "prior_treatments[" + in.visits[i].reportID + "]"
}

// readReports reads what was reported from elsewhere: in the patient's record, and in answers to the questions before treatment.
func (in *checkReader) readReports() {
	patient := in.facts.GetPatient()
	of := in.conflicts[patient.GetId()]
	if patient != nil {
		for i, p := range of.allReports(patient) {
			in.elsewhere("facts.patient.prior_treatments["+strconv.Itoa(i)+"]", p, of)
		}
	}
	for i, a := range in.facts.GetSession().GetScreening() {
		answer := a.GetAnswer()
		if a.GetVoid() != nil || answer.GetOn() == nil && answer.GetProduct() == "" && answer.GetDoseMilliunits() == 0 {
			continue
		}
		report := &chartv1.PriorTreatmentReport{On: answer.GetOn(), Product: answer.Product, DoseMilliunits: answer.DoseMilliunits}
		if !reportedAlready(patient, report) {
			in.elsewhere("facts.session.screening["+strconv.Itoa(i)+"].answer", &chartv1.PriorTreatment{Id: a.GetId(), Report: report}, nil)
		}
	}
}

// reportedAlready reports whether the patient's record holds the treatment that an answer tells of, so that it does not count twice.
func reportedAlready(patient *chartv1.Patient, r *chartv1.PriorTreatmentReport) bool {
	for _, p := range patient.GetPriorTreatments() {
		q := p.GetReport()
		if p.GetVoid() == nil && q.GetProduct() == r.GetProduct() && q.GetDoseMilliunits() == r.GetDoseMilliunits() &&
			q.GetOn().GetYear() == r.GetOn().GetYear() &&
			q.GetOn().GetMonth() == r.GetOn().GetMonth() && q.GetOn().GetDay() == r.GetOn().GetDay() {
			return true
		}
	}
	return false
}

// touchUpWindows are the lead's windows for touch-ups. A window that is only remembered permits nothing.
func (in *checkReader) touchUpWindows() []dose.TouchUpRule {
	h := historyReader{visitReader: in.visitReader}
	return h.touchUpRules()
}

// factsOf is one reading of the request as guard has it: the session's own treatment is the last of its history.
func (in *checkReader) factsOf(f *dosev1.SessionFacts) (guard.Facts, error) {
	g := guard.Facts{At: in.at.AsTime(), Clock: f.GetClock(), Market: in.market, Session: f.GetSession(), Patient: f.GetPatient(),
		Earlier: f.GetHistory(),
		Vials:   f.GetVials(), Lots: f.GetLots(), Order: f.GetOrder(), Clinic: f.GetClinic(), Staff: f.GetStaff(), ConsentTexts: f.GetConsentTexts(),
		Questionnaires: f.GetQuestionnaires(), Knowledge: f.GetKnowledge(), Conflicts: in.doubted, Held: in.held, Treatments: in.names, Self: -1}
	treatments := in.before
	if self := in.self(f.GetSession()); len(self.Ways) > 0 {
		g.Self = len(treatments)
		treatments = append(treatments[:g.Self:g.Self], self)
	}
	h, err := dose.NewHistory(treatments, in.touchUpWindows())
	if err != nil {
		return g, tooDoubtful()
	}
	g.History = h
	return g, nil
}

// self is this session as a treatment: what was given, and what is planned where nothing was.
func (in *checkReader) self(s *chartv1.Session) dose.Treatment {
	day := in.on
	if on := s.GetOn(); on != nil {
		if d := in.day("facts.session.on", on); d-day <= 1 && day-d <= 1 {
			day = d
		}
	}
	t := dose.Treatment{ID: s.GetId(), From: day, Until: day, TouchUp: s.GetKind() == chartv1.SessionKind_SESSION_KIND_TOUCH_UP,
		TouchUpOf: s.GetParent().GetSessionId()}
	t.Ways = in.ways("facts.session", s, nil, false)
	giving := len(t.Ways)
	for _, injection := range s.GetInjections() {
		if d := injection.GetPlanned(); d != nil && injection.GetVoid() == nil && !hasGiving(injection) {
			way := dose.Way{Giving: giving, Product: dose.Product(d.GetProduct()), Muscle: injection.GetMuscle(), Least: int64(d.GetDoseMilliunits()),
				Most: int64(d.GetDoseMilliunits())}
			way.Side, _ = sideOf(injection.GetSide())
			t.Ways = append(t.Ways, way)
			giving++
		}
	}
	return t
}

func hasGiving(injection *chartv1.Injection) bool {
	for _, g := range injection.GetGivings() {
		if g.GetVoid() == nil {
			return true
		}
	}
	return false
}
