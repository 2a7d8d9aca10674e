package gather

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// History is what a patient's toxin history is reckoned from: her record with what linked records tell, every session of hers at any clinic that may be
// read, and what is known of each clinic. ErrNone and a *WithheldError are of the patient's own record.
func History(r Records, patient string) (*dosev1.HistoryFacts, error) {
	own, err := r.View(kindPatient, patient)
	if err != nil {
		return nil, err
	}
	p, err := person(r, own, patient)
	if err != nil {
		return nil, err
	}
	return &dosev1.HistoryFacts{Patient: p.patient, Sessions: p.sessions, Conflicts: p.conflicts, Knowledge: knowledge(r, p.unread), Held: p.held}, nil
}

// onePerson is what is known of one person.
type onePerson struct {
	patient   *chartv1.Patient
	sessions  []*chartv1.Session
	conflicts []*dosev1.PathSiblings
	held      []*chartv1.RecordKey
	// unread are the clinics of records that were left out since they may not be read; "" stands for one whose clinic is not known.
	unread map[string]bool
}

// person gathers a patient's record, those linked to it, and the sessions of all.
func person(r Records, own *chartv1.RecordView, patient string) (*onePerson, error) {
	p := &onePerson{patient: proto.CloneOf(own.GetRecord().GetPatient()), conflicts: siblingsOf(own), held: heldOf(own), unread: make(map[string]bool)}
	for _, id := range r.Person(patient) {
		if id != patient {
			if err := p.link(r, id); err != nil {
				return nil, err
			}
		}
		for _, session := range r.Sessions(id) {
			if err := p.session(r, session); err != nil {
				return nil, err
			}
		}
	}
	return p, nil
}

// link lays what another record of the same person tells of alerts and of treatments elsewhere beside what her own does.
func (p *onePerson) link(r Records, id string) error {
	v, withheld, err := view(r, kindPatient, id)
	p.withheld(withheld)
	if err != nil || v == nil {
		return err
	}
	p.held = append(p.held, heldOf(v)...)
	other := v.GetRecord().GetPatient()
	p.patient.Alerts = append(p.patient.Alerts, other.GetAlerts()...)
	p.patient.PriorTreatments = append(p.patient.PriorTreatments, other.GetPriorTreatments()...)
	for _, c := range siblingsOf(v) {
		if strings.HasPrefix(c.GetPath(), "alerts[") || strings.HasPrefix(c.GetPath(), "prior_treatments[") {
			c.Key.RecordId = p.patient.GetId()
			p.conflicts = append(p.conflicts, c)
		}
	}
	return nil
}

func (p *onePerson) session(r Records, id string) error {
	if slices.ContainsFunc(p.sessions, func(s *chartv1.Session) bool { return s.GetId() == id }) {
		return nil
	}
	v, withheld, err := view(r, kindSession, id)
	p.withheld(withheld)
	if err != nil || v == nil {
		return err
	}
	p.sessions = append(p.sessions, v.GetRecord().GetSession())
	p.conflicts = append(p.conflicts, siblingsOf(v)...)
	p.held = append(p.held, heldOf(v)...)
	return nil
}

func (p *onePerson) withheld(w *WithheldError) {
	if w == nil {
		return
	}
	if len(w.Clinics) == 0 {
		p.unread[""] = true
	}
	for _, c := range w.Clinics {
		p.unread[c] = true
	}
}

// knowledge is how old what is known of each clinic is. A clinic of which a record was left out was not checked.
func knowledge(r Records, unread map[string]bool) []*dosev1.ClinicKnowledgeFact {
	clinics := slices.Clone(r.List(kindClinic))
	for id := range unread {
		if id != "" && !slices.Contains(clinics, id) {
			clinics = append(clinics, id)
		}
	}
	slices.Sort(clinics)
	var all []*dosev1.ClinicKnowledgeFact
	for _, id := range clinics {
		k := &dosev1.ClinicKnowledgeFact{ClinicId: id}
		if v, _, err := view(r, kindClinic, id); err == nil {
			k.ClinicName = v.GetRecord().GetClinic().GetName()
		}
		if !unread[id] && !unread[""] {
			k.CompleteUntil = r.CompleteUntil(id)
		}
		all = append(all, k)
	}
	return all
}
