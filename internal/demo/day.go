package demo

import (
	"context"
	"fmt"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// The island's tablet was last on land so many days before, and a patient of the day was treated on the island so many days before.
const (
	islandAway = 40
	islandSoon = 36
)

// play is the day while it is played.
type play struct {
	*world
	*teller
	checks
	history, room1, room2, island *tablet

	shared, signed, soon, soonIsland, locum, other, islandVisit, walkIn *visit
	// tray1 and tray2 are one vial as each room knows it.
	tray1, tray2  *openVial
	lip           *chartv1.Injection // the injection of the shared visit whose dose two people change
	findingsAlone int
	lastKnown     time.Time // when soon's patient was treated last, as the room's tablet knows
	firstSigned   []record.Signature
	closed        *tracev1.CloseDayResponse
}

// newVisit is a visit of a guest on the day, or on another.
func (p *play) newVisit(t *tablet, guest, place int, by *person, at time.Time, names ...string) *visit {
	return &visit{id: t.dice.id(), patient: p.patients[guest], clinic: place, by: by, at: at, regimens: find("onabotulinumtoxinA", names...)}
}

// vial opens a vial on a tablet and charts that it was mixed.
func (p *play) vial(t *tablet, by *person, at time.Time, place int) (*openVial, error) {
	o, err := p.openVial(t.dice, "onabotulinumtoxinA", at, by, place)
	if err != nil {
		return nil, err
	}
	return o, t.write(by, at, o.key(), o.taken())
}

// treat gives injections of a visit that was opened, and charts what left the vial.
func (p *play) treat(t *tablet, v *visit, by *person, at time.Time, ins []*chartv1.Injection) error {
	w := *v
	w.by = by
	m, err := p.give(t.dice, &w, ins, at)
	if err != nil {
		return err
	}
	v.given, v.draw = w.given, w.draw
	if err := t.write(by, at, v.key(), m); err != nil {
		return err
	}
	return t.write(by, at, v.vial.key(), v.vial.taken())
}

// whole charts a visit from beginning to end, with what left the vial.
func (p *play) whole(t *tablet, v *visit) error {
	m, err := p.chartVisit(t.dice, v)
	if err != nil {
		return err
	}
	if err := t.write(v.by, v.at.Add(36*time.Minute), v.key(), m); err != nil {
		return err
	}
	return t.write(v.by, v.at.Add(36*time.Minute), v.vial.key(), v.vial.taken())
}

// session is a session as a tablet shows it.
func (p *play) session(t *tablet, k record.Key) *chartv1.Session {
	typed, err := chart.Typed(t.r.View(k))
	if err != nil {
		return &chartv1.Session{}
	}
	return typed.GetSession()
}

// longAgo is the island's tablet, enrolled weeks ago, and the visit that it has carried since.
func (p *play) longAgo(ctx context.Context) (err error) {
	begun := islandLeft().Add(7 * time.Hour)
	if err := p.goTo(ctx, begun); err != nil {
		return err
	}
	if err := p.adminIn(ctx); err != nil {
		return err
	}
	if p.island, err = p.enrol(ctx, "Island", oreth, accessv1.DeviceKind_DEVICE_KIND_TABLET); err != nil {
		return err
	}
	p.island.r.LimitScope()
	p.island.r.Hold(p.patients[soonGuest].id)
	p.island.r.Hold(p.patients[islandGuest].id)
	for _, q := range p.patients {
		if q.clinic == oreth && !q.guest && q.visits > 2 {
			p.island.r.Hold(q.id)
		}
	}
	if err := p.island.exchange(ctx, p.staff[liv]); err != nil {
		return err
	}
	at := demoDay().AddDate(0, 0, -islandSoon).Add(11 * time.Hour)
	p.soonIsland = p.newVisit(p.island, soonGuest, oreth, p.staff[liv], at, frownLines)
	if err := p.orderOnIsland(p.soonIsland); err != nil {
		return err
	}
	if p.soonIsland.vial, err = p.vial(p.island, p.staff[liv], at.Add(-time.Hour), oreth); err != nil {
		return err
	}
	return p.whole(p.island, p.soonIsland)
}

// morning enrols the two rooms, opens the day's visits and mixes the vial that both rooms will draw from.
func (p *play) morning(ctx context.Context) (err error) {
	if err := p.goTo(ctx, clockTime(demoDay(), 7, 30)); err != nil {
		return err
	}
	if err := p.adminIn(ctx); err != nil {
		return err
	}
	if p.room1, err = p.enrol(ctx, "Room 1", vellmouth, accessv1.DeviceKind_DEVICE_KIND_TABLET); err != nil {
		return err
	}
	if p.room2, err = p.enrol(ctx, "Room 2", vellmouth, accessv1.DeviceKind_DEVICE_KIND_TABLET); err != nil {
		return err
	}
	if err := p.room1.exchange(ctx, p.staff[maren]); err != nil {
		return err
	}
	if err := p.room2.exchange(ctx, p.staff[yusuf]); err != nil {
		return err
	}
	p.tellMorning()
	if err := p.openDay(ctx); err != nil {
		return err
	}
	for _, s := range []struct {
		t *tablet
		p *person
	}{{p.room1, p.staff[maren]}, {p.room2, p.staff[yusuf]}} {
		if err := s.t.exchange(ctx, s.p); err != nil {
			return err
		}
	}
	held := *p.tray1
	p.tray2 = &held
	p.tray2.m = &chartv1.Vial{}
	return nil
}

func (p *play) openDay(ctx context.Context) (err error) {
	at := clockTime(demoDay(), 8, 10)
	if err := p.goTo(ctx, at); err != nil {
		return err
	}
	if p.tray1, err = p.vial(p.room1, p.staff[tam], at, vellmouth); err != nil {
		return err
	}
	p.shared = p.newVisit(p.room1, sharedGuest, vellmouth, p.staff[maren], at.Add(5*time.Minute), frownLines, lipLines)
	p.signed = p.newVisit(p.room1, signedGuest, vellmouth, p.staff[maren], at.Add(8*time.Minute), frownLines, crowsFeet)
	for _, v := range []*visit{p.shared, p.signed} {
		v.vial = p.tray1
		if v.order, err = p.prescribe(p.room1, p.room1.dice, v.patient, "onabotulinumtoxinA", v.by, v.at); err != nil {
			return err
		}
		m, err := p.open(p.room1, v)
		if err != nil {
			return err
		}
		v.given = m.GetInjections()
	}
	// The lip lines are planned at the least that is published.
	p.lip = p.shared.given[len(p.shared.given)-1]
	return p.room1.write(p.staff[maren], at.Add(9*time.Minute), p.shared.key(), lipPlan(p.shared.given, 1000))
}

// lipPlan plans all injections of the lips at one dose.
func lipPlan(ins []*chartv1.Injection, milliunits int32) *chartv1.Session {
	m := &chartv1.Session{}
	for _, in := range ins {
		if in.GetMuscle() == "orbicularis_oris" {
			in.Planned = &chartv1.Dose{Product: in.GetPlanned().GetProduct(), DoseMilliunits: milliunits}
			m.Injections = append(m.Injections, &chartv1.Injection{Id: in.GetId(), Planned: in.Planned})
		}
	}
	return m
}

// rooms is the day in the two rooms, without a line between them.
func (p *play) rooms(ctx context.Context) error {
	for _, scene := range []func(context.Context) error{p.sharedPatient, p.signedVisit, p.tooSoon, p.otherPatient, p.locumVisit} {
		if err := scene(ctx); err != nil {
			return err
		}
	}
	return nil
}

// sharedPatient is treated by Maren in one room and by Yusuf in the other; both change one planned dose.
func (p *play) sharedPatient(context.Context) error {
	first, second := clockTime(demoDay(), 9, 20), clockTime(demoDay(), 9, 45)
	if err := p.changeLip(p.room1, p.staff[maren], first.Add(10*time.Minute), 1500); err != nil {
		return err
	}
	if err := p.changeLip(p.room2, p.staff[yusuf], second, 2000); err != nil {
		return err
	}
	var frown, lips []*chartv1.Injection
	for _, in := range p.session(p.room2, p.shared.key()).GetInjections() {
		if in.GetMuscle() == "orbicularis_oris" {
			lips = append(lips, in)
		} else {
			frown = append(frown, in)
		}
	}
	if err := p.treat(p.room1, p.shared, p.staff[maren], first, frown); err != nil {
		return err
	}
	p.shared.vial = p.tray2
	return p.treat(p.room2, p.shared, p.staff[yusuf], second.Add(time.Minute), lips)
}

func (p *play) changeLip(t *tablet, by *person, at time.Time, milliunits int32) error {
	return t.write(by, at, p.shared.key(), &chartv1.Session{Injections: []*chartv1.Injection{
		{Id: p.lip.GetId(), Planned: &chartv1.Dose{Product: p.lip.GetPlanned().GetProduct(), DoseMilliunits: milliunits}},
	}})
}

// signedVisit is signed in one room, and written to in the other by someone who cannot know.
func (p *play) signedVisit(context.Context) error {
	at := clockTime(demoDay(), 10, 40)
	if err := p.treat(p.room1, p.signed, p.staff[maren], at, p.session(p.room1, p.signed.key()).GetInjections()); err != nil {
		return err
	}
	end := &chartv1.Session{}
	p.finishVisit(p.room1.dice, p.signed, end)
	if err := p.room1.write(p.staff[maren], at.Add(15*time.Minute), p.signed.key(), end); err != nil {
		return err
	}
	err := p.performed(p.room1, p.staff[maren], at.Add(20*time.Minute), p.signed.key())
	if err != nil {
		return err
	}
	p.firstSigned = p.schema.Signatures(p.room1.r.View(p.signed.key()))
	late := at.Add(35 * time.Minute)
	return p.room2.write(p.staff[tam], late, p.signed.key(), &chartv1.Session{Complications: []*chartv1.Complication{{
		Id:    p.room2.dice.id().String(),
		Event: &chartv1.ComplicationEvent{Kind: "bruise", Text: "small bruise beside the left eye, pressed for two minutes", Seen: act(p.staff[tam], late)},
	}}})
}

// tooSoon treats a patient who was treated on the island, of which this tablet knows nothing.
func (p *play) tooSoon(context.Context) (err error) {
	at := clockTime(demoDay(), 11, 30)
	p.lastKnown = p.lastTreated(p.room1, p.patients[soonGuest])
	p.soon = p.newVisit(p.room1, soonGuest, vellmouth, p.staff[maren], at, frownLines)
	if p.soon.vial, err = p.vial(p.room1, p.staff[tam], at, vellmouth); err != nil {
		return err
	}
	if p.soon.order, err = p.prescribe(p.room1, p.room1.dice, p.soon.patient, "onabotulinumtoxinA", p.soon.by, at); err != nil {
		return err
	}
	if err := p.whole(p.room1, p.soon); err != nil {
		return err
	}
	found, err := p.intervals(p.room1, p.soon.patient)
	p.findingsAlone = len(found)
	return err
}

// lastTreated is the latest day of a treatment that a tablet knows of; zero for none.
func (p *play) lastTreated(t *tablet, of *patient) (last time.Time) {
	for _, k := range t.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		s := p.session(t, k)
		if on := day(s.GetOn()); s.GetPatientId() == of.id.String() && s.GetKind() == chartv1.SessionKind_SESSION_KIND_TREATMENT && on.After(last) {
			last = on
		}
	}
	return last
}

