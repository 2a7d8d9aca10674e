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
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// staffSuspended is the number of the field suspended of a staff record.
const staffSuspended = 22

// SetStaffRoles changes what a person may do: her account and her record in one transaction.
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
	r := rolesRequest{access: a, o: o, call: c, m: m, staff: id}
	err = a.update(ctx, c, r.change)
	if m.GetSuspended() {
		err = a.evenSo(ctx, err, r.suspend)
	}
	if err != nil {
		return nil, err
	}
	staff, st, err := a.readStaff(ctx, o.ID, id)
	if err != nil {
		return nil, err
	}
	return &accessv1.SetStaffRolesResponse{Staff: staff, Context: st.Seen.AppendBinary(nil)}, nil
}

// rolesRequest is a change of what a person may do.
type rolesRequest struct {
	*access
	o     Organisation
	call  *call
	m     *accessv1.SetStaffRolesRequest
	staff uuid.UUID
}

func (r *rolesRequest) change(w store.Writer) error {
	staff, st, err := r.readStaffIn(w, r.o.ID, r.staff)
	if err != nil {
		return err
	}
	done, again, err := r.once(w, r.call, r.m)
	if err != nil || again {
		return err
	}
	if err := fresh(r.m.GetContext(), st); err != nil {
		return err
	}
	change, clear, err := rolesChange(r.o, r.call, r.m, staff, done)
	if err != nil {
		return err
	}
	if err := r.checkValues(draft{kind: kindStaff}, change); err != nil {
		return err
	}
	after := applied(staff, change, clear)
	if err := r.setAccount(w, positionsOf(after, r.Now()), after.GetSuspended() != nil); err != nil {
		return err
	}
	d := draft{
		kind: kindStaff, record: r.staff, context: st.Seen, author: r.call.principal.Staff, at: done.at(), purpose: "set roles",
		request: []byte(r.m.GetRequestId()),
	}
	if clear {
		return r.editIn(w, r.o, d, change, staffSuspended)
	}
	return r.editIn(w, r.o, d, change)
}

// suspend keeps a person out, and nothing else.
func (r *rolesRequest) suspend(w store.Writer) error {
	a, err := auth.GetAccount(w, r.staff)
	if err != nil {
		return err
	}
	return r.setAccount(w, a.Positions, true)
}

// setAccount does the account's half of a change, with its entry in the audit log. Somebody who administers must stay.
func (r *rolesRequest) setAccount(w store.Writer, positions []auth.Position, suspended bool) error {
	if suspended || !administers(positions) {
		if last, err := isLastAdministrator(w, r.o, r.staff); err != nil {
			return err
		} else if last {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "assignments", "", "at least one administrator who may sign in")
		}
	}
	if _, err := auth.SetPositions(w, r.o.ID, r.staff, positions, suspended); err != nil {
		return err
	}
	_, err := r.enter(w, r.call, touched{kind: kindStaff, record: r.staff, remark: r.m.GetReason()})
	return err
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
func isLastAdministrator(r store.Reader, o Organisation, id uuid.UUID) (bool, error) {
	var accounts []auth.Account
	for after, more := uuid.Nil, true; more; {
		page, err := auth.ListAccounts(r, o.ID, after, 1000)
		if err != nil {
			return false, err
		}
		accounts = append(accounts, page...)
		if more = len(page) == 1000; more {
			after = page[len(page)-1].Staff
		}
	}
	others := slices.ContainsFunc(accounts, func(a auth.Account) bool {
		return a.Staff != id && !a.Suspended && a.Name != "" && administers(a.Positions)
	})
	self := slices.ContainsFunc(accounts, func(a auth.Account) bool { return a.Staff == id && !a.Suspended && administers(a.Positions) })
	return self && !others, nil
}
