package anatomy

import (
	"errors"
	"strconv"
)

// Reasons to branch on. The errors that functions return wrap one of these.
var (
	// ErrUnknownCode: the text names nothing of its kind.
	ErrUnknownCode = errors.New("is not a known code")
	// ErrSide: the side cannot be there.
	ErrSide = errors.New("is not a side that this can have")
	// ErrRange: the value is outside the bounds of a place.
	ErrRange = errors.New("is outside the range allowed")
	// ErrFrames: the places are in different frames, or in frames between which nothing is defined.
	ErrFrames = errors.New("has no defined way to the other frame")
)

// maxReadBytes is how much of a refused text an error repeats.
const maxReadBytes = 64

// Error says which field was refused, why, and what was read.
type Error struct {
	// Field is the field, such as "frame" or "x".
	Field string
	// Reason is one of the sentinels above.
	Reason error
	// Read is the value as text, cut after 64 bytes.
	Read string
}

func refuse(field string, reason error, read string) *Error {
	if len(read) > maxReadBytes {
		read = read[:maxReadBytes]
	}
	return &Error{Field: field, Reason: reason, Read: read}
}

// Error is one line: the field, the reason, what was read.
func (e *Error) Error() string {
	return e.Field + " " + e.Reason.Error() + ": read " + strconv.Quote(e.Read)
}

// Unwrap gives the reason.
func (e *Error) Unwrap() error { return e.Reason }
