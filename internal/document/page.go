package document

import (
	"bytes"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// Millimetres of A4, and the sizes of type in points.
const (
	pageWidth, pageHeight = 210.0, 297.0
	marginSide            = 16.0
	marginTop             = 22.0
	marginBottom          = 24.0
	textWidth             = pageWidth - 2*marginSide

	sizeTitle, sizeHead, sizeText, sizeSmall = 17.0, 11.5, 9.0, 7.5
	family                                   = "go"
)

// leading is the height of a line of a size, in millimetres.
func leading(size float64) float64 { return size * 0.3528 * 1.32 }

// paper is a document while it is written. It belongs to one call.
type paper struct {
	pdf  *fpdf.Fpdf
	font *sfnt.Font
	buf  sfnt.Buffer
	has  map[rune]bool
}

// newPaper begins a document whose pages have a line at the top and two at the bottom.
func newPaper(at time.Time, top string, bottom []string) (*paper, error) {
	font, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, err
	}
	p := &paper{pdf: fpdf.New("P", "mm", "A4", ""), font: font, has: map[rune]bool{}}
	p.pdf.SetCatalogSort(true)
	p.pdf.SetCreationDate(at.UTC())
	p.pdf.SetModificationDate(at.UTC())
	p.pdf.SetProducer("Needlebook", true)
	p.pdf.SetTitle("Treatment record", true)
	p.pdf.SetLang("en")
	p.pdf.AddUTF8FontFromBytes(family, "", goregular.TTF)
	p.pdf.AddUTF8FontFromBytes(family, "B", gobold.TTF)
	p.pdf.SetMargins(marginSide, marginTop, marginSide)
	p.pdf.SetAutoPageBreak(false, marginBottom)
	p.pdf.SetCellMargin(0)
	p.pdf.AliasNbPages("{pages}")
	p.pdf.SetHeaderFunc(func() { p.header(top) })
	p.pdf.SetFooterFunc(func() { p.footer(bottom) })
	p.pdf.AddPage()
	return p, nil
}

func (p *paper) header(top string) {
	p.style("", sizeSmall)
	p.pdf.SetTextColor(70, 70, 70)
	lines := p.wrap(p.known(top), textWidth)
	p.pdf.SetXY(marginSide, 9)
	for i, line := range lines[:min(len(lines), 2)] {
		p.pdf.SetXY(marginSide, 9+float64(i)*leading(sizeSmall))
		p.pdf.CellFormat(textWidth, leading(sizeSmall), line, "", 0, "L", false, 0, "")
	}
	p.rule(17)
	p.pdf.SetTextColor(0, 0, 0)
	p.pdf.SetXY(marginSide, marginTop)
}

func (p *paper) footer(bottom []string) {
	p.rule(pageHeight - marginBottom + 5)
	p.style("", sizeSmall)
	p.pdf.SetTextColor(70, 70, 70)
	y := pageHeight - marginBottom + 6.5
	for _, text := range bottom {
		for _, line := range p.wrap(p.known(text), textWidth) {
			p.pdf.SetXY(marginSide, y)
			p.pdf.CellFormat(textWidth, leading(sizeSmall), line, "", 0, "L", false, 0, "")
			y += leading(sizeSmall)
		}
	}
	p.pdf.SetXY(marginSide, y)
	p.pdf.CellFormat(textWidth, leading(sizeSmall), "Page "+itoa(p.pdf.PageNo())+" of {pages}", "", 0, "L", false, 0, "")
	p.pdf.SetTextColor(0, 0, 0)
}

func (p *paper) rule(y float64) {
	p.pdf.SetDrawColor(150, 150, 150)
	p.pdf.SetLineWidth(0.2)
	p.pdf.Line(marginSide, y, pageWidth-marginSide, y)
}

func (p *paper) style(weight string, size float64) { p.pdf.SetFont(family, weight, size) }

// room begins a new page when less than height is left on this one.
func (p *paper) room(height float64) {
	if p.pdf.GetY()+height > pageHeight-marginBottom {
		p.pdf.AddPage()
	}
}

func (p *paper) gap(height float64) { p.pdf.SetY(p.pdf.GetY() + height) }

// title, heading and label begin parts; a heading never stands alone at the foot of a page.
func (p *paper) title(text string) {
	p.room(20)
	p.lines("B", sizeTitle, text)
	p.gap(1.5)
}

func (p *paper) heading(text string) {
	p.gap(2.5)
	p.room(18)
	p.lines("B", sizeHead, text)
	p.gap(0.8)
}

func (p *paper) text(text string)  { p.lines("", sizeText, text) }
func (p *paper) small(text string) { p.lines("", sizeSmall, text) }

// lines writes a paragraph over the whole width.
func (p *paper) lines(weight string, size float64, text string) {
	p.style(weight, size)
	for paragraph := range strings.SplitSeq(text, "\n") {
		for _, line := range p.wrap(p.known(paragraph), textWidth) {
			p.room(leading(size))
			p.style(weight, size) // a new page has its own
			p.pdf.SetX(marginSide)
			p.pdf.CellFormat(textWidth, leading(size), line, "", 1, "L", false, 0, "")
		}
	}
}

// wrap breaks a line at blanks, and a word that is too long wherever it must, by the font as it is set.
func (p *paper) wrap(text string, width float64) []string {
	var out []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		joined := strings.TrimPrefix(line+" "+word, " ")
		if p.pdf.GetStringWidth(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for line = word; p.pdf.GetStringWidth(line) > width; {
			head := p.fitting(line, width)
			out, line = append(out, head), line[len(head):]
		}
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// fitting is as much of the beginning of a word as fits, at least one character.
func (p *paper) fitting(word string, width float64) string {
	end := 0
	for i, r := range word {
		next := i + len(string(r))
		if end > 0 && p.pdf.GetStringWidth(word[:next]) > width {
			break
		}
		end = next
	}
	return word[:end]
}

// bytes ends the document.
func (p *paper) bytes() ([]byte, error) {
	var b bytes.Buffer
	err := p.pdf.Output(&b)
	return b.Bytes(), err
}
