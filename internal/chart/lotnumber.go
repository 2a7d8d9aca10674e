package chart

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// LotKey is a batch number in the form in which like ones are found: compatibility forms made plain, upper case, without spaces and hyphens, the letter O
// as the digit 0, and the letters I and L as the digit 1. Two numbers with one key are not the same lot by that; they look alike.
func LotKey(number string) string {
	var b strings.Builder
	for _, r := range strings.ToUpper(norm.NFKC.String(number)) {
		switch {
		case unicode.IsSpace(r) || unicode.In(r, unicode.Pd) || unicode.IsControl(r) || r == '_':
		case r == 'O':
			b.WriteByte('0')
		case r == 'I' || r == 'L' || r == '|':
			b.WriteByte('1')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// LikeLot reports whether two keys of LotKey are the same or one edit apart: a character more, less, another, or two neighbours swapped.
func LikeLot(a, b string) bool { return atMostOneEdit(a, b) }

func atMostOneEdit(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	if len(y)-len(x) > 1 {
		return false
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	if len(x) < len(y) {
		return string(x[i:]) == string(y[i+1:])
	}
	return i >= len(x) || string(x[i+1:]) == string(y[i+1:]) ||
		i+1 < len(x) && x[i] == y[i+1] && x[i+1] == y[i] && string(x[i+2:]) == string(y[i+2:])
}
