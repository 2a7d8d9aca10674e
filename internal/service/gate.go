package service

import (
	"context"
	"net/http"
	"strconv"
	"strings"

	"connectrpc.com/connect"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// gate decides, before anything of the body is decoded, who calls and whether she may do this at all. Handlers decide further where a record
// is at hand.
func (s *Service) gate(ctx context.Context, spec connect.Spec, _ connect.Peer, header http.Header) (context.Context, error) {
	c := callOf(ctx)
	if err := s.admit(ctx, c, header); err != nil {
		return nil, c.fail(err)
	}
	if err := s.running.enter(c); err != nil {
		return nil, c.fail(err)
	}
	if err := auth.Decide(c.principal, c.action, auth.Subject{Relation: auth.NoRecord}); err != nil {
		err = withoutDevice(c, err)
		s.enterRefused(ctx, c, err)
		return nil, c.fail(err)
	}
	return ctx, nil
}

// admit finds out who stands behind the token, as she stands now. Public calls have nobody.
func (s *Service) admit(ctx context.Context, c *call, header http.Header) error {
	if c.action == optionsv1.Action_ACTION_PUBLIC && (c.procedure != syncv1connect.SyncServiceHandInSealedProcedure || bearer(header) == "") {
		return nil // a hand-in may come from a person or from the device itself
	}
	claims, err := s.verifier.Verify(bearer(header))
	if err != nil {
		return err
	}
	return s.Store.View(ctx, func(r store.Reader) error {
		p, err := s.admitted.Admit(r, claims)
		if err != nil {
			return err
		}
		c.principal, c.from.Device = p, p.Device
		if p.Device != uuid.Nil {
			c.device, err = s.admitted.Device(r, p.Org, p.Device)
		}
		return err
	})
}

// withoutDevice says of a refused sync that its sign-in is not bound to a device: no role would help.
func withoutDevice(c *call, err error) error {
	if c.action != optionsv1.Action_ACTION_SYNC || c.principal.Nobody() || c.principal.Device != uuid.Nil {
		return err
	}
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "access token", "of a sign-in without a device", "one of a sign-in that names device_id and proof")
}

// bearer is the token of the Authorization header (RFC 6750), or nothing.
func bearer(header http.Header) string {
	scheme, token, ok := strings.Cut(header.Get("Authorization"), " ")
	if !ok || !strings.EqualFold(scheme, "bearer") {
		return ""
	}
	return token
}

// proven returns the device that took part in a sign-in, or the zero device when the request names none.
func (s *Service) proven(ctx context.Context, m *accessv1.SignInRequest) (auth.Device, error) {
	if m.DeviceId == nil {
		return auth.Device{}, nil
	}
	c := callOf(ctx)
	statement := auth.SignInStatement(m.GetSignInName(), m.GetRequestId())
	device, err := uuid.Parse(m.GetDeviceId())
	if err != nil {
		return auth.Device{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "device_id", "", "a UUID")
	}
	var d auth.Device
	err = s.Store.View(ctx, func(r store.Reader) (err error) {
		d, err = auth.ProveDevice(r, device, statement, m.GetProof())
		return err
	})
	if fault.Has(err, faultv1.Reason_REASON_UNAUTHENTICATED) { // of a device that is unknown the same is said: which there are is nobody's business
		err = fault.New(faultv1.Reason_REASON_UNAUTHENTICATED, "proof", strconv.Itoa(len(m.GetProof()))+" bytes that do not fit",
			"the signature of this device over the sign-in's statement")
	}
	if err == nil {
		c.from.Device = d.ID
	}
	return d, err
}
