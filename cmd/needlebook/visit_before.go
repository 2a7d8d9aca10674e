package main

import (
	"flag"
	"fmt"
	"io"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/reckon"
	"needlebook/internal/visit"
)

const (
	kindSession       = optionsv1.RecordKind_RECORD_KIND_SESSION
	kindPatient       = optionsv1.RecordKind_RECORD_KIND_PATIENT
	kindPhoto         = optionsv1.RecordKind_RECORD_KIND_PHOTO
	kindConsentText   = optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT
	kindQuestionnaire = optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE
	kindProtocol      = optionsv1.RecordKind_RECORD_KIND_PROTOCOL
)

// schemaVersion is the version of the schema that a visit keeps.
const schemaVersion = 1

func visitBegin(f *flag.FlagSet) prepared {
	patient := f.String("patient", "", "`id` of the patient")
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	kind := f.String("kind", "", "consultation, treatment, touch_up or review")
	on := f.String("on", "", "the `day`, such as 2026-03-01; today without it")
	appointment := f.String("appointment", "", "`id` of the appointment that it comes of")
	order := f.String("order", "", "`id` of the order that permits it")
	supervisor := f.String("supervisor", "", "staff `id` of who supervises")
	responsible := f.String("responsible", "", "staff `id` of the injector in charge; who is signed in without it")
	parent := f.String("parent", "", "`id` of the visit that a review or a touch-up looks back on")
	why := f.String("why", "", "why a touch-up gives more, in `words`")
	paper := f.String("paper", "", "`number` of the paper form that it comes from; none for one without")
	return prepared{run: func(at *deed) error {
		b := visit.Beginning{
			ClinicID: *clinic, AppointmentID: *appointment, OrderID: *order, SupervisorID: *supervisor, ResponsibleID: *responsible, Why: *why,
			Basis: visit.BasisOf(at.book, reckon.CoreVersion, schemaVersion),
		}
		if b.ClinicID == "" {
			b.ClinicID = at.d.Identity().Clinic
		}
		n, ok := chartv1.SessionKind_value["SESSION_KIND_"+strings.ToUpper(*kind)]
		if !ok {
			return usagef("%s: --kind: read %q, want consultation, treatment, touch_up or review", at.Name(), *kind)
		}
		b.Kind = chartv1.SessionKind(n)
		var err error
		if b.On, err = at.readDay("--on", *on); err != nil {
			return err
		}
		if b.Patient, err = at.patient(*patient); err != nil {
			return err
		}
		if *parent != "" {
			if b.Parent, err = readFrom[*chartv1.Session](at, kindSession, "--parent", *parent); err != nil {
				return err
			}
		}
		h, err := at.hand(b.ClinicID)
		if err != nil {
			return err
		}
		if *paper != "" {
			b.Paper = &chartv1.PaperForm{FormNumber: strings.TrimPrefix(*paper, "none"), Entered: h.Act()}
		}
		at.session, err = visit.BeginVisit(h, b)
		if err != nil {
			return err
		}
		return at.done(func(p *page) { p.line("Visit " + at.session.GetId()); at.stands(p) }, at.session)
	}}
}

func visitIdentify(f *flag.FlagSet) prepared {
	by := f.String("by", "", "what matched, with commas between, such as full_name,date_of_birth")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.IdentifyPatient(h, at.session, words(*by)...))
	}}
}

