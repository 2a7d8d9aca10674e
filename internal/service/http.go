package service

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// Pace of a request's body. A body that stands still, or trickles, is dropped; a slow line is not.
const (
	bodyStandstill = 10 * time.Second
	bodyLeastRate  = 1 << 10 // bytes a second on average, after the first bodyStandstill
	bodyAtMost     = 2 * time.Minute
)

// Handler answers all RPCs, as Connect and gRPC under their names and as REST below /v1/, each with a log line. Mount it at the root; paths that are no
// RPC get not_found.
func (s *Service) Handler() http.Handler {
	mux := s.routes()
	rest := s.restHandler(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := newCall(newRequestID(), r.URL.Path, s.Now())
		c.from.Address = addressOf(r)
		w.Header().Set(HeaderCall, c.id)
		out := &answerWriter{ResponseWriter: w, call: c}
		defer s.finish(c, out, r)
		next, err := http.Handler(mux), error(nil)
		if c.rest = isREST(r); c.rest {
			next, err = rest, s.enterREST(c, out, r)
		}
		if c.action = s.actions[c.procedure]; err == nil && !c.isRPC() {
			c.rest = r.Method != http.MethodPost || !s.errorWriter.IsSupported(r) // a browser, say
			err = fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
		}
		if err != nil {
			s.writeError(out, r, c.fail(err))
			return
		}
		r.Body = &pacedBody{ReadCloser: r.Body, call: c, control: http.NewResponseController(w), now: time.Now, began: time.Now()}
		next.ServeHTTP(out, r.WithContext(context.WithValue(r.Context(), callKey{}, c)))
	})
}

// writeError answers with a failed call's error where no handler does.
func (s *Service) writeError(out *answerWriter, r *http.Request, err error) {
	if out.call.rest {
		out.WriteHeader(http.StatusInternalServerError) // held: finish has the problem and its own status
		return
	}
	_ = s.errorWriter.Write(out, r, err) // the client may be gone
}

// finish ends a call, whatever became of it: a panic that the interceptor did not see, the error's details, the log line.
func (s *Service) finish(c *call, out *answerWriter, r *http.Request) {
	c.release()
	if p := recover(); p != nil {
		if p == http.ErrAbortHandler { //nolint:errorlint // a sentinel of net/http that is compared so
			panic(p)
		}
		err := c.fail(s.panicked(c, p))
		if !out.begun {
			s.writeError(out, r, err)
		}
	}
	out.finish()
	s.logCall(c)
}

// panicked logs a panic and returns what the caller is told. The value is logged only when the runtime made it: another may hold what a
// patient said.
func (s *Service) panicked(c *call, p any) error {
	what := fmt.Sprintf("%T", p)
	if e, ok := p.(interface {
		error
		RuntimeError()
	}); ok {
		what = e.Error()
	}
	s.Log.Error("panic in a call", "request", c.id, "procedure", c.procedure, "panic", what, "stack", string(debug.Stack()))
	return fault.New(faultv1.Reason_REASON_INTERNAL, "", "", "")
}

// logCall writes the one line of a call: ids, figures and reasons, nothing that came in a message.
func (s *Service) logCall(c *call) {
	s.count(c)
	level := slog.LevelInfo
	switch {
	case c.inside != nil:
		level = slog.LevelError
	case c.idle:
		level = slog.LevelDebug
	}
	if !s.Log.Enabled(context.Background(), level) {
		return
	}
	procedure := strings.TrimPrefix(c.procedure, "/")
	if !c.isRPC() {
		procedure = "(none)" // a path may hold anything
	}
	attrs := []slog.Attr{
		slog.String("procedure", procedure), slog.String("code", c.code), slog.String("request", c.id),
		slog.Duration("took", s.Now().Sub(c.began)), slog.Int64("in_bytes", c.in), slog.Int64("out_bytes", c.out),
	}
	if c.reason != faultv1.Reason_REASON_UNSPECIFIED {
		attrs = append(attrs, slog.String("reason", reasonName(c.reason)))
	}
	if !c.principal.Nobody() {
		attrs = append(attrs, slog.String("org", c.principal.Org.String()), slog.String("staff", c.principal.Staff.String()))
	}
	if c.principal.Device != uuid.Nil {
		attrs = append(attrs, slog.String("device", c.principal.Device.String()))
	}
	if c.inside != nil {
		attrs = append(attrs, slog.String("cause", causeOf(c.inside)))
	}
	s.Log.LogAttrs(context.Background(), level, "call", attrs...)
}

