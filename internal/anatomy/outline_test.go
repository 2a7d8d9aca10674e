package anatomy_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/anatomy"
)

// A place on a drawn edge is on it for Locate too, within what drawing rounds away.
func TestDrawnEdgesAreWhereLocateHasThem(t *testing.T) {
	drawn := map[string]bool{}
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.SampledFrom([]anatomy.Side{anatomy.SideRight, anatomy.SideLeft}).Draw(t, "side")
		for _, z := range anatomy.Zones() {
			f, _ := anatomy.FrameByCode(z.Frame)
			m := rapid.SampledFrom(f.Measures).Draw(t, "measure")
			scale := anatomy.Scale{Measure: m.Code, Measured: m.Default * anatomy.Micrometre(rapid.Int64Range(500, 2000).Draw(t, "permille")) / 1000}
			edges, ok, err := anatomy.DrawEdges(z, side, scale)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range edges {
				drawn[z.Code] = true
				onEdge(t, z, e, side, scale, ok)
			}
		}
	})
	if len(drawn) < 16 {
		t.Errorf("only %d zones were drawn", len(drawn))
	}
}

// onEdge locates each point of a drawn edge.
func onEdge(t *rapid.T, z anatomy.Zone, e anatomy.Edge, side anatomy.Side, scale anatomy.Scale, measured bool) {
	t.Helper()
	for _, at := range e.Positions {
		p := anatomy.Place{Frame: z.Frame, Side: side, X: at.X, Y: at.Y, Scale: scale}
		if p.Check() != nil {
			continue
		}
		where := locate(t, p, z)
		if !measured || len(where.Readings) != 1 {
			t.Fatalf("%s is drawn and not measured: %v", z.Code, where.Unmeasured)
		}
		r := where.Readings[0]
		if r.Bound != e.Bound && !z.Most.Set {
			t.Fatalf("%s: the edge at %v is drawn for %v", z.Code, r.Bound, e.Bound)
		}
		// Drawing rounds both coordinates by half a micrometre, and the rim rises by up to ten where the eye is half as wide as the model's.
		if m := r.Margin.Distance; m < -6 || m > 6 {
			t.Fatalf("%s at %v: %v from its edge", z.Code, at, m)
		}
	}
}

func TestDrawingLandmarks(t *testing.T) {
	draw := func(frame anatomy.FrameCode, landmark string, side anatomy.Side, scale anatomy.Scale) []anatomy.Position {
		o, ok, err := anatomy.Draw(frame, landmark, side, scale)
		if err != nil || !ok {
			t.Fatalf("%s of %s: %v, %v", landmark, frame, ok, err)
		}
		return o.Positions
	}
	if p := draw("mouth", "mouth_corner", anatomy.SideRight, anatomy.Scale{Measure: "mouth_width", Measured: 52_001}); p[0].X != -26_001 || p[0].Y != 0 {
		t.Errorf("the right corner of a mouth of 52.001 mm is at %v", p)
	}
	if p := draw("chin", "mouth_corner", anatomy.SideLeft, anatomy.Scale{}); p[0].X != 24_562 || p[0].Y != 50_608 {
		t.Errorf("the left corner is at %v from the chin", p)
	}
	if _, ok, err := anatomy.Draw("forehead", "convergence_line_men", anatomy.SideLeft, anatomy.Scale{}); ok || err != nil {
		t.Errorf("a line that must be measured: %v, %v", ok, err)
	}
	if _, _, err := anatomy.Draw("chin", "tragus", anatomy.SideLeft, anatomy.Scale{}); !errors.Is(err, anatomy.ErrUnknownCode) {
		t.Errorf("no such landmark: %v", err)
	}
	if _, _, err := anatomy.Draw("chin", "midline", anatomy.SideMidline, anatomy.Scale{}); !errors.Is(err, anatomy.ErrSide) {
		t.Errorf("drawn on the midline: %v", err)
	}
}

// In a mouth of 28 mm nothing is 15 mm medial of a corner.
func TestAnEdgeOverTheMidlineIsNotDrawn(t *testing.T) {
	for code, want := range map[string]int{"orbicularis_oris_corner_15": 0, "orbicularis_oris_corner_10": 1} {
		z, _ := anatomy.ZoneByCode(code)
		for _, side := range []anatomy.Side{anatomy.SideRight, anatomy.SideLeft} {
			edges, ok, err := anatomy.DrawEdges(z, side, anatomy.Scale{Measure: "mouth_width", Measured: 28_000})
			if err != nil || !ok || len(edges) != want {
				t.Errorf("%s on the %s: %d edges, %v, %v", code, side, len(edges), ok, err)
			}
		}
	}
}

// A session of 40 injections, each against all zones of its muscle.
func BenchmarkLocateSession(b *testing.B) {
	zones := anatomy.Zones()
	p := anatomy.Place{Frame: anatomy.FrameMouth, Side: anatomy.SideRight, X: -9_800, Y: 12_400, Scale: anatomy.Scale{Measure: "mouth_width",
		Measured: 51_300}}
	b.ReportAllocs()
	for b.Loop() {
		for range 40 {
			if _, err := anatomy.Locate(p, anatomy.ZonesFor("orbicularis_oris", zones)); err != nil {
				b.Fatal(err)
			}
		}
	}
}
