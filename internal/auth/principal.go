package auth

import (
	"errors"
	"slices"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/store"
)

// Principal is who calls, as the server knows her at this moment. The zero value is nobody: only what is public is open to it.
type Principal struct {
	Staff, Org uuid.UUID
	// Device is where she calls from; uuid.Nil for a client without a device.
	Device uuid.UUID
	// DeviceClinic is where the device belongs; uuid.Nil without one.
	DeviceClinic uuid.UUID
	// Positions say where she works and as what.
	Positions []Position
}

// Nobody reports whether nobody is signed in.
func (p Principal) Nobody() bool { return p.Staff == uuid.Nil }

// Admit returns who stands behind verified claims now. UNAUTHENTICATED when the account is gone or suspended, its roles or its password
// changed since the token was made; DEVICE_REVOKED when the device was revoked. Two look-ups in the store.
func Admit(r store.Reader, c Claims) (Principal, error) {
	return admit(r, c, getAs[Account], getAs[Device])
}

// getter reads the value of an id under its key.
type getter[T any] func(r store.Reader, key []byte, id uuid.UUID) (T, error)

func getAs[T any](r store.Reader, key []byte, _ uuid.UUID) (T, error) { return get[T](r, key) }

func admit(r store.Reader, c Claims, account getter[Account], device getter[Device]) (Principal, error) {
	a, err := account(r, accountKey(c.Staff), c.Staff)
	if errors.Is(err, store.ErrNotFound) {
		return Principal{}, errUnauthenticated()
	} else if err != nil {
		return Principal{}, err
	}
	if a.Org != c.Org || a.Suspended || a.RoleVersion != c.RoleVersion {
		return Principal{}, errUnauthenticated()
	}
	p := Principal{Staff: a.Staff, Org: a.Org, Device: c.Device, Positions: a.Positions}
	if c.Device == uuid.Nil {
		return p, nil
	}
	d, err := device(r, deviceKey(c.Device), c.Device)
	switch {
	case errors.Is(err, store.ErrNotFound), err == nil && d.Org != a.Org:
		return Principal{}, errUnauthenticated()
	case err != nil:
		return Principal{}, err
	case d.Revoked():
		return Principal{}, errDeviceRevoked()
	}
	p.DeviceClinic = d.Clinic
	return p, nil
}

// Author returns the person who is named as the author of an edit, as she stands now, for the check of her rights: not who is signed in.
// NOT_FOUND when she is not of the organisation. A suspended author has no roles.
func Author(r store.Reader, org, staff uuid.UUID) (Principal, error) {
	return author(r, org, staff, getAs[Account])
}

func author(r store.Reader, org, staff uuid.UUID, account getter[Account]) (Principal, error) {
	a, err := account(r, accountKey(staff), staff)
	if errors.Is(err, store.ErrNotFound) || err == nil && a.Org != org {
		return Principal{}, errNotFound()
	} else if err != nil {
		return Principal{}, err
	}
	p := Principal{Staff: staff, Org: org, Positions: a.Positions}
	if a.Suspended {
		p.Positions = nil
	}
	return p, nil
}

// Roles returns all roles that she has anywhere, by number, each once.
func (p Principal) Roles() []accessv1.Role {
	return Account{Positions: p.Positions}.allRoles()
}

// rolesAt returns the roles that she has at one of the clinics or in the whole organisation.
func (p Principal) rolesAt(clinics []uuid.UUID) []accessv1.Role {
	var roles []accessv1.Role
	for _, pos := range p.Positions {
		if pos.Clinic == uuid.Nil || slices.Contains(clinics, pos.Clinic) {
			roles = append(roles, pos.Roles...)
		}
	}
	return roles
}
