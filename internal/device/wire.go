package device

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync/atomic"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/genproto/googleapis/rpc/errdetails"

	"needlebook/gen/needlebook/access/v1/accessv1connect"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/fault"
)

// AwayError says that the server could not be reached, or that what answered is not it. Nothing was lost by it.
type AwayError struct {
	// Server is the address that was tried.
	Server string
	// Cause is what the network said.
	Cause error
}

func (e *AwayError) Error() string {
	return fmt.Sprintf("the server at %s does not answer: %v", e.Server, plainCause(e.Cause))
}

// Unwrap gives the cause.
func (e *AwayError) Unwrap() error { return e.Cause }

// plainCause leaves Connect's own code out of what the network said.
func plainCause(err error) error {
	var made *connect.Error
	if errors.As(err, &made) {
		if inner := made.Unwrap(); inner != nil {
			return inner
		}
	}
	return err
}

// RefusedError is a refusal of the server's.
type RefusedError struct {
	// Fault carries the reason.
	Fault *fault.Error
	// Text is what the server says, which names the field and what was read.
	Text string
	// Wait is how long to wait before the next try; 0 when the server names no time.
	Wait time.Duration
}

// Error is the server's text and, from the catalogue, what to do.
func (e *RefusedError) Error() string {
	entry, ok := fault.Lookup(e.Fault.Reason)
	if !ok {
		return e.Text
	}
	if e.Wait > 0 {
		return fmt.Sprintf("%s. %s (%s)", e.Text, entry.Fix, e.Wait.Round(time.Second))
	}
	return e.Text + ". " + entry.Fix
}

func (e *RefusedError) is(reason faultv1.Reason) bool { return e.Fault.Reason == reason }

// refusedFor reports whether err is a refusal of the server's for a reason.
func refusedFor(err error, reason faultv1.Reason) bool {
	var refused *RefusedError
	return errors.As(err, &refused) && refused.is(reason)
}

// domain is the domain of a refusal's details.
const domain = "needlebook"

// RefusalOf is the refusal of the server's that an error from the wire carries; nil when it carries none, and so is none of the server's.
func RefusalOf(err error) *RefusedError {
	refused, wait := refusalOf(err)
	if refused != nil {
		refused.Wait = wait
	}
	return refused
}

// refusalOf is the refusal that an error from the wire carries, with how long to wait before the next try; nil when it carries none.
func refusalOf(err error) (*RefusedError, time.Duration) {
	var made *connect.Error
	if !errors.As(err, &made) {
		return nil, 0
	}
	var refused *RefusedError
	var wait time.Duration
	for _, detail := range made.Details() {
		value, err := detail.Value()
		if err != nil {
			continue
		}
		switch m := value.(type) {
		case *errdetails.ErrorInfo:
			reason := faultv1.Reason(faultv1.Reason_value["REASON_"+m.GetReason()])
			if m.GetDomain() == domain && reason != faultv1.Reason_REASON_UNSPECIFIED {
				f := fault.New(reason, m.GetMetadata()["field"], "", "")
				for k, v := range m.GetMetadata() {
					f = f.With(k, v)
				}
				refused = &RefusedError{Fault: f, Text: made.Message()}
			}
		case *errdetails.RetryInfo:
			wait = m.GetRetryDelay().AsDuration()
		}
	}
	return refused, wait
}

// Traffic is what went over the wire. Bytes are those of bodies as they were sent, packed.
type Traffic struct {
	RoundTrips int64
	BytesUp    int64
	BytesDown  int64
}

// wire is the way to the server.
type wire struct {
	cfg    Config
	server string
	access accessv1connect.AccessServiceClient
	sync   syncv1connect.SyncServiceClient
	count  counter
}

