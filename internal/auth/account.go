package auth

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// Position is roles at one clinic, or in the whole organisation when Clinic is uuid.Nil.
type Position struct {
	Clinic uuid.UUID       `json:"clinic"`
	Roles  []accessv1.Role `json:"roles"`
}

// Account is what the server knows of a person to let her in: the working copy of the staff record's roles, and the password. Change it with
// PutAccount.
type Account struct {
	Staff uuid.UUID `json:"staff"`
	Org   uuid.UUID `json:"org"`
	// Name is the name to sign in with, unique on the server; empty until the invitation is claimed.
	Name string `json:"name"`
	// Hash is a PasswordHash as text; empty until the invitation is claimed.
	Hash string `json:"hash"`
	// Positions say where the person works and as what.
	Positions []Position `json:"positions"`
	// Suspended accounts may not come in.
	Suspended bool `json:"suspended"`
	// RoleVersion grows with each change of positions, suspension or password; access tokens of an older one are refused.
	RoleVersion uint64 `json:"role_version"`
	// SignInEpoch grows with each suspension and new password; sign-ins of an older one have ended.
	SignInEpoch uint64 `json:"sign_in_epoch"`
}

func (a Account) allRoles() []accessv1.Role {
	roles := []accessv1.Role{}
	for _, p := range a.Positions {
		roles = append(roles, p.Roles...)
	}
	slices.Sort(roles)
	return slices.Compact(roles)
}

// nameForm is the form of sign_in_name in access.v1.
var nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9._@-]{1,63}$`)

// CheckName returns a fault of the field sign_in_name unless the name may be signed in with: lower case letters, digits and . _ @ -, 2 to 64.
func CheckName(name string) error {
	if !nameForm.MatchString(name) {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "sign_in_name", fault.Withheld(name),
			"2 to 64 lower-case letters, digits or . _ @ -, a letter or digit first")
	}
	return nil
}

// GetAccount returns an account, or NOT_FOUND.
func GetAccount(r store.Reader, staff uuid.UUID) (Account, error) {
	a, err := get[Account](r, accountKey(staff))
	if errors.Is(err, store.ErrNotFound) {
		return Account{}, errNotFound()
	}
	return a, err
}

// ListAccounts returns the accounts of an organisation after a staff id (uuid.Nil for the first), at most limit, ascending by staff id.
func ListAccounts(r store.Reader, org, afterStaff uuid.UUID, limit int) ([]Account, error) {
	var out []Account
	prefix := makeKey(keyOrgAccount, org[:])
	lo := append(orgAccountKey(org, afterStaff), 0)
	err := r.Scan(lo, after(prefix), func(k, _ []byte) error {
		if len(out) >= limit {
			return store.Stop
		}
		parsed, err := parseKey(k)
		if err != nil {
			return err
		}
		a, err := GetAccount(r, parsed.ids[1])
		out = append(out, a)
		return err
	})
	return out, err
}

// SetPositions makes or changes an account's organisation, positions and suspension. It raises the role version when they change and ends
// all sign-ins when the person is suspended. An account never changes its organisation: asked to, it answers NOT_FOUND.
func SetPositions(w store.Writer, org, staff uuid.UUID, positions []Position, suspended bool) (Account, error) {
	a, err := GetAccount(w, staff)
	switch {
	case fault.Has(err, faultv1.Reason_REASON_NOT_FOUND):
		a = Account{Staff: staff, Org: org}
	case err != nil:
		return Account{}, err
	case a.Org != org:
		return Account{}, errNotFound()
	case a.Suspended == suspended && slices.EqualFunc(a.Positions, positions, equalPosition):
		return a, nil
	}
	a.Positions, a.Suspended = slices.Clone(positions), suspended
	a.RoleVersion++
	if suspended {
		a.SignInEpoch++
	}
	return a, putAccount(w, a)
}

func equalPosition(a, b Position) bool { return a.Clinic == b.Clinic && slices.Equal(a.Roles, b.Roles) }

// SetCredentials gives an account its name and password hash and ends all sign-ins before. A name that another account has is an INVALID_FIELD.
func SetCredentials(w store.Writer, staff uuid.UUID, name string, hash PasswordHash) (Account, error) {
	if err := CheckName(name); err != nil {
		return Account{}, err
	}
	a, err := GetAccount(w, staff)
	if err != nil {
		return Account{}, err
	}
	owner, err := get[uuid.UUID](w, nameKey(name))
	switch {
	case err == nil && owner != staff:
		return Account{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "sign_in_name", fault.Withheld(name), "a name that nobody has yet")
	case err != nil && !errors.Is(err, store.ErrNotFound):
		return Account{}, err
	}
	if a.Name != "" && a.Name != name {
		if err := w.Delete(nameKey(a.Name)); err != nil {
			return Account{}, err
		}
	}
	a.Name, a.Hash = name, hash.String()
	a.RoleVersion++
	a.SignInEpoch++
	if err := put(w, nameKey(name), staff); err != nil {
		return Account{}, err
	}
	return a, putAccount(w, a)
}

func putAccount(w store.Writer, a Account) error {
	if err := w.Put(orgAccountKey(a.Org, a.Staff), []byte{1}); err != nil {
		return err
	}
	return put(w, accountKey(a.Staff), a)
}

// Door checks names and passwords. It may be used concurrently.
type Door struct {
	store   store.Store
	hasher  *Hasher
	limiter *Limiter
	now     func() time.Time
}

// NewDoor returns a door onto the accounts of a store.
func NewDoor(st store.Store, h *Hasher, l *Limiter, now func() time.Time) *Door {
	return &Door{store: st, hasher: h, limiter: l, now: now}
}

// Check returns the account behind a name (compared in lower case) and a password, or BAD_PASSWORD, or RATE_LIMITED. An unknown name, a
// suspended account and a wrong password get the same answer after the same work.
func (d *Door) Check(ctx context.Context, name, password string, from Source) (Account, error) {
	name = strings.ToLower(name)
	if len(password) > 4*MaxPassword || CheckName(name) != nil {
		name, password = "", "" // no account has it; the work is done all the same
	}
	if err := d.limiter.Try(d.now(), name, from); err != nil {
		return Account{}, err
	}
	a, hash, err := d.find(ctx, name)
	if err != nil {
		return Account{}, err
	}
	ok, err := d.hasher.Matches(ctx, password, hash)
	if err != nil {
		return Account{}, fmt.Errorf("check password: %w", err)
	}
	if !ok || a.Suspended {
		return Account{}, fault.New(faultv1.Reason_REASON_BAD_PASSWORD, "", "", "")
	}
	d.limiter.Succeed(d.now(), name, from)
	return a, nil
}

// find returns the account of a name and its hash; a nil hash when there is none.
func (d *Door) find(ctx context.Context, name string) (a Account, hash *PasswordHash, err error) {
	err = d.store.View(ctx, func(r store.Reader) error {
		staff, err := get[uuid.UUID](r, nameKey(name))
		if errors.Is(err, store.ErrNotFound) {
			return nil
		} else if err != nil {
			return err
		}
		if a, err = get[Account](r, accountKey(staff)); err != nil {
			return err
		}
		h, err := ParsePasswordHash(a.Hash)
		hash = &h
		return err
	})
	return a, hash, err
}
