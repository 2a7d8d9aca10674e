package gs1

import (
	"errors"
	"strconv"
	"strings"
)

// Reasons to branch on. Every error of this package is an [*Error] that wraps one of these.
var (
	// ErrEmpty: there is nothing to read.
	ErrEmpty = errors.New("is empty")
	// ErrTooLong: more bytes than any symbol holds.
	ErrTooLong = errors.New("is longer than any symbol")
	// ErrYear: the current year is none that a date's century can be told from.
	ErrYear = errors.New("is no current year")
	// ErrSymbology: the symbol is not of a kind that carries what is read here.
	ErrSymbology = errors.New("is not a symbology identifier of a GS1 symbol")
	// ErrNoAI: no application identifier stands where one must.
	ErrNoAI = errors.New("has no application identifier where one must stand")
	// ErrUnknownAI: the application identifier is not one that is read here.
	ErrUnknownAI = errors.New("is not a known application identifier")
	// ErrLength: the data is shorter or longer than its application identifier allows; a separator may be missing.
	ErrLength = errors.New("has the wrong length")
	// ErrCharacter: a character is not allowed there.
	ErrCharacter = errors.New("has a character that is not allowed")
	// ErrCheckDigit: the last digit does not fit the others.
	ErrCheckDigit = errors.New("has a wrong check digit")
	// ErrDate: the date or time is not in the calendar.
	ErrDate = errors.New("is not a date of the calendar")
	// ErrRepeated: the application identifier was there before, with another value.
	ErrRepeated = errors.New("was there before with another value")
)

// maxReadBytes is how much of a refused text an error repeats.
const maxReadBytes = 40

// Error says what was refused, where it stands, why, and what was read.
type Error struct {
	// AI is the application identifier; empty when none was read.
	AI string
	// Title is what the application identifier stands for, such as "lot"; empty when it is unknown.
	Title string
	// Position is where the fault is: the byte of what was parsed, counted from 1. For a wrong or repeated identifier it is the identifier's first
	// digit, for a length the first byte of the data, otherwise the byte at fault.
	Position int
	// Reason is one of the sentinels above.
	Reason error
	// Want says what would have been right; empty when the reason says it.
	Want string
	// Read is the data at fault, cut after 40 bytes. Lots and serials are no data about a patient.
	Read string
}

// Error is one line: the identifier, the reason, where, what would have been right, what was read.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString("barcode")
	if e.AI != "" {
		b.WriteString(" (" + strings.ToValidUTF8(e.AI, "?") + ")")
	}
	if e.Title != "" {
		b.WriteString(" " + e.Title)
	}
	b.WriteString(" " + e.Reason.Error() + " at position " + strconv.Itoa(e.Position))
	if e.Want != "" {
		b.WriteString(", needs " + e.Want)
	}
	return b.String() + ": read " + strconv.Quote(e.Read)
}

// Unwrap gives the reason.
func (e *Error) Unwrap() error { return e.Reason }

// cut is the text that an error repeats.
func cut(text string) string { return text[:min(len(text), maxReadBytes)] }
