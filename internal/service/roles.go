package service

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// staffSuspended is the number of the field suspended of a staff record.
const staffSuspended = 22

// SetStaffRoles changes what a person may do. The account changes first, so that a right taken away is gone even when the record's edit fails; the
// same request again completes it.
func (a *access) SetStaffRoles(ctx context.Context, m *accessv1.SetStaffRolesRequest) (*accessv1.SetStaffRolesResponse, error) {
	c := callOf(ctx)
	id, err := uuid.Parse(m.GetStaffId())
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "staff_id", fault.Withheld(m.GetStaffId()), "a UUID")
	}
	o, err := a.organisation(ctx, c.principal.Org)
	if err != nil {
		return nil, err
	}
	if err := a.checkClinics(ctx, o.ID, m.GetAssignments()); err != nil {
		return nil, err
	}
	a.staffMu.Lock()
	defer a.staffMu.Unlock()
	staff, st, err := a.readStaff(ctx, o.ID, id)
	if err != nil {
		return nil, err
	}
	if err := a.changeStaff(ctx, o, c, m, id, staff, st); err != nil {
		return nil, err
	}
	staff, st, err = a.readStaff(ctx, o.ID, id)
	if err != nil {
		return nil, err
	}
	return &accessv1.SetStaffRolesResponse{Staff: staff, Context: st.Seen.AppendBinary(nil)}, nil
}

func (a *access) changeStaff(ctx context.Context, o Organisation, c *call, m *accessv1.SetStaffRolesRequest, id uuid.UUID, staff *accessv1.Staff,
	st *record.State) error {
	done, again, err := a.noteRoles(ctx, o, c, m, id, staff, st)
	if err != nil {
		return err
	}
	d := draft{
		kind: kindStaff, record: id, context: st.Seen, author: c.principal.Staff, at: done.at(), purpose: "set roles", request: []byte(m.GetRequestId()),
	}
	if again {
		if made, err := a.wasMade(ctx, o, d); made || err != nil {
			return err
		}
	}
	change, clear, err := rolesChange(o, c, m, staff, done)
	if err != nil {
		return err
	}
	if clear {
		return a.editAndClear(ctx, o, d, change, []uint32{staffSuspended})
	}
	return a.edit(ctx, o, d, change)
}

// noteRoles checks the change and does the account's half of it.
func (a *access) noteRoles(ctx context.Context, o Organisation, c *call, m *accessv1.SetStaffRolesRequest, id uuid.UUID, staff *accessv1.Staff,
	st *record.State) (done doneRequest, again bool, err error) {
	var last bool
	if last, err = a.isLastAdministrator(ctx, o, id); err != nil {
		return done, false, err
	}
	err = a.Store.Update(ctx, func(w store.Writer) error {
		if done, again, err = a.once(w, c, m); err != nil || again {
			return err
		}
		if err := fresh(m.GetContext(), st); err != nil {
			return err
		}
		change, clear, err := rolesChange(o, c, m, staff, done)
		if err != nil {
			return err
		}
		if err := a.checkValues(draft{kind: kindStaff}, change); err != nil {
			return err
		}
		after := applied(staff, change, clear)
		positions := positionsOf(after, a.Now())
		if last && (after.GetSuspended() != nil || !administers(positions)) {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "assignments", "", "at least one administrator who may sign in")
		}
		if _, err := auth.SetPositions(w, o.ID, id, positions, after.GetSuspended() != nil); err != nil {
			return err
		}
		_, err = a.enter(w, c, touched{kind: kindStaff, record: id, remark: m.GetReason()})
		return err
	})
	return done, again, err
}

// fresh refuses a change that was made on an older state of the record than it has.
func fresh(context []byte, st *record.State) error {
	if len(context) == 0 {
		return nil
	}
	v, rest, err := causal.CutVector(context)
	if err != nil || len(rest) > 0 {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "context", fmt.Sprintf("%d bytes", len(context)), "the context of an answer")
	}
	if !v.Descends(st.Seen) {
		return fault.New(faultv1.Reason_REASON_STALE_READ, "context", "", "")
	}
	return nil
}

