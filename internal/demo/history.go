package demo

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/record"
)

// patient is a patient as far as the demo needs to know her.
type patient struct {
	id     record.ID
	full   string
	clinic int
	born   time.Time
	alert  string // empty for none
	// condition is the one that her alert names; empty for none.
	condition string
	visits    int
	last      time.Time // of her treatments in the history
	product   string
	// guest patients have a part in the day: they have been away for long.
	guest bool
}

func (p *patient) key() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p.id}
}

// UsualPatients is how many patients the organisation has, and FewestPatients how few it can have.
const (
	UsualPatients  = 320
	FewestPatients = 40
	historyYears   = 6
	// guests have a part in the day; guestsAway is for how long they were not treated, in days: more than any interval rule.
	guestCount = 12
	guestsAway = 150
)

// Guests by their places in world.patients.
const (
	sharedGuest = iota
	signedGuest
	soonGuest // comes again too soon
	locumGuest
	otherGuest
	islandGuest
	walkInGuest
)

// makePatients makes the patients, registered by the front desk.
func (w *world) makePatients(t *tablet) error {
	d := newDice(w.seed, "patients")
	seen := map[string]bool{}
	for i := range w.size {
		p := &patient{id: d.id(), clinic: pick(d, []int{vellmouth, vellmouth, vellmouth, tarnholt, tarnholt, oreth}), guest: i < guestCount}
		naming := pick(d, namings())
		p.product = pick(d, []string{"onabotulinumtoxinA", "onabotulinumtoxinA", "abobotulinumtoxinA", "incobotulinumtoxinA"})
		if p.guest {
			p.clinic, p.product, naming = vellmouth, "onabotulinumtoxinA", namings()[0]
		}
		switch i {
		case walkInGuest:
			p.clinic, naming = tarnholt, greek()
		case islandGuest:
			p.clinic, naming = oreth, cyrillic()
		}
		full, family, given := naming.full(d)
		for seen[full] { // in the script that has the most names, so that this ends
			naming = namings()[0]
			full, family, given = naming.full(d)
		}
		seen[full] = true
		p.full, p.born = full, demoDay().AddDate(-d.between(27, 71), -d.between(0, 11), -d.between(0, 27))
		if err := w.register(t, d, p, &recordv1.PersonName{Full: full, Family: family, Given: given}, naming.language); err != nil {
			return err
		}
		w.patients = append(w.patients, p)
	}
	return nil
}

func (w *world) register(t *tablet, d *dice, p *patient, name *recordv1.PersonName, language string) error {
	by, at := w.staff[pell], w.founded().Add(time.Duration(len(w.patients))*time.Minute)
	m := &chartv1.Patient{
		Name: name, Language: &language, HomeClinicId: new(w.clinics[p.clinic].id.String()),
		Birth: &chartv1.BirthDate{Date: date(p.born), Proof: chartv1.BirthProof_BIRTH_PROOF_DOCUMENT, Checked: act(by, at)},
		Identifiers: []*chartv1.PatientIdentifier{{Id: d.id().String(), Value: &chartv1.IdentifierValue{
			Kind: "chart_number", Issuer: organisationName, Number: fmt.Sprintf("OS-%05d", 10001+len(w.patients)),
		}}},
	}
	if d.chance(12) || len(w.patients) == walkInGuest {
		a := pick(d, alertTexts())
		p.alert, p.condition = a.text, a.condition
		content := &chartv1.AlertContent{Kind: chartv1.AlertKind(a.kind), Text: a.text, Raised: act(by, at)}
		if a.condition != "" {
			content.Condition = &a.condition
		}
		m.Alerts = append(m.Alerts, &chartv1.Alert{Id: d.id().String(), Content: content})
	}
	if d.chance(40) {
		m.PhotoConsents = append(m.PhotoConsents, &chartv1.PhotoConsent{Id: d.id().String(), Grant: &chartv1.PhotoGrant{
			Purpose: "own_chart", Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN, Taken: act(by, at),
		}})
	}
	if d.chance(15) {
		m.PriorTreatments = append(m.PriorTreatments, &chartv1.PriorTreatment{Id: d.id().String(), Report: &chartv1.PriorTreatmentReport{
			On: &recordv1.ApproximateDate{Year: int32(w.founded().Year() - d.between(1, 3))}, Regions: []string{"upper_face"}, Place: "a clinic elsewhere",
			Origin: chartv1.ReportOrigin_REPORT_ORIGIN_PATIENT, Taken: act(by, at),
		}})
	}
	return t.write(by, at, p.key(), m)
}

// founded is the first day of the records.
func (w *world) founded() time.Time {
	return demoDay().AddDate(-historyYears, 0, -20).Add(8 * time.Hour)
}

// pastVisit is a visit of the years before.
type pastVisit struct {
	visit
	product string
}

