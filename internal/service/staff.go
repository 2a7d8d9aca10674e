package service

import (
	"bytes"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// positionsOf is where a person works and as what on a day: the positions of her record that did not end. It is what the account is made from.
func positionsOf(m *accessv1.Staff, today time.Time) (out []auth.Position) {
	byClinic := map[uuid.UUID][]accessv1.Role{}
	for _, p := range m.GetPositions() {
		a := p.GetAssignment()
		if a == nil || p.GetEnded() != nil || isOver(a.GetUntil(), today) {
			continue
		}
		clinic := uuid.Nil
		if a.ClinicId != nil {
			var err error
			if clinic, err = uuid.Parse(a.GetClinicId()); err != nil {
				continue // a position at no known place gives no rights
			}
		}
		byClinic[clinic] = append(byClinic[clinic], a.GetRoles()...)
	}
	for clinic, roles := range byClinic {
		slices.Sort(roles)
		out = append(out, auth.Position{Clinic: clinic, Roles: slices.Compact(roles)})
	}
	slices.SortFunc(out, func(a, b auth.Position) int { return bytes.Compare(a.Clinic[:], b.Clinic[:]) })
	return out
}

// isOver reports whether the last day of something lies before today, by the server's date in UTC.
func isOver(last *recordv1.Date, today time.Time) bool {
	if last == nil {
		return false
	}
	end := time.Date(int(last.GetYear()), time.Month(last.GetMonth()), int(last.GetDay())+1, 0, 0, 0, 0, time.UTC)
	return !today.UTC().Before(end)
}

func administers(positions []auth.Position) bool {
	return slices.ContainsFunc(positions, func(p auth.Position) bool { return slices.Contains(p.Roles, accessv1.Role_ROLE_ADMINISTRATOR) })
}

// checkClinics refuses assignments at clinics that the organisation does not have.
func (a *access) checkClinics(ctx context.Context, org uuid.UUID, assignments []*accessv1.RoleAssignment) error {
	for _, r := range assignments {
		if r.ClinicId == nil {
			continue
		}
		clinic, err := uuid.Parse(r.GetClinicId())
		if err == nil {
			_, err = a.readRecord(ctx, org, kindClinic, clinic)
		}
		if fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "assignments.clinic_id", clinic.String(), "a clinic of the organisation")
		} else if err != nil {
			return err
		}
	}
	return nil
}

// staffChange is a change to a staff record that is being put together.
type staffChange struct {
	o       Organisation
	by      uuid.UUID
	at      time.Time
	request []byte
	n       byte // counts the elements made, so that each gets an id of its own
	m       *accessv1.Staff
}

func (s *staffChange) elementID(what string) string {
	s.n++
	return s.o.deriveID(s.at, "element "+what, s.request, s.by[:], []byte{s.n}).String()
}

func (s *staffChange) assign(r *accessv1.RoleAssignment) {
	if len(r.GetRoles()) == 0 {
		return
	}
	s.m.Positions = append(s.m.Positions, &accessv1.Position{
		Id:         s.elementID("position"),
		Assignment: &accessv1.Assignment{ClinicId: r.ClinicId, Roles: r.GetRoles(), Granted: actOf(s.by, s.at), Until: r.GetUntil()},
	})
}

func (s *staffChange) void(reason string) *recordv1.Void {
	return &recordv1.Void{Reason: reason, By: s.by.String(), At: timestamppb.New(s.at)}
}

