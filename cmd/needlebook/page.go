package main

import (
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// columns is the width that people's output keeps to.
const columns = 80

// page collects lines of people's output. Within it a non-breaking space never breaks; it is written as a plain one, since terminals break at columns.
type page struct{ lines []string }

func (p *page) line(text string) { p.lines = append(p.lines, text) }

// wrapped breaks text at spaces so that lines keep to the width, the second and later ones set in by two more columns.
func (p *page) wrapped(indent, text string) { p.broken(indent, indent+"  ", text) }

func (p *page) broken(first, later, text string) {
	line, width := first, utf8.RuneCountInString(first)
	empty := true
	for word := range strings.SplitSeq(printable(text), " ") {
		n := utf8.RuneCountInString(word)
		if !empty && width+1+n > columns {
			p.line(line)
			line, width, empty = later, utf8.RuneCountInString(later), true
		}
		if !empty {
			line, width = line+" ", width+1
		}
		line, width, empty = line+word, width+n, false
	}
	p.line(line)
}

// row prints a name and its value, aligned with the other rows.
func (p *page) row(name, value string) {
	p.broken("  "+pad(name, 13), strings.Repeat(" ", 17), value)
}

// labelled prints a finding behind its level.
func (p *page) labelled(label, text string) {
	p.broken("  "+pad(label, 8), strings.Repeat(" ", 10), text)
}

// table prints rows with their columns aligned; the first row is the heads. A first cell that is long goes on a line of its own.
func (p *page) table(rows [][]string) {
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
			p.line("  " + row[0])
			row = append([]string{""}, row[1:]...)
		}
		line := " "
		for i, cell := range row {
			line += " " + pad(cell, widths[i]+1)
		}
		p.line(strings.TrimRight(line, " "))
	}
}

func (p *page) write(w io.Writer) error {
	text := strings.ReplaceAll(strings.Join(p.lines, "\n")+"\n", "\u00a0", " ")
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