// readMessages reads one JSON message from standard input, or a list of them.
func readMessages[M proto.Message](at *deed, fresh func() M) ([]M, error) {
	data, err := io.ReadAll(io.LimitReader(at.e.stdin, mostRequestBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read standard input: %w", err)
	}
	if len(data) > mostRequestBytes {
		return nil, usagef("standard input: read more than %d bytes", mostRequestBytes)
	}
	var raw []rawJSON
	if text := strings.TrimSpace(string(data)); strings.HasPrefix(text, "[") {
		if raw, err = splitJSON(text); err != nil {
			return nil, usagef("standard input: %s", err)
		}
	} else if text != "" {
		raw = []rawJSON{rawJSON(text)}
	}
	var out []M
	for _, one := range raw {
		m := fresh()
		if err := protojson.Unmarshal(one, m); err != nil {
			return nil, usagef("standard input: %s", strings.TrimLeft(strings.TrimPrefix(err.Error(), "proto:"), " \u00a0"))
		}
		out = append(out, m)
	}
	return out, nil
}

func visitAsk(f *flag.FlagSet) prepared {
	questionnaire := f.String("questionnaire", "", "`id` of the questionnaire")
	carry := f.String("carry", "", "carry the answers of an earlier visit, by its `id`, to be confirmed")
	confirm := f.String("confirm", "", "confirm answers that were carried: their `ids` with commas between, or all")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		q, err := readFrom[*chartv1.Questionnaire](at, kindQuestionnaire, "--questionnaire", *questionnaire)
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		out := &chartv1.Session{Id: at.session.GetId()}
		switch {
		case *carry != "":
			from, err := readFrom[*chartv1.Session](at, kindSession, "--carry", *carry)
			if err != nil {
				return err
			}
			if out, _, err = visit.CarryForward(h, at.session, from, q); err != nil {
				return err
			}
		case *confirm != "":
			if err := at.confirm(h, q, *confirm, out); err != nil {
				return err
			}
		default:
			answers, err := readMessages(at, func() *chartv1.Answer { return &chartv1.Answer{} })
			if err != nil {
				return err
			}
			for _, a := range answers {
				part, err := visit.TakeAnswer(h, at.session, q, a)
				if err != nil {
					return err
				}
				proto.Merge(out, part)
			}
		}
		return at.done(func(p *page) { at.questions(p, q) }, out)
	}}
}

// confirm confirms the answers named, or all that are to be confirmed.
func (at *deed) confirm(h visit.Hand, q *chartv1.Questionnaire, ids string, out *chartv1.Session) error {
	chosen := words(ids)
	if ids == "all" {
		chosen = nil
		for _, x := range visit.QuestionsAt(q, at.session) {
			if x.State == visit.ToConfirm {
				chosen = append(chosen, x.Answer.GetId())
			}
		}
	}
	for _, id := range chosen {
		part, err := visit.ConfirmAnswer(h, at.session, id)
		if err != nil {
			return err
		}
		proto.Merge(out, part)
	}
	return nil
}

// questions tells where each question stands.
func (at *deed) questions(p *page, q *chartv1.Questionnaire) {
	for _, x := range visit.QuestionsAt(q, at.session) {
		p.row(strings.ReplaceAll(string(x.State), "_", " "), x.Question.GetText())
	}
}

func visitExplain(f *flag.FlagSet) prepared {
	text := f.String("text", "", "`id` of the consent text")
	product := f.String("product", "", "the `product`; any without it")
	regions := f.String("regions", "", "the `regions`, with commas between; all of the text without it")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		t, err := readFrom[*chartv1.ConsentText](at, kindConsentText, "--text", *text)
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, err := visit.ExplainText(h, at.session, t, at.clinicOf(at.session.GetClinicId()), *product, words(*regions)...)
		if err != nil {
			return err
		}
		return at.done(func(p *page) {
			p.line("Consent " + part.GetConsents()[0].GetId())
			if until, ok := visit.ThinkUntil(part.GetConsents()[0]); ok && part.GetConsents()[0].GetExplained().GetCoolingOffHours() > 0 {
				p.line("Time to think until " + until.UTC().Format("2006-01-02 15:04") + " UTC.")
			}
			for line := range strings.Lines(visit.ConsentWords(t)) {
				p.wrapped("  ", strings.TrimRight(line, "\n"))
			}
		}, part)
	}}
}

