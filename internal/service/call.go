package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
)

// HeaderCall is the server's id of the call, in every answer; the log and the audit have it, too.
const HeaderCall = "Needlebook-Call-Id"

// call is one call while it runs. It belongs to the goroutine that serves it.
type call struct {
	id        string
	procedure string // /package.Service/Method, or the path of another request, which is not logged
	action    optionsv1.Action
	began     time.Time
	from      auth.Source
	principal auth.Principal
	// device is the principal's, as it stood when the call came in; zero without one.
	device auth.Device

	// entered is true once the call has an entry in the audit log.
	entered bool
	// code and reason are how it ended, for the log; inside is the cause that no caller sees.
	code    string
	reason  faultv1.Reason
	inside  error
	release func()
	// idle is true for an exchange of nothing. Tablets wait in it most of the day, so it has no line in the log at the usual level.
	idle bool
	// broken is true when the body did not come as it should.
	broken bool
	// rest is true when the call came by REST; refused is how it failed, nil while it has not.
	rest    bool
	refused *refused
	// bytes in and out of the body, for the log.
	in, out int64
}

type callKey struct{}

// callOf returns the call that a context belongs to. Handlers always have one.
func callOf(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// principalOf is who calls.
func principalOf(ctx context.Context) auth.Principal { return callOf(ctx).principal }

// fail notes how the call ended and returns the error for the caller.
func (c *call) fail(err error) error {
	r := refuse(err, c.id)
	reason := r.entry.Reason
	c.code, c.reason, c.refused = r.code.String(), reason, &r
	if reason == faultv1.Reason_REASON_INTERNAL || reason == faultv1.Reason_REASON_DATA_LOSS {
		c.inside = err
	}
	return r.wire(c.id)
}

// isRPC reports whether a request is a call of the table.
func (c *call) isRPC() bool { return c.action != optionsv1.Action_ACTION_UNSPECIFIED }

func newCall(id string, procedure string, now time.Time) *call {
	return &call{id: id, procedure: procedure, began: now, code: "ok", release: func() {}}
}

// newRequestID makes the server's id of a call.
func newRequestID() string { return uuid.NewString() }
