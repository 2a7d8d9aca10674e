package store

import (
	"errors"
	"fmt"
)

// Stop ends a scan early without an error, as io.EOF ends a read.
//
//lint:ignore ST1012 it is an answer, not a failure
var Stop = errors.New("stop")

// Errors of the caller.
var (
	// ErrNotFound: the key is absent.
	ErrNotFound = errors.New("not found")
	// ErrSize: a key or value is empty or too large; see SizeError.
	ErrSize = errors.New("size out of range")
	// ErrTooLarge: a key or value is too large; it is an ErrSize too.
	ErrTooLarge = errors.New("too large")
	// ErrDone: a Reader or Writer was used after the function that it was given to returned.
	ErrDone = errors.New("transaction has ended")
	// ErrClosed: the store was closed.
	ErrClosed = errors.New("store is closed")
)

// Errors of the disk.
var (
	// ErrDiskFull: no room, a quota reached, or a file system gone read-only. Nothing took effect; reads go on;
	// writes go on when there is room again.
	ErrDiskFull = errors.New("no room to write")
	// ErrFailed: a commit or a sync failed, or a stored value failed its check; see FailedError. The store writes
	// no more until it is opened anew.
	ErrFailed = errors.New("store has failed and writes no more")
	// ErrCorrupt: bytes on the disk are not those that were written; see CorruptError.
	ErrCorrupt = errors.New("stored data is damaged")
)

// SizeError is a key or value out of range. It is ErrSize, and ErrTooLarge where it is too large.
type SizeError struct {
	Field    string // "key" or "value"
	Bytes    int    // what was given
	MaxBytes int    // the most allowed; the least is 1
}

func (e *SizeError) Error() string {
	return fmt.Sprintf("%s of %d bytes: must have 1 to %d", e.Field, e.Bytes, e.MaxBytes)
}

// Is makes errors.Is(err, ErrSize) and errors.Is(err, ErrTooLarge) true.
func (e *SizeError) Is(target error) bool {
	return target == ErrSize || target == ErrTooLarge && e.Bytes > e.MaxBytes
}

// FailedError says what made the store stop writing. It is ErrFailed.
type FailedError struct{ Cause error }

func (e *FailedError) Error() string { return fmt.Sprintf("%v: %v", ErrFailed, e.Cause) }

// Unwrap gives ErrFailed and the cause.
func (e *FailedError) Unwrap() []error { return []error{ErrFailed, e.Cause} }

// CorruptError is damage found on the disk. It names the table only: keys may tell who a patient is.
type CorruptError struct {
	Table byte   // the first byte of the key, or 0 where the damage is outside any table
	What  string // what was found
}

func (e *CorruptError) Error() string {
	return fmt.Sprintf("%v: table %q: %s", ErrCorrupt, e.Table, e.What)
}

// Is makes errors.Is(err, ErrCorrupt) true.
func (e *CorruptError) Is(target error) bool { return target == ErrCorrupt }

// SchemaError refuses a store whose schema this program does not know.
type SchemaError struct {
	Have uint32 // the version in the file
	Want uint32 // the newest version that this program knows
}

func (e *SchemaError) Error() string {
	return fmt.Sprintf("store has schema version %d, this program knows versions 1 to %d", e.Have, e.Want)
}

// CheckKey returns a SizeError for a key that no store takes.
func CheckKey(key []byte) error { return checkSize("key", key, MaxKeyBytes) }

// CheckValue returns a SizeError for a value that no store takes.
func CheckValue(value []byte) error { return checkSize("value", value, MaxValueBytes) }

func checkSize(field string, b []byte, maxBytes int) error {
	if len(b) == 0 || len(b) > maxBytes {
		return &SizeError{Field: field, Bytes: len(b), MaxBytes: maxBytes}
	}
	return nil
}
