package auth

import (
	"errors"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// Relation is how a record stands to the principal.
type Relation int

// Relations. The zero value is the least known and opens least.
const (
	// OtherOrganisation: the record is of another organisation, or is missing. Nobody may learn which.
	OtherOrganisation Relation = iota
	// SharedClinic: a record of the organisation, but of no clinic where she works.
	SharedClinic
	// OwnClinic: a record of a clinic where she works, or of the organisation as a whole.
	OwnClinic
	// NoRecord: the action is on no record in particular, such as a search, whose results are then decided one by one.
	NoRecord
)

// Relate returns the relation to a record of an organisation and its clinics; none means that it is of the organisation as a whole. A
// missing record has org uuid.Nil.
func (p Principal) Relate(org uuid.UUID, clinics ...uuid.UUID) Relation {
	switch {
	case org == uuid.Nil || p.Org != org:
		return OtherOrganisation
	case len(clinics) == 0 || len(p.rolesAt(clinics)) > 0:
		return OwnClinic
	}
	return SharedClinic
}

// Subject is what an action is done to.
type Subject struct {
	Relation Relation
	// Clinics are the record's; a role held at another clinic does not count for it. Empty for records of the whole organisation and for
	// NoRecord.
	Clinics []uuid.UUID
	// Kind is the record's. It may be unspecified for actions other than reading, editing and settling, and for NoRecord.
	Kind optionsv1.RecordKind
	// Opened is true when a break-glass grant of the principal for the patient is open (GrantOpen).
	Opened bool
}

// Decide returns nil when the principal may do the action to the subject. NOT_FOUND for what is of another organisation, before all else, so
// that it looks missing; UNAUTHENTICATED for nobody; NOT_ALLOWED else, with the figure needs=break_glass when a reason would open the
// record.
func Decide(p Principal, a optionsv1.Action, s Subject) error {
	if a == optionsv1.Action_ACTION_PUBLIC {
		return nil
	}
	if p.Nobody() {
		return errUnauthenticated()
	}
	if s.Relation == OtherOrganisation {
		return errNotFound()
	}
	row, ok := rightTo(a)
	if !ok || row.device && p.Device == uuid.Nil {
		return errNotAllowed()
	}
	given := p.rolesFor(s, row.reach)
	if !row.roles.has(given) || !kindAllows(a, s, given) {
		return errNotAllowed()
	}
	if s.Relation != SharedClinic || row.reach == organisation || row.reach == withReason && s.Opened {
		return nil
	}
	if row.reach == withReason && mayBreakGlass(p) {
		return errNotAllowed().With("needs", "break_glass")
	}
	return errNotAllowed()
}

// rolesFor returns the roles that count: those at the record's clinics where the record is her own and the right goes no further, else all.
func (p Principal) rolesFor(s Subject, r reach) []accessv1.Role {
	if s.Relation == OwnClinic && len(s.Clinics) > 0 && r != organisation && !s.Opened {
		return p.rolesAt(s.Clinics)
	}
	return p.Roles()
}

func mayBreakGlass(p Principal) bool {
	row, _ := rightTo(optionsv1.Action_ACTION_BREAK_GLASS)
	return row.roles.has(p.Roles())
}

// kindAllows applies the second half of the table to the actions that read or write a record. Where no record is at hand yet the kind may be
// unknown; each record is then decided by its own.
func kindAllows(a optionsv1.Action, s Subject, given []accessv1.Role) bool {
	if s.Kind == optionsv1.RecordKind_RECORD_KIND_UNSPECIFIED && s.Relation == NoRecord {
		return true
	}
	switch a {
	case optionsv1.Action_ACTION_READ_CHART:
		return MayRead(given, s.Kind)
	case optionsv1.Action_ACTION_EDIT_CHART, optionsv1.Action_ACTION_SETTLE:
		return MayEdit(given, s.Kind)
	}
	return true
}

func errNotAllowed() *fault.Error {
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "", "", "")
}

const (
	// MaxGrantLife is how long a record outside one's own clinics stays open after a reason was given.
	MaxGrantLife = 4 * time.Hour
	// maxReason bounds a reason, in characters.
	maxReason = 500
)

// Grant is an open break-glass grant: one person, one patient, for a time, with a reason.
type Grant struct {
	Reason string `json:"reason"`
	FromMS int64  `json:"from_unix_ms"`
	EndsMS int64  `json:"ends_unix_ms"`
}

// BreakGlass opens a patient's records to the principal for life (more than 0, at most MaxGrantLife) and returns when that ends. The caller
// has asked Decide for ACTION_BREAK_GLASS, and writes the reason into the audit log in the same transaction. Without a reason it is an
// INVALID_FIELD.
func BreakGlass(w store.Writer, now time.Time, p Principal, patient uuid.UUID, reason string, life time.Duration) (time.Time, error) {
	if n := utf8.RuneCountInString(reason); !hasLetter(reason) || n > maxReason || !utf8.ValidString(reason) {
		return time.Time{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "reason", fault.Withheld(reason), "a reason in words, at most 500 characters")
	}
	if life <= 0 || life > MaxGrantLife {
		return time.Time{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "life", life.String(), "more than 0 and at most "+MaxGrantLife.String())
	}
	g := Grant{Reason: reason, FromMS: now.UnixMilli(), EndsMS: now.Add(life).UnixMilli()}
	return time.UnixMilli(g.EndsMS).UTC(), put(w, grantKey(p.Org, p.Staff, patient), g)
}

// GrantOpen reports whether the principal has an open grant for the patient.
func GrantOpen(r store.Reader, now time.Time, p Principal, patient uuid.UUID) (bool, error) {
	g, err := get[Grant](r, grantKey(p.Org, p.Staff, patient))
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	ms := now.UnixMilli()
	return err == nil && g.FromMS <= ms && ms < g.EndsMS, err
}

// GrantEnd is when the principal's open grant for the patient ends; the zero time when none is open.
func GrantEnd(r store.Reader, now time.Time, p Principal, patient uuid.UUID) (time.Time, error) {
	open, err := GrantOpen(r, now, p, patient)
	if err != nil || !open {
		return time.Time{}, err
	}
	g, err := get[Grant](r, grantKey(p.Org, p.Staff, patient))
	return time.UnixMilli(g.EndsMS).UTC(), err
}

// CloseGrant ends a grant before its time; without one it does nothing.
func CloseGrant(w store.Writer, p Principal, patient uuid.UUID) error {
	return w.Delete(grantKey(p.Org, p.Staff, patient))
}

func hasLetter(s string) bool {
	return strings.ContainsFunc(s, unicode.IsLetter)
}
