package demo

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
)

// tellBefore says what there is before the day.
func (p *play) tellBefore() {
	p.say("%s: Vellmouth, Tarnholt, and the island of Oreth, which has no signal. %s, %s. %s in %d years and %s "+
		"came in over the sync: %s, %s, %s.", organisationName, count(len(p.staff), "member of staff", "members of staff"),
		count(len(p.patients), "patient", "patients"), count(p.visits, "visit", "visits"), historyYears, count(p.vials, "vial", "vials"),
		count(len(p.history.made), "edit", "edits"), size(p.history.count.up.Load()), count(p.history.count.trips.Load(), "round trip", "round trips"))
	p.line("")
}

func (p *play) tellMorning() {
	at := p.clock.now()
	p.line("Wednesday, " + demoDay().Format("2 January 2006"))
	p.at(at, "Vellmouth. Room 1 and Room 2 are enrolled and pull: each %s, %s, %s. The tablet on Oreth last had signal %d days ago. It holds "+
		"%s whole; of the other %d, what must be known of anyone who walks in.",
		count(len(p.room1.r.Keys(0)), "record", "records"), size(p.room1.count.down.Load()), count(p.room1.count.trips.Load(), "round trip", "round trips"),
		islandAway, count(p.wholeOn(p.island), "patient", "patients"), len(p.island.r.Safety()))
	p.that(len(p.room1.r.Keys(0)) == len(p.room2.r.Keys(0)), "both rooms pulled the same")
	p.that(p.wholeOn(p.island)+len(p.island.r.Safety()) == len(p.patients), "the island's tablet knows of every patient")
}

// wholeOn counts the patients whose records a tablet holds.
func (p *play) wholeOn(t *tablet) int { return len(t.r.Keys(optionsv1.RecordKind_RECORD_KIND_PATIENT)) }

func (p *play) tellOffline() {
	p.at(clockTime(demoDay(), 8, 30), "%s mixes a vial for both rooms, %s. Then the line goes down, and nobody sees what the others chart.",
		p.staff[tam].given(), strengthText(p.tray1.mix))
	p.line("")
}

// tellRooms tells of the day in the two rooms.
func (p *play) tellRooms() {
	p.at(clockTime(demoDay(), 9, 20), "%s is treated in both rooms. In Room 1 %s plans the last injection of the lip lines at 1.5 units instead of 1; "+
		"in Room 2 %s plans the same one at 2 units, and gives it.", p.shared.patient.full, p.staff[maren].given(), p.staff[yusuf].given())
	p.at(clockTime(demoDay(), 11, 0), "Room 1. %s signs the visit of %s. At 11:15 in Room 2 %s, who cannot know, adds a bruise to it.",
		p.staff[maren].given(), p.signed.patient.full, p.staff[tam].given())
	p.at(p.soon.at, "Room 1. %s has the %s treated; the last time, as far as this tablet knows, was on %s. Nothing speaks against it.",
		p.soon.patient.full, frownLines, p.lastKnown.Format("2 January 2006"))
	p.that(p.findingsAlone == 0, "the room's tablet cannot see the breach of the interval by itself")
	p.at(clockTime(demoDay(), 12, 0), "The office ends the position of %s, a locum. At 14:10 %s treats %s in Room 2, whose tablet does not know.",
		p.staff[bo].name, p.staff[bo].given(), p.locum.patient.full)
	p.line("")
	alone := len(overdrawn(p.room1, p.tray1.key())) + len(overdrawn(p.room2, p.tray1.key()))
	p.that(alone == 0, "neither room sees the vial overdrawn by itself")
}

