package service

import (
	"context"
	"strconv"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// BreakGlass opens a patient's records outside the caller's own clinics for a time, with a reason that the medical lead reads.
func (a *access) BreakGlass(ctx context.Context, m *accessv1.BreakGlassRequest) (*accessv1.BreakGlassResponse, error) {
	c := callOf(ctx)
	patient, err := uuid.Parse(m.GetPatientId())
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "patient_id", fault.Withheld(m.GetPatientId()), "a UUID")
	}
	if _, err := a.readRecord(ctx, c.principal.Org, optionsv1.RecordKind_RECORD_KIND_PATIENT, patient); err != nil {
		return nil, err
	}
	var ends time.Time
	var sequence uint64
	err = a.update(ctx, c, func(w store.Writer) error {
		done, again, err := a.once(w, c, m)
		if err != nil {
			return err
		}
		if ends, sequence = done.at().Add(auth.MaxGrantLife), done.Result; again {
			return nil
		}
		if ends, err = auth.BreakGlass(w, done.at(), c.principal, patient, m.GetReason(), auth.MaxGrantLife); err != nil {
			return err
		}
		t := touched{
			kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, record: patient, patient: patient, relation: audit.BreakGlass, remark: m.GetReason(),
		}
		if sequence, err = a.enter(w, c, t); err != nil {
			return err
		}
		done.Result = sequence
		return a.keepResult(w, c, m, done)
	})
	if err != nil {
		return nil, err
	}
	c.entered = true
	return &accessv1.BreakGlassResponse{ExpiresAt: timestamppb.New(ends), AuditEntryId: strconv.FormatUint(sequence, 10)}, nil
}

// ListAudit reads the audit log, newest first. Reading it is an entry, too.
func (a *access) ListAudit(ctx context.Context, m *accessv1.ListAuditRequest) (*accessv1.ListAuditResponse, error) {
	c := callOf(ctx)
	o, err := a.organisation(ctx, c.principal.Org)
	if err != nil {
		return nil, err
	}
	q, err := auditQuery(o, m)
	if err != nil {
		return nil, err
	}
	var p audit.Page
	err = a.Store.View(ctx, func(r store.Reader) error {
		p, err = audit.List(r, q)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := a.enterRead(ctx, c, touched{patient: q.Patient}); err != nil {
		return nil, err
	}
	resp := &accessv1.ListAuditResponse{}
	for _, l := range p.Entries {
		resp.Entries = append(resp.Entries, auditEntry(l))
	}
	if p.Next > 0 {
		resp.NextPageToken = o.seal("audit", strconv.AppendUint(nil, p.Next, 10))
	}
	return resp, nil
}

func auditQuery(o Organisation, m *accessv1.ListAuditRequest) (audit.Query, error) {
	q := audit.Query{Org: o.ID, Limit: pageSize(m.GetPageSize())}
	for _, f := range []struct {
		field string
		text  *string
		to    *uuid.UUID
	}{{"patient_id", m.PatientId, &q.Patient}, {"staff_id", m.StaffId, &q.Staff}, {"device_id", m.DeviceId, &q.Device}} {
		if f.text == nil {
			continue
		}
		var err error
		if *f.to, err = uuid.Parse(*f.text); err != nil {
			return q, fault.New(faultv1.Reason_REASON_INVALID_FIELD, f.field, fault.Withheld(*f.text), "a UUID")
		}
	}
	if m.GetFrom() != nil {
		q.FromMS = m.GetFrom().AsTime().UnixMilli()
	}
	if m.GetUntil() != nil {
		q.UntilMS = m.GetUntil().AsTime().UnixMilli()
	}
	at, err := o.unseal("audit", m.GetPageToken())
	if err == nil && at != nil {
		q.Before, err = strconv.ParseUint(string(at), 10, 64)
	}
	return q, err
}

func auditEntry(l audit.Listed) *accessv1.AuditEntry {
	return &accessv1.AuditEntry{
		Sequence: l.Sequence, At: timestamppb.New(time.UnixMilli(l.AtMS)), StaffId: idText(l.Staff), DeviceId: idText(l.Device), Role: l.Role,
		Procedure: l.Procedure, Kind: l.Kind, RecordId: idText(l.Record), PatientId: idText(l.Patient), Outcome: l.Outcome, Reason: l.Reason,
		Remark: l.Remark, PreviousHash: l.Previous[:], Hash: l.Hash[:], Relation: relationText(l.Relation),
		ClinicId: idText(l.Clinic), RequestId: l.Request,
	}
}

// relationText is how a person stood to the record that she touched, for people to read.
func relationText(r audit.Relation) string {
	switch r {
	case audit.OwnClinic:
		return "own clinic"
	case audit.SharedClinic:
		return "another clinic of the organisation"
	case audit.BreakGlass:
		return "opened with a reason"
	case audit.OtherOrganisation:
		return "missing, or of another organisation"
	}
	return ""
}

// idText is an id as text; none is empty.
func idText(id uuid.UUID) string {
	if id == uuid.Nil {
		return ""
	}
	return id.String()
}