// AddStaff adds a person and makes the link by which she comes in. Asked again with the same request it answers the same person and link.
func (a *access) AddStaff(ctx context.Context, m *accessv1.AddStaffRequest) (*accessv1.AddStaffResponse, error) {
	c := callOf(ctx)
	o, err := a.organisation(ctx, c.principal.Org)
	if err != nil {
		return nil, err
	}
	if err := a.checkClinics(ctx, o.ID, m.GetAssignments()); err != nil {
		return nil, err
	}
	if err := a.checkValues(draft{kind: kindStaff}, a.newStaff(o, c, m, a.Now())); err != nil {
		return nil, err
	}
	var id uuid.UUID
	var at, ends time.Time
	var code auth.Code
	err = a.update(ctx, c, func(w store.Writer) error {
		done, again, err := a.once(w, c, m)
		if err != nil {
			return err
		}
		at = done.at()
		id = o.deriveID(at, "staff", c.principal.Staff[:], []byte(m.GetRequestId()))
		drawn := o.derive("invitation", c.principal.Staff[:], []byte(m.GetRequestId()))
		if again {
			code, err = auth.NewCode(bytes.NewReader(drawn[:]))
			ends = at.Add(auth.InvitationLife)
			return err
		}
		staff := a.newStaff(o, c, m, at)
		if _, err := auth.SetPositions(w, o.ID, id, positionsOf(staff, a.Now()), false); err != nil {
			return err
		}
		d := draft{kind: kindStaff, record: id, author: c.principal.Staff, at: at, purpose: "add staff", request: []byte(m.GetRequestId())}
		if err := a.editIn(w, o, d, staff); err != nil {
			return err
		}
		if code, ends, err = auth.Invite(w, bytes.NewReader(drawn[:]), at, id); err != nil {
			return err
		}
		_, err = a.enter(w, c, touched{kind: kindStaff, record: id})
		return err
	})
	if err != nil {
		return nil, err
	}
	staff, _, err := a.readStaff(ctx, o.ID, id)
	return &accessv1.AddStaffResponse{
		Staff: staff, InvitationUrl: auth.InvitationURL(a.PublicURL, code), InvitationExpiresAt: timestamppb.New(ends),
	}, err
}

func (a *access) newStaff(o Organisation, c *call, m *accessv1.AddStaffRequest, at time.Time) *accessv1.Staff {
	staff := &accessv1.Staff{Name: m.GetName(), Contact: m.GetContact()}
	s := staffChange{o: o, by: c.principal.Staff, at: at, request: []byte(m.GetRequestId()), m: staff}
	for _, r := range m.GetAssignments() {
		s.assign(r)
	}
	return s.m
}

// ListStaff lists staff by name.
func (a *access) ListStaff(ctx context.Context, m *accessv1.ListStaffRequest) (*accessv1.ListStaffResponse, error) {
	o, err := a.organisation(ctx, principalOf(ctx).Org)
	if err != nil {
		return nil, err
	}
	at, err := o.unseal("staff", m.GetPageToken())
	if err != nil {
		return nil, err
	}
	var all []listed[*accessv1.Staff]
	err = a.ledger.Scan(ctx, record.ID(o.ID), kindStaff, func(st *record.State) error {
		staff := &accessv1.Staff{}
		if err := decodeRecord(st, staff); err != nil {
			return err
		}
		if (m.ClinicId == nil || worksAt(staff, m.GetClinicId(), a.Now())) && (m.GetIncludeSuspended() || staff.GetSuspended() == nil) {
			all = append(all, listed[*accessv1.Staff]{sortKey(staff.GetName().GetFull(), st.Key.ID[:]), staff})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	rows, next := page(all, at, pageSize(m.GetPageSize()))
	resp := &accessv1.ListStaffResponse{Staff: rows}
	if next != nil {
		resp.NextPageToken = o.seal("staff", next)
	}
	return resp, nil
}

func worksAt(m *accessv1.Staff, clinic string, today time.Time) bool {
	return slices.ContainsFunc(positionsOf(m, today), func(p auth.Position) bool { return p.Clinic == uuid.Nil || p.Clinic.String() == clinic })
}

// staffEach calls fn with every staff record of an organisation.
func (s *Service) staffEach(ctx context.Context, org uuid.UUID, fn func(id uuid.UUID, m *accessv1.Staff) error) error {
	type row struct {
		id uuid.UUID
		m  *accessv1.Staff
	}
	var all []row // so that fn may use the store
	err := s.ledger.Scan(ctx, record.ID(org), kindStaff, func(st *record.State) error {
		m := &accessv1.Staff{}
		all = append(all, row{uuid.UUID(st.Key.ID), m})
		return decodeRecord(st, m)
	})
	for _, r := range all {
		if err == nil {
			err = fn(r.id, r.m)
		}
	}
	return err
}
