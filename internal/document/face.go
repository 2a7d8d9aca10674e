package document

import (
	_ "embed"
	"encoding/json"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

//go:embed face.json
var faceData []byte

// faceLine is a line of the face: half of it, on the patient's left, or the half of one that runs over the midline. Points are millimetres of the model.
type faceLine struct {
	Weight string       `json:"weight"` // bold, plain, faint, fill, eye
	Over   bool         `json:"over,omitempty"`
	Closed bool         `json:"closed,omitempty"`
	Points [][2]float64 `json:"points"`
}

// The drawing on the page: the model from top to bottom, with a margin for numbers on either side. The head above the brow and the neck are cut to what
// may be injected.
const (
	faceScale            = 0.66
	faceTop, faceBottom  = 96.0, -104.0
	faceHalf, faceMargin = 84.0, 14.0
	faceHeight           = (faceTop - faceBottom) * faceScale
)

// mark is a needle's place on the drawing.
type mark struct {
	label string
	at    [2]float64 // millimetres of the model
	given bool
	void  bool
}

// face draws the face with marks. The patient's right is on the left of the page, as one looks at her.
func (p *paper) face(marks []mark) error {
	var lines []faceLine
	if err := json.Unmarshal(faceData, &lines); err != nil {
		return err
	}
	p.room(faceHeight + 8)
	top := p.pdf.GetY() + 4
	at := func(m [2]float64) (x, y float64) {
		return pageWidth/2 + m[0]*faceScale, top + (faceTop-m[1])*faceScale
	}
	p.style("", sizeSmall)
	half := faceHalf*faceScale + faceMargin
	p.pdf.SetXY(pageWidth/2-half, top-4)
	p.pdf.CellFormat(half, 4, "patient's right", "", 0, "L", false, 0, "")
	p.pdf.CellFormat(half, 4, "patient's left", "", 0, "R", false, 0, "")
	p.pdf.ClipRect(pageWidth/2-half, top, 2*half, faceHeight, false)
	for _, l := range lines {
		p.faceLine(l, at)
	}
	p.pdf.ClipEnd()
	p.marks(marks, at, top, half)
	p.pdf.SetXY(marginSide, top+faceHeight+1.5)
	return nil
}

func (p *paper) faceLine(l faceLine, at func([2]float64) (float64, float64)) {
	switch l.Weight {
	case "bold":
		p.pdf.SetDrawColor(90, 90, 90)
		p.pdf.SetLineWidth(0.35)
	case "plain":
		p.pdf.SetDrawColor(130, 130, 130)
		p.pdf.SetLineWidth(0.25)
	default:
		p.pdf.SetDrawColor(185, 185, 185)
		p.pdf.SetLineWidth(0.18)
	}
	p.pdf.SetFillColor(225, 225, 225)
	draw := "D"
	if l.Weight == "fill" {
		draw = "DF"
	}
	if l.Over {
		p.curve(overMidline(l.Points), l.Closed, draw, at)
		return
	}
	p.curve(l.Points, l.Closed, draw, at)
	p.curve(mirrored(l.Points), l.Closed, draw, at)
}

func mirrored(points [][2]float64) [][2]float64 {
	out := make([][2]float64, len(points))
	for i, q := range points {
		out[i] = [2]float64{-q[0], q[1]}
	}
	return out
}

// overMidline is a line over the midline: the half's mirror from outside in, and the half.
func overMidline(half [][2]float64) [][2]float64 {
	other := mirrored(half)
	if half[0][0] == 0 {
		other = other[1:]
	}
	slices.Reverse(other)
	return append(other, half...)
}

// curve joins points by a Catmull-Rom spline, as the tablet does.
func (p *paper) curve(points [][2]float64, closed bool, draw string, at func([2]float64) (float64, float64)) {
	n := len(points)
	pick := func(i int) [2]float64 {
		if closed {
			return points[(i+n)%n]
		}
		return points[min(max(i, 0), n-1)]
	}
	p.pdf.MoveTo(at(pick(0)))
	pieces := n - 1
	if closed {
		pieces = n
	}
	for i := range pieces {
		a, b, c, d := pick(i-1), pick(i), pick(i+1), pick(i+2)
		x1, y1 := at([2]float64{b[0] + (c[0]-a[0])/6, b[1] + (c[1]-a[1])/6})
		x2, y2 := at([2]float64{c[0] - (d[0]-b[0])/6, c[1] - (d[1]-b[1])/6})
		x, y := at(c)
		p.pdf.CurveBezierCubicTo(x1, y1, x2, y2, x, y)
	}
	if closed {
		p.pdf.ClosePath()
	}
	p.pdf.DrawPath(draw)
}

// marks draws the places, and in the margin their numbers, each as high as its place where there is room, with a line to it.
func (p *paper) marks(marks []mark, at func([2]float64) (float64, float64), top, half float64) {
	for _, right := range []bool{true, false} {
		var side []mark
		for _, m := range marks {
			if (m.at[0] < 0) == right {
				side = append(side, m)
			}
		}
		slices.SortStableFunc(side, func(a, b mark) int { return cmpFloat(b.at[1], a.at[1]) })
		var ys []float64
		for _, m := range side {
			_, y := at(m.at)
			ys = append(ys, y)
		}
		ys = spread(ys, 4.2, top+2, top+faceHeight-2)
		x := pageWidth/2 + half - 3
		if right {
			x = pageWidth/2 - half + 3
		}
		for i, m := range side {
			p.mark(m, at, x, ys[i])
		}
	}
}

func cmpFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func (p *paper) mark(m mark, at func([2]float64) (float64, float64), x, y float64) {
	mx, my := at(m.at)
	p.pdf.SetDrawColor(0, 0, 0)
	p.pdf.SetLineWidth(0.12)
	inner := x - 3.2
	if x < pageWidth/2 {
		inner = x + 3.2
	}
	p.pdf.Line(mx, my, inner, y)
	p.pdf.SetLineWidth(0.25)
	p.pdf.SetFillColor(255, 255, 255)
	if m.given {
		p.pdf.SetFillColor(0, 0, 0)
	}
	p.pdf.Circle(mx, my, 0.6, "DF")
	if m.void {
		p.pdf.Line(mx-1.2, my-1.2, mx+1.2, my+1.2)
		p.pdf.Line(mx-1.2, my+1.2, mx+1.2, my-1.2)
	}
	p.style("B", sizeSmall)
	p.pdf.SetXY(x-3, y-2)
	p.pdf.CellFormat(6, 4, m.label, "", 0, "C", false, 0, "")
}

// spread moves heights apart to at least step, within least and most as far as they fit; they ascend.
func spread(ys []float64, step, least, most float64) []float64 {
	out := slices.Clone(ys)
	if n := float64(len(out)); n > 1 && step*(n-1) > most-least {
		step = (most - least) / (n - 1)
	}
	for i := range out {
		out[i] = max(out[i], least+float64(i)*step)
		if i > 0 {
			out[i] = max(out[i], out[i-1]+step)
		}
	}
	for i := len(out) - 1; i >= 0; i-- {
		out[i] = min(out[i], most-float64(len(out)-1-i)*step)
	}
	return out
}

// onFace is where a place stands on the drawing: the model's landmark, and the patient's millimetres brought to the model where the frame was scaled.
// ok is false for a frame that the drawing does not know, or a sided one without a side.
func onFace(pl *chartv1.Place, side *chartv1.Side) (at [2]float64, ok bool) {
	if pl == nil {
		return at, false
	}
	left := 1.0
	sided := pl.GetFrame() == "orbit" || pl.GetFrame() == "cheek"
	if side != nil && *side == chartv1.Side_SIDE_RIGHT {
		left = -1
	} else if sided && (side == nil || *side != chartv1.Side_SIDE_LEFT) {
		return at, false
	}
	// The landmarks of the canonical face mesh, as in the tablet's frame.ts.
	origin, ok := map[string][2]float64{
		"mouth": {0, -43.426}, "chin": {0, -94.034}, "neck": {0, -94.034}, "brow": {0, 41.422}, "forehead": {0, 45.2},
		"orbit": {left * 44.459, 26.64}, "nose": {0, -20.89}, "cheek": {left * 59.405, -62.236},
	}[pl.GetFrame()]
	if !ok {
		return at, false
	}
	x, y := float64(pl.GetXMicrometers())/1000, float64(pl.GetYMicrometers())/1000
	if s := pl.GetScale(); s != nil {
		if model := modelMeasures()[s.GetMeasure()]; model.mm > 0 {
			ratio := model.mm * 1000 / float64(s.GetMeasuredMicrometers())
			if model.upright {
				y *= ratio
			} else {
				x *= ratio
			}
		}
	}
	return [2]float64{origin[0] + x, origin[1] + y}, true
}

type modelMeasure struct {
	mm      float64
	upright bool
}

// modelMeasures is the model's own distances, as in the tablet's frame.ts.
func modelMeasures() map[string]modelMeasure {
	return map[string]modelMeasure{
		"forehead_height": {60, true}, "interbrow_width": {24.418, false}, "eye_width": {25.895, false}, "nose_height": {53.6, true},
		"nose_corner_width": {28.112, false}, "masseter_width": {35, false}, "corner_height": {18.81, true}, "mouth_width": {49.124, false},
		"lip_height": {19.587, true}, "chin_height": {40.383, true}, "jaw_width": {118.81, false},
	}
}
