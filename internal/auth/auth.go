// Package auth decides who comes in and what they may do: passwords, access and refresh tokens, devices and the codes that enrol them,
// invitations, the table of rights, and the clinic's own certificate authority.
//
// Use: a handler asks Verifier.Verify for the Claims of an access token, Admit for the Principal behind them as it stands now, and Decide
// whether the principal may do the action of the RPC to the record at hand. Everything that lasts lives under the table byte 'a' of a store
// (keys.go) and is read and written inside the caller's transaction; the caller gives the time and the source of randomness.
//
// Promise: what is not in the table of rights is denied. Tokens, codes, invitations and passwords are stored only as hashes. Each kind of
// refusal has one answer, whatever was wrong: BAD_PASSWORD, UNAUTHENTICATED, BAD_CODE, NOT_FOUND. Lengths and numbers of things that
// outsiders make are bounded. Functions may be called concurrently unless they say otherwise; those that take a store.Reader or store.Writer
// follow its rules.
package auth

import (
	"needlebook/internal/fault"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// errUnauthenticated is the one answer to every token that is not good.
func errUnauthenticated() *fault.Error {
	return fault.New(faultv1.Reason_REASON_UNAUTHENTICATED, "", "", "")
}

// errBadCode is the one answer to every code and invitation that is not good.
func errBadCode() *fault.Error {
	return fault.New(faultv1.Reason_REASON_BAD_CODE, "", "", "")
}

// errNotFound is the one answer to what is missing and to what belongs to another organisation.
func errNotFound() *fault.Error {
	return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
}
