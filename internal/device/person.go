package device

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/auth"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// Errors of signing in.
var (
	// ErrNobody: nobody ever signed in on this device, so an edit would have no author.
	ErrNobody = errors.New("nobody has signed in on this device yet")
	// ErrSignedOut: the sign-in ended. Work goes on; the next exchange needs a new one.
	ErrSignedOut = errors.New("the sign-in has ended")
)

// Person is who works on the device. She stays its author when her sign-in ends.
type Person struct {
	// Staff is her id; uuid.Nil for nobody.
	Staff uuid.UUID `json:"staff_id"`
	// Name is as others read it, SignInName what she signs in with.
	Name       string `json:"name"`
	SignInName string `json:"sign_in_name"`
	// Access and Refresh are her tokens; empty when the sign-in ended. The store that holds them is the owner's alone to read.
	Access  string `json:"access_token"`
	Refresh string `json:"refresh_token"`
	// Request is the id of a refresh that was begun, stored before it was sent: asked again with it, a lost answer is given again.
	Request string `json:"refresh_request_id,omitempty"`
	// EndsMS is when the sign-in ends if it is not used, by the server's clock, milliseconds since 1970 UTC.
	EndsMS int64 `json:"ends_unix_ms"`
}

// SignedIn reports whether she has a sign-in that may still be good.
func (p Person) SignedIn() bool { return p.Refresh != "" }

// Person is who works on the device now.
func (d *Device) Person() Person { return d.person }

// SignIn signs a person in by name and password. Who worked before is replaced; what she made stays hers.
func (d *Device) SignIn(ctx context.Context, name, password string) error {
	w, err := d.wire()
	if err != nil {
		return err
	}
	id, err := d.newID()
	if err != nil {
		return err
	}
	request, device := id.String(), d.identity.Device.String()
	proof, err := d.signer.sign(auth.SignInStatement(name, request))
	if err != nil {
		return err
	}
	m := &accessv1.SignInRequest{SignInName: name, Password: password, DeviceId: &device, RequestId: &request, Proof: proof}
	resp, err := once(ctx, w, w.access.SignIn, m)
	if refusedFor(err, faultv1.Reason_REASON_DEVICE_REVOKED) {
		return d.wipedBy(ctx, err) // nobody can sign in here any more, so no exchange would say so
	}
	if err != nil {
		return err
	}
	return d.signedIn(ctx, resp.GetTokens(), resp.GetStaff())
}

// signedIn stores what a sign-in or a refresh gave.
func (d *Device) signedIn(ctx context.Context, t *accessv1.Tokens, staff *accessv1.Staff) error {
	id, err := uuid.Parse(staff.GetId())
	if err != nil {
		return fmt.Errorf("answer to the sign-in: staff id: %w", err)
	}
	d.person = Person{
		Staff: id, Name: staff.GetName().GetFull(), SignInName: staff.GetSignInName(), Access: t.GetAccessToken(), Refresh: t.GetRefreshToken(),
		EndsMS: t.GetRefreshExpiresAt().AsTime().UnixMilli(),
	}
	return d.savePerson(ctx)
}

func (d *Device) savePerson(ctx context.Context) error {
	return d.commit(ctx, replica.Changes{}, note{personName, d.person})
}

// refresh trades the refresh token for new tokens. When the server refuses it the sign-in has ended: the tokens go, the person stays.
func (d *Device) refresh(ctx context.Context, w *wire) error {
	if !d.person.SignedIn() {
		return ErrSignedOut
	}
	if d.person.Request == "" {
		id, err := d.newID()
		if err != nil {
			return err
		}
		d.person.Request = id.String()
		if err := d.savePerson(ctx); err != nil {
			return err
		}
	}
	token, request := d.person.Refresh, d.person.Request
	proof, err := d.signer.sign(auth.RefreshStatement(token, request))
	if err != nil {
		return err
	}
	resp, err := again(ctx, w, w.access.Refresh, &accessv1.RefreshRequest{RefreshToken: token, RequestId: request, Proof: proof})
	if refusedFor(err, faultv1.Reason_REASON_UNAUTHENTICATED) {
		d.person.Access, d.person.Refresh, d.person.Request = "", "", ""
		return errors.Join(ErrSignedOut, d.savePerson(ctx))
	}
	if err != nil {
		return err
	}
	return d.signedIn(ctx, resp.GetTokens(), resp.GetStaff())
}

// signed makes a call in the person's name, and refreshes her access token once when it is not good any more.
func signed[Q, R any](ctx context.Context, d *Device, w *wire, call func(context.Context, *Q) (*R, error), req *Q) (*R, error) {
	if d.person.Staff == uuid.Nil {
		return nil, ErrNobody
	}
	for fresh := false; ; fresh = true {
		if d.person.Access == "" {
			if err := d.refresh(ctx, w); err != nil {
				return nil, err
			}
		}
		w.count.token.Store(&d.person.Access)
		resp, err := again(ctx, w, call, req)
		w.count.token.Store(nil)
		if fresh || !refusedFor(err, faultv1.Reason_REASON_UNAUTHENTICATED) {
			return resp, err
		}
		d.person.Access = ""
	}
}

// author is who makes edits now, and when it is by the device's clock.
func (d *Device) author() (record.ID, time.Time, error) {
	if d.person.Staff == uuid.Nil {
		return record.ID{}, time.Time{}, ErrNobody
	}
	return record.ID(d.person.Staff), d.cfg.Now(), nil
}
