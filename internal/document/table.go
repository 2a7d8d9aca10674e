package document

// column is a column of a table: what is over it, and its part of the width.
type column struct {
	head string
	part float64
}

// pairs writes labels with what they say; a blank says that nothing was recorded.
func (p *paper) pairs(rows ...[2]string) {
	for _, r := range rows {
		said := r[1]
		if said == "" {
			said = blank
		}
		p.cells([]float64{44, textWidth - 44}, []string{r[0], said}, []string{"B", ""}, sizeText, false)
	}
}

// blank is what stands where nothing was recorded.
const blank = "not recorded"

// table writes rows under heads, which stand again on each new page.
func (p *paper) table(columns []column, rows [][]string) {
	total := 0.0
	for _, c := range columns {
		total += c.part
	}
	widths, heads, bold := make([]float64, len(columns)), make([]string, len(columns)), make([]string, len(columns))
	for i, c := range columns {
		widths[i], heads[i], bold[i] = c.part/total*textWidth, c.head, "B"
	}
	head := func() {
		p.cells(widths, heads, bold, sizeSmall, true)
	}
	p.room(16)
	head()
	for _, row := range rows {
		if p.pdf.GetY()+p.height(widths, row, sizeSmall) > pageHeight-marginBottom {
			p.pdf.AddPage()
			head()
		}
		p.cells(widths, row, make([]string, len(row)), sizeSmall, true)
	}
	p.gap(1)
}

const cellPad = 0.9

// height is how much room a row takes, at most that of a page.
func (p *paper) height(widths []float64, row []string, size float64) float64 {
	p.style("", size)
	most := 1
	for i, text := range row {
		most = max(most, len(p.wrapped(text, widths[i]-2*cellPad)))
	}
	return min(float64(most)*leading(size)+2*cellPad, pageHeight-marginTop-marginBottom)
}

func (p *paper) wrapped(text string, width float64) (out []string) {
	for _, part := range splitLines(text) {
		out = append(out, p.wrap(p.known(part), width)...)
	}
	return out
}

// cells writes one row. What does not fit on the page goes on on the next.
func (p *paper) cells(widths []float64, row, weights []string, size float64, ruled bool) {
	lines := make([][]string, len(row))
	most := 0
	for i, text := range row {
		p.style(weights[i], size)
		lines[i] = p.wrapped(text, widths[i]-2*cellPad)
		most = max(most, len(lines[i]))
	}
	for at := 0; at < most; {
		p.room(leading(size) + 2*cellPad)
		y := p.pdf.GetY()
		fit := max(1, min(most-at, int((pageHeight-marginBottom-y-2*cellPad)/leading(size))))
		x := marginSide
		for i := range row {
			p.style(weights[i], size)
			for n := at; n < min(at+fit, len(lines[i])); n++ {
				p.pdf.SetXY(x+cellPad, y+cellPad+float64(n-at)*leading(size))
				p.pdf.CellFormat(widths[i]-2*cellPad, leading(size), lines[i][n], "", 0, "L", false, 0, "")
			}
			x += widths[i]
		}
		at += fit
		y += float64(fit)*leading(size) + 2*cellPad
		if !ruled {
			y -= cellPad
		}
		p.pdf.SetXY(marginSide, y)
		if ruled {
			p.rule(y)
		}
	}
}