// tellIsland tells of the mobile visit, with the marks.
func (p *play) tellIsland(walkIn *syncv1.SafetyEntry) {
	v := p.islandVisit
	p.at(v.at, "Oreth. %s treats %s and %s of %s with %s, by the marks of a syringe in steps of %s:", p.staff[liv].given(), lipLines, mouthCorners,
		v.patient.full, strengthText(v.vial.mix), v.draw.Syringe.Graduation.Display())
	s := v.draw.Syringes[0]
	p.line(indent + "  " + pad("drawn up to", 34) + v.draw.Syringe.MarkText(s.Drawn))
	for i, m := range s.Marks {
		if v.given[i].GetMuscle() != "orbicularis_oris" {
			break
		}
		p.line(indent + "  " + pad("orbicularis oris, "+m.Side.String(), 24) + pad(m.Dose.Display(), 10) + pad(v.draw.Syringe.MarkText(m.Mark), 22) +
			"gives " + m.DeliveredUnits.Display())
	}
	var sides []string
	for _, t := range v.draw.Sides {
		sides = append(sides, t.Side.String()+" "+t.DeliveredUnits.Number().Decimal+" of "+t.Planned.Display())
		p.that(t.DeliveredUnits == v.draw.Sides[0].DeliveredUnits, "both sides are given the same")
	}
	p.more("and %d more in the corners. In all, %s.", len(v.given)-p.lips(v), strings.Join(sides, ", "))
	p.more("Caution. %s", reckon.Caution)
	p.tellWalkIn(walkIn)
	p.line("")
}

// lips is how many injections of a visit went into the lips.
func (p *play) lips(v *visit) (n int) {
	for _, in := range v.given {
		if in.GetMuscle() == "orbicularis_oris" {
			n++
		}
	}
	return n
}

func (p *play) tellWalkIn(e *syncv1.SafetyEntry) {
	p.that(e != nil && e.GetName().GetFull() == p.walkIn.patient.full && len(e.GetAlerts()) > 0 && len(e.GetTreatments()) > 0,
		"the safety index knows the patient who walks in")
	if e == nil || len(e.GetTreatments()) == 0 || len(e.GetAlerts()) == 0 {
		return
	}
	last := e.GetTreatments()[0]
	p.at(p.walkIn.at, "%s of Tarnholt walks in, whom the tablet does not hold. Its safety index knows: born %s; \"%s\"; %s last on %s.",
		e.GetName().GetFull(), dateText(e.GetDateOfBirth()), strings.Join(e.GetAlerts(), "; "), last.GetProduct(), dateText(last.GetOn()))
}

// strengthText is a strength with its product.
func strengthText(c dose.Concentration) string { return string(c.Product()) + " " + c.Display() }

func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(1, width-wide(text)))
}

// tellMerge tells what came out when all were back.
func (p *play) tellMerge(ctx context.Context, conflict *chartv1.Conflict) error {
	p.at(clockTime(demoDay(), 17, 30), "The line is back, and the boat. All sync, and see what none could alone:")
	if err := p.tellConflict(conflict); err != nil {
		return err
	}
	if err := p.tellVial(); err != nil {
		return err
	}
	if err := p.tellInterval(); err != nil {
		return err
	}
	p.tellLate()
	return p.tellHeld(ctx)
}

// item writes one thing that waits for a person.
func (p *play) item(name, format string, args ...any) {
	p.wrapf(indent+name+": ", indent+"  ", format, args...)
}

func (p *play) tellConflict(c *chartv1.Conflict) error {
	p.that(c != nil && len(c.GetSiblings()) == 2, "the dose that two people changed is in conflict")
	if c == nil {
		return nil
	}
	var values []string
	for _, s := range c.GetSiblings() {
		text, err := siblingText(s)
		if err != nil {
			return err
		}
		values = append(values, text)
	}
	if err := p.settleLip(c); err != nil {
		return err
	}
	p.item("Conflict", "the planned dose of one injection of %s is %s. %s settles it: \"this is what was given\".",
		p.shared.patient.full, strings.Join(values, " or "), p.staff[yusuf].given())
	return nil
}

