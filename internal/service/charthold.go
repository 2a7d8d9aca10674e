package service

import (
	"time"

	"github.com/google/uuid"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
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
	s, err := h.holdSubject(r, p, patient)
	if err != nil {
		return err
	}
	if s.Relation == auth.SharedClinic {
		if s.Opened, err = auth.GrantOpen(r, h.Now(), p, accountID(patient)); err != nil {
			return err
		}
	}
	return auth.Decide(p, optionsv1.Action_ACTION_READ_CHART, s)
}

// holdSubject is a patient as r has her, and how the person stands to her.
func (h *charting) holdSubject(r store.Reader, p auth.Principal, patient record.ID) (auth.Subject, error) {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient}
	found, err := h.ledger.ReadIn(r, recordID(p.Org), k)
	if err != nil {
		return auth.Subject{}, err
	}
	s := auth.Subject{Kind: k.Kind}
	for _, c := range h.chart.FoldFacts(found.State).Clinics {
		s.Clinics = append(s.Clinics, accountID(c))
	}
	s.Relation = p.Relate(p.Org, s.Clinics...)
	return s, nil
}

// openedUntil is until when a patient is open to a person only because she was opened with a reason; the zero time when that is not why, or not so.
func (h *charting) openedUntil(r store.Reader, p auth.Principal, patient record.ID) (time.Time, error) {
	s, err := h.holdSubject(r, p, patient)
	if err != nil || s.Relation != auth.SharedClinic {
		return time.Time{}, ignoreMissing(err)
	}
	return auth.GrantEnd(r, h.Now(), p, accountID(patient))
}

// booked is whom a device holds because of what is booked and was done at its clinic; nil while who is signed in on it may not read the charts there.
func (y *syncing) booked(r store.Reader, c *call) (*ledger.Booked, error) {
	clinic := c.device.Clinic
	if clinic == uuid.Nil {
		return nil, nil
	}
	p := c.principal
	s := auth.Subject{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, Clinics: []uuid.UUID{clinic}, Relation: p.Relate(p.Org, clinic)}
	if fault.Of(auth.Decide(p, optionsv1.Action_ACTION_READ_CHART, s)) != nil {
		return nil, nil
	}
	zone, err := y.clinicZone(r, p.Org, clinic)
	if err != nil {
		return nil, err
	}
	out := &ledger.Booked{Clinic: recordID(clinic)}
	for _, t := range chart.HeldTerms(out.Clinic, y.Now().In(zone)) {
		out.Spans = append(out.Spans, ledger.TermSpan{From: t[0], Until: t[1]})
	}
	return out, nil
}

// clinicZone is the zone of a clinic; UTC when it names none that is known.
func (y *syncing) clinicZone(r store.Reader, org, clinic uuid.UUID) (*time.Location, error) {
	found, err := y.ledger.ReadIn(r, recordID(org), record.Key{Kind: kindClinic, ID: recordID(clinic)})
	if err != nil {
		return time.UTC, ignoreMissing(err)
	}
	typed, err := chart.Typed(found.State)
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(typed.GetClinic().GetTimeZone())
	if err != nil {
		return time.UTC, nil //nolint:nilerr // the name was checked when it was written
	}
	return zone, nil
}
