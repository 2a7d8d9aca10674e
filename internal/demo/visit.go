package demo

import (
	"crypto/sha256"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
)

// visit is a treatment to be charted.
type visit struct {
	id       record.ID
	patient  *patient
	clinic   int
	by       *person
	at       time.Time
	regimens []regimen
	order    record.ID
	vial     *openVial
	booked   record.ID // the appointment; zero for none
	// given is the injections that were given last, and draw the marks that they were given by.
	given []*chartv1.Injection
	draw  dose.Plan
}

func (v *visit) key() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: v.id}
}

func act(by *person, at time.Time) *recordv1.Act {
	return &recordv1.Act{By: by.id.String(), At: timestamppb.New(at)}
}

func date(t time.Time) *recordv1.Date {
	return &recordv1.Date{Year: int32(t.Year()), Month: int32(t.Month()), Day: int32(t.Day())}
}

func day(d *recordv1.Date) time.Time {
	return time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, time.UTC)
}

func (w *world) basis() *chartv1.SessionBasis {
	return &chartv1.SessionBasis{Edition: w.editionReference(), CoreVersion: reckon.CoreVersion, SchemaVersion: 1}
}

func (w *world) editionReference() *formularyv1.EditionReference {
	sum := w.book.Sum()
	return &formularyv1.EditionReference{Version: w.book.Version(), Hash: sum[:]}
}

// chartVisit is a whole visit from the questions to the review date, with its injections given as planned.
func (w *world) chartVisit(d *dice, v *visit) (*chartv1.Session, error) {
	m := w.openVisit(d, v)
	if err := w.giveAll(d, v, m); err != nil {
		return nil, fmt.Errorf("visit of %s: %w", v.patient.full, err)
	}
	w.finishVisit(d, v, m)
	return m, nil
}

// openVisit is what comes before the needle.
func (w *world) openVisit(d *dice, v *visit) *chartv1.Session {
	m := &chartv1.Session{
		PatientId: new(v.patient.id.String()), ClinicId: new(w.clinics[v.clinic].id.String()), Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
		On: date(v.at), ResponsibleId: new(v.by.id.String()), Basis: w.basis(),
	}
	if !v.order.IsZero() {
		m.OrderId = new(v.order.String())
	}
	if !v.booked.IsZero() {
		m.AppointmentId = new(v.booked.String())
	}
	m.States = append(m.States, state(d, chartv1.SessionStep_SESSION_STEP_OPEN, v.by, v.at))
	m.IdentityChecks = append(m.IdentityChecks, &chartv1.IdentityCheck{Id: d.id().String(), Check: &chartv1.IdentifiersChecked{
		Identifiers: []string{"full_name", "date_of_birth"}, Done: act(v.by, v.at),
	}})
	for _, q := range questions() {
		a := q.answer(v.patient.condition)
		a.QuestionnaireId, a.Version, a.Taken = w.questionnaire.String(), "1", act(v.by, v.at)
		m.Screening = append(m.Screening, &chartv1.ScreeningAnswer{Id: d.id().String(), Answer: a})
	}
	for _, region := range regionsOf(v.regimens) {
		m.Consents = append(m.Consents, w.consent(d, v, region))
	}
	m.Ratings = w.ratings(d, v, 2, 3)
	yes := true
	m.ReadinessChecks = append(m.ReadinessChecks, &chartv1.ReadinessCheck{Id: d.id().String(), Check: &chartv1.ReadinessAnswers{
		Identity: &yes, Sides: &yes, Product: &yes, Consent: &yes, Order: &yes, Skin: &yes, Done: act(v.by, v.at.Add(12*time.Minute)),
	}})
	return m
}

func state(d *dice, step chartv1.SessionStep, by *person, at time.Time) *chartv1.SessionState {
	return &chartv1.SessionState{Id: d.id().String(), Change: &chartv1.StateChange{Step: step, Moved: act(by, at)}}
}

func regionsOf(rs []regimen) (out []string) {
	for _, region := range []string{"upper_face", "lower_face"} {
		for _, r := range rs {
			if r.region == region {
				out = append(out, region)
				break
			}
		}
	}
	return out
}

