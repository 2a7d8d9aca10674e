package demo

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"
)

// columns is the width that the story keeps to.
const columns = 80

// teller writes the story. Lines keep to the width; within a line a non-breaking space never breaks and is written as a plain one.
type teller struct {
	w   io.Writer
	err error
}

func (s *teller) line(text string) {
	if s.err == nil {
		_, s.err = fmt.Fprintln(s.w, strings.TrimRight(strings.ReplaceAll(text, "\u00a0", " "), " "))
	}
}

// say writes a paragraph.
func (s *teller) say(format string, args ...any) { s.wrap("", "", fmt.Sprintf(format, args...)) }

// indent is where what belongs to a time begins.
const indent = "       "

// at writes what happened at a time.
func (s *teller) at(t time.Time, format string, args ...any) {
	s.wrap(t.Format("15:04")+"  ", indent, fmt.Sprintf(format, args...))
}

// more goes on with what was said last.
func (s *teller) more(format string, args ...any) {
	s.wrap(indent, indent, fmt.Sprintf(format, args...))
}

func (s *teller) wrapf(first, later, format string, args ...any) {
	s.wrap(first, later, fmt.Sprintf(format, args...))
}

func (s *teller) wrap(first, later, text string) {
	line, empty := first, true
	for word := range strings.SplitSeq(text, " ") {
		if !empty && wide(line)+1+wide(word) > columns {
			s.line(line)
			line, empty = later, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	s.line(line)
}

// wide is how many columns a text takes on a terminal: letters of Chinese and Japanese take two, marks on letters none.
func wide(text string) (n int) {
	for _, r := range text {
		switch {
		case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul):
			n += 2
		case !unicode.In(r, unicode.Mn, unicode.Me):
			n++
		}
	}
	return n
}

// thousands is a number with commas.
func thousands[N int | int64 | uint64](n N) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// size is a number of bytes for people, in two figures, rounded down: how well random ids compress differs by a few bytes from run to run.
func size(n int64) string {
	switch {
	case n >= 1_000_000:
		text := fmt.Sprintf("%d.%d", n/1_000_000, n%1_000_000/100_000)
		return strings.TrimSuffix(text, ".0") + "\u00a0MB"
	case n >= 100_000:
		return fmt.Sprintf("%d0\u00a0KB", n/10_000)
	case n >= 10_000:
		return fmt.Sprintf("%d\u00a0KB", n/1000)
	}
	return thousands(n) + "\u00a0bytes"
}

// count is a number of things.
func count[N int | int64 | uint64](n N, one, many string) string {
	if n == 1 {
		return "1\u00a0" + one
	}
	return thousands(n) + "\u00a0" + many
}
