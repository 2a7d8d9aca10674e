package service

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/fault"
	"needlebook/internal/rest"
	"needlebook/internal/store"
)

// Domain is the domain of every google.rpc.ErrorInfo.
const Domain = "needlebook"

// defaultRetry is how long to wait where the catalogue says to try again and the refusal names no time.
const defaultRetry = 5 * time.Second

// codeOf is the code of the wire for a class of the catalogue.
func codeOf(c fault.Class) connect.Code {
	switch c {
	case fault.InvalidArgument:
		return connect.CodeInvalidArgument
	case fault.NotFound:
		return connect.CodeNotFound
	case fault.AlreadyExists:
		return connect.CodeAlreadyExists
	case fault.Unauthenticated:
		return connect.CodeUnauthenticated
	case fault.PermissionDenied:
		return connect.CodePermissionDenied
	case fault.FailedPrecondition:
		return connect.CodeFailedPrecondition
	case fault.Aborted:
		return connect.CodeAborted
	case fault.OutOfRange:
		return connect.CodeOutOfRange
	case fault.ResourceExhausted:
		return connect.CodeResourceExhausted
	case fault.Unavailable:
		return connect.CodeUnavailable
	case fault.DataLoss:
		return connect.CodeDataLoss
	case fault.Unimplemented:
		return connect.CodeUnimplemented
	}
	return connect.CodeInternal
}

// refusalsOf is what an error means in the words of the catalogue, at least one; an error that nobody foresaw is INTERNAL.
func refusalsOf(err error) []*fault.Error {
	if all := fault.All(err); len(all) > 0 {
		return all
	}
	if refusal := blobRefusal(err); refusal != nil {
		return []*fault.Error{refusal}
	}
	return []*fault.Error{fault.Wrap(machineReason(err), err)}
}

// machineReason is the reason of a failure of the machine.
func machineReason(err error) faultv1.Reason {
	var tampered *audit.TamperedError
	switch {
	case errors.Is(err, store.ErrCorrupt), errors.Is(err, auth.ErrStored), errors.Is(err, audit.ErrStored), errors.Is(err, blob.ErrDamaged),
		errors.As(err, &tampered):
		return faultv1.Reason_REASON_DATA_LOSS
	case errors.Is(err, store.ErrDiskFull), errors.Is(err, blob.ErrDiskFull):
		return faultv1.Reason_REASON_DISK_FULL
	case errors.Is(err, store.ErrFailed), errors.Is(err, store.ErrClosed), errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return faultv1.Reason_REASON_UNAVAILABLE
	case errors.Is(err, store.ErrTooLarge):
		return faultv1.Reason_REASON_TOO_LARGE
	}
	return faultv1.Reason_REASON_INTERNAL
}

// blobRefusal is the refusal behind an error of the photos, or nil.
func blobRefusal(err error) *fault.Error {
	var outside *blob.RangeError
	switch {
	case errors.Is(err, blob.ErrNotFound):
		return fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
	case errors.Is(err, blob.ErrMismatch):
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "sha256", "", "the SHA-256 of all the pieces together; send them anew")
	case errors.As(err, &outside):
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, outside.Field, strconv.FormatInt(outside.Got, 10),
			strconv.FormatInt(outside.Min, 10)+" to "+strconv.FormatInt(outside.Max, 10))
	}
	return nil
}

// refused is a failed call as it goes out, whatever it speaks: at least one refusal, of which the first decides.
type refused struct {
	code     connect.Code
	refusals []*fault.Error
	entry    fault.Entry // of the first
	text     string
}

// refuse is what a caller is told of an error. Texts of errors that are no refusals stay inside.
func refuse(err error, requestID string) refused {
	var made *connect.Error
	if errors.As(err, &made) && fault.Of(err) == nil {
		return refuse(frameworkRefusal(made), requestID)
	}
	r := refused{refusals: refusalsOf(err)}
	entry, ok := fault.Lookup(r.refusals[0].Reason)
	if !ok {
		r.refusals = []*fault.Error{fault.Wrap(faultv1.Reason_REASON_INTERNAL, err)}
		entry, _ = fault.Lookup(faultv1.Reason_REASON_INTERNAL)
	}
	r.entry, r.code = entry, codeOf(entry.Class)
	switch {
	case errors.Is(err, context.Canceled):
		r.code = connect.CodeCanceled
	case errors.Is(err, context.DeadlineExceeded):
		r.code = connect.CodeDeadlineExceeded
	}
	r.text = textOf(r.refusals, entry.Reason, requestID)
	return r
}

