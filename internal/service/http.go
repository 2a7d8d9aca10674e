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

// Handler answers all RPCs, each with a log line. Mount it at the root; paths that are no RPC get not_found.
func (s *Service) Handler() http.Handler {
	mux := s.routes()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := newCall(newRequestID(), r.URL.Path, s.Now())
		c.action = s.actions[r.URL.Path]
		c.from.Address = addressOf(r)
		w.Header().Set(HeaderCall, c.id)
		out := &answerWriter{ResponseWriter: w, call: c}
		defer s.finish(c, out, r)
		if !c.isRPC() {
			_ = s.errorWriter.Write(out, r, c.fail(fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")))
			return
		}
		r.Body = &pacedBody{ReadCloser: r.Body, call: c, control: http.NewResponseController(w), now: time.Now, began: time.Now()}
		mux.ServeHTTP(out, r.WithContext(context.WithValue(r.Context(), callKey{}, c)))
	})
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
			_ = s.errorWriter.Write(out, r, err)
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
	held  *bytes.Buffer // the body of an error that Connect wrote
	code  int
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
	if w.held == nil {
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