// wire makes the way to the server as the identity names it.
func (d *Device) wire() (*wire, error) {
	w := &wire{cfg: d.cfg, server: d.identity.Server}
	w.count.next = d.cfg.Transport
	if w.count.next == nil {
		if d.own == nil { // made once, so that the next call finds the connection open
			own, err := Transport(d.identity.Authority)
			if err != nil {
				return nil, err
			}
			d.own = own
		}
		w.count.next = d.own
	}
	client := &http.Client{Transport: &w.count, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	options := packing()
	w.access = accessv1connect.NewAccessServiceClient(client, w.server, options...)
	w.sync = syncv1connect.NewSyncServiceClient(client, w.server, options...)
	return w, nil
}

// Transport is a way to a server whose certificate the authority signed, PEM; where it is empty, one of those that the system trusts.
func Transport(authority string) (*http.Transport, error) {
	t := &http.Transport{
		Proxy: http.ProxyFromEnvironment, DialContext: (&net.Dialer{Timeout: 10 * time.Second}).DialContext, TLSHandshakeTimeout: 10 * time.Second,
		ForceAttemptHTTP2: true, IdleConnTimeout: 30 * time.Second,
	}
	if authority == "" {
		return t, nil
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM([]byte(authority)) {
		return nil, errors.New("the certificate to trust is not one in PEM")
	}
	t.TLSClientConfig = &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}
	return t, nil
}

// mostAnswerBytes bounds an answer when unpacked: a thousand records of the largest size.
const mostAnswerBytes = 64 << 20

// counter counts what goes over the wire.
type counter struct {
	next     http.RoundTripper
	trips    atomic.Int64
	up, down atomic.Int64
	token    atomic.Pointer[string]
}

func (c *counter) traffic() Traffic {
	return Traffic{RoundTrips: c.trips.Load(), BytesUp: c.up.Load(), BytesDown: c.down.Load()}
}

// RoundTrip implements http.RoundTripper.
func (c *counter) RoundTrip(r *http.Request) (*http.Response, error) {
	c.trips.Add(1)
	r = r.Clone(r.Context())
	if r.Body != nil {
		r.Body = &countedBody{r.Body, &c.up}
	}
	if token := c.token.Load(); token != nil {
		r.Header.Set("Authorization", "Bearer "+*token)
	}
	resp, err := c.next.RoundTrip(r)
	if err == nil {
		resp.Body = &countedBody{resp.Body, &c.down}
	}
	return resp, err
}

type countedBody struct {
	io.ReadCloser
	count *atomic.Int64
}

func (b *countedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	b.count.Add(int64(n))
	return n, err
}

// once makes one call, which is tried once.
func once[Q, R any](ctx context.Context, w *wire, call func(context.Context, *Q) (*R, error), req *Q) (*R, error) {
	resp, _, err := attempt(ctx, w, call, req)
	return resp, err
}

// again makes a call that may be repeated without harm: it tries again while the server is away or asks for it, a few times.
func again[Q, R any](ctx context.Context, w *wire, call func(context.Context, *Q) (*R, error), req *Q) (*R, error) {
	pause := w.cfg.Pause
	for n := 1; ; n++ {
		resp, wait, err := attempt(ctx, w, call, req)
		if err == nil || n == w.cfg.Tries || !worthAgain(err) || wait > mostWait {
			return resp, err
		}
		if err := sleep(ctx, max(wait, pause)); err != nil {
			return nil, err
		}
		pause *= 2
	}
}

// mostWait is how long a person waits for a command before she would rather be told.
const mostWait = 10 * time.Second

// worthAgain reports whether the same call may succeed soon.
func worthAgain(err error) bool {
	var away *AwayError
	return errors.As(err, &away) && !distrusted(err) || refusedFor(err, faultv1.Reason_REASON_RATE_LIMITED)
}

// distrusted reports whether the server was reached and its certificate is not one to trust.
func distrusted(err error) bool {
	var bad *tls.CertificateVerificationError
	return errors.As(err, &bad)
}

// attempt makes one try, and says what went wrong as an AwayError, a RefusedError, or the context's error.
func attempt[Q, R any](ctx context.Context, w *wire, call func(context.Context, *Q) (*R, error), req *Q) (*R, time.Duration, error) {
	within, cancel := context.WithTimeout(ctx, w.cfg.Timeout)
	defer cancel()
	resp, err := call(within, req)
	if err == nil {
		return resp, 0, nil
	}
	if ctx.Err() != nil {
		return nil, 0, ctx.Err()
	}
	refused, wait := refusalOf(err)
	switch {
	case refused == nil || refused.is(faultv1.Reason_REASON_UNAVAILABLE):
		return nil, wait, &AwayError{Server: w.server, Cause: err}
	default:
		refused.Wait = wait
		return nil, wait, refused
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
