package service

import (
	"bytes"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// How a signer showed who she is.
const (
	proofPassword = "password"
	proofDevice   = "unlocked_device"
)

// SignSession signs a session as it was on the caller's screen, whatever came since: that is late, and to be countersigned.
func (h *charting) SignSession(ctx context.Context, m *chartv1.SignSessionRequest) (*chartv1.SignSessionResponse, error) {
	key, err := sessionKey(m.GetSessionId())
	if err != nil {
		return nil, err
	}
	seen, err := chart.ReadContext(m.GetContext())
	if err != nil {
		return nil, err
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	_, t, err := d.read(ctx, key)
	if err != nil {
		return nil, err
	}
	shown, err := d.ledger.ReadAt(ctx, d.org, key, seen)
	if err != nil {
		return nil, err
	}
	if digest := shown.Digest(); !bytes.Equal(digest[:], m.GetDigest()) {
		return nil, fault.New(faultv1.Reason_REASON_SIGNED_VALUES_DIFFER, "digest", "", "")
	}
	signing := chart.Signing{Meaning: m.GetMeaning(), Statement: m.GetStatement(), Role: d.signingRole(t.clinic)}
	if signing.Proof, err = d.proveSigner(ctx, m.GetPassword()); err != nil {
		return nil, err
	}
	out, err := d.editOnce(ctx, m.GetRequestId(), t, func(at time.Time, _ bool) (chart.Change, error) {
		id, err := optionalID("request_id", &m.RequestId)
		signing.ID, signing.By = id, d.actAt(at)
		if err != nil {
			return chart.Change{}, err
		}
		return d.chart.Sign(shown, signing)
	})
	if err != nil {
		return nil, err
	}
	resp := &chartv1.SignSessionResponse{View: out.view, AlreadyApplied: out.again}
	for _, s := range out.view.GetRecord().GetSession().GetSignatures() {
		if s.GetId() == m.GetRequestId() {
			resp.Signature = s
		}
	}
	return resp, nil
}

// proveSigner is how the signer showed who she is. Without a password it is the device that she unlocked, or nothing that is worth recording.
func (d *desk) proveSigner(ctx context.Context, password string) (string, error) {
	p := d.call.principal
	if password == "" {
		if p.Device != uuid.Nil {
			return proofDevice, nil
		}
		return "", nil
	}
	var account auth.Account
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		account, err = auth.GetAccount(r, p.Staff)
		return err
	})
	if err != nil {
		return "", err
	}
	proved, err := d.door.Check(ctx, account.Name, password, d.call.from)
	if err == nil && proved.Staff != p.Staff {
		err = fault.New(faultv1.Reason_REASON_BAD_PASSWORD, "password", "", "")
	}
	return proofPassword, err
}

// signingRole is the role in which the caller signs at a clinic: that of the injector before that of the lead.
func (d *desk) signingRole(clinic uuid.UUID) accessv1.Role {
	var roles []accessv1.Role
	for _, p := range d.call.principal.Positions {
		if p.Clinic == uuid.Nil || clinic == uuid.Nil || p.Clinic == clinic {
			roles = append(roles, p.Roles...)
		}
	}
	for _, r := range []accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD} {
		if slices.Contains(roles, r) {
			return r
		}
	}
	return accessv1.Role_ROLE_UNSPECIFIED
}
