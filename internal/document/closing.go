package document

import (
	"fmt"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// vialsOf prints the vials that the visit was given from, with what they were prepared with.
func (b *book) vialsOf(v *chartv1.RecordView) {
	var ids []string
	s := v.GetRecord().GetSession()
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if id := g.GetGiven().GetVialId(); id != "" && !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	for _, y := range s.GetSyringes() {
		if id := y.GetFilling().GetVialId(); id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	if len(ids) == 0 {
		return
	}
	b.heading("Product, vial and preparation")
	for _, id := range ids {
		b.vial(id)
	}
	b.syringes(v)
}

func (b *book) vial(id string) {
	v := b.vials[id]
	if v == nil {
		b.text("Vial " + id + ", whose record is not here.")
		return
	}
	view := b.views[id]
	p, l := v.GetPresentation(), v.GetLabelling()
	b.pairs(
		[2]string{"Product", b.orAbsent(view, joined(", ", p.GetProduct(), units(int64(p.GetContentMilliunits()))+" units a vial"), "presentation")},
		[2]string{"Lot, expiry", b.orAbsent(view, joined(", ", l.GetLotNumber(), dateText(l.GetExpiresOn()), l.GetSerial()), "labelling")},
		[2]string{"Vial", joined(", ", v.GetShortNumber(), id)},
	)
	for _, q := range v.GetPreparations() {
		path := "preparations[" + q.GetId() + "]."
		d := q.GetDiluent()
		strength := ""
		if d.GetVolumeNanoliters() > 0 && p.GetContentMilliunits() > 0 {
			strength = units(int64(p.GetContentMilliunits())) + " units in " + millilitres(d.GetVolumeNanoliters()) + " mL"
		}
		text := joined("; ", b.orAbsent(view, joined(", ", strength, codeText(d.GetKind()), d.GetLotNumber(), dateText(d.GetExpiresOn())), path+"diluent"),
			"mixed by "+b.orAbsent(view, b.act(q.GetMixed()), path+"mixed"), "checked by "+b.orAbsent(view, b.act(q.GetChecked()), path+"checked"),
			"use by "+b.orAbsent(view, timeText(q.GetUseBy().GetUntil()), path+"use_by"))
		if q.GetVoid() != nil {
			text += "; VOIDED: " + q.GetVoid().GetReason()
		}
		b.pairs([2]string{"Preparation", text})
	}
	b.gap(1)
}

func (b *book) syringes(v *chartv1.RecordView) {
	for _, y := range v.GetRecord().GetSession().GetSyringes() {
		f := y.GetFilling()
		text := b.orAbsent(v, joined(", ", f.GetLabel(), "drawn to "+millilitres(f.GetDrawnNanoliters())+" mL", "of "+millilitres(f.GetCapacityNanoliters())+" mL, read to "+
			millilitres(f.GetGraduationNanoliters())+" mL", b.act(y.GetDrawn())), "syringes["+y.GetId()+"].filling")
		for _, r := range y.GetReadings() {
			text += "; read at " + millilitres(r.GetReading().GetMarkNanoliters()) + " mL, " + b.act(r.GetReading().GetRead())
		}
		if y.GetVoid() != nil {
			text += "; VOIDED: " + y.GetVoid().GetReason()
		}
		b.pairs([2]string{"Syringe", text})
	}
}

// course prints how the visit went: states, pauses, what was observed, what went wrong, why it differs from the plan.
func (b *book) course(v *chartv1.RecordView) {
	s := v.GetRecord().GetSession()
	numbers := map[string]string{}
	for i, in := range numbered(s) {
		numbers[in.GetId()] = "injection " + itoa(i+1)
	}
	b.heading("Course")
	var states []string
	for _, st := range s.GetStates() {
		states = append(states, joined(", ", enumText(st.GetChange().GetStep().String(), "SESSION_STEP_"), st.GetChange().GetReason(), b.act(st.GetChange().GetMoved())))
	}
	b.pairs([2]string{"States", strings.Join(states, "\n")})
	for _, d := range s.GetDeviations() {
		b.pairs([2]string{"Deviation", b.orAbsent(v, joined("; ", numbers[d.GetReason().GetInjectionId()], d.GetReason().GetReason(), b.act(d.GetReason().GetGiven())), "deviations["+d.GetId()+"].reason")})
	}
	for _, p := range s.GetPauses() {
		card := ""
		if p.GetBegan().GetEmergencyCard() {
			card = "emergency card opened"
		}
		b.pairs([2]string{"Pause", joined("; ", codeText(p.GetBegan().GetReason()), p.GetBegan().GetText(), card, "began "+b.act(p.GetBegan().GetBegan()), "ended "+orNot(b.act(p.GetEnded())))})
	}
	for _, o := range s.GetObservations() {
		value := o.GetValue()
		text := value.GetText()
		if value != nil && value.Thousandths != nil {
			text = joined(", ", joined(" ", decimal(value.GetThousandths(), 3), value.GetUnit()), text)
		}
		b.pairs([2]string{"Observed", joined("; ", codeText(value.GetKind()), text, b.act(value.GetSeen()))})
	}
	if len(s.GetComplications()) == 0 {
		b.pairs([2]string{"Complications", "none recorded"})
	}
	for _, c := range s.GetComplications() {
		text := b.orAbsent(v, joined("; ", codeText(c.GetEvent().GetKind()), numbers[c.GetEvent().GetInjectionId()], c.GetEvent().GetText(), b.act(c.GetEvent().GetSeen())), "complications["+c.GetId()+"].event")
		if c.GetVoid() != nil {
			text += "; VOIDED: " + c.GetVoid().GetReason()
		}
		b.pairs([2]string{"Complication", text})
	}
}

func (b *book) findings(v *chartv1.RecordView) {
	all := v.GetRecord().GetSession().GetFindingAnswers()
	if len(all) == 0 {
		return
	}
	b.heading("Findings that were answered")
	var rows [][]string
	for _, f := range all {
		a := f.GetAnswer()
		answer := joined(": ", enumText(a.GetDecision().String(), "FINDING_DECISION_KIND_"), a.GetReason())
		if f.GetTakenBack() != nil {
			answer += "\nTAKEN BACK: " + f.GetTakenBack().GetReason()
		}
		path := "finding_answers[" + f.GetId() + "].answer"
		rows = append(rows, []string{enumText(a.GetLevel().String(), "LEVEL_"), b.orAbsent(v, a.GetText()+" ("+a.GetCode()+")", path), b.orAbsent(v, answer, path),
			joined("\n", b.act(a.GetDecided()), enumText(a.GetRole().String(), "ROLE_"))})
	}
	b.table([]column{{"level", 1.2}, {"as it was read", 5}, {"answer", 4}, {"by", 3}}, rows)
}

// ending prints after-care, review, outcomes and remarks.
func (b *book) ending(v *chartv1.RecordView) {
	s := v.GetRecord().GetSession()
	b.heading("After-care and review")
	a, r := s.GetAfterCare(), s.GetReview()
	care := ""
	if a != nil {
		care = joined("; ", codeText(a.GetWay()), "language "+a.GetLanguage(), fmt.Sprintf("SHA-256 of the sheet %x", a.GetSheetDigest()), b.act(a.GetGiven()))
	}
	b.pairs([2]string{"After-care", b.orAbsent(v, care, "after_care")},
		[2]string{"Review", b.orAbsent(v, joined("; ", joined(" to ", dateText(r.GetFrom()), dateText(r.GetUntil())), b.act(r.GetSet())), "review")})
	for _, o := range s.GetOutcomes() {
		j := o.GetJudgement()
		side := ""
		if j != nil {
			side = sideText(j.Side)
		}
		text := joined("; ", enumText(j.GetJudge().String(), "JUDGE_"), joined(" ", codeText(j.GetRegion()), side), codeText(j.GetResponse()), j.GetText(), b.act(j.GetTaken()))
		if o.GetVoid() != nil {
			text += "; VOIDED: " + o.GetVoid().GetReason()
		}
		b.pairs([2]string{"Outcome", text})
	}
	for _, n := range s.GetNotes() {
		text := joined("; ", n.GetText(), b.act(n.GetWritten()))
		if n.GetVoid() != nil {
			text += "; VOIDED: " + n.GetVoid().GetReason()
		}
		b.pairs([2]string{"Remark", text})
	}
	for _, c := range s.GetSettlements() {
		b.pairs([2]string{"Settled", joined("; ", c.GetChoice().GetPath(), c.GetChoice().GetReason(), b.name(c.GetChoice().GetBy()), timeText(c.GetChoice().GetAt()))})
	}
}

func (b *book) signatures(v *chartv1.RecordView) {
	b.heading("Signatures")
	all := v.GetRecord().GetSession().GetSignatures()
	if len(all) == 0 {
		b.lines("B", sizeText, "NOT SIGNED.")
		return
	}
	for _, s := range all {
		c := s.GetContent()
		b.pairs(
			[2]string{"Signed by", joined(", ", b.who(c.GetSignerId()), enumText(s.GetRole().String(), "ROLE_"))},
			[2]string{"When", millisText(c.GetSignedAtUnixMs())},
			[2]string{"Meaning", joined(": ", enumText(c.GetMeaning().String(), "SIGNATURE_MEANING_"), s.GetStatement())},
			[2]string{"Shown by", codeText(s.GetProof())},
			[2]string{"SHA-256 of what was signed", fmt.Sprintf("%x", c.GetDigest())},
		)
		b.gap(1)
	}
}