// pastVisits is every visit before the day, by day and clinic.
func (w *world) pastVisits(d *dice) []pastVisit {
	var out []pastVisit
	for _, p := range w.patients {
		until := demoDay().AddDate(0, 0, -2)
		if p.guest {
			until = demoDay().AddDate(0, 0, -guestsAway)
		}
		on := w.founded().AddDate(0, 0, d.between(0, historyYears*365-300))
		for on.Before(until) {
			if !treatsOn(p.clinic, on) {
				on = on.AddDate(0, 0, 1)
				continue
			}
			out = append(out, w.pastVisit(d, p, on))
			p.visits, p.last = p.visits+1, on
			if d.chance(8) {
				break // she went elsewhere
			}
			on = on.AddDate(0, 0, d.between(115, 300))
		}
	}
	slices.SortStableFunc(out, func(a, b pastVisit) int {
		return cmp.Or(a.at.Truncate(24*time.Hour).Compare(b.at.Truncate(24*time.Hour)), cmp.Compare(a.clinic, b.clinic), cmp.Compare(a.product, b.product))
	})
	return out
}

// treatsOn reports whether a clinic treats on a day: Vellmouth every Wednesday, Tarnholt every second Thursday, Oreth when the boat goes, on the
// first Tuesday of a month.
func treatsOn(place int, on time.Time) bool {
	week := on.YearDay() / 7
	switch place {
	case vellmouth:
		return on.Weekday() == time.Wednesday
	case tarnholt:
		return on.Weekday() == time.Thursday && week%2 == 0
	}
	return on.Weekday() == time.Tuesday && on.Day() <= 7
}

func (w *world) pastVisit(d *dice, p *patient, on time.Time) pastVisit {
	names := [][]string{
		{frownLines}, {frownLines}, {frownLines, crowsFeet}, {mouthCorners}, {frownLines, lipLines}, {crowsFeet, mouthCorners}, {frownLines, forehead},
	}
	rs := find(p.product, pick(d, names)...)
	if len(rs) == 0 {
		rs = find(p.product, frownLines)
	}
	by := w.staff[liv]
	if p.clinic == vellmouth {
		by = w.staff[pick(d, []int{maren, yusuf})]
	}
	at := on.Truncate(24 * time.Hour).Add(9 * time.Hour)
	return pastVisit{visit{id: d.id(), patient: p, clinic: p.clinic, by: by, at: at, regimens: rs}, p.product}
}

// chartPast charts visits on a replica, with the vials that they came from. Visits of one day, clinic and product share a vial while it lasts, if
// it is known until when it may be used.
func (w *world) chartPast(t *tablet, d *dice, visits []pastVisit) error {
	var vial *openVial
	slot := 0
	for i := range visits {
		v := &visits[i]
		fresh := i == 0 || !sameTray(v, &visits[i-1])
		if i == 0 || !sameDay(v, &visits[i-1]) {
			slot = 0
		}
		v.at = v.at.Add(time.Duration(slot) * 20 * time.Minute) // several injectors work side by side
		slot++
		if fresh || vial.once || w.tooLittle(v, vial) {
			if err := w.putAway(t, d, vial, v.by); err != nil {
				return err
			}
			var err error
			if vial, err = w.openVial(d, v.product, v.at.Add(5*time.Minute), v.by, v.clinic); err != nil {
				return err
			}
			w.vials++
		}
		v.vial = vial
		if err := w.chartOne(t, d, v); err != nil {
			return err
		}
	}
	return w.putAway(t, d, vial, w.staff[tam])
}

func sameTray(a, b *pastVisit) bool { return a.product == b.product && sameDay(a, b) }

func sameDay(a, b *pastVisit) bool {
	return a.clinic == b.clinic && a.at.Truncate(24*time.Hour).Equal(b.at.Truncate(24*time.Hour))
}

// tooLittle reports whether a vial may not hold enough for a visit: the highest dose of every range, and a graduation for each injection.
func (w *world) tooLittle(v *pastVisit, o *openVial) bool {
	var most int64
	for _, r := range v.regimens {
		_, highest, err := w.book.perInjection(r)
		for _, p := range r.points {
			most += int64(p.times) * int64(highest)
		}
		if err != nil {
			return true
		}
	}
	held, err := o.mix.UnitsIn(max(0, o.left))
	return err != nil || int64(milliunits(held)) < most*11/10
}

func (w *world) putAway(t *tablet, d *dice, o *openVial, witness *person) error {
	if o == nil {
		return nil
	}
	at, why := o.mixedAt.Add(9*time.Hour), "left at the end of the day"
	if o.once {
		at, why = o.mixedAt.Add(35*time.Minute), "left after the visit"
	}
	o.throwAway(d, witness, at, why)
	return t.write(o.mixedBy, at, o.key(), o.taken())
}

func (w *world) chartOne(t *tablet, d *dice, v *pastVisit) error {
	var err error
	if v.order, err = w.prescribe(t, d, v.patient, v.product, v.by, v.at); err != nil {
		return err
	}
	m, err := w.chartVisit(d, &v.visit)
	if err != nil {
		return err
	}
	again := comesAgain(d, v)
	if !again { // nobody is to wait for her
		m.Review = nil
	}
	if err := t.write(v.by, v.at.Add(36*time.Minute), v.key(), m); err != nil {
		return err
	}
	w.visits++
	if err := w.performed(t, v.by, v.at.Add(37*time.Minute), v.key()); err != nil || !again {
		return err
	}
	return w.lookAgain(t, d, v)
}