func (p *play) tellVial() error {
	found := overdrawn(p.room1, p.tray1.key())
	p.that(len(found) == 1, "the merge finds that more was drawn from the shared vial than it held")
	if len(found) != 1 {
		return nil
	}
	typed, err := chart.Typed(p.room1.r.View(p.tray1.key()))
	if err != nil {
		return err
	}
	draws := 0
	for _, one := range chart.FoldVial(p.room1.r.View(p.tray1.key()), nil).Preparations {
		draws += one.Draws
	}
	p.item("Vial "+typed.GetVial().GetShortNumber(), "%s by two rooms. %s Nothing can be undone: a person must find which draw was from another vial.",
		count(draws, "draw", "draws"), found[0].GetText())
	return nil
}

func (p *play) tellInterval() error {
	found, err := p.intervals(p.room1, p.soon.patient)
	if err != nil {
		return err
	}
	p.that(len(found) == 1 && figure(found[0], "between_days") == islandSoon, "the merge finds the breach of the interval")
	if len(found) != 1 {
		return nil
	}
	_, rule, err := p.dayRule("onabotulinumtoxinA")
	if err != nil {
		return err
	}
	p.item("Interval", "%s was treated on Oreth %d days ago, on the tablet that was away; at least %d days are wanted. %s (%s, %s).",
		p.soon.patient.full, figure(found[0], "between_days"), figure(found[0], "least_days"), levelText(rule.GetLevel()), p.sourceTitle(rule),
		formulary.ObtainedText(rule.GetProvenance().GetObtained()))
	return nil
}

// sourceTitle is what a rule rests on.
func (p *play) sourceTitle(r *formularyv1.IntervalRule) string {
	for _, code := range r.GetProvenance().GetSources() {
		if s, ok := p.book.Source(code); ok {
			return "source " + code + ", " + strings.ToLower(s.GetTitle()[:1]) + s.GetTitle()[1:]
		}
	}
	return "the formulary"
}

func levelText(l formularyv1.Level) string {
	return "A " + strings.ToLower(strings.TrimPrefix(l.String(), "LEVEL_"))
}

func (p *play) tellLate() {
	late := p.chart.LateEntries(p.room1.r.View(p.signed.key()))
	p.that(len(late) == 1, "what was added after the signature is a late entry")
	if len(late) != 1 {
		return
	}
	by := late[0].GetAuthorship()
	p.that(p.countersign() == nil, "the late entry can be countersigned")
	p.that(len(p.chart.LateEntries(p.room1.r.View(p.signed.key()))) == 0, "after the addendum nothing is late")
	p.item("Late entry", "what %s wrote at %s came after the signature on the visit of %s. %s signs an addendum; what was signed stays as it was.",
		by.GetStaffName(), by.GetAuthoredAt().AsTime().Format("15:04"), p.signed.patient.full, p.staff[maren].given())
}

func (p *play) tellHeld(ctx context.Context) error {
	p.that(p.session(p.room2, p.locum.key()).GetPatientId() == "", "a visit by someone without the right is held back on every tablet")
	held, err := p.judgeHeld(ctx)
	if err != nil {
		return err
	}
	p.that(len(held) == 2, "the visit and the draw of someone without the right are held")
	for _, h := range held {
		p.that(h.GetAuthorship().GetStaffId() == p.staff[bo].id.String(), "only her edits are held")
	}
	p.item("Held", "%s of %s, made after the position ended. %s, the medical lead, releases them: \"the patient was treated; the record must say so\".",
		count(len(held), "edit", "edits"), p.staff[bo].name, p.staff[ines].name)
	return nil
}

// tellInStep counts and compares when everyone is in step.
func (p *play) tellInStep(ctx context.Context) error {
	server, err := p.serverStates(ctx)
	if err != nil {
		return err
	}
	p.at(p.clock.now(), "Once more round, and all are in step with the server's %s:", count(len(server), "record", "records"))
	p.row("", "records", "as the server has", "edits up", "up", "down", "trips")
	for _, t := range []*tablet{p.room1, p.room2, p.island} {
		p.tellTablet(t, server)
	}
	p.that(p.room1.r.Digest() == p.room2.r.Digest(), "the digests of both rooms are equal")
	p.that(len(p.room1.r.Keys(0)) == len(server), "a room holds every record of the server's")
	p.tellAfter()
	return nil
}