func visitConsent(f *flag.FlagSet) prepared {
	refused := f.Bool("refused", false, "the patient refused")
	risks := f.String("risks", "", "`codes` of the risks that the patient confirmed, or all")
	questions := f.String("questions", "", "what the patient asked and was told, in `words`")
	signer := f.String("signer", "", "who signs, by `name`")
	relation := f.String("relation", "self", "what the signer is to the patient")
	interpreter := f.String("interpreter", "", "who interpreted, by `name`")
	return prepared{[]string{visitArgument, "CONSENT-ID"}, func(at *deed) error {
		a := visit.Agreement{Given: !*refused, Questions: *questions, Risks: words(*risks), Signer: *signer, Relation: *relation, Interpreter: *interpreter}
		i := slices.IndexFunc(at.session.GetConsents(), func(c *chartv1.Consent) bool { return c.GetId() == at.args[1] })
		if i < 0 {
			return usagef("CONSENT-ID: read %q, want a consent of the visit", at.args[1])
		}
		text, err := readFrom[*chartv1.ConsentText](at, kindConsentText, "consent text", at.session.GetConsents()[i].GetExplained().GetConsentTextId())
		if err != nil {
			return err
		}
		if *risks == "all" {
			a.Risks = nil
			for _, r := range text.GetRisks() {
				a.Risks = append(a.Risks, r.GetRisk().GetCode())
			}
		}
		patient, err := readFrom[*chartv1.Patient](at, kindPatient, "patient", at.session.GetPatientId())
		if err != nil {
			return err
		}
		if a.Strokes, err = readMessages(at, func() *chartv1.Stroke { return &chartv1.Stroke{} }); err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.Decide(h, at.session, at.args[1], text, patient, a))
	}}
}

func visitWithdraw(f *flag.FlagSet) prepared {
	said := f.String("said", "", "what the patient said; a reason is not needed")
	return prepared{[]string{visitArgument, "CONSENT-ID"}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.WithdrawConsent(h, at.session, at.args[1], *said))
	}}
}

func visitViews(*flag.FlagSet) prepared {
	return prepared{[]string{visitArgument}, func(at *deed) error {
		photos, err := allFrom[*chartv1.Photo](at, kindPhoto)
		if err != nil {
			return err
		}
		missing := visit.MissingViews(at.book, at.session, photos)
		if at.json {
			return printAsJSON(at.e.stdout, struct {
				Missing []string `json:"missing"`
			}{viewCodes(missing)})
		}
		var p page
		at.banner(&p)
		for _, v := range missing {
			p.wrapped("  ", v.GetLabel()+" ("+v.GetCode()+")")
		}
		p.line(fmt.Sprintf("%d photographs are missing.", len(missing)))
		return p.write(at.e.stdout)
	}}
}

func viewCodes[V interface{ GetCode() string }](views []V) []string {
	out := []string{}
	for _, v := range views {
		out = append(out, v.GetCode())
	}
	return out
}

func visitGrade(f *flag.FlagSet) prepared {
	scale := f.String("scale", "plain_0_3", "the scale, by its `code`")
	region := f.String("region", "", "the `region`")
	side := f.String("side", "", "right, left or midline; absent when the region is graded as one")
	how := f.String("while", "at_rest", "at_rest, contracted, smiling or lower_teeth")
	grade := f.Int("grade", -1, "the `grade`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		n, ok := chartv1.Contraction_value["CONTRACTION_"+strings.ToUpper(*how)]
		if !ok {
			return usagef("%s: --while: read %q, want at_rest, contracted, smiling or lower_teeth", at.Name(), *how)
		}
		g := &chartv1.Grade{Scale: *scale, Region: *region, Contraction: chartv1.Contraction(n), Grade: int32(*grade)}
		s, err := readSide(at.Name()+": --side", *side)
		if err != nil {
			return err
		}
		if s != 0 {
			g.Side = s.Enum()
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.GradeRegion(h, at.book, at.session, g))
	}}
}
