package gs1

import (
	"bytes"
	"fmt"
	"strings"
)

// MaxBytes is the most that is parsed: more than any symbol holds, and more than the longest canonical form. A vial's record keeps less.
const MaxBytes = 8192

// Parse reads one scan. It takes
//
//	an element string, with the symbology identifier of a GS1 symbol before it or none:   ]d2 ]C1 ]Q3 ]e0 ]J1
//	the form with brackets:                                                                 (01)...(17)...(10)...
//	a bare trade item number with its symbology identifier:                                 ]E0 and 13 digits, ]E4 and 8 digits
//
// year is the current one, 1970 to 9949; it decides the century of the dates. An identifier may be repeated with the same value. One group separator
// may stand before the first element where no symbology identifier does, and behind any element. The error is an [*Error]; what was read
// before the fault is returned beside it.
func Parse(raw []byte, year int) (Elements, error) {
	if len(raw) > MaxBytes {
		return Elements{}, &Error{Reason: ErrTooLong, Position: MaxBytes + 1, Want: fmt.Sprintf("at most %d bytes", MaxBytes), Read: cut(string(raw))}
	}
	p := parser{text: string(raw), year: year, known: formats(), out: Elements{Raw: bytes.Clone(raw)}}
	if err := checkYear(year); err != nil {
		return p.out, err
	}
	if err := p.parse(); err != nil {
		return p.out, err
	}
	return p.out, nil
}

// parser holds one text and how far it was read.
type parser struct {
	text  string
	at    int
	year  int
	known []format
	out   Elements
}

// parse picks the form by how the text begins. It returns *Error as an error, so that nil stays nil.
func (p *parser) parse() error {
	if p.text == "" {
		return &Error{Reason: ErrEmpty, Position: 1}
	}
	next := p.stringElement
	switch p.text[0] {
	case ']':
		if err := p.symbology(); err != nil {
			return err
		}
		if p.out.Symbology == "]E0" || p.out.Symbology == "]E4" {
			return p.bareNumber()
		}
	case '(':
		next = p.bracketedElement
	case separator:
		p.at = 1
	}
	for first := true; first || p.at < len(p.text); first = false {
		if err := next(); err != nil {
			return err
		}
	}
	return nil
}

// symbology takes the symbology identifier: ISO/IEC 15424.
func (p *parser) symbology() error {
	id := p.text[:min(3, len(p.text))]
	switch id {
	case "]d2", "]C1", "]Q3", "]e0", "]J1", "]E0", "]E4":
		p.out.Symbology, p.at = id, 3
		return nil
	}
	return &Error{Reason: ErrSymbology, Position: 1, Want: "]d2, ]C1, ]Q3, ]e0, ]J1, ]E0 or ]E4", Read: id}
}

// bareNumber takes the digits of an EAN or UPC symbol, which has no application identifiers.
func (p *parser) bareNumber() error {
	length := 13
	if p.out.Symbology == "]E4" {
		length = 8
	}
	bare := format{kind: digits, least: length, most: length, shape: checked, title: "GTIN"}
	value := p.text[p.at:]
	if err := p.check("", bare, value); err != nil {
		return err
	}
	p.out.GTIN = padGTIN(value)
	return nil
}

// stringElement takes the next element of an element string, and the separator behind it.
func (p *parser) stringElement() error {
	start, rest := p.at, p.text[p.at:]
	if len(rest) < 2 || !isDigit(rest[0]) || !isDigit(rest[1]) {
		return p.noAI(rest)
	}
	ai := rest[:min(aiLength(rest[:2]), len(rest))]
	f, ok := lookUp(p.known, ai)
	if !ok {
		return p.unknownAI(ai, rest)
	}
	rest = rest[len(ai):]
	end := strings.IndexByte(rest, separator)
	if end < 0 {
		end = len(rest)
	}
	if predefined(ai) {
		end = min(end, f.most)
	}
	p.at += len(ai)
	if err := p.element(start, ai, f, rest[:end]); err != nil {
		return err
	}
	p.at += end
	if p.at < len(p.text) && p.text[p.at] == separator {
		p.at++
	}
	return nil
}

// bracketedElement takes the next element of the form with brackets.
func (p *parser) bracketedElement() error {
	start, rest := p.at, p.text[p.at:]
	closing := strings.IndexByte(rest[:min(6, len(rest))], ')')
	if rest[0] != '(' || closing < 3 || !allDigits(rest[1:closing]) {
		return p.noAI(rest)
	}
	ai := rest[1:closing]
	f, ok := lookUp(p.known, ai)
	if !ok {
		p.at++
		return p.unknownAI(ai, rest)
	}
	value, end := unescape(rest[closing+1:])
	p.at += closing + 1
	if err := p.element(start+1, ai, f, value); err != nil {
		return err
	}
	p.at += end
	return nil
}

// unescape takes the data up to the next bracket that opens an element, and says where it ends.
func unescape(text string) (string, int) {
	var b strings.Builder
	for i := 0; i < len(text); i++ {
		switch {
		case text[i] == '(':
			return b.String(), i
		case strings.HasPrefix(text[i:], `\(`):
			i++
		}
		b.WriteByte(text[i])
	}
	return b.String(), len(text)
}

// element checks the data that begins at p.at and adds it; start is where its identifier is.
func (p *parser) element(start int, ai string, f format, value string) error {
	if err := p.check(ai, f, value); err != nil {
		return err
	}
	if !p.out.add(ai, value, p.year) {
		return &Error{AI: ai, Title: f.title, Reason: ErrRepeated, Position: start + 1, Read: cut(value)}
	}
	return nil
}

// check says what is wrong with the data that begins at p.at.
func (p *parser) check(ai string, f format, value string) error {
	at, reason := f.check(value, p.year)
	if reason == nil {
		return nil
	}
	position := p.at + at + 1
	if p.text[0] == '(' {
		position += strings.Count(value[:at], "(") // each was written with a \ before it
	}
	return &Error{AI: ai, Title: f.title, Reason: reason, Position: position, Want: f.want(reason), Read: cut(value)}
}

func (p *parser) noAI(rest string) error {
	want := ""
	if p.text[0] == '(' {
		want = `2 to 4 digits between ( and ), or \( for a bracket of the data`
	}
	return &Error{Reason: ErrNoAI, Position: p.at + 1, Want: want, Read: cut(rest)}
}

func (p *parser) unknownAI(ai, rest string) error {
	return &Error{AI: ai, Reason: ErrUnknownAI, Position: p.at + 1, Read: cut(rest)}
}

func allDigits(text string) bool {
	return strings.IndexFunc(text, func(r rune) bool { return r < '0' || '9' < r }) < 0
}
