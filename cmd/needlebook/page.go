package main

import (
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// columns is the width that people's output keeps to where the screen is not narrower; narrow is the width below which names stand on lines of their own,
// and leastColumns the narrowest that is kept to.
const (
	columns      = 80
	narrow       = 60
	leastColumns = 40
)

// screen is a terminal whose width is known.
type screen struct {
	io.Writer
	width int
}

// onScreen is standard output with the width that the variable COLUMNS says, between leastColumns and columns.
func onScreen(w io.Writer, getenv func(string) string) io.Writer {
	n, err := strconv.Atoi(getenv("COLUMNS"))
	if err != nil || n < 1 {
		return w
	}
	return screen{w, min(max(n, leastColumns), columns)}
}

// page collects people's output, which is broken into lines when the width is known. Within it a non-breaking space never breaks unless a line has no other;
// it is written as a plain one, since terminals break at columns.
type page struct{ parts []func(width int) []string }

// line prints a line as it is, broken only where the screen is narrower.
func (p *page) line(text string) {
	indent := text[:len(text)-len(strings.TrimLeft(text, " "))]
	p.parts = append(p.parts, func(width int) []string {
		if utf8.RuneCountInString(text) <= width {
			return []string{text}
		}
		return broken(width, indent, indent+"  ", strings.TrimLeft(text, " "))
	})
}

// wrapped breaks text at spaces so that lines keep to the width, the second and later ones set in by two more columns.
func (p *page) wrapped(indent, text string) { p.broken(indent, indent+"  ", text) }

func (p *page) broken(first, later, text string) {
	p.parts = append(p.parts, func(width int) []string { return broken(width, first, later, text) })
}

// broken is text in lines of at most width. Words that belong together are parted, and a word is broken where the line ends, only when no line holds them.
func broken(width int, first, later, text string) (lines []string) {
	line, empty := first, true
	end := func() { lines, line, empty = append(lines, line), later, true }
	var words []string
	for word := range strings.SplitSeq(printable(text), " ") {
		if utf8.RuneCountInString(later)+utf8.RuneCountInString(word) > width {
			words = append(words, strings.Split(word, "\u00a0")...)
		} else {
			words = append(words, word)
		}
	}
	for _, word := range words {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			end()
		}
		if !empty {
			line += " "
		}
		for room := width - utf8.RuneCountInString(line); utf8.RuneCountInString(word) > room; room = width - utf8.RuneCountInString(line) {
			head := string([]rune(word)[:max(room, 1)])
			line, word = line+head, word[len(head):]
			end()
		}
		line, empty = line+word, false
	}
	return append(lines, line)
}

// row prints a name and its value, aligned with the other rows; on a narrow screen the value goes on beneath the name.
func (p *page) row(name, value string) { p.named(name, 13, 17, value) }

// labelled prints a finding behind its level.
func (p *page) labelled(label, text string) { p.named(label, 8, 10, text) }

func (p *page) named(name string, room, indent int, text string) {
	p.parts = append(p.parts, func(width int) []string {
		switch {
		case width >= narrow:
			return broken(width, "  "+pad(name, room), strings.Repeat(" ", indent), text)
		case name == "":
			return broken(width, "    ", "      ", text)
		default:
			return broken(width, "  ", "      ", name+": "+text)
		}
	})
}

// table prints rows with their columns aligned; the first row is the heads. A first cell that is long goes on a line of its own. Where the screen is too
// narrow each row is told cell by cell behind its heads.
func (p *page) table(rows [][]string) {
	p.parts = append(p.parts, func(width int) []string {
		lines := aligned(rows)
		for _, line := range lines {
			if utf8.RuneCountInString(line) > width {
				return told(width, rows)
			}
		}
		return lines
	})
}

func aligned(rows [][]string) (lines []string) {
	const mostFirst = 12
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			if n := utf8.RuneCountInString(cell); i > 0 || n <= mostFirst {
				widths[i] = max(widths[i], n)
			}
		}
	}
	for _, row := range rows {
		if utf8.RuneCountInString(row[0]) > mostFirst {
			lines = append(lines, "  "+row[0])
			row = append([]string{""}, row[1:]...)
		}
		line := " "
		for i, cell := range row {
			line += " " + pad(cell, widths[i]+1)
		}
		lines = append(lines, strings.TrimRight(line, " "))
	}
	return lines
}

// told is a table's rows as sentences: the first cell, then each other behind its head; a cell without a head follows the one before.
func told(width int, rows [][]string) (lines []string) {
	for _, row := range rows[1:] {
		text := ""
		for i, cell := range row {
			switch head := rows[0][i]; {
			case cell == "":
			case text == "":
				text = strings.TrimLeft(head+"\u00a0"+cell, "\u00a0")
			case head == "":
				text += ", " + cell
			default:
				text += "; " + head + " " + cell
			}
		}
		lines = append(lines, broken(width, "  ", "    ", text)...)
	}
	return lines
}

func (p *page) write(w io.Writer) error {
	width := columns
	if s, ok := w.(screen); ok {
		width = s.width
	}
	var lines []string
	for _, part := range p.parts {
		lines = append(lines, part(width)...)
	}
	text := strings.ReplaceAll(strings.Join(lines, "\n")+"\n", "\u00a0", " ")
	_, err := io.WriteString(w, text)
	return err
}

func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text)))
}

// printable replaces what could steer a terminal.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) || r == utf8.RuneError {
			return '?'
		}
		return r
	}, text)
}

// units is a decimal of units as people are shown it: commas from 1,000, "units" in full, a space that does not break.
func units(decimal string) string { return grouped(decimal) + "\u00a0units" }

// ml is a decimal of millilitres as people are shown it.
func ml(decimal string) string { return grouped(decimal) + "\u00a0mL" }

// withFraction puts the exact fraction behind a rounded value.
func withFraction(shown string, fraction *string) string {
	if fraction == nil {
		return shown
	}
	return shown + " (exactly " + *fraction + ")"
}

func grouped(decimal string) string {
	sign := ""
	if strings.HasPrefix(decimal, "-") {
		sign, decimal = "-", decimal[1:]
	}
	whole, part, point := strings.Cut(decimal, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if point {
		whole += "." + part
	}
	return sign + whole
}