// wasMade reports whether an edit is in the record already.
func (a *access) wasMade(ctx context.Context, o Organisation, d draft) (bool, error) {
	log, err := a.ledger.History(ctx, record.ID(o.ID), d.key())
	id := record.ID(o.editID(d))
	return slices.ContainsFunc(log, func(e ledger.Entry) bool { return e.Edit.ID == id }), err
}

// rolesChange is what a request writes into a staff record: a message that holds what is set, and whether the suspension is cleared.
func rolesChange(o Organisation, c *call, m *accessv1.SetStaffRolesRequest, staff *accessv1.Staff, done doneRequest) (*accessv1.Staff, bool, error) {
	s := staffChange{o: o, by: c.principal.Staff, at: done.at(), request: []byte(m.GetRequestId()), m: &accessv1.Staff{}}
	for _, r := range m.GetAssignments() {
		for _, p := range staff.GetPositions() {
			if p.GetEnded() == nil && p.GetAssignment().GetClinicId() == r.GetClinicId() {
				s.m.Positions = append(s.m.Positions, &accessv1.Position{Id: p.GetId(), Ended: s.void(m.GetReason())})
			}
		}
		s.assign(r)
	}
	for _, g := range m.GetGrantCredentials() {
		s.m.Credentials = append(s.m.Credentials, &accessv1.Credential{Id: s.elementID("credential"), Grant: &accessv1.CredentialGrant{
			Region: g.GetRegion(), Kind: g.GetKind(), SupervisorId: g.SupervisorId, Evidence: g.GetEvidence(),
			Granted: actOf(s.by, s.at), ExpiresOn: g.GetExpiresOn(),
		}})
	}
	for _, id := range m.GetRevokeCredentialIds() {
		at := slices.IndexFunc(staff.GetCredentials(), func(c *accessv1.Credential) bool { return c.GetId() == id })
		if at < 0 {
			return nil, false, fault.New(faultv1.Reason_REASON_NOT_FOUND, "revoke_credential_ids", id, "a credential of this person")
		}
		if staff.GetCredentials()[at].GetRevoked() == nil {
			s.m.Credentials = append(s.m.Credentials, &accessv1.Credential{Id: id, Revoked: s.void(m.GetReason())})
		}
	}
	if m.Suspended != nil && m.GetSuspended() && staff.GetSuspended() == nil {
		s.m.Suspended = &accessv1.Suspension{Reason: m.GetReason(), Imposed: actOf(s.by, s.at)}
	}
	return s.m, m.Suspended != nil && !m.GetSuspended() && staff.GetSuspended() != nil, nil
}

// applied is the record after a change, for what the account takes from it.
func applied(staff, change *accessv1.Staff, clear bool) *accessv1.Staff {
	out := proto.Clone(staff).(*accessv1.Staff)
	for _, p := range change.GetPositions() {
		at := slices.IndexFunc(out.Positions, func(o *accessv1.Position) bool { return o.GetId() == p.GetId() })
		if at < 0 {
			out.Positions = append(out.Positions, p)
		} else {
			out.Positions[at].Ended = p.GetEnded()
		}
	}
	if change.GetSuspended() != nil {
		out.Suspended = change.GetSuspended()
	} else if clear {
		out.Suspended = nil
	}
	return out
}

// isLastAdministrator reports whether nobody else administers and may sign in.
func (s *Service) isLastAdministrator(ctx context.Context, o Organisation, id uuid.UUID) (bool, error) {
	var accounts []auth.Account
	after, more := uuid.Nil, true
	for more {
		err := s.Store.View(ctx, func(r store.Reader) error {
			page, err := auth.ListAccounts(r, o.ID, after, 1000)
			accounts = append(accounts, page...)
			if more = len(page) == 1000; more {
				after = page[len(page)-1].Staff
			}
			return err
		})
		if err != nil {
			return false, err
		}
	}
	others := slices.ContainsFunc(accounts, func(a auth.Account) bool {
		return a.Staff != id && !a.Suspended && a.Name != "" && administers(a.Positions)
	})
	self := slices.ContainsFunc(accounts, func(a auth.Account) bool { return a.Staff == id && !a.Suspended && administers(a.Positions) })
	return self && !others, nil
}
