package plot

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// A plot is well-formed XML, the same bytes each time, and has a panel with a name for each product.
func TestFigures(t *testing.T) {
	unit := func(product string, month int32, most string) *tracev1.UnitsOverTime {
		return &tracev1.UnitsOverTime{Product: product, StepFrom: &recordv1.Date{Year: 2026, Month: month, Day: 1}, Dose: &dosev1.DoseSpan{LeastUnits: "0", MostUnits: &most}}
	}
	m := &tracev1.GetFiguresResponse{
		Units:     []*tracev1.UnitsOverTime{unit("onabotulinumtoxinA", 1, "12.5"), unit("abobotulinumtoxinA", 2, "60"), unit("onabotulinumtoxinA", 2, "8")},
		Rates:     []*tracev1.RegionRate{{Region: "lower_face", Treatments: 8, TouchedUp: 1, TouchedUpPercent: "12.5", Reviewed: 4, Unlike: 1, UnlikePercent: "25.0"}},
		Intervals: []*tracev1.IntervalFigure{{Product: "onabotulinumtoxinA", Count: 2, LeastDays: 90, MostDays: 2000, Days: []uint32{90, 2000}}},
	}
	for what, names := range map[tracev1.FigurePlot][]string{
		tracev1.FigurePlot_FIGURE_PLOT_UNITS:     {"Units of onabotulinumtoxinA", "Units of abobotulinumtoxinA"},
		tracev1.FigurePlot_FIGURE_PLOT_RATES:     {"Touch-ups and unlike sides", "lower_face (8, 4 seen)"},
		tracev1.FigurePlot_FIGURE_PLOT_INTERVALS: {"Weeks between treatments with onabotulinumtoxinA"},
	} {
		for _, m := range []*tracev1.GetFiguresResponse{m, {}} {
			b, err := Figures(m, what)
			again, _ := Figures(m, what)
			if err != nil || !bytes.Equal(b, again) {
				t.Fatalf("%v: drawn twice it differs (%v)", what, err)
			}
			d := xml.NewDecoder(bytes.NewReader(b))
			for err == nil {
				_, err = d.Token()
			}
			if !errors.Is(err, io.EOF) {
				t.Errorf("%v: %v", what, err)
			}
			if len(m.GetUnits()) == 0 {
				continue
			}
			for _, n := range names {
				if !strings.Contains(string(b), n) {
					t.Errorf("%v: no %q", what, n)
				}
			}
		}
	}
}
