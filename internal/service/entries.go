package service

import (
	"context"
	"errors"
	"strings"
	"sync"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/store"
)

// touched is what a call did to whose record, for the audit log. Ids are uuid.Nil where there is none.
type touched struct {
	kind     optionsv1.RecordKind
	record   uuid.UUID
	patient  uuid.UUID
	clinic   uuid.UUID
	relation audit.Relation
	outcome  accessv1.AuditOutcome // unspecified means done
	reason   faultv1.Reason
	remark   string
	// org and staff stand in where nobody is signed in yet.
	org, staff uuid.UUID
}

// entry is the audit entry of a call.
func (s *Service) entry(c *call, t touched) audit.Entry {
	e := audit.Entry{
		AtMS: s.Now().UnixMilli(), Org: c.principal.Org, Staff: c.principal.Staff, Device: c.from.Device, Action: c.action,
		Procedure: strings.TrimPrefix(c.procedure, "/"), Kind: t.kind, Record: t.record, Patient: t.patient, Clinic: t.clinic, Relation: t.relation,
		Outcome: t.outcome, Reason: t.reason, Remark: t.remark, Request: c.id,
	}
	if c.principal.Nobody() {
		e.Org, e.Staff = t.org, t.staff
	}
	if e.Outcome == accessv1.AuditOutcome_AUDIT_OUTCOME_UNSPECIFIED {
		e.Outcome = accessv1.AuditOutcome_AUDIT_OUTCOME_DONE
	}
	if roles := c.principal.Roles(); e.Outcome == accessv1.AuditOutcome_AUDIT_OUTCOME_DONE && len(roles) > 0 {
		e.Role = roleFor(c, roles)
	}
	return e
}

// roleFor is the role by which a call was allowed: the first of her roles that alone would have been enough.
func roleFor(c *call, roles []accessv1.Role) accessv1.Role {
	for _, r := range roles {
		alone := c.principal
		alone.Positions = []auth.Position{{Roles: []accessv1.Role{r}}}
		if auth.Decide(alone, c.action, auth.Subject{Relation: auth.NoRecord}) == nil {
			return r
		}
	}
	return roles[0]
}

// enter appends an entry in the transaction of the call and returns its sequence.
func (s *Service) enter(w store.Writer, c *call, t touched) (uint64, error) {
	e, _, err := audit.Append(w, s.entry(c, t))
	if err == nil {
		c.entered = true
	}
	return e.Sequence, err
}

// update is a transaction of a call in which it is entered, unless the transaction fails.
func (s *Service) update(ctx context.Context, c *call, fn func(store.Writer) error) error {
	err := s.Store.Update(ctx, fn)
	if err != nil {
		c.entered = false
	}
	return err
}

// audited reports whether every call of an action leaves an entry. Reckoning reads no record; the public calls and the sync enter what they
// did themselves.
func audited(a optionsv1.Action) bool {
	switch a {
	case optionsv1.Action_ACTION_PUBLIC, optionsv1.Action_ACTION_RECKON, optionsv1.Action_ACTION_SYNC, optionsv1.Action_ACTION_UNSPECIFIED:
		return false
	}
	return true
}

// enterDone appends the entry of a call that did not make one itself. When it cannot be written the call is refused, except that while the
// disk is full
// reads stay up: the entry is kept in memory and written when there is room.
func (s *Service) enterDone(ctx context.Context, c *call) error {
	if c.entered || !audited(c.action) {
		return nil
	}
	return s.enterRead(ctx, c, touched{})
}

// enterRead appends the entry of a call that wrote nothing.
func (s *Service) enterRead(ctx context.Context, c *call, t touched) error {
	e := s.entry(c, t)
	c.entered = true
	err := s.Store.Update(ctx, func(w store.Writer) error {
		_, _, err := audit.Append(w, e)
		return err
	})
	if errors.Is(err, store.ErrDiskFull) && s.later.add(e) {
		s.Log.Warn("audit entry waits for room on the disk", "request", c.id, "waiting", s.later.len())
		return nil
	}
	return err
}

// enterRefused appends the entry of a call that was refused. That it cannot be written does not change the refusal. Refusals of strangers are
// not entered, or
// anyone could fill the disk; sign-ins enter their own.
func (s *Service) enterRefused(ctx context.Context, c *call, cause error) {
	if c.entered || c.principal.Nobody() || !audited(c.action) && c.action != optionsv1.Action_ACTION_SYNC {
		return
	}
	reason := refusalsOf(cause)[0].Reason
	if c.action == optionsv1.Action_ACTION_SYNC && !suspicious(reason) {
		return // the tablet mends it by itself
	}
	t := touched{outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED, reason: reason}
	if err := s.enterRead(ctx, c, t); err != nil {
		s.Log.Error("audit entry of a refused call was not written", "request", c.id, "cause", causeOf(err))
	}
	c.entered = true
}

// suspicious tells the refusals of a sync that an administrator should see.
func suspicious(r faultv1.Reason) bool {
	switch r {
	case faultv1.Reason_REASON_ACTOR_NOT_YOURS, faultv1.Reason_REASON_DOT_COLLISION, faultv1.Reason_REASON_BAD_SIGNATURE,
		faultv1.Reason_REASON_BAD_CURSOR, faultv1.Reason_REASON_RATE_LIMITED, faultv1.Reason_REASON_NOT_ALLOWED:
		return true
	}
	return false
}

// maxLater bounds the entries that wait for room on the disk; when they are so many, reads are refused, too.
const maxLater = 10000

// laterEntries are entries of reads that were answered while the disk was full. They are lost when the process ends before there is room.
type laterEntries struct {
	mu      sync.Mutex
	waiting []audit.Entry
}

func (l *laterEntries) add(e audit.Entry) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.waiting) >= maxLater {
		return false
	}
	l.waiting = append(l.waiting, e)
	return true
}

func (l *laterEntries) len() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.waiting)
}

// write appends what waits. What cannot be written waits on.
func (l *laterEntries) write(ctx context.Context, st store.Store) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.waiting) == 0 {
		return nil
	}
	err := st.Update(ctx, func(w store.Writer) error {
		for _, e := range l.waiting {
			if _, _, err := audit.Append(w, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		l.waiting = nil
	}
	return err
}
