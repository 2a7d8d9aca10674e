package auth

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/store"
)

// InvitationLife is how long an invitation works.
const InvitationLife = 72 * time.Hour

// Invitation lets one person set her name and password once. The first administrator, new staff, and whoever forgot a password come in by
// one; the last administrator who is lost gets a new one from the server's console.
type Invitation struct {
	Staff  uuid.UUID `json:"staff"`
	EndsMS int64     `json:"ends_unix_ms"`
	// Request is the id of the request that used it, empty before; Name is what it set.
	Request string `json:"request"`
	Name    string `json:"name"`
}

// Invite stores an invitation for an account that exists and returns its secret, which is shown once. NOT_FOUND without an account.
func Invite(w store.Writer, random io.Reader, now time.Time, staff uuid.UUID) (Code, time.Time, error) {
	if _, err := GetAccount(w, staff); err != nil {
		return Code{}, time.Time{}, err
	}
	c, err := NewCode(random)
	if err != nil {
		return Code{}, time.Time{}, err
	}
	ends := time.UnixMilli(now.Add(InvitationLife).UnixMilli()).UTC()
	return c, ends, put(w, invitationKey(c.hash()), Invitation{Staff: staff, EndsMS: ends.UnixMilli()})
}

// Claim uses an invitation: it sets the name and the password and ends all earlier sign-ins of the account. The invitation that is wrong,
// expired or used is BAD_CODE; the same request id again with the same name and password, while the invitation lasts, answers the account
// and changes nothing. A suspended account gets BAD_CODE. Too many tries from an address are RATE_LIMITED.
func (d *Door) Claim(ctx context.Context, code, request, name, password string, from Source) (Account, error) {
	if err := d.limiter.TryAddress(d.now(), from); err != nil {
		return Account{}, err
	}
	c, err := ParseCode(code)
	if err != nil {
		return Account{}, err
	}
	if err := d.store.View(ctx, func(r store.Reader) error { _, err := openInvitation(r, d.now(), c); return err }); err != nil {
		return Account{}, err // before the work of hashing
	}
	if err := CheckName(name); err != nil {
		return Account{}, err
	}
	if err := CheckPassword(password, false, name); err != nil {
		return Account{}, err
	}
	hash, err := d.hasher.Hash(ctx, password)
	if err != nil {
		return Account{}, err
	}
	var a Account
	err = d.store.Update(ctx, func(w store.Writer) error {
		a, err = claim(w, d.now(), c, request, name, hash)
		return err
	})
	if err != nil || a.Hash == hash.String() {
		return a, err
	}
	return d.sameAgain(ctx, a, password) // the first answer was lost
}

func (d *Door) sameAgain(ctx context.Context, a Account, password string) (Account, error) {
	stored, err := ParsePasswordHash(a.Hash)
	if err != nil {
		return Account{}, fmt.Errorf("account: %w", ErrStored)
	}
	if ok, err := d.hasher.Matches(ctx, password, &stored); err != nil {
		return Account{}, err
	} else if !ok {
		return Account{}, errBadCode()
	}
	return a, nil
}

func openInvitation(r store.Reader, now time.Time, c Code) (Invitation, error) {
	i, err := get[Invitation](r, invitationKey(c.hash()))
	if errors.Is(err, store.ErrNotFound) || err == nil && now.UnixMilli() >= i.EndsMS {
		return Invitation{}, errBadCode()
	}
	return i, err
}

func claim(w store.Writer, now time.Time, c Code, request, name string, hash PasswordHash) (Account, error) {
	i, err := openInvitation(w, now, c)
	if err != nil {
		return Account{}, err
	}
	a, err := GetAccount(w, i.Staff)
	switch {
	case err != nil:
		return Account{}, err
	case a.Suspended:
		return Account{}, errBadCode()
	case i.Name != "" && request != "" && i.Request == request && i.Name == name:
		return a, nil
	case i.Name != "":
		return Account{}, errBadCode()
	}
	if a, err = SetCredentials(w, i.Staff, name, hash); err != nil {
		return Account{}, err
	}
	i.Request, i.Name = request, name
	return a, put(w, invitationKey(c.hash()), i)
}