// comesAgain reports whether a review two weeks after a treatment is agreed: for some, and on Oreth there is no boat then. One that lies after what
// the replica is to know is left out.
func comesAgain(d *dice, v *pastVisit) bool {
	at := v.at.AddDate(0, 0, 14)
	return v.clinic != oreth && d.chance(20) && (!v.at.Before(islandLeft()) || at.Before(islandLeft())) && at.Before(demoDay())
}

// lookAgain is a review two weeks after a treatment.
func (w *world) lookAgain(t *tablet, d *dice, v *pastVisit) error {
	at := v.at.AddDate(0, 0, 14)
	r := visit{id: d.id(), patient: v.patient, clinic: v.clinic, by: v.by, at: at, regimens: v.regimens}
	m := &chartv1.Session{
		PatientId: new(r.patient.id.String()), ClinicId: new(w.clinics[r.clinic].id.String()), Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum(),
		Parent: &chartv1.SessionParent{SessionId: v.id.String()}, On: date(at), ResponsibleId: new(r.by.id.String()), Basis: w.basis(),
		Ratings: w.ratings(d, &r, 0, 1),
		States: []*chartv1.SessionState{
			state(d, chartv1.SessionStep_SESSION_STEP_OPEN, r.by, at), state(d, chartv1.SessionStep_SESSION_STEP_FINISHED, r.by, at.Add(15*time.Minute)),
		},
	}
	for _, judge := range []chartv1.Judge{chartv1.Judge_JUDGE_CLINICIAN, chartv1.Judge_JUDGE_PATIENT} {
		m.Outcomes = append(m.Outcomes, &chartv1.Outcome{Id: d.id().String(), Judgement: &chartv1.OutcomeJudgement{
			Judge: judge, Response: new("as_wanted"), SatisfactionPermille: new(int32(d.between(7, 10) * 100)), Taken: act(r.by, at.Add(10*time.Minute)),
		}})
	}
	w.visits++
	if err := t.write(r.by, at.Add(15*time.Minute), r.key(), m); err != nil {
		return err
	}
	return w.sign(t, r.by, at.Add(16*time.Minute), r.key(), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, "I saw this.")
}

// islandLeft is the day on which the island's tablet last had signal.
func islandLeft() time.Time { return demoDay().AddDate(0, 0, -islandAway) }

// prescribe is an order for a patient that holds for a year: the one she has, or a new one.
func (w *world) prescribe(t *tablet, d *dice, p *patient, product string, by *person, at time.Time) (record.ID, error) {
	if o, ok := w.orders[p.id]; ok && at.Before(o.until) {
		return o.id, nil
	}
	o := standing{id: d.id(), until: at.AddDate(1, 0, -1)}
	w.orders[p.id] = o
	return o.id, w.order(t, d, o, p, product, by, at)
}

// order examines and prescribes.
func (w *world) order(t *tablet, d *dice, o standing, p *patient, product string, by *person, at time.Time) error {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_ORDER, ID: o.id}
	m := &chartv1.Order{
		PatientId: new(p.id.String()), Kind: chartv1.OrderKind_ORDER_KIND_PRESCRIPTION.Enum(), PrescriberId: new(by.id.String()), Repeats: new(int32(4)),
		Examination: &chartv1.Examination{Way: chartv1.ExaminationWay_EXAMINATION_WAY_IN_PERSON, Examined: act(by, at)},
		Validity:    &chartv1.Validity{From: date(at), Until: date(o.until)},
		Lines: []*chartv1.OrderLine{{Id: d.id().String(), Leave: &chartv1.OrderLeave{
			Product: product, Regions: []string{"upper_face", "lower_face"}, MostMilliunits: 100_000,
		}}},
	}
	if err := t.write(by, at, k, m); err != nil {
		return err
	}
	digest := sha256.Sum256(t.r.View(k).Message())
	return t.write(by, at, k, &chartv1.Order{Issued: &chartv1.OrderIssue{
		Issued: act(by, at), Statement: "I examined this patient and order this treatment.", Digest: digest[:],
	}})
}

// standing is an order that still holds.
type standing struct {
	id    record.ID
	until time.Time
}

// book puts a patient into a clinic's day.
func (w *world) bookFor(t *tablet, d *dice, p *patient, place int, with *person, at time.Time, room string) (record.ID, error) {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_APPOINTMENT, ID: d.id()}
	m := &chartv1.Appointment{
		ClinicId: new(w.clinics[place].id.String()), PatientId: new(p.id.String()), StaffId: new(with.id.String()), Purpose: new("treatment"),
		Slot: &chartv1.Slot{BeginsAt: timestamppb.New(at), Minutes: 40, TimeZone: "UTC"},
	}
	if room != "" {
		m.Room = &room
	}
	return k.ID, t.write(w.staff[pell], demoDay().AddDate(0, 0, -1).Add(15*time.Hour), k, m)
}
