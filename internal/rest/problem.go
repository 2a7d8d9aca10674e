package rest

import (
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// ProblemType is the media type of a Problem.
const ProblemType = "application/problem+json"

// Problem is a refusal as RFC 9457 writes it, with the words of the catalogue (docs/errors.md). It holds no patient data, password, code or token.
type Problem struct {
	// Type is the address, below the server's own, of what is to be known about the reason.
	Type string `json:"type"`
	// Title says in one sentence what happened, the same for every refusal of this reason.
	Title string `json:"title"`
	// Status is the HTTP status.
	Status int `json:"status"`
	// Detail is this refusal: each field, what was read there and what is wanted.
	Detail string `json:"detail"`
	// Code is the kind of the refusal in the words of google.rpc.Code, lower case; Reason is the catalogue's, to branch on.
	Code   string `json:"code"`
	Reason string `json:"reason"`
	// Field is the first field refused, as a path of the schema; empty when the refusal is of no field.
	Field string `json:"field,omitempty"`
	Cause string `json:"cause"`
	Fix   string `json:"fix"`
	// Again is true when the same request, unchanged, may succeed later; RetryAfterMS says after how long, in milliseconds.
	Again        bool  `json:"again"`
	RetryAfterMS int64 `json:"retry_after_ms,omitempty"`
	// CallID is the server's id of the call; its log has it.
	CallID string `json:"call_id,omitempty"`
	// Metadata holds figures for programs.
	Metadata map[string]string `json:"metadata,omitempty"`
	// Violations are all fields refused, in the order in which they were found.
	Violations []Violation `json:"violations,omitempty"`
}

// Violation is one field refused.
type Violation struct {
	Field  string `json:"field"`
	Reason string `json:"reason"`
	// Read is what was found there, shortened and made safe, or its length where it may not be shown; Want is what is wanted.
	Read string `json:"read,omitempty"`
	Want string `json:"want,omitempty"`
}

// NewProblem describes refusals, of which there must be one or more; the first decides. detail is their text. retry is how long to wait before trying
// again, 0 where that does not help.
func NewProblem(refusals []*fault.Error, status int, code, detail, callID string, retry time.Duration) Problem {
	first := refusals[0]
	entry, ok := fault.Lookup(first.Reason)
	if !ok {
		entry, _ = fault.Lookup(faultv1.Reason_REASON_INTERNAL)
	}
	p := Problem{
		Type: ErrorsPath + "#" + fault.Name(entry.Reason), Title: entry.Meaning, Status: status, Detail: detail, Code: code, Reason: fault.Name(entry.Reason),
		Field: first.Field, Cause: entry.Cause, Fix: entry.Fix, Again: entry.Retry, RetryAfterMS: retry.Milliseconds(), CallID: callID, Metadata: first.Meta,
	}
	for _, r := range refusals {
		if r.Field != "" {
			p.Violations = append(p.Violations, Violation{Field: r.Field, Reason: fault.Name(r.Reason), Read: r.Read, Want: r.Want})
		}
	}
	return p
}

// Write answers with the problem.
func (p Problem) Write(w http.ResponseWriter) {
	body, err := json.Marshal(p)
	if err != nil { // a struct of texts and figures
		panic(err)
	}
	h := w.Header()
	for _, name := range []string{"Content-Length", "Content-Encoding", "Trailer"} {
		h.Del(name)
	}
	h.Set("Content-Type", ProblemType)
	if p.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", "Bearer") // RFC 9110, 11.6.1
	}
	if p.RetryAfterMS > 0 {
		h.Set("Retry-After", strconv.FormatInt((p.RetryAfterMS+999)/1000, 10)) // whole seconds
	}
	w.WriteHeader(p.Status)
	_, _ = w.Write(body) // the client may be gone
}

// Refuse answers a plain HTTP request, which is no call, with one refusal.
func Refuse(w http.ResponseWriter, status int, e *fault.Error) {
	entry, _ := fault.Lookup(e.Reason)
	NewProblem([]*fault.Error{e}, status, string(entry.Class), e.Error(), "", 0).Write(w)
}

// StatusOf is the HTTP status of a refusal: that of its class as google.rpc.Code maps to HTTP, narrower where HTTP has a status of its own.
func StatusOf(reason faultv1.Reason, class fault.Class) int {
	switch reason {
	case faultv1.Reason_REASON_TOO_LARGE, faultv1.Reason_REASON_RECORD_FULL:
		return http.StatusRequestEntityTooLarge
	case faultv1.Reason_REASON_DISK_FULL:
		return http.StatusInsufficientStorage
	}
	switch class {
	case fault.InvalidArgument, fault.FailedPrecondition, fault.OutOfRange:
		return http.StatusBadRequest
	case fault.Unauthenticated:
		return http.StatusUnauthorized
	case fault.PermissionDenied:
		return http.StatusForbidden
	case fault.NotFound:
		return http.StatusNotFound
	case fault.AlreadyExists, fault.Aborted:
		return http.StatusConflict
	case fault.ResourceExhausted:
		return http.StatusTooManyRequests
	case fault.Unavailable:
		return http.StatusServiceUnavailable
	case fault.Unimplemented:
		return http.StatusNotImplemented
	}
	return http.StatusInternalServerError
}