// consent is what was explained and agreed for a region, with a signature of a few strokes.
func (w *world) consent(d *dice, v *visit, region string) *chartv1.Consent {
	text := w.consentTexts[region]
	c := &chartv1.Consent{Id: d.id().String(), Explained: &chartv1.Explanation{
		ConsentTextId: text.id.String(), Version: "1", Digest: text.digest[:], Regions: []string{region}, Explained: act(v.by, v.at.Add(4*time.Minute)),
	}}
	c.Decision = &chartv1.ConsentDecision{Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN, Taken: act(v.by, v.at.Add(8*time.Minute))}
	for _, r := range risks(region) {
		c.Decision.RisksUnderstood = append(c.Decision.RisksUnderstood, r.code)
	}
	c.Signature = &chartv1.ConsentSignature{
		SignerName: v.patient.full, Relation: "self", TextDigest: text.digest[:], Taken: act(v.by, v.at.Add(9*time.Minute)),
	}
	x, y := int32(d.between(8000, 12000)), int32(d.between(15000, 20000))
	for range 2 {
		s := &chartv1.Stroke{}
		for range 12 {
			x, y = x+int32(d.between(200, 1500)), y+int32(d.between(-1200, 1200))
			s.PointsMicrometers = append(s.PointsMicrometers, x, y)
		}
		c.Signature.Strokes = append(c.Signature.Strokes, s)
	}
	return c
}

// ratings is a grade for each region, as the formulary's scales have them.
func (w *world) ratings(d *dice, v *visit, lowest, highest int) (out []*chartv1.Rating) {
	grade := func(scale, region string, side *chartv1.Side, how chartv1.Contraction) {
		out = append(out, &chartv1.Rating{Id: d.id().String(), Grade: &chartv1.Grade{
			Scale: scale, Version: "2012", Direction: formularyv1.ScaleDirection_SCALE_DIRECTION_WORSE, Region: region, Side: side, Contraction: how,
			Grade: int32(d.between(lowest, highest)), Rated: act(v.by, v.at.Add(10*time.Minute)),
		}})
	}
	for _, r := range v.regimens {
		switch r.name {
		case frownLines:
			grade("upper_face_0_4", "glabella", nil, chartv1.Contraction_CONTRACTION_CONTRACTED)
		case crowsFeet:
			grade("upper_face_0_4", "lateral_canthus", right.Enum(), chartv1.Contraction_CONTRACTION_SMILING)
			grade("upper_face_0_4", "lateral_canthus", left.Enum(), chartv1.Contraction_CONTRACTION_SMILING)
		case forehead:
			grade("upper_face_0_4", "forehead", nil, chartv1.Contraction_CONTRACTION_CONTRACTED)
		case lipLines:
			grade("lower_face_0_4", "lip_lines", nil, chartv1.Contraction_CONTRACTION_CONTRACTED)
		case mouthCorners:
			grade("lower_face_0_4", "mouth_corners", right.Enum(), chartv1.Contraction_CONTRACTION_AT_REST)
			grade("lower_face_0_4", "mouth_corners", left.Enum(), chartv1.Contraction_CONTRACTION_AT_REST)
		}
	}
	return out
}

// giveAll plans the injections, reckons the marks, draws from the vial and gives each injection as planned.
func (w *world) giveAll(d *dice, v *visit, m *chartv1.Session) error {
	if err := w.planAll(d, v, m); err != nil {
		return err
	}
	given, err := w.give(d, v, m.Injections, v.at.Add(15*time.Minute))
	if err != nil {
		return err
	}
	for i, in := range given.GetInjections() {
		m.Injections[i].Givings = in.GetGivings()
	}
	m.Syringes = given.GetSyringes()
	return nil
}

// planAll plans the injections of a visit's regimens.
func (w *world) planAll(d *dice, v *visit, m *chartv1.Session) error {
	plan, err := w.book.plan(d, v.regimens)
	for i, p := range plan {
		m.Injections = append(m.Injections, planOf(d, i, p))
	}
	return err
}

