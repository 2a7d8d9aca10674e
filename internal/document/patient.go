package document

import (
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// patient prints who the person is, and what everyone who treats her must see.
func (b *book) patient(v *chartv1.RecordView) {
	p := v.GetRecord().GetPatient()
	b.heading("Patient")
	if p.GetVoid() != nil {
		b.text("VOIDED: " + p.GetVoid().GetReason())
	}
	birth := joined(", ", dateText(p.GetBirth().GetDate()), enumText(p.GetBirth().GetProof().String(), "BIRTH_PROOF_"))
	var numbers []string
	for _, i := range p.GetIdentifiers() {
		text := joined(" ", codeText(i.GetValue().GetKind()), i.GetValue().GetNumber(), i.GetValue().GetIssuer())
		if text == "" {
			text = b.absent(v, "identifiers["+i.GetId()+"].value")
		}
		if i.GetVoid() != nil {
			text += " (VOIDED: " + i.GetVoid().GetReason() + ")"
		}
		numbers = append(numbers, text)
	}
	c := p.GetContact()
	b.pairs(
		[2]string{"Name", b.orAbsent(v, p.GetName().GetFull(), "name")},
		[2]string{"Born", b.orAbsent(v, strings.TrimPrefix(birth, ", "), "birth")},
		[2]string{"Sex", b.orAbsent(v, p.GetSex(), "sex")},
		[2]string{"Record", p.GetId()},
		[2]string{"Identifiers", strings.Join(numbers, "\n")},
		[2]string{"Contact", b.orAbsent(v, joined(", ", c.GetPhone(), c.GetEmail(), strings.ReplaceAll(c.GetStreet(), "\n", ", "), joined(" ", c.GetPostalCode(), c.GetCity()), c.GetCountry()), "contact")},
		[2]string{"Clinic", b.orAbsent(v, b.clinic(p.GetHomeClinicId()), "home_clinic_id")},
	)
	if o := p.GetImported(); o != nil {
		b.pairs([2]string{"Brought in from", joined(", ", o.GetSystem(), o.GetRow(), b.name(o.GetImported().GetBy()), timeText(o.GetImported().GetAt()))})
	}
	b.alerts(v)
	b.elsewhere(v)
	b.doubts(v)
}

func (b *book) alerts(v *chartv1.RecordView) {
	b.heading("Alerts")
	alerts := v.GetRecord().GetPatient().GetAlerts()
	if len(alerts) == 0 {
		b.text("None recorded.")
		return
	}
	for _, a := range alerts {
		text := joined(": ", enumText(a.GetContent().GetKind().String(), "ALERT_KIND_"), a.GetContent().GetText())
		if text == "" {
			text = b.absent(v, "alerts["+a.GetId()+"].content")
		}
		if a.GetEnded() != nil {
			text += " (ENDED: " + a.GetEnded().GetReason() + ")"
		}
		b.text(text)
	}
}

// elsewhere prints treatments that were not given here. A dose that is not known is never a zero.
func (b *book) elsewhere(v *chartv1.RecordView) {
	all := v.GetRecord().GetPatient().GetPriorTreatments()
	if len(all) == 0 {
		return
	}
	b.heading("Treatments elsewhere, as reported")
	var rows [][]string
	for _, t := range all {
		r := t.GetReport()
		path := "prior_treatments[" + t.GetId() + "].report"
		dose := "not known"
		if r != nil && r.DoseMilliunits != nil {
			dose = units(int64(r.GetDoseMilliunits())) + " units"
		}
		if b.absent(v, path) == inConflict {
			dose = inConflict
		}
		var regions []string
		for _, g := range r.GetRegions() {
			regions = append(regions, codeText(g))
		}
		row := []string{b.orAbsent(v, approximate(r.GetOn()), path), orNotKnown(r.GetProduct()), dose, orNotKnown(strings.Join(regions, ", ")), orNotKnown(r.GetPlace()),
			enumText(r.GetOrigin().String(), "REPORT_ORIGIN_")}
		if t.GetVoid() != nil {
			row[0] += "\nVOIDED: " + t.GetVoid().GetReason()
		}
		rows = append(rows, row)
	}
	b.table([]column{{"day", 2.2}, {"product", 3.6}, {"dose", 1.8}, {"regions", 3}, {"where", 3}, {"told by", 1.6}}, rows)
}

func orNotKnown(text string) string {
	if text == "" {
		return "not known"
	}
	return text
}

// summary lists the visits.
func (b *book) summary() {
	b.heading("Visits in this record")
	if len(b.sessions) == 0 {
		b.text("None.")
		return
	}
	var rows [][]string
	for _, v := range b.sessions {
		s := v.GetRecord().GetSession()
		state := "not signed"
		if len(s.GetSignatures()) > 0 {
			state = "signed"
		}
		if len(v.GetConflicts()) > 0 {
			state += ", " + inConflict
		}
		if s.GetVoid() != nil {
			state += ", VOIDED"
		}
		rows = append(rows, []string{b.orAbsent(v, dateText(s.GetOn()), "on"), b.orAbsent(v, enumText(s.GetKind().String(), "SESSION_KIND_"), "kind"),
			b.orAbsent(v, b.name(s.GetResponsibleId()), "responsible_id"), b.totalsText(v), state})
	}
	b.table([]column{{"day", 1.6}, {"kind", 1.6}, {"responsible", 2.6}, {"given, by product and side", 5}, {"", 1.8}}, rows)
}

// event prints an adverse event.
func (b *book) event(v *chartv1.RecordView) {
	e := v.GetRecord().GetAdverseEvent()
	b.heading("Adverse event")
	if e.GetVoid() != nil {
		b.text("VOIDED: " + e.GetVoid().GetReason())
	}
	d := e.GetEvent()
	var regions []string
	for _, r := range d.GetRegions() {
		regions = append(regions, codeText(r))
	}
	side := ""
	if d != nil {
		side = sideText(d.Side)
	}
	b.pairs(
		[2]string{"What", b.orAbsent(v, joined(": ", codeText(d.GetKind()), d.GetText()), "event")},
		[2]string{"Where", joined(" ", strings.Join(regions, ", "), side)},
		[2]string{"Onset", approximate(d.GetOnset())},
		[2]string{"Reported", joined(", ", b.name(d.GetReported().GetBy()), timeText(d.GetReported().GetAt()))},
		[2]string{"Visit", e.GetSessionId()},
	)
	for _, a := range e.GetActions() {
		b.pairs([2]string{"Done", joined(", ", a.GetAction().GetText(), b.name(a.GetAction().GetDone().GetBy()), timeText(a.GetAction().GetDone().GetAt()))})
	}
	for _, f := range e.GetFollowUps() {
		b.pairs([2]string{"Seen", joined(", ", f.GetState().GetText(), timeText(f.GetState().GetSeen().GetAt()))})
	}
	if o := e.GetOutcome(); o != nil {
		b.pairs([2]string{"Ended", joined(", ", enumText(o.GetEnd().String(), "EVENT_END_"), approximate(o.GetOn()))})
	}
	b.doubts(v)
}
