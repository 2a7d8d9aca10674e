package service

import (
	"encoding/json"
	"net/http"
	"strings"

	"connectrpc.com/connect"
	"connectrpc.com/vanguard"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/rest"
)

// restHandler turns calls by REST into calls of the handlers themselves, so that every right, limit and entry of the audit log is that of Connect. It
// finds the route again that enterREST found; a body goes through as it came.
func (s *Service) restHandler(mux http.Handler) http.Handler {
	var services []*vanguard.Service
	for _, d := range Services() {
		services = append(services, vanguard.NewServiceWithSchema(d, mux, vanguard.WithTargetProtocols(vanguard.ProtocolConnect),
			vanguard.WithTargetCodecs("json", "proto"), vanguard.WithTargetCompression("gzip", "zstd"),
			vanguard.WithMaxMessageBufferBytes(MaxMessageBytes)))
	}
	transcoder, err := vanguard.NewTranscoder(services,
		vanguard.WithCompression("gzip", newGzipCompressor, newGzipDecompressor), vanguard.WithCompression("zstd", newZstdCompressor, newZstdDecompressor))
	if err != nil {
		panic(err) // of the schema alone; ReadRoutes is stricter, and every test comes through here
	}
	return transcoder
}

// isREST reports whether a request is for a path of REST, where Connect has nothing.
func isREST(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, rest.Prefix) }

// enterREST finds the call that a request by REST makes, and refuses what its line and headers show to be wrong.
func (s *Service) enterREST(c *call, out *answerWriter, r *http.Request) error {
	route, ok := s.rest.Find(r.URL.Path)
	if !ok {
		out.status = http.StatusNotFound
		return fault.New(faultv1.Reason_REASON_NOT_FOUND, "path", "", "a path of docs/rest.md")
	}
	c.procedure = route.Procedure
	status, err := route.Check(r.Method, r.Header.Get("Content-Type"), r.URL.RawQuery)
	if err == nil {
		return nil
	}
	if out.status = status; status == http.StatusMethodNotAllowed {
		out.Header().Set("Allow", route.Verb)
	}
	return err
}

// finishREST sends a failed call's problem in place of what the transcoder wrote.
func (w *answerWriter) finishREST() {
	if w.call.refused == nil {
		_ = w.call.fail(connect.NewError(transcodedCode(w.held.Bytes(), w.code), nil))
	}
	w.held = nil
	w.call.refused.problem(w.call.id, w.status).Write(countedWriter{w.ResponseWriter, w.call})
}

// transcodedCode is the code of an error that came before the handler: of a google.rpc.Status, or of the HTTP status alone.
func transcodedCode(body []byte, status int) connect.Code {
	var wire struct {
		Code uint32 `json:"code"`
	}
	code := connect.CodeInvalidArgument
	if err := json.Unmarshal(body, &wire); err == nil {
		code = connect.Code(wire.Code)
	}
	if code >= connect.CodeCanceled && code <= connect.CodeUnauthenticated && wire.Code != 0 {
		return code
	}
	switch status {
	case http.StatusRequestEntityTooLarge:
		return connect.CodeResourceExhausted
	case http.StatusInternalServerError:
		return connect.CodeInternal
	}
	return connect.CodeInvalidArgument
}

// countedWriter counts what goes out for the log.
type countedWriter struct {
	http.ResponseWriter
	call *call
}

func (w countedWriter) Write(p []byte) (int, error) {
	n, err := w.ResponseWriter.Write(p)
	w.call.out += int64(n)
	return n, err
}
