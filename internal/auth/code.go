package auth

import (
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"io"
	"strings"
)

// crockford is the base32 of Douglas Crockford: no I, L, O or U, so that what is read aloud or copied by hand survives.
var crockford = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

// codeBytes is the randomness of a code: 80 bits, 16 characters.
const codeBytes = 10

// Code is a one-time code. Only its hash is stored.
type Code struct{ b [codeBytes]byte }

// NewCode draws a code from random.
func NewCode(random io.Reader) (Code, error) {
	var c Code
	if _, err := io.ReadFull(random, c.b[:]); err != nil {
		return Code{}, fmt.Errorf("make code: %w", err)
	}
	return c, nil
}

// String is the code for people: four groups of four.
func (c Code) String() string { return grouped(c.canonical()) }

func (c Code) canonical() string { return crockford.EncodeToString(c.b[:]) }

// ParseCode reads a code as people type it: in either case, with or without hyphens and spaces, O for 0, I or L for 1. Anything else is BAD_CODE.
func ParseCode(s string) (Code, error) {
	if len(s) > 64 {
		return Code{}, errBadCode()
	}
	s = strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(asciiUpper(s))
	if len(s) != crockford.EncodedLen(codeBytes) {
		return Code{}, errBadCode()
	}
	b, err := crockford.DecodeString(s)
	if err != nil || len(b) != codeBytes {
		return Code{}, errBadCode()
	}
	c := Code{b: [codeBytes]byte(b)}
	if c.canonical() != s { // the decoder skips line ends
		return Code{}, errBadCode()
	}
	return c, nil
}

// asciiUpper leaves alone what is not a Latin letter: upper case of other letters may be a Latin one.
func asciiUpper(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, s)
}

func (c Code) hash() [32]byte {
	return sha256.Sum256([]byte("needlebook code v1\x00" + c.canonical()))
}

// EnrolURL is the address that the square code of an enrolment shows. The code stands behind the # so that no server or log sees it.
func EnrolURL(server string, c Code) string {
	return strings.TrimSuffix(server, "/") + "/#enrol=" + c.String()
}

// InvitationURL is the one-time link of an invitation; its secret stands behind the #, too.
func InvitationURL(server string, c Code) string {
	return strings.TrimSuffix(server, "/") + "/#invitation=" + c.String()
}