// wire is the refusal as Connect and gRPC carry it.
func (r refused) wire(requestID string) *connect.Error {
	out := connect.NewError(r.code, errors.New(r.text))
	addDetail(out, errorInfo(r.refusals[0], requestID))
	if violations := violationsOf(r.refusals); len(violations) > 0 {
		addDetail(out, &errdetails.BadRequest{FieldViolations: violations})
	}
	if r.entry.Retry {
		addDetail(out, &errdetails.RetryInfo{RetryDelay: durationpb.New(retryDelay(r.refusals[0]))})
	}
	return out
}

// problem is the refusal as REST carries it. status is 0 where the catalogue decides.
func (r refused) problem(requestID string, status int) rest.Problem {
	if status == 0 {
		status = rest.StatusOf(r.entry.Reason, r.entry.Class)
	}
	retry := time.Duration(0)
	if r.entry.Retry {
		retry = retryDelay(r.refusals[0])
	}
	return rest.NewProblem(r.refusals, status, r.code.String(), r.text, requestID, retry)
}

// wireError is the error that goes to the caller, and the reason behind it for the log.
func wireError(err error, requestID string) (*connect.Error, faultv1.Reason) {
	r := refuse(err, requestID)
	return r.wire(requestID), r.entry.Reason
}

func textOf(refusals []*fault.Error, reason faultv1.Reason, requestID string) string {
	if reason == faultv1.Reason_REASON_INTERNAL {
		return "something went wrong inside the server; the log has it under request " + requestID
	}
	texts := make([]string, len(refusals))
	for i, r := range refusals {
		texts[i] = r.Error()
	}
	return strings.Join(texts, "; ")
}

func errorInfo(e *fault.Error, requestID string) *errdetails.ErrorInfo {
	info := &errdetails.ErrorInfo{Reason: reasonName(e.Reason), Domain: Domain, Metadata: map[string]string{"request_id": requestID}}
	for k, v := range e.Meta {
		info.Metadata[k] = v
	}
	if e.Field != "" {
		info.Metadata["field"] = e.Field
	}
	return info
}

// reasonName is a reason as docs/errors.md writes it.
func reasonName(r faultv1.Reason) string { return strings.TrimPrefix(r.String(), "REASON_") }

func violationsOf(refusals []*fault.Error) (out []*errdetails.BadRequest_FieldViolation) {
	for _, r := range refusals {
		if entry, _ := fault.Lookup(r.Reason); r.Field != "" && entry.Class == fault.InvalidArgument {
			out = append(out, &errdetails.BadRequest_FieldViolation{Field: r.Field, Description: r.Error(), Reason: reasonName(r.Reason)})
		}
	}
	return out
}

func retryDelay(e *fault.Error) time.Duration {
	if ms, err := strconv.ParseInt(e.Meta["retry_after_ms"], 10, 64); err == nil && ms > 0 {
		return time.Duration(ms) * time.Millisecond
	}
	if e.Reason == faultv1.Reason_REASON_DISK_FULL {
		return time.Minute
	}
	return defaultRetry
}

func addDetail(e *connect.Error, m proto.Message) {
	if d, err := connect.NewErrorDetail(m); err == nil {
		e.AddDetail(d)
	}
}

// frameworkRefusal gives an error that Connect itself made the reason that fits its code. Its text may repeat what was sent, so it is replaced.
func frameworkRefusal(made *connect.Error) error {
	switch made.Code() {
	case connect.CodeUnimplemented:
		return fault.New(faultv1.Reason_REASON_UNIMPLEMENTED, "", "", "")
	case connect.CodeInvalidArgument:
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "message", "", "a message as the schema of this call defines it")
	case connect.CodeResourceExhausted:
		return fault.New(faultv1.Reason_REASON_TOO_LARGE, "message", "", "at most "+strconv.Itoa(MaxMessageBytes)+" bytes when unpacked")
	case connect.CodeCanceled, connect.CodeDeadlineExceeded, connect.CodeUnavailable:
		return fault.Wrap(faultv1.Reason_REASON_UNAVAILABLE, made)
	}
	return fault.Wrap(faultv1.Reason_REASON_INTERNAL, made)
}
