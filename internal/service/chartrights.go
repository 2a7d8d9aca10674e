package service

import (
	"context"
	"errors"
	"slices"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// subject is a record as the table of rights sees it.
//
// A record belongs to its clinic; one of no clinic belongs to its patient's. To be read it belongs to both: whoever works at either may open it, so that
// the history of one's own patient is whole wherever she was treated. A patient of no clinic in particular is everybody's. Whether a grant opens a
// record is asked only where it would matter.
func (d *desk) subject(ctx context.Context, f *chart.Facts) (auth.Subject, error) {
	clinics, everybodys := slices.Clone(f.Clinics), len(f.Clinics) == 0
	if d.call.action == optionsv1.Action_ACTION_READ_CHART || everybodys {
		for _, p := range f.Patients {
			patient := d.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p})
			if patient == nil || p == f.Key.ID {
				continue
			}
			everybodys = len(patient.Clinics) == 0
			clinics = append(clinics, patient.Clinics...)
		}
	}
	s := auth.Subject{Kind: f.Key.Kind}
	if !everybodys {
		for _, c := range clinics {
			s.Clinics = append(s.Clinics, accountID(c))
		}
	}
	p := d.call.principal
	if s.Relation = p.Relate(p.Org, s.Clinics...); s.Relation != auth.SharedClinic {
		return s, nil
	}
	for _, patient := range f.Patients {
		open := false
		err := d.Store.View(ctx, func(r store.Reader) (err error) {
			open, err = auth.GrantOpen(r, d.Now(), p, accountID(patient))
			return err
		})
		if err != nil {
			return s, err
		}
		s.Opened = s.Opened || open
	}
	return s, nil
}

// may decides whether the caller may do the call's action to a record. It is quiet: lists leave out what she may not see.
func (d *desk) may(ctx context.Context, f *chart.Facts) (auth.Subject, error) {
	s, err := d.subject(ctx, f)
	if err != nil {
		return s, err
	}
	return s, auth.Decide(d.call.principal, d.call.action, s)
}

// decide is may for a call about one record: a refusal is entered into the audit log with the record that it was about.
func (d *desk) decide(ctx context.Context, f *chart.Facts) (touched, error) {
	s, err := d.may(ctx, f)
	t := touchedBy(f, s)
	if refusal := fault.Of(err); refusal != nil {
		refused := t
		refused.outcome, refused.reason = accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED, refusal.Reason
		if err := d.enterRead(ctx, d.call, refused); err != nil {
			d.Log.Error("audit entry of a refused call was not written", "request", d.call.id, "cause", causeOf(err))
		}
	}
	return t, err
}

// touchedBy is what the audit log keeps of a record that was touched.
func touchedBy(f *chart.Facts, s auth.Subject) touched {
	t := touched{kind: f.Key.Kind, record: accountID(f.Key.ID), relation: relationOf(s)}
	if len(f.Patients) > 0 {
		t.patient = accountID(f.Patients[0])
	}
	if len(f.Clinics) > 0 {
		t.clinic = accountID(f.Clinics[0])
	}
	return t
}

func relationOf(s auth.Subject) audit.Relation {
	switch {
	case s.Relation == auth.OwnClinic:
		return audit.OwnClinic
	case s.Relation == auth.SharedClinic && s.Opened:
		return audit.BreakGlass
	case s.Relation == auth.SharedClinic:
		return audit.SharedClinic
	}
	return audit.NoRecord
}

// enterAll appends an entry for each record that a list showed, in one transaction. While the disk is full reads stay up, as in enterRead.
func (d *desk) enterAll(ctx context.Context, all []touched) error {
	if len(all) == 0 {
		return nil // the call as a whole is entered
	}
	var entries []audit.Entry
	for _, t := range all {
		entries = append(entries, d.entry(d.call, t))
	}
	d.call.entered = true
	err := d.Store.Update(ctx, func(w store.Writer) error {
		for _, e := range entries {
			if _, _, err := audit.Append(w, e); err != nil {
				return err
			}
		}
		return nil
	})
	if !errors.Is(err, store.ErrDiskFull) {
		return err
	}
	for _, e := range entries {
		if !d.later.add(e) {
			return err
		}
	}
	return nil
}

func notFound() error { return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "") }

// optionalID reads an id that a request may leave out; the zero id when it does.
func optionalID(field string, text *string) (record.ID, error) {
	if text == nil {
		return record.ID{}, nil
	}
	id, err := uuid.Parse(*text)
	if err != nil || id == uuid.Nil {
		return record.ID{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, fault.Withheld(*text), "a UUID")
	}
	return recordID(id), nil
}