// otherPatient takes more from the shared vial than is left in it, as nobody can see in this room.
func (p *play) otherPatient(context.Context) (err error) {
	at := clockTime(demoDay(), 13, 20)
	p.other = p.newVisit(p.room2, otherGuest, vellmouth, p.staff[yusuf], at, frownLines, forehead)
	p.other.vial = p.tray2
	if p.other.order, err = p.prescribe(p.room2, p.room2.dice, p.other.patient, "onabotulinumtoxinA", p.other.by, at); err != nil {
		return err
	}
	return p.whole(p.room2, p.other)
}

// locumVisit is charted by someone whose position has just ended, on a tablet that cannot know.
func (p *play) locumVisit(ctx context.Context) (err error) {
	if err := p.goTo(ctx, clockTime(demoDay(), 12, 0)); err != nil {
		return err
	}
	if err := p.adminIn(ctx); err != nil {
		return err
	}
	_, err = p.access(p.admin).SetStaffRoles(ctx, &accessv1.SetStaffRolesRequest{
		RequestId: p.dice.request(), StaffId: p.staff[bo].id.String(), Reason: "the locum's contract ended",
		Assignments: []*accessv1.RoleAssignment{{ClinicId: new(p.clinics[vellmouth].id.String())}},
	})
	if err != nil {
		return fmt.Errorf("end the position of %s: %w", p.staff[bo].name, err)
	}
	p.staff[bo].ended = true
	at := clockTime(demoDay(), 14, 10)
	p.locum = p.newVisit(p.room2, locumGuest, vellmouth, p.staff[bo], at, frownLines)
	if p.locum.vial, err = p.vial(p.room2, p.staff[tam], at, vellmouth); err != nil {
		return err
	}
	if p.locum.order, err = p.prescribe(p.room2, p.room2.dice, p.locum.patient, "onabotulinumtoxinA", p.staff[yusuf], at); err != nil {
		return err
	}
	return p.whole(p.room2, p.locum)
}

