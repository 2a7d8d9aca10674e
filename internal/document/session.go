package document

import (
	"fmt"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// session prints one visit, on pages of its own.
func (b *book) session(v *chartv1.RecordView) error {
	s := v.GetRecord().GetSession()
	b.pdf.AddPage()
	b.title(joined("  ", "Visit of "+b.orAbsent(v, dateText(s.GetOn()), "on"), "("+b.orAbsent(v, enumText(s.GetKind().String(), "SESSION_KIND_"), "kind")+")"))
	if s.GetVoid() != nil {
		b.lines("B", sizeText, "VOIDED, does not count: "+s.GetVoid().GetReason()+", "+b.name(s.GetVoid().GetBy()))
	}
	if s.GetPractice() != nil {
		b.lines("B", sizeText, "FOR PRACTICE: nobody was treated.")
	}
	b.pairs(
		[2]string{"Clinic", b.orAbsent(v, b.clinic(s.GetClinicId()), "clinic_id")},
		[2]string{"Responsible", b.orAbsent(v, b.who(s.GetResponsibleId()), "responsible_id")},
		[2]string{"Supervisor", b.orAbsent(v, b.who(s.GetSupervisorId()), "supervisor_id")},
		[2]string{"Visit record", s.GetId()},
		[2]string{"Reckoned by", b.orAbsent(v, basisText(s), "basis")},
	)
	if o := s.GetImported(); o != nil {
		b.pairs([2]string{"Brought in from", joined(", ", o.GetSystem(), o.GetRow(), b.name(o.GetImported().GetBy()), timeText(o.GetImported().GetAt()))})
	}
	if p := s.GetPaper(); p != nil {
		b.pairs([2]string{"Written on paper", joined(", ", p.GetFormNumber(), b.name(p.GetEntered().GetBy()), timeText(p.GetEntered().GetAt()))})
	}
	b.order(v)
	b.consents(v)
	b.checks(v)
	if err := b.injections(v); err != nil {
		return err
	}
	b.totals(v)
	b.vialsOf(v)
	b.course(v)
	b.findings(v)
	b.ending(v)
	b.signatures(v)
	b.doubts(v)
	return nil
}

func basisText(s *chartv1.Session) string {
	if s.GetBasis() == nil {
		return ""
	}
	e := s.GetBasis().GetEdition()
	return joined(", ", "core "+s.GetBasis().GetCoreVersion(), "formulary "+joined(" ", e.GetVersion(), e.GetEditionId()))
}

func (b *book) order(v *chartv1.RecordView) {
	s := v.GetRecord().GetSession()
	b.heading("Order")
	if s.GetOrderId() == "" {
		b.text("Order: " + b.absent(v, "order_id") + ".")
		return
	}
	ov := b.orders[s.GetOrderId()]
	if ov == nil {
		b.text("Order " + s.GetOrderId() + ", whose record is not here.")
		return
	}
	o := ov.GetRecord().GetOrder()
	var lines []string
	for _, l := range o.GetLines() {
		text := leaveText(l.GetLeave())
		if l.GetLeave() == nil {
			text = b.absent(ov, "lines["+l.GetId()+"].leave")
		}
		if l.GetWithdrawn() != nil {
			text += " (WITHDRAWN: " + l.GetWithdrawn().GetReason() + ")"
		}
		lines = append(lines, text)
	}
	issued := joined(", ", b.name(o.GetIssued().GetIssued().GetBy()), timeText(o.GetIssued().GetIssued().GetAt()))
	if o.GetIssued() == nil {
		issued = b.absent(ov, "issued") + ": a draft"
	}
	b.pairs(
		[2]string{"Kind", b.orAbsent(ov, enumText(o.GetKind().String(), "ORDER_KIND_"), "kind")},
		[2]string{"Prescriber", b.orAbsent(ov, b.who(o.GetPrescriberId()), "prescriber_id")},
		[2]string{"Examined", b.orAbsent(ov, joined(", ", enumText(o.GetExamination().GetWay().String(), "EXAMINATION_WAY_"), b.name(o.GetExamination().GetExamined().GetBy()),
			timeText(o.GetExamination().GetExamined().GetAt())), "examination")},
		[2]string{"Holds", b.orAbsent(ov, joined(" to ", dateText(o.GetValidity().GetFrom()), dateText(o.GetValidity().GetUntil())), "validity")},
		[2]string{"Issued", issued},
		[2]string{"May be given", strings.Join(lines, "\n")},
		[2]string{"Order record", o.GetId()},
	)
	for _, c := range o.GetChanges() {
		b.pairs([2]string{"Changed by voice", joined(", ", c.GetChange().GetText(), b.name(c.GetChange().GetPrescriberId()), "countersigned "+orNot(timeText(c.GetCountersigned().GetAt())))})
	}
	if o.GetWithdrawn() != nil {
		b.lines("B", sizeText, "WITHDRAWN: "+o.GetWithdrawn().GetReason())
	}
	if len(ov.GetConflicts()) > 0 {
		b.doubts(ov)
	}
}

func orNot(text string) string {
	if text == "" {
		return "NOT YET"
	}
	return text
}

func leaveText(l *chartv1.OrderLeave) string {
	var where []string
	for _, r := range l.GetRegions() {
		where = append(where, codeText(r))
	}
	for _, m := range l.GetMuscles() {
		where = append(where, muscleText(m))
	}
	return joined("; ", l.GetProduct()+", at most "+units(int64(l.GetMostMilliunits()))+" units", strings.Join(where, ", "), l.GetInstructions())
}

func (b *book) consents(v *chartv1.RecordView) {
	s := v.GetRecord().GetSession()
	b.heading("Consent")
	if len(s.GetConsents()) == 0 {
		b.text("No consent is recorded in this visit.")
	}
	for _, c := range s.GetConsents() {
		path := "consents[" + c.GetId() + "]."
		e, d := c.GetExplained(), c.GetDecision()
		b.pairs(
			[2]string{"Text", b.orAbsent(v, joined(", ", b.texts[e.GetConsentTextId()].GetTitle(), "version "+e.GetVersion(), "SHA-256 "+fmt.Sprintf("%x", e.GetDigest())), path+"explained")},
			[2]string{"Explained", b.orAbsent(v, b.act(e.GetExplained()), path+"explained")},
			[2]string{"Answer", b.orAbsent(v, joined(", ", enumText(d.GetAnswer().String(), "CONSENT_ANSWER_"), b.act(d.GetTaken()), d.GetQuestions()), path+"decision")},
			[2]string{"Signed", b.orAbsent(v, joined(", ", c.GetSignature().GetSignerName(), codeText(c.GetSignature().GetRelation()), timeText(c.GetSignature().GetTaken().GetAt())), path+"signature")},
		)
		if c.GetWithdrawn() != nil {
			b.lines("B", sizeText, "WITHDRAWN: "+joined(", ", b.act(c.GetWithdrawn().GetRecorded()), c.GetWithdrawn().GetReason()))
		}
		b.gap(1)
	}
}

// act is who did something and when.
func (b *book) act(a *recordv1.Act) string {
	return joined(", ", b.name(a.GetBy()), timeText(a.GetAt()))
}

func (b *book) checks(v *chartv1.RecordView) {
	s := v.GetRecord().GetSession()
	if len(s.GetIdentityChecks())+len(s.GetReadinessChecks())+len(s.GetRequests()) == 0 {
		return
	}
	b.heading("Wishes and checks before the first needle")
	for _, r := range s.GetRequests() {
		b.pairs([2]string{"Wish", joined("; ", r.GetRequest().GetWish(), "answered: "+orBlank(r.GetRequest().GetAnswer()), b.act(r.GetRequest().GetTaken()))})
	}
	for _, c := range s.GetIdentityChecks() {
		var asked []string
		for _, i := range c.GetCheck().GetIdentifiers() {
			asked = append(asked, codeText(i))
		}
		b.pairs([2]string{"Identity by", joined("; ", strings.Join(asked, ", "), b.act(c.GetCheck().GetDone()))})
	}
	for _, c := range s.GetReadinessChecks() {
		a := c.GetCheck()
		if a == nil {
			continue
		}
		b.pairs([2]string{"Before the needle", fmt.Sprintf("identity %s, sides %s, product %s, consent %s, order %s, skin %s; %s", yes(a.Identity), yes(a.Sides), yes(a.Product), yes(a.Consent),
			yes(a.Order), yes(a.Skin), b.act(a.GetDone()))})
	}
}

func orBlank(text string) string {
	if text == "" {
		return blank
	}
	return text
}
