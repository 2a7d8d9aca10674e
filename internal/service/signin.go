package service

import (
	"context"
	"errors"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// access answers AccessService.
type access struct{ *Service }

// SignIn lets a person in by name and password. Bound to a device only when the device signed it.
func (a *access) SignIn(ctx context.Context, m *accessv1.SignInRequest) (*accessv1.SignInResponse, error) {
	c := callOf(ctx)
	device, err := a.proven(ctx, m)
	if err != nil {
		return nil, err
	}
	account, err := a.door.Check(ctx, m.GetSignInName(), m.GetPassword(), c.from)
	if err == nil && device.ID != uuid.Nil && device.Org != account.Org {
		err = fault.New(faultv1.Reason_REASON_BAD_PASSWORD, "", "", "")
	}
	if err != nil {
		return nil, errors.Join(err, a.enterSignInFailed(ctx, c, device, err))
	}
	tokens, err := a.begin(ctx, c, account, device.ID, nil)
	if err != nil {
		return nil, err
	}
	staff, err := a.staffOf(ctx, account)
	return &accessv1.SignInResponse{Tokens: tokens, Staff: staff}, err
}

// enterSignInFailed enters a failed try. Those over the limit are not entered: the limit bounds what strangers may write.
func (a *access) enterSignInFailed(ctx context.Context, c *call, device auth.Device, cause error) error {
	if !fault.Has(cause, faultv1.Reason_REASON_BAD_PASSWORD) {
		return nil
	}
	return a.enterRead(ctx, c, touched{
		org: device.Org, outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED, reason: faultv1.Reason_REASON_BAD_PASSWORD,
	})
}

// begin makes the tokens of a new sign-in and enters it, after what else is to be done in the same transaction, if anything.
func (a *access) begin(
	ctx context.Context, c *call, account auth.Account, device uuid.UUID, also func(store.Writer) error,
) (*accessv1.Tokens, error) {
	var signIn auth.Refreshed
	err := a.update(ctx, c, func(w store.Writer) (err error) {
		if also != nil {
			if err := also(w); err != nil {
				return err
			}
		}
		if signIn, err = auth.BeginSignIn(w, a.Random, a.Now(), account, device); err != nil {
			return err
		}
		_, err = a.enter(w, c, touched{org: account.Org, staff: account.Staff})
		return err
	})
	if err != nil {
		return nil, err
	}
	return a.tokens(signIn)
}

func (a *access) tokens(r auth.Refreshed) (*accessv1.Tokens, error) {
	text, ends, err := a.signer.Sign(r.Account, r.Device, a.Now())
	if err != nil {
		return nil, err
	}
	return &accessv1.Tokens{
		AccessToken: text, AccessExpiresAt: timestamppb.New(ends), RefreshToken: r.Token, RefreshExpiresAt: timestamppb.New(r.EndsAt),
	}, nil
}

// staffOf is the record of who signed in.
func (a *access) staffOf(ctx context.Context, account auth.Account) (*accessv1.Staff, error) {
	m, _, err := a.readStaff(ctx, account.Org, account.Staff)
	return m, err
}

// Refresh trades a refresh token.
func (a *access) Refresh(ctx context.Context, m *accessv1.RefreshRequest) (*accessv1.RefreshResponse, error) {
	c := callOf(ctx)
	var out *auth.Refreshed
	var refusal error
	err := a.update(ctx, c, func(w store.Writer) (err error) {
		out, refusal, err = auth.Refresh(w, a.Now(), m.GetRefreshToken(), m.GetRequestId(), m.GetProof())
		if err == nil && errors.Is(refusal, auth.ErrReuse) {
			_, err = a.enter(w, c, touched{outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED, reason: faultv1.Reason_REASON_UNAUTHENTICATED})
		}
		return err
	})
	if err = errors.Join(err, refusal); err != nil {
		return nil, err
	}
	tokens, err := a.tokens(*out)
	if err != nil {
		return nil, err
	}
	staff, err := a.staffOf(ctx, out.Account)
	return &accessv1.RefreshResponse{Tokens: tokens, Staff: staff}, err
}

// ClaimInvitation sets a person's name and password by a one-time link. The account has a transaction of its own, since it knows a repeated claim
// by itself; the record and the sign-in follow in one, also when the claim is repeated.
func (a *access) ClaimInvitation(ctx context.Context, m *accessv1.ClaimInvitationRequest) (*accessv1.ClaimInvitationResponse, error) {
	c := callOf(ctx)
	account, err := a.door.Claim(ctx, m.GetToken(), m.GetRequestId(), m.GetSignInName(), m.GetPassword(), c.from)
	if err != nil {
		return nil, err
	}
	tokens, err := a.begin(ctx, c, account, uuid.Nil, func(w store.Writer) error { return a.nameStaff(w, account, m) })
	if err != nil {
		return nil, err
	}
	staff, err := a.staffOf(ctx, account)
	return &accessv1.ClaimInvitationResponse{Tokens: tokens, Staff: staff}, err
}

// nameStaff writes the names that were claimed into the staff record, unless they stand there already.
func (a *access) nameStaff(w store.Writer, account auth.Account, m *accessv1.ClaimInvitationRequest) error {
	o, err := organisationIn(w, account.Org)
	if err != nil {
		return err
	}
	staff, st, err := a.readStaffIn(w, account.Org, account.Staff)
	if err != nil {
		return err
	}
	change := &accessv1.Staff{}
	if name := strings.ToLower(m.GetSignInName()); staff.GetSignInName() != name {
		change.SignInName = &name
	}
	if m.GetName() != nil && staff.GetName().GetFull() != m.GetName().GetFull() {
		change.Name = m.GetName()
	}
	d := draft{
		kind: optionsv1.RecordKind_RECORD_KIND_STAFF, record: account.Staff, context: st.Seen, author: account.Staff, at: a.Now(), purpose: "claim",
		request: []byte(m.GetRequestId()),
	}
	return a.editIn(w, o, d, change)
}