// onTheIsland is a mobile visit, and a patient who walks in.
func (p *play) onTheIsland(context.Context) (err error) {
	at := clockTime(demoDay(), 10, 5)
	by := p.staff[liv]
	tray, err := p.vial(p.island, by, at, oreth)
	if err != nil {
		return err
	}
	p.islandVisit = p.newVisit(p.island, islandGuest, oreth, by, at.Add(5*time.Minute), lipLines, mouthCorners)
	p.walkIn = p.newVisit(p.island, walkInGuest, oreth, by, at.Add(75*time.Minute), frownLines)
	for _, v := range []*visit{p.islandVisit, p.walkIn} {
		v.vial = tray
		if err := p.orderOnIsland(v); err != nil {
			return err
		}
		if err := p.islandTreatment(v); err != nil {
			return err
		}
		if err := p.performed(p.island, by, v.at.Add(40*time.Minute), v.key()); err != nil {
			return err
		}
	}
	p.island.r.Hold(p.walkIn.patient.id)
	return nil
}

// orderOnIsland prescribes a visit on the island: its tablet cannot know what was ordered elsewhere, nor the others what is ordered here.
func (p *play) orderOnIsland(v *visit) error {
	o := standing{id: p.island.dice.id(), until: v.at.AddDate(1, 0, -1)}
	v.order = o.id
	return p.order(p.island, p.island.dice, o, v.patient, "onabotulinumtoxinA", v.by, v.at)
}

// islandTreatment is a visit, opened, planned, given and finished in this order. Lips get a dose that no mark of the syringe holds exactly.
func (p *play) islandTreatment(v *visit) error {
	m, err := p.open(p.island, v)
	if err != nil {
		return err
	}
	if plan := lipPlan(m.GetInjections(), 1500); len(plan.GetInjections()) > 0 {
		if err := p.island.write(v.by, v.at.Add(10*time.Minute), v.key(), plan); err != nil {
			return err
		}
	}
	if err := p.treat(p.island, v, v.by, v.at.Add(15*time.Minute), m.GetInjections()); err != nil {
		return err
	}
	end := &chartv1.Session{}
	p.finishVisit(p.island.dice, v, end)
	return p.island.write(v.by, v.at.Add(36*time.Minute), v.key(), end)
}

// entry is what a tablet knows of a patient whose records it does not hold; nil when it knows nothing.
func entry(t *tablet, p *patient) *syncv1.SafetyEntry {
	for _, e := range t.r.Safety() {
		if string(e.GetPatientId()) == string(p.id[:]) {
			return e
		}
	}
	return nil
}
