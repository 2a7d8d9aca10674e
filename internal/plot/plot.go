// Package plot draws figures as SVG: units over time with a panel for each product, rates by region, and how many days lie between treatments.
//
// It is for looking at. Its coordinates are float64 and end in no dose; the figures themselves are exact and stand beside it. The same figures give the
// same bytes.
package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/figure"
)

// MediaType is the media type of what is drawn here.
const MediaType = "image/svg+xml"

const (
	width  = 18 * vg.Centimeter
	height = 7 * vg.Centimeter // of one panel
)

// Figures draws what is asked for.
func Figures(m *tracev1.GetFiguresResponse, what tracev1.FigurePlot) ([]byte, error) {
	switch what {
	case tracev1.FigurePlot_FIGURE_PLOT_RATES:
		return panels(rates(m))
	case tracev1.FigurePlot_FIGURE_PLOT_INTERVALS:
		return panels(intervals(m))
	}
	return panels(units(m))
}

// panels draws plots one under another.
func panels(plots []*plot.Plot, err error) ([]byte, error) {
	if err != nil {
		return nil, fmt.Errorf("plot: %w", err)
	}
	if len(plots) == 0 {
		empty := plot.New()
		empty.Title.Text = "Nothing was given in this time"
		plots = append(plots, empty)
	}
	c := vgsvg.New(width, height*vg.Length(len(plots)))
	whole := draw.New(c)
	for i, p := range plots {
		top := height * vg.Length(len(plots)-i)
		p.Draw(draw.Crop(whole, 0, 0, top-height, top-height*vg.Length(len(plots))))
	}
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("plot: %w", err)
	}
	return b.Bytes(), nil
}

// bars is a panel of bars with names under them. With more than a dozen bars only some of the names are written.
func bars(title, y string, names []string, values plotter.Values, at vg.Length, shade color.Color) (*plot.Plot, *plotter.BarChart, error) {
	p := plot.New()
	p.Title.Text, p.Y.Label.Text, p.Y.Min = title, y, 0
	wide := width / vg.Length(3*max(len(names), 4))
	b, err := plotter.NewBarChart(values, wide)
	if err != nil {
		return nil, nil, err
	}
	b.Color, b.LineStyle.Width, b.Offset = shade, 0, at*wide
	p.Add(b)
	shown := slices.Clone(names)
	for i, every := 0, (len(names)+11)/12; i < len(shown); i++ {
		if i%every != 0 {
			shown[i] = ""
		}
	}
	p.NominalX(shown...)
	return p, b, nil
}

func dark() color.Color { return color.Gray{Y: 70} }

func light() color.Color { return color.Gray{Y: 170} }

// units is a panel for each product: units given in each step of time, the most that they can be. Units of two products have no common axis.
func units(m *tracev1.GetFiguresResponse) (out []*plot.Plot, err error) {
	var products, steps []string
	sums := map[[2]string]float64{}
	for _, u := range m.GetUnits() {
		step := figure.DateText(u.GetStepFrom())
		value, err := strconv.ParseFloat(u.GetDose().GetMostUnits(), 64)
		if err != nil {
			return nil, err
		}
		sums[[2]string{u.GetProduct(), step}] += value
		products, steps = append(products, u.GetProduct()), append(steps, step)
	}
	slices.Sort(products)
	slices.Sort(steps)
	steps = slices.Compact(steps)
	for _, product := range slices.Compact(products) {
		values := make(plotter.Values, len(steps))
		for i, s := range steps {
			values[i] = sums[[2]string{product, s}]
		}
		p, _, err := bars("Units of "+product, "units", steps, values, 0, dark())
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// rates is touch-ups and unlike sides by region, in per cent.
func rates(m *tracev1.GetFiguresResponse) ([]*plot.Plot, error) {
	if len(m.GetRates()) == 0 {
		return nil, nil
	}
	var names []string
	var touched, unlike plotter.Values
	for _, r := range m.GetRates() {
		names = append(names, fmt.Sprintf("%s (%d, %d seen)", r.GetRegion(), r.GetTreatments(), r.GetReviewed()))
		touched, unlike = append(touched, share(r.GetTouchedUpPercent())), append(unlike, share(r.GetUnlikePercent()))
	}
	p, first, err := bars("Touch-ups and unlike sides", "per cent", names, touched, -0.5, dark())
	if err != nil {
		return nil, err
	}
	second, err := plotter.NewBarChart(unlike, first.Width)
	if err != nil {
		return nil, err
	}
	second.Color, second.LineStyle.Width, second.Offset = light(), 0, first.Width/2
	p.Add(second)
	p.Legend.Add("touched up, of treatments", first)
	p.Legend.Add("sides unlike, of those seen", second)
	p.Legend.Top, p.Y.Max = true, 100
	return []*plot.Plot{p}, nil
}

// share is a percentage; 0 where there is none.
func share(percent string) float64 {
	value, err := strconv.ParseFloat(percent, 64)
	if err != nil {
		return 0
	}
	return value
}

// intervals is a panel for each product: how many intervals of how many weeks.
func intervals(m *tracev1.GetFiguresResponse) (out []*plot.Plot, err error) {
	for _, i := range m.GetIntervals() {
		weeks := make(plotter.Values, i.GetMostDays()/7+1)
		if len(weeks) > 105 {
			weeks = weeks[:105] // the last bar is two years and more
		}
		names := make([]string, len(weeks))
		for n := range names {
			names[n] = strconv.Itoa(n)
		}
		for _, days := range i.GetDays() {
			weeks[min(int(days/7), len(weeks)-1)]++
		}
		p, _, err := bars("Weeks between treatments with "+i.GetProduct(), "intervals", names, weeks, 0, dark())
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}
