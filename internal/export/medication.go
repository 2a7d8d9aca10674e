package export

import (
	"cmp"
	"fmt"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// medications makes a Medication of each vial that is referred to, or of every one.
func (b *builder) medications() {
	for _, v := range of[*chartv1.Vial](b.Export, optionsv1.RecordKind_RECORD_KIND_VIAL) {
		if (b.whole() || b.wanted[v.key]) && !b.practice(v.entry) {
			b.add(b.medication(v))
		}
	}
}

func (b *builder) medication(v typed[*chartv1.Vial]) *medication {
	m := v.m
	out := &medication{
		header: header{ResourceType: "Medication", ID: v.id}, Identifier: []*identifier{{System: own + "vial", Value: v.id}},
		Code: product(m.GetPresentation().GetProduct()),
	}
	if !v.disputed("void") {
		out.Status = counts("active", m.Void, false)
	}
	if n := m.GetShortNumber(); n != "" {
		out.Identifier = append(out.Identifier, &identifier{System: own + "vial-number", Value: n})
	}
	if p := m.GetPresentation(); p != nil {
		out.Form = ownConcept("form", map[bool]string{true: "powder", false: "solution"}[p.LiquidNanoliters == nil], "")
		each := &quantity{"1", "vial", ucum, "{vial}"}
		if p.LiquidNanoliters != nil {
			each = millilitres(p.GetLiquidNanoliters())
		}
		out.Amount = &ratio{units(int64(p.GetContentMilliunits())), each}
	}
	if l := m.GetLabelling(); l != nil {
		out.Batch = &batch{line(l.GetLotNumber()), dateText(l.GetExpiresOn())}
		if *out.Batch == (batch{}) {
			out.Batch = nil
		}
		for _, i := range []identifier{{System: own + "serial", Value: line(l.GetSerial())}, {System: own + "gtin", Value: l.GetGtin()}} {
			if i.Value != "" {
				out.Identifier = append(out.Identifier, &i)
			}
		}
	}
	for _, p := range m.GetPreparations() {
		out.extend(b.preparation(v, p))
	}
	return out
}

// preparation is the diluent added to a vial. One that may be voided, or of which something is in conflict, is left out.
func (b *builder) preparation(v typed[*chartv1.Vial], p *chartv1.Preparation) *extension {
	d := p.GetDiluent()
	if d == nil || p.Void != nil || v.disputedWithin(at("preparations", p.GetId())) {
		return nil
	}
	who, when := b.act(p.GetMixed())
	return nested("preparation", said("id", p.GetId()), said("diluent", d.GetKind()), measured("volume", millilitres(d.GetVolumeNanoliters())),
		said("diluent-lot", d.GetLotNumber()), timed("diluent-expiry", dateText(d.GetExpiresOn())), pointed("mixed-by", who), timed("mixed-at", when),
		timed("use-by", momentText(p.GetUseBy().GetUntil())))
}

// requestID is the id of the MedicationRequest that a line of an order becomes.
func requestID(o typed[*chartv1.Order], line string) string {
	return derivedID(o.text() + "/" + at("lines", line))
}

// orders makes a MedicationRequest of each line of each order for a patient. A standing order is for nobody by name, and FHIR's request wants a patient.
func (b *builder) orders() {
	for _, o := range of[*chartv1.Order](b.Export, optionsv1.RecordKind_RECORD_KIND_ORDER) {
		switch {
		case o.m.GetPatientId() == "" && b.whole():
			b.leave(o.entry, "patient_id", missing(o.disputed("patient_id")), "information", "The order is left out: it names no one patient.")
		case o.m.GetPatientId() != "" && b.covers(o.m.GetPatientId()):
			for _, l := range o.m.GetLines() {
				b.request(o, l)
			}
		}
	}
}

func (b *builder) request(o typed[*chartv1.Order], l *chartv1.OrderLine) {
	m, leave, path := o.m, l.GetLeave(), at("lines", l.GetId())
	if leave == nil {
		b.leave(o.entry, path+".leave", missing(o.disputed(path+".leave")), "warning", "A line of the order is left out: it says not one thing that may be given.")
		return
	}
	out := &medicationRequest{
		header: header{ResourceType: "MedicationRequest", ID: requestID(o, l.GetId())}, Intent: "order", Medication: product(leave.GetProduct()),
		Subject: b.patientRef(m.GetPatientId()), Requester: b.staffRef(m.GetPrescriberId()), AuthoredOn: momentText(m.GetIssued().GetIssued().GetAt()),
		GroupIdentifier: &identifier{System: own + "order", Value: o.id}, Status: requestStatus(o, l),
	}
	if out.Medication == nil {
		out.Medication = product("unknown")
	}
	for _, v := range []*concept{voidReason(m.GetWithdrawn().GetReason()), voidReason(l.GetWithdrawn().GetReason())} {
		out.StatusReason = cmp.Or(out.StatusReason, v)
	}
	places := strings.Join(append(append([]string{}, leave.GetRegions()...), leave.GetMuscles()...), ", ")
	out.Dosage = []instructed{{Most: units(int64(leave.GetMostMilliunits())), Text: line(leave.GetInstructions())}}
	if places != "" {
		out.Dosage[0].Site = &concept{Text: spaced(places)}
	}
	if v := m.GetValidity(); v != nil {
		out.Dispense = &dispense{Validity: &period{dateText(v.GetFrom()), dateText(v.GetUntil())}}
		if *out.Dispense.Validity == (period{}) {
			out.Dispense = nil
		}
	}
	if n := m.GetRepeats(); n > 1 {
		out.Dispense = cmp.Or(out.Dispense, &dispense{})
		out.Dispense.Repeats = number(fmt.Sprint(n - 1)) // FHIR counts those after the first
	}
	out.extend(said(own+"order-kind", enumName(m.GetKind().String(), "ORDER_KIND_")), said(own+"jurisdiction", m.GetJurisdiction()))
	out.Note = b.orderNotes(o)
	b.add(out)
}

// requestStatus is whether the line may be used. Whether its days are over is the validity's to say: an export reads no clock.
func requestStatus(o typed[*chartv1.Order], l *chartv1.OrderLine) string {
	switch {
	case o.m.Withdrawn != nil || l.Withdrawn != nil:
		return "stopped"
	case o.disputed("withdrawn", "issued", at("lines", l.GetId(), "withdrawn")):
		return "unknown"
	case o.m.Issued == nil:
		return "draft"
	}
	return "active"
}

func voidReason(reason string) *concept {
	if reason = line(reason); reason == "" {
		return nil
	}
	return &concept{Text: reason}
}

// orderNotes is the examination, the changes by voice, and the remarks.
func (b *builder) orderNotes(o typed[*chartv1.Order]) []annotation {
	var out []annotation
	if e := o.m.GetExamination(); e != nil {
		text := "Examined: " + spaced(enumName(e.GetWay().String(), "EXAMINATION_WAY_")) + ". " + e.GetFindings()
		out = append(out, b.note(strings.TrimSpace(text), e.GetExamined().GetBy(), momentText(e.GetExamined().GetAt())))
	}
	for _, c := range o.m.GetChanges() {
		v := c.GetChange()
		if v == nil {
			continue
		}
		text := "By voice: " + v.GetText()
		if l := v.GetLeave(); l != nil {
			text += fmt.Sprintf(" (%s, at most %s\u00a0units)", l.GetProduct(), decimal(int64(l.GetMostMilliunits()), unitPlaces))
		}
		out = append(out, b.note(text, v.GetPrescriberId(), momentText(v.GetHeard().GetAt())))
	}
	return append(out, b.remarks(o.entry, o.m.GetNotes())...)
}
