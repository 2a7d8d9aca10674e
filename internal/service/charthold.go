package service

import (
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// mayHold decides whether a device may hold a patient's records whole: whether who is signed in on it may read that patient as r has her, by a position
// at the patient's own clinic or by an open grant. It is NOT_FOUND for one who is missing or of another organisation, and NOT_ALLOWED, with how to
// open her records, within it. The refusal names the patient, so that the tablet can take that wish back.
func (h *charting) mayHold(r store.Reader, p auth.Principal, patient record.ID) error {
	err := h.decideHold(r, p, patient)
	if refusal := fault.Of(err); refusal != nil {
		return refusal.With("patient_id", patient.String())
	}
	return err
}

func (h *charting) decideHold(r store.Reader, p auth.Principal, patient record.ID) error {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient}
	found, err := h.ledger.ReadIn(r, recordID(p.Org), k)
	if err != nil {
		return err
	}
	s := auth.Subject{Kind: k.Kind}
	for _, c := range h.chart.FoldFacts(found.State).Clinics {
		s.Clinics = append(s.Clinics, accountID(c))
	}
	if s.Relation = p.Relate(p.Org, s.Clinics...); s.Relation == auth.SharedClinic {
		if s.Opened, err = auth.GrantOpen(r, h.Now(), p, accountID(patient)); err != nil {
			return err
		}
	}
	return auth.Decide(p, optionsv1.Action_ACTION_READ_CHART, s)
}