// tellEnd proves that nothing was lost.
func (p *play) tellEnd(ctx context.Context) error {
	server, err := p.serverStates(ctx)
	if err != nil {
		return err
	}
	have, lack, err := p.conserved(ctx)
	if err != nil {
		return err
	}
	report, err := p.verify(ctx)
	p.that(err == nil, "the ledger proves: %v", err)
	p.that(lack == 0, "%d edits were lost", lack)
	p.line("")
	p.say("Digest %s. Of %s made, the ledger has %s; it recomputes from %s, and %s verify.", chartsDigest(server),
		count(have+lack, "edit", "edits"), thousands(have), count(report.Events, "event", "events"), count(report.Pages, "signed page", "signed pages"))
	if len(p.failed) > 0 {
		p.say("%s of this story do NOT hold: %s.", count(len(p.failed), "claim", "claims"), strings.Join(p.failed, "; "))
		return nil
	}
	p.say("%s of this story were checked, and all hold.", count(p.held, "claim", "claims"))
	return nil
}

// row is a row of the table at the end.
func (p *play) row(name string, cells ...string) {
	widths := []int{9, 18, 10, 9, 9, 7}
	line := indent + pad(name, 7)
	for i, c := range cells {
		line += strings.Repeat(" ", max(0, widths[i]-wide(c))) + c
	}
	p.line(line)
}

func (p *play) tellTablet(t *tablet, server map[record.Key]record.Hash) {
	same, other := t.differing(server)
	p.that(other == 0, "%d records on %s differ from the server's", other, t.label)
	p.that(t.r.Unsent() == 0, "%d edits of %s were not sent", t.r.Unsent(), t.label)
	p.row(t.label, thousands(same+other), thousands(same), thousands(len(t.made)), size(t.count.up.Load()), size(t.count.down.Load()),
		thousands(t.count.trips.Load()))
}

// tellAfter checks what the evening settled.
func (p *play) tellAfter() {
	for _, t := range []*tablet{p.room1, p.room2, p.island} {
		conflicts := 0
		for _, k := range t.r.Keys(0) {
			conflicts += len(t.r.View(k).Conflicts())
		}
		p.that(conflicts == 0, "%d conflicts are left on %s", conflicts, t.label)
	}
	given := p.session(p.room1, p.locum.key())
	p.that(given.GetPatientId() == p.locum.patient.id.String() && len(given.GetInjections()) == len(p.locum.given),
		"what was released is on the other tablet")
	signatures := p.schema.Signatures(p.room1.r.View(p.signed.key()))
	p.that(len(p.firstSigned) == 1 && len(signatures) == 2 && slices.ContainsFunc(signatures, func(s record.Signature) bool {
		return proto.Equal(s.Content, p.firstSigned[0].Content)
	}), "what was signed first stands as it was signed, beside the addendum")
	lip := p.injectionOn(p.room1, p.shared.key(), p.lip.GetId())
	p.that(len(lip.GetGivings()) == 1 && proto.Equal(lip.GetPlanned(), lip.GetGivings()[0].GetGiven().GetDose()), "the settled dose is what was given")
	here, all := p.sessionsOf(p.island, p.walkIn.patient), p.sessionsOf(p.room1, p.walkIn.patient)
	p.that(here == all && here > p.walkIn.patient.visits, "the island's tablet has %d sessions of the patient who walked in, a room has %d", here, all)
}

// injectionOn is an injection as a tablet shows it; nil when it has none such.
func (p *play) injectionOn(t *tablet, session record.Key, id string) *chartv1.Injection {
	for _, in := range p.session(t, session).GetInjections() {
		if in.GetId() == id {
			return in
		}
	}
	return nil
}

// sessionsOf counts the sessions of a patient that a tablet holds.
func (p *play) sessionsOf(t *tablet, of *patient) (n int) {
	for _, k := range t.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		if p.session(t, k).GetPatientId() == of.id.String() {
			n++
		}
	}
	return n
}
