package gather

import (
	"slices"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// The bounds of the schema on what a session is judged by. What is beyond them is left out, which guardrails take as unknown.
const (
	mostVials          = 64
	mostLots           = 64
	mostStaff          = 64
	mostConsentTexts   = 32
	mostQuestionnaires = 16
)

// Session is what a session is judged by: the patient with her history at every clinic, vials, lots, order, clinic, the people who act in it, the texts
// explained, the questions asked. ErrNone and a *WithheldError are of the session's own record.
func Session(r Records, id string) (*dosev1.SessionFacts, error) {
	own, err := r.View(kindSession, id)
	if err != nil {
		return nil, err
	}
	g := &gathering{r: r, own: own, facts: &dosev1.SessionFacts{
		Session: own.GetRecord().GetSession(), Conflicts: siblingsOf(own), Held: heldOf(own), Clock: r.Clock()}}
	for _, step := range []func() error{g.patient, g.order, g.clinic, g.vials, g.lots, g.texts, g.staff} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return g.facts, nil
}

// gathering is one session's facts in the making.
type gathering struct {
	r      Records
	own    *chartv1.RecordView
	others []*chartv1.RecordView // of the order and the vials, which name people, too
	facts  *dosev1.SessionFacts
}

// add gathers one record with its conflicts; nil when it is not at hand.
func (g *gathering) add(kind optionsv1.RecordKind, id string) (*chartv1.Record, error) {
	v, _, err := view(g.r, kind, id)
	if err != nil || v == nil {
		return nil, err
	}
	g.facts.Conflicts = append(g.facts.Conflicts, siblingsOf(v)...)
	g.facts.Held = append(g.facts.Held, heldOf(v)...)
	if kind == kindOrder || kind == kindVial {
		g.others = append(g.others, v)
	}
	return v.GetRecord(), nil
}

// patient gathers whom the session is of, with her other sessions. Of several in conflict none is taken, which holds the visit until it is settled.
func (g *gathering) patient() error {
	id := g.facts.GetSession().GetPatientId()
	own, withheld, err := view(g.r, kindPatient, id)
	if err != nil {
		return err
	}
	if own == nil {
		unread := map[string]bool{}
		if withheld != nil {
			unread[""] = true
		}
		g.facts.Knowledge = knowledge(g.r, unread)
		return nil
	}
	p, err := person(g.r, own, id)
	if err != nil {
		return err
	}
	g.facts.Patient, g.facts.Knowledge = p.patient, knowledge(g.r, p.unread)
	taken := map[string]bool{p.patient.GetId(): true}
	for _, s := range p.sessions {
		if s.GetId() != g.facts.GetSession().GetId() && !isLater(s.GetOn(), g.facts.GetSession().GetOn()) {
			g.facts.History, taken[s.GetId()] = append(g.facts.History, s), true
		}
	}
	for _, c := range p.conflicts {
		if taken[c.GetKey().GetRecordId()] {
			g.facts.Conflicts = append(g.facts.Conflicts, c)
		}
	}
	for _, k := range p.held {
		if k.GetRecordId() != g.facts.GetSession().GetId() {
			g.facts.Held = append(g.facts.Held, k)
		}
	}
	return nil
}

// isLater reports whether a day is surely after another.
func isLater(a, b *recordv1.Date) bool {
	return a != nil && b != nil && number(a) > number(b)
}

func number(d *recordv1.Date) int32 { return d.GetYear()*10_000 + d.GetMonth()*100 + d.GetDay() }

// order takes the first where several are in conflict: guardrails then judge every one, and hold where one is not this.
func (g *gathering) order() error {
	for _, id := range ids(g.own, "order_id") {
		r, err := g.add(kindOrder, id)
		if err != nil {
			return err
		}
		if r != nil {
			g.facts.Order = r.GetOrder()
			return nil
		}
	}
	return nil
}

func (g *gathering) clinic() error {
	r, err := g.add(kindClinic, g.facts.GetSession().GetClinicId())
	g.facts.Clinic = r.GetClinic()
	return err
}

func (g *gathering) vials() error {
	for _, id := range capped(ids(g.own, "vial_id"), mostVials) {
		r, err := g.add(kindVial, id)
		if err != nil {
			return err
		}
		if r != nil {
			g.facts.Vials = append(g.facts.Vials, r.GetVial())
		}
	}
	return nil
}

func (g *gathering) texts() error {
	for _, id := range capped(ids(g.own, "consent_text_id"), mostConsentTexts) {
		r, err := g.add(kindConsentText, id)
		if err != nil {
			return err
		}
		if r != nil {
			g.facts.ConsentTexts = append(g.facts.ConsentTexts, r.GetConsentText())
		}
	}
	for _, id := range capped(ids(g.own, "questionnaire_id"), mostQuestionnaires) {
		r, err := g.add(kindQuestionnaire, id)
		if err != nil {
			return err
		}
		if r != nil {
			g.facts.Questionnaires = append(g.facts.Questionnaires, r.GetQuestionnaire())
		}
	}
	return nil
}

// staff gathers who acts in the session, those first whose rights guardrails ask about: in charge, supervising, prescribing, answering to findings.
func (g *gathering) staff() error {
	var people []string
	add := func(more []string) {
		for _, id := range more {
			if !slices.Contains(people, id) {
				people = append(people, id)
			}
		}
	}
	add(ids(g.own, "responsible_id"))
	add(ids(g.own, "supervisor_id"))
	for _, v := range g.others {
		add(ids(v, "prescriber_id"))
	}
	for _, v := range append([]*chartv1.RecordView{g.own}, g.others...) {
		add(ids(v, "by"))
	}
	for _, id := range capped(people, mostStaff) {
		r, err := g.add(kindStaff, id)
		if err != nil {
			return err
		}
		if r != nil {
			g.facts.Staff = append(g.facts.Staff, r.GetStaff())
		}
	}
	slices.SortStableFunc(g.facts.Staff, func(a, b *accessv1.Staff) int { return strings.Compare(a.GetId(), b.GetId()) })
	return nil
}

func capped(list []string, most int) []string { return list[:min(len(list), most)] }
