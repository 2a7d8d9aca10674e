package document

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/chart"
)

// known is text as the fonts can show it: what they lack is written as U+ and its number.
func (p *paper) known(text string) string {
	var b strings.Builder
	for _, r := range norm.NFC.String(text) {
		switch {
		case r == '\t' || r == '\n' || r == '\r' || r == ' ' || r == '\u00a0':
			b.WriteRune(' ')
		case p.shows(r):
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, "U+%04X ", r)
		}
	}
	return b.String()
}

// shows reports whether the fonts have a character and it can be seen.
func (p *paper) shows(r rune) bool {
	has, asked := p.has[r]
	if !asked {
		i, err := p.font.GlyphIndex(&p.buf, r)
		has = err == nil && i != 0 && unicode.IsGraphic(r) && !unicode.Is(unicode.Cf, r)
		p.has[r] = has
	}
	return has
}

func splitLines(text string) []string { return strings.Split(text, "\n") }

func itoa(n int) string { return strconv.Itoa(n) }

func dateText(d *recordv1.Date) string {
	if d == nil {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.GetYear(), d.GetMonth(), d.GetDay())
}

func approximate(d *recordv1.ApproximateDate) string {
	switch {
	case d == nil:
		return ""
	case d.Month == nil:
		return fmt.Sprintf("%04d", d.GetYear())
	case d.Day == nil:
		return fmt.Sprintf("%04d-%02d", d.GetYear(), d.GetMonth())
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.GetYear(), d.GetMonth(), d.GetDay())
}

func timeText(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().UTC().Format("2006-01-02 15:04 UTC")
}

func millisText(ms int64) string { return time.UnixMilli(ms).UTC().Format("2006-01-02 15:04:05 UTC") }

// enumText is the name of a value of an enum in words; empty when it is not stated.
func enumText(name, prefix string) string {
	text := codeText(strings.ToLower(strings.TrimPrefix(name, prefix)))
	if text == "unspecified" {
		return ""
	}
	return text
}

func codeText(code string) string { return strings.ReplaceAll(code, "_", " ") }

func sideText(s *chartv1.Side) string {
	if s == nil {
		return ""
	}
	return enumText(s.String(), "SIDE_")
}

func muscleText(code string) string {
	if m, ok := anatomy.MuscleByCode(code); ok {
		return m.Name
	}
	return codeText(code)
}

func units(milliunits int64) string { return chart.Units(milliunits) }

// decimal is an integer of 10^-places as a decimal without zeros at its end.
func decimal(n int64, places int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	text := fmt.Sprintf("%0*d", places+1, n)
	whole, part := text[:len(text)-places], strings.TrimRight(text[len(text)-places:], "0")
	if part != "" {
		whole += "." + part
	}
	return sign + whole
}

func millilitres(nanolitres int64) string  { return decimal(nanolitres, 6) }
func millimetres(micrometres int64) string { return decimal(micrometres, 3) }

// rounded is a fraction to places, half to even, without zeros at its end.
func rounded(r *big.Rat, places int) string {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places)), nil)
	n := new(big.Int).Mul(new(big.Int).Abs(r.Num()), scale)
	q, rest := new(big.Int).QuoRem(n, r.Denom(), new(big.Int))
	twice := new(big.Int).Lsh(rest, 1)
	if c := twice.Cmp(r.Denom()); c > 0 || c == 0 && q.Bit(0) == 1 {
		q.Add(q, big.NewInt(1))
	}
	if r.Sign() < 0 {
		q.Neg(q)
	}
	return decimal(q.Int64(), places)
}

// joined joins what is not empty.
func joined(between string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, between)
}

func yes(b *bool) string {
	switch {
	case b == nil:
		return "not checked"
	case *b:
		return "yes"
	}
	return "no"
}
