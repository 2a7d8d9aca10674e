// Package fault holds the reasons for which Needlebook refuses or holds something, and the error that carries one.
//
// Use: return New(reason, field, read, want) where outside input is refused, collect several in a List, and at the edge ask Of or All what an
// error carries. Lookup gives what a person needs to know about a reason: what happened, why, what to do and who does it. docs/errors.md is
// written from the same catalogue.
//
// Promise: an entry for every reason of the schema and for nothing else; reasons keep their meaning for ever; no text of an Error holds a control
// character or more than MaxShownRunes of what was read. The package is pure and runs as WebAssembly.
//
// # What an error may show of what was read
//
// No patient data may sit in an error: it travels to logs and screens. Read (and Meta) may hold quantities, units, enum names, record ids,
// counters, counts, sizes, versions, code names of products and zones, and times of the machine. They may not hold names, dates of birth,
// addresses, contacts, free text, answers to questions, passwords, codes or tokens; for those use Withheld, which tells only their length.
package fault

import (
	"errors"
	"fmt"
	"maps"
	"strings"
	"unicode"
	"unicode/utf8"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// MaxShownRunes bounds how much of what was read an error shows.
const MaxShownRunes = 64

// MaxFieldRunes bounds the name of a field in an error: the path of a register in an element three deep, ids included.
const MaxFieldRunes = 240

// Error is one refusal. Its fields are set once, by New and With; whoever receives it must not change them. It may be read concurrently.
type Error struct {
	// Reason is stable; callers branch on it.
	Reason faultv1.Reason
	// Field is the name in the schema of the field refused, such as doses[2].dose_units; empty when the reason is of no field.
	Field string
	// Read is what was found there, made safe by Show. See the package comment for what it may hold.
	Read string
	// Want says what would have been right, as a phrase: "a decimal from 0 to 1000".
	Want string
	// Meta holds figures for programs, such as the counter wanted; nil when there are none. Values are made safe by Show.
	Meta map[string]string
	// Err is the cause inside, or nil. It goes to the log of the server and never to a caller: Error leaves it out.
	Err error
}

// New returns an error of a reason about a field: what was read there and what is wanted. Each but the reason may be empty.
func New(reason faultv1.Reason, field, read, want string) *Error {
	return &Error{Reason: reason, Field: showField(field), Read: Show(read), Want: want}
}

// Wrap returns an error of a reason with the cause inside, which Error does not print.
func Wrap(reason faultv1.Reason, err error) *Error {
	return &Error{Reason: reason, Err: err}
}

// With returns a copy that also carries a figure for programs.
func (e *Error) With(key, value string) *Error {
	c := *e
	c.Meta = make(map[string]string, len(e.Meta)+1)
	maps.Copy(c.Meta, e.Meta)
	c.Meta[key] = Show(value)
	return &c
}

// Error names the field, what was read and what is wanted; without a field it says what happened, as the catalogue does.
func (e *Error) Error() string {
	if e.Field == "" && e.Read == "" && e.Want == "" {
		return sentence(e.Reason)
	}
	var b strings.Builder
	if e.Field != "" {
		b.WriteString(showField(e.Field))
		b.WriteString(": ")
	}
	switch {
	case e.Read != "" && e.Want != "":
		b.WriteString(`read "` + Show(e.Read) + `", want ` + e.Want)
	case e.Want != "":
		b.WriteString("want " + e.Want)
	case e.Read != "":
		b.WriteString(`read "` + Show(e.Read) + `"; ` + sentence(e.Reason))
	default:
		b.WriteString(sentence(e.Reason))
	}
	return b.String()
}

// sentence is the catalogue's meaning in the form of an error: lower case, no full stop.
func sentence(r faultv1.Reason) string {
	entry, ok := Lookup(r)
	if !ok {
		return "unnamed reason " + r.String()
	}
	s := strings.TrimSuffix(entry.Meaning, ".")
	return strings.ToLower(s[:1]) + s[1:]
}

// Unwrap returns the cause inside.
func (e *Error) Unwrap() error { return e.Err }

// List is several refusals of one request, in the order in which they were found. An empty list is no error: return it through Err.
type List []*Error

// Error joins the texts with semicolons.
func (l List) Error() string {
	texts := make([]string, len(l))
	for i, e := range l {
		texts[i] = e.Error()
	}
	return strings.Join(texts, "; ")
}

// Unwrap returns the refusals, so that errors.As finds the first.
func (l List) Unwrap() []error {
	errs := make([]error, len(l))
	for i, e := range l {
		errs[i] = e
	}
	return errs
}

// Err returns the list as an error, or nil when it is empty.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Of returns the first refusal that err carries, or nil when it carries none: then the error is a defect or a failure of the machine, and
// the edge answers REASON_INTERNAL.
func Of(err error) *Error {
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	return nil
}

// All returns every refusal that err carries: those of a List, or the one of Of; nil for none.
func All(err error) []*Error {
	var l List
	if errors.As(err, &l) {
		return l
	}
	if e := Of(err); e != nil {
		return []*Error{e}
	}
	return nil
}

// Has reports whether err carries a refusal of this reason.
func Has(err error, reason faultv1.Reason) bool {
	for _, e := range All(err) {
		if e.Reason == reason {
			return true
		}
	}
	return false
}

// Show makes text from outside safe to print: at most MaxShownRunes runes, the last of them an ellipsis when more was read; control
// characters, bytes that are not UTF-8, and characters that show nothing or turn the direction of writing are escaped. Show of its own
// result changes nothing.
func Show(s string) string { return shownUpTo(s, MaxShownRunes) }

// showField is Show for the name of a field, which may stand in an element of an element and is whole only with their ids.
func showField(s string) string { return shownUpTo(s, MaxFieldRunes) }

func shownUpTo(s string, most int) string {
	var b strings.Builder
	count := 0
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		piece := shown(r, s[i:i+size])
		n := utf8.RuneCountInString(piece)
		if count+n > most || (count+n == most && i+size < len(s)) {
			b.WriteString("…")
			return b.String()
		}
		b.WriteString(piece)
		count += n
		i += size
	}
	return b.String()
}

// shown is one rune as Show prints it.
func shown(r rune, raw string) string {
	switch {
	case r == utf8.RuneError && len(raw) == 1:
		return fmt.Sprintf(`\x%02x`, raw[0])
	case r == ' ', unicode.IsGraphic(r) && !unicode.Is(unicode.Zs, r):
		return raw
	case r < 0x100:
		return fmt.Sprintf(`\x%02x`, r)
	case r < 0x10000:
		return fmt.Sprintf(`\u%04x`, r)
	default:
		return fmt.Sprintf(`\U%08x`, r)
	}
}

// Withheld stands for text that no error may show, and tells only its length in characters.
func Withheld(s string) string {
	return fmt.Sprintf("%d characters, not shown", utf8.RuneCountInString(s))
}