// causeOf is the text of an inner error for the log, bounded. Errors of our packages hold no patient data (package fault says what they may hold).
func causeOf(err error) string {
	var refusal *fault.Error
	if errors.As(err, &refusal) && refusal.Err != nil {
		err = refusal.Err
	}
	text := err.Error()
	if len(text) > 300 {
		text = text[:300]
	}
	return strings.ToValidUTF8(text, "?")
}

func addressOf(r *http.Request) netip.Addr {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap()
}

// pacedBody is a body that must come at a pace.
type pacedBody struct {
	io.ReadCloser
	call    *call
	control *http.ResponseController
	now     func() time.Time
	began   time.Time
}

var errTooSlow = errors.New("body came too slowly")

func (b *pacedBody) Read(p []byte) (int, error) {
	deadline := min(b.now().Add(bodyStandstill).UnixNano(), b.began.Add(bodyAtMost).UnixNano())
	_ = b.control.SetReadDeadline(time.Unix(0, deadline)) // unsupported only in tests without a connection
	n, err := b.ReadCloser.Read(p)
	b.call.in += int64(n)
	took := b.now().Sub(b.began)
	if err == nil && took > bodyStandstill && b.call.in < int64(took/time.Second)*bodyLeastRate {
		err = errTooSlow
	}
	if errors.Is(err, io.EOF) {
		_ = b.control.SetReadDeadline(time.Time{})
	} else if err != nil {
		b.call.broken = true
	}
	return n, err
}

// answerWriter counts what goes out, and holds back an error of the Connect protocol that has no reason yet, so that finish can give it one.
type answerWriter struct {
	http.ResponseWriter
	call  *call
	begun bool
	held  *bytes.Buffer // the body of an error that Connect or the transcoder wrote
	code  int
	// status is what REST answers in place of what the catalogue says; 0 for that.
	status int
}

func (w *answerWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *answerWriter) WriteHeader(code int) {
	if w.begun {
		return
	}
	w.begun = true
	if w.call.broken { // or net/http would wait for the rest of the body
		w.Header().Set("Connection", "close")
	}
	if code >= 400 && w.call.rest {
		w.held, w.code = &bytes.Buffer{}, code
		return
	}
	if code >= 400 && w.call.code == "ok" && strings.HasPrefix(w.Header().Get("Content-Type"), "application/json") {
		w.held, w.code = &bytes.Buffer{}, code
		return
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *answerWriter) Write(p []byte) (int, error) {
	if !w.begun {
		w.WriteHeader(http.StatusOK)
	}
	if w.held != nil {
		return w.held.Write(p)
	}
	n, err := w.ResponseWriter.Write(p)
	w.call.out += int64(n)
	return n, err
}

// Flush lets streams through.
func (w *answerWriter) Flush() {
	if w.held == nil {
		_ = http.NewResponseController(w.ResponseWriter).Flush()
	}
}

// finish sends an error that was held back, with a reason of the catalogue in place of the framework's text.
func (w *answerWriter) finish() {
	switch {
	case w.held == nil:
		return
	case w.call.rest:
		w.finishREST()
		return
	}
	var wire struct {
		Code connect.Code `json:"code"`
	}
	if err := json.Unmarshal(w.held.Bytes(), &wire); err != nil {
		wire.Code = connect.CodeInternal
	}
	w.held = nil
	var made *connect.Error
	if err := w.call.fail(connect.NewError(wire.Code, nil)); !errors.As(err, &made) {
		return
	}
	body, err := json.Marshal(wireJSON(made))
	if err != nil {
		return
	}
	w.Header().Del("Content-Length")
	w.Header().Del("Content-Encoding")
	w.ResponseWriter.WriteHeader(w.code)
	n, _ := w.ResponseWriter.Write(body) // the client may be gone
	w.call.out += int64(n)
}

// wireJSON is an error as the Connect protocol writes it.
func wireJSON(e *connect.Error) map[string]any {
	details := []map[string]string{}
	for _, d := range e.Details() {
		details = append(details, map[string]string{"type": d.Type(), "value": encodeDetail(d.Bytes())})
	}
	return map[string]any{"code": e.Code().String(), "message": e.Message(), "details": details}
}

// encodeDetail is base64 without padding, as the protocol wants.
func encodeDetail(b []byte) string { return base64.RawStdEncoding.EncodeToString(b) }
