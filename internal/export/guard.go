package export

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ErrUnguarded says that a cell is not one that GuardCell writes.
var ErrUnguarded = errors.New("the cell is not as it is written here")

// A spreadsheet takes a cell that begins with one of these for a formula; the wide forms too, in some languages.
const formulaStarts = "=+-@＝＋－＠"

// guardMark stands before what a spreadsheet could take for a formula, and before itself.
const guardMark = '\''

// plainNumber is a cell that is a number to any program, and no formula. It is the form in which quantities are written.
var plainNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

// GuardCell is text as it stands in a cell. An apostrophe goes before each place where a cell could be taken to begin (the start of the text, and after
// each semicolon, tab and line end, at which some programs split however the cell is quoted) when, blanks, quotes and invisible characters left out, one of
// = + - @ or their wide forms follows, or when an apostrophe follows at once. A plain number is left as it is. Line ends become line feeds.
// UnguardCell is the inverse.
func GuardCell(text string) string {
	text = lineFeeds(text)
	if plainNumber.MatchString(text) {
		return text
	}
	var out strings.Builder
	begins := true
	for i, r := range text {
		if begins && risky(text[i:]) {
			out.WriteRune(guardMark)
		}
		writeRune(&out, text[i:], r)
		begins = splits(r)
	}
	return out.String()
}

// writeRune writes the rune that rest begins with, bytes that are no UTF-8 as they are.
func writeRune(out *strings.Builder, rest string, r rune) {
	if r != utf8.RuneError {
		out.WriteRune(r)
		return
	}
	_, size := utf8.DecodeRuneInString(rest)
	out.WriteString(rest[:size])
}

// UnguardCell is the text of a cell that GuardCell wrote. The error is ErrUnguarded, with the cell, when GuardCell writes no such cell.
func UnguardCell(cell string) (string, error) {
	var out strings.Builder
	begins := true
	for i, r := range cell {
		if begins && r == guardMark {
			begins = false // the mark itself is left out, and what follows it is as it was
			continue
		}
		writeRune(&out, cell[i:], r)
		begins = splits(r)
	}
	text := out.String()
	if GuardCell(text) != cell {
		return "", fmt.Errorf("%q: %w", cell, ErrUnguarded)
	}
	return text, nil
}

// splits reports whether some programs begin a new cell or row after r.
func splits(r rune) bool { return r == ';' || r == '\t' || r == '\n' }

// risky reports whether text, at the beginning of a cell, could be taken for a formula, or begins with the mark.
func risky(text string) bool {
	if strings.HasPrefix(text, string(guardMark)) {
		return true
	}
	text = strings.TrimLeftFunc(text, func(r rune) bool {
		return r == '"' || unicode.IsSpace(r) || !unicode.IsGraphic(r)
	})
	r, _ := utf8.DecodeRuneInString(text)
	return text != "" && strings.ContainsRune(formulaStarts, r)
}

// lineFeeds is text with each line end a line feed. A reader of CSV may not tell them apart, so they must not tell anything.
func lineFeeds(text string) string {
	return strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n")
}