// give gives injections as they are planned, from the visit's vial: a session that holds only their givings and the syringes.
func (w *world) give(d *dice, v *visit, ins []*chartv1.Injection, at time.Time) (*chartv1.Session, error) {
	spec, err := w.book.syringe(v.regimens[len(v.regimens)-1].region)
	if err != nil {
		return nil, err
	}
	r, err := v.vial.request(spec, ins)
	if err != nil {
		return nil, err
	}
	if v.draw, err = dose.PlanDraw(r); err != nil {
		return nil, err
	}
	v.given = ins
	m := &chartv1.Session{}
	for _, filled := range v.draw.Syringes {
		s, draw, err := v.vial.drawUp(d, v, spec, filled, at)
		if err != nil {
			return nil, err
		}
		m.Syringes = append(m.Syringes, s)
		before := filled.Drawn
		for _, mark := range filled.Marks {
			at = at.Add(30 * time.Second)
			in := ins[len(m.Injections)] // injections fill syringes in the order in which they are given
			m.Injections = append(m.Injections, &chartv1.Injection{Id: in.GetId(), Givings: []*chartv1.Giving{giving(d, v, in, mark, before, draw, s, at)}})
			before = mark.Mark
		}
	}
	return m, nil
}

// open is a visit with its plan, before the first needle.
func (w *world) open(t *tablet, v *visit) (*chartv1.Session, error) {
	m := w.openVisit(t.dice, v)
	if err := w.planAll(t.dice, v, m); err != nil {
		return nil, err
	}
	return m, t.write(v.by, v.at, v.key(), m)
}

func planOf(d *dice, i int, p planned) *chartv1.Injection {
	return &chartv1.Injection{
		Id: d.id().String(), Muscle: &p.muscle, Side: p.side.Enum(), Planned: doseOf(p.dose), Position: new(int32(i + 1)),
		Depth: &chartv1.Depth{Layer: chartv1.DepthLayer_DEPTH_LAYER_INTRAMUSCULAR},
	}
}

func doseOf(a dose.Amount) *chartv1.Dose {
	return &chartv1.Dose{Product: string(a.Product()), DoseMilliunits: int32(a.Milliunits())}
}

func giving(d *dice, v *visit, in *chartv1.Injection, mark dose.Mark, before dose.Volume, draw *chartv1.Draw, s *chartv1.SessionSyringe,
	at time.Time) *chartv1.Giving {
	g := &chartv1.GivenDose{
		Dose: in.GetPlanned(), VolumeNanoliters: new(int64(mark.Delivered)), VialId: new(v.vial.id.String()), DrawId: &draw.Id, SyringeId: &s.Id,
		MarkBeforeNanoliters: new(int64(before)), MarkAfterNanoliters: new(int64(mark.Mark)), PreparationId: new(v.vial.preparation.String()),
	}
	return &chartv1.Giving{Id: d.id().String(), Given: g, Done: act(v.by, at)}
}

// finishVisit is what comes after the needle.
func (w *world) finishVisit(d *dice, v *visit, m *chartv1.Session) {
	end := v.at.Add(35 * time.Minute)
	sheet := sha256.Sum256([]byte("after-care sheet 1"))
	m.AfterCare = &chartv1.AfterCareGiven{SheetDigest: sheet[:], Language: "en", Way: "paper", Given: act(v.by, end)}
	m.Review = &chartv1.ReviewDate{From: date(v.at.AddDate(0, 0, 13)), Until: date(v.at.AddDate(0, 0, 28)), Set: act(v.by, end)}
	m.States = append(m.States, state(d, chartv1.SessionStep_SESSION_STEP_FINISHED, v.by, end))
}

// performed signs a session as its injector.
func (w *world) performed(t *tablet, by *person, at time.Time, k record.Key) error {
	return w.sign(t, by, at, k, syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, performedStatement)
}

const (
	performedStatement = "I did this, and this is what was done."
	addendumStatement  = "I have read what came after my signature, and it belongs to the record."
)

// sign signs a session as a tablet shows it.
func (w *world) sign(t *tablet, by *person, at time.Time, k record.Key, meaning syncv1.SignatureMeaning, statement string) error {
	c, err := w.chart.Sign(t.r.View(k), chart.Signing{
		ID: t.dice.id(), By: chart.Act{Staff: by.id, At: at}, Meaning: meaning, Statement: statement, Proof: "password", Role: accessv1.Role_ROLE_INJECTOR,
	})
	if err != nil {
		return fmt.Errorf("sign %s: %w", k, err)
	}
	return t.change(by, at, c)
}
