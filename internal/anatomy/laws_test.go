package anatomy_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"needlebook/internal/anatomy"
)

// drawPlace makes any place that Check lets through, near the face more often than not.
func drawPlace(t *rapid.T, f anatomy.Frame, label string) anatomy.Place {
	reach := anatomy.Micrometre(rapid.SampledFrom([]int64{50, 20_000, 90_000, 300_000}).Draw(t, label+" reach"))
	p := anatomy.Place{Frame: f.Code,
		X: anatomy.Micrometre(rapid.Int64Range(int64(-reach), int64(reach)).Draw(t, label+" x")),
		Y: anatomy.Micrometre(rapid.Int64Range(int64(-reach), int64(reach)).Draw(t, label+" y"))}
	sides := []anatomy.Side{anatomy.SideRight, anatomy.SideLeft}
	if !f.Sided {
		sides = append(sides, anatomy.SideNone, anatomy.SideMidline)
	}
	p.Side = rapid.SampledFrom(sides).Draw(t, label+" side")
	p.Scale = drawScale(t, f, label)
	return p
}

func drawScale(t *rapid.T, f anatomy.Frame, label string) anatomy.Scale {
	if rapid.Bool().Draw(t, label+" by default") {
		return anatomy.Scale{}
	}
	return anatomy.Scale{Measure: rapid.SampledFrom(f.Measures).Draw(t, label+" measure").Code,
		Measured: anatomy.Micrometre(rapid.Int64Range(int64(anatomy.LeastMeasured), int64(anatomy.MostMeasured)).Draw(t, label+" measured"))}
}

func drawFrame(t *rapid.T) anatomy.Frame { return rapid.SampledFrom(anatomy.Frames()).Draw(t, "frame") }

// drawZones makes a zone on each landmark of a frame in each direction, with bounds of any kind.
func drawZones(t *rapid.T, f anatomy.Frame) []anatomy.Zone {
	bound := rapid.Int64Range(-30_000, 30_000)
	least, width, kind := anatomy.Micrometre(bound.Draw(t, "least")), anatomy.Micrometre(bound.Draw(t, "width")), rapid.IntRange(0, 2).Draw(t, "bounds")
	var zones []anatomy.Zone
	for _, l := range f.Landmarks {
		for _, d := range []anatomy.Direction{anatomy.Above, anatomy.Below, anatomy.Lateral, anatomy.Medial, anatomy.Inside, anatomy.From} {
			z := anatomy.Zone{Code: l.Code + " " + string(d), Frame: f.Code, Landmark: l.Code, Direction: d}
			if kind != 1 {
				z.Least = anatomy.At(least)
			}
			if kind != 0 {
				z.Most = anatomy.At(least + width)
			}
			zones = append(zones, z)
		}
	}
	return zones
}

func locate(t interface{ Fatal(...any) }, p anatomy.Place, zones ...anatomy.Zone) anatomy.Location {
	where, err := anatomy.Locate(p, zones)
	if err != nil {
		t.Fatal(err)
	}
	return where
}

func TestLocateAgreesWithItsTwin(t *testing.T) {
	measured := map[string]bool{}
	rapid.Check(t, func(t *rapid.T) {
		// Every frame each time, so that even a short run sees all landmarks.
		for _, f := range anatomy.Frames() {
			p, zones := drawPlace(t, f, string(f.Code)), drawZones(t, f)
			where := locate(t, p, zones...)
			if len(where.Readings)+len(where.Unmeasured) != len(zones) {
				t.Fatalf("%d zones, %d readings and %d without", len(zones), len(where.Readings), len(where.Unmeasured))
			}
			midline, _ := f.Landmark("midline")
			if where.MidlineKnown && where.Midline != twin(f, midline, p, anatomy.From).round() {
				t.Fatalf("%v from the midline", where.Midline)
			}
			for _, r := range where.Readings {
				measured[string(f.Code)+" "+r.Zone.Code] = true
				agrees(t, f, p, r)
			}
		}
	})
	if len(measured) < 100 {
		t.Errorf("only %d landmarks and directions were measured", len(measured))
	}
}

func agrees(t interface {
	Helper()
	Errorf(string, ...any)
}, f anatomy.Frame, p anatomy.Place, r anatomy.Reading) {
	t.Helper()
	want := twin(f, r.Landmark, p, r.Zone.Direction)
	if r.Distance != want.round() || r.Margin.Sign != marginSign(r.Zone, want) {
		t.Errorf("%s at %v: %v, sign %d; the twin has %v, sign %d", r.Zone.Code, p, r.Distance, r.Margin.Sign, want.round(), marginSign(r.Zone, want))
	}
	least, most := r.Distance-r.Zone.Least.Distance, r.Zone.Most.Distance-r.Distance
	nearest := least
	if !r.Zone.Least.Set || r.Zone.Most.Set && most < least {
		nearest = most
	}
	if r.Margin.Distance != nearest || int64(r.Margin.Distance)*int64(r.Margin.Sign) < 0 {
		t.Errorf("%s: margin %v with sign %d, want %v", r.Zone.Code, r.Margin.Distance, r.Margin.Sign, nearest)
	}
}

func TestMirrorIsAnInvolutionThatChangesNoMargin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		p, zones := drawPlace(t, f, "place"), drawZones(t, f)
		m := anatomy.Mirror(p)
		if anatomy.Mirror(m) != p {
			t.Fatalf("%v mirrored twice is %v", p, anatomy.Mirror(m))
		}
		a, b := locate(t, p, zones...), locate(t, m, zones...)
		if b.Side != a.Side.Opposite() {
			t.Fatalf("side %v mirrors to %v", a.Side, b.Side)
		}
		a.Place, b.Place, b.Side = anatomy.Place{}, anatomy.Place{}, a.Side
		if diff := cmp.Diff(a, b); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestDistancesAreAMetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		a, b, c := drawPlace(t, f, "a"), drawPlace(t, f, "b"), drawPlace(t, f, "c")
		b.Side, c.Side = a.Side, a.Side
		between := func(p, q anatomy.Place) anatomy.Micrometre {
			d, err := anatomy.DistanceBetween(p, q)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
		ab, bc, ac := between(a, b), between(b, c), between(a, c)
		if ab != between(b, a) || between(a, a) != 0 || between(anatomy.Mirror(a), anatomy.Mirror(b)) != ab {
			t.Fatal("not symmetric")
		}
		// Each is within half a micrometre of the exact one.
		if ac > ab+bc+1 {
			t.Fatalf("%v > %v + %v", ac, ab, bc)
		}
		apart := dot{rat(a.X), rat(a.Y)}.minus(dot{rat(b.X), rat(b.Y)})
		if want := (figure{apart.times(apart), true}).round(); ab != want {
			t.Fatalf("%v, the twin has %v", ab, want)
		}
	})
}

// Scaling an axis by a whole number scales level and upright distances along it by the same.
func TestScalingLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := anatomy.Micrometre(rapid.Int64Range(1, 3).Draw(t, "k"))
		f, _ := anatomy.FrameByCode(anatomy.FrameMouth)
		for _, c := range []struct {
			measure, landmark string
			direction         anatomy.Direction
		}{{"mouth_width", "mouth_corner", anatomy.Medial}, {"mouth_width", "midline", anatomy.From}, {"lip_height", "mouth_corner", anatomy.Below}} {
			m, _ := f.Measure(c.measure)
			p := anatomy.Place{Frame: f.Code, X: anatomy.Micrometre(rapid.Int64Range(-40_000, 40_000).Draw(t, "x")),
				Y: anatomy.Micrometre(rapid.Int64Range(-40_000, 40_000).Draw(t, "y")), Scale: anatomy.Scale{Measure: c.measure, Measured: m.Default}}
			q := p
			q.Scale.Measured *= k
			if m.Axis == anatomy.AxisX {
				q.X *= k
			} else {
				q.Y *= k
			}
			z := anatomy.Zone{Frame: f.Code, Landmark: c.landmark, Direction: c.direction, Least: anatomy.At(0)}
			small, large := locate(t, p, z).Readings[0], locate(t, q, z).Readings[0]
			if large.Distance != k*small.Distance || small.Distance != locate(t, anatomy.Place{Frame: f.Code, X: p.X, Y: p.Y}, z).Readings[0].Distance {
				t.Fatalf("%s times %d: %v becomes %v", c.measure, k, small.Distance, large.Distance)
			}
		}
	})
}

// A corner of the mouth lies at half the measured width, exactly.
func TestCornerIsAtHalfTheMeasuredWidth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		half := anatomy.Micrometre(rapid.Int64Range(10_000, 50_000).Draw(t, "half"))
		p := anatomy.Place{Frame: anatomy.FrameMouth, Side: anatomy.SideRight, X: -half, Scale: anatomy.Scale{Measure: "mouth_width", Measured: 2 * half}}
		z := anatomy.Zone{Landmark: "mouth_corner", Direction: anatomy.From, Least: anatomy.At(0)}
		if r := locate(t, p, z).Readings[0]; r.Margin.Sign != 0 || r.Distance != 0 || r.ByDefault {
			t.Fatalf("%v from the corner", r.Distance)
		}
	})
}

func TestConvertIsAShiftWithoutScalesAndComesBackWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var flat []anatomy.Frame
		for _, f := range anatomy.Frames() {
			if f.Flat {
				flat = append(flat, f)
			}
		}
		a, b := rapid.SampledFrom(flat).Draw(t, "from"), rapid.SampledFrom(flat).Draw(t, "to")
		side := rapid.SampledFrom([]anatomy.Side{anatomy.SideRight, anatomy.SideLeft}).Draw(t, "side")
		p := anatomy.Place{Frame: a.Code, Side: side, X: anatomy.Micrometre(rapid.Int64Range(-60_000, 60_000).Draw(t, "x")),
			Y: anatomy.Micrometre(rapid.Int64Range(-60_000, 60_000).Draw(t, "y"))}
		convert := func(p anatomy.Place, to anatomy.Frame, scale anatomy.Scale) anatomy.Place {
			q, err := anatomy.Convert(p, to.Code, p.Side, scale)
			if err != nil {
				t.Fatal(err)
			}
			return q
		}
		q := convert(p, b, anatomy.Scale{})
		if back := convert(q, a, anatomy.Scale{}); back != p {
			t.Fatalf("%v comes back as %v", p, back)
		}
		if mirrored := convert(anatomy.Mirror(p), b, anatomy.Scale{}); mirrored != anatomy.Mirror(q) {
			t.Fatalf("mirrored it is %v, not %v", mirrored, anatomy.Mirror(q))
		}
		m := rapid.SampledFrom(b.Measures).Draw(t, "measure")
		scale := anatomy.Scale{Measure: m.Code, Measured: m.Default * anatomy.Micrometre(rapid.Int64Range(100, 130).Draw(t, "percent")) / 100}
		back := convert(convert(p, b, scale), a, anatomy.Scale{})
		if dx, dy := back.X-p.X, back.Y-p.Y; dx < -1 || dx > 1 || dy < -1 || dy > 1 {
			t.Fatalf("%v comes back as %v", p, back)
		}
	})
}

func TestCompareDescribesTwoSides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		left := drawPlace(t, f, "left")
		left.Side = anatomy.SideLeft
		if !f.Sided && left.X < 0 {
			left.X = -left.X
		}
		a, err := anatomy.Compare(anatomy.Mirror(left), left)
		if err != nil || a != (anatomy.Asymmetry{}) {
			t.Fatalf("a place and its mirror differ by %v, %v", a, err)
		}
		right := anatomy.Mirror(left)
		right.Y -= 3
		right.X += 4
		if right.Check() != nil || !f.Sided && right.X > 0 {
			return
		}
		if a, err := anatomy.Compare(right, left); err != nil || a != (anatomy.Asymmetry{Lateral: 4, Up: 3, Distance: 5}) {
			t.Fatalf("4 lateral and 3 up are %v, %v", a, err)
		}
	})
}

func TestWhatIsRefused(t *testing.T) {
	mouth := anatomy.Place{Frame: anatomy.FrameMouth}
	for name, c := range map[string]struct {
		place  anatomy.Place
		reason error
	}{
		"no frame":      {anatomy.Place{}, anatomy.ErrUnknownCode},
		"no side":       {anatomy.Place{Frame: anatomy.FrameOrbit}, anatomy.ErrSide},
		"midline orbit": {anatomy.Place{Frame: anatomy.FrameOrbit, Side: anatomy.SideMidline}, anatomy.ErrSide},
		"no such side":  {anatomy.Place{Frame: anatomy.FrameMouth, Side: 9}, anatomy.ErrSide},
		"far right":     {anatomy.Place{Frame: anatomy.FrameMouth, X: -300_001}, anatomy.ErrRange},
		"far up":        {anatomy.Place{Frame: anatomy.FrameMouth, Y: 300_001}, anatomy.ErrRange},
		"other measure": {anatomy.Place{Frame: anatomy.FrameMouth, Scale: anatomy.Scale{Measure: "eye_width", Measured: 30_000}},
			anatomy.ErrUnknownCode},
		"nameless measure": {anatomy.Place{Frame: anatomy.FrameMouth, Scale: anatomy.Scale{Measured: 30_000}}, anatomy.ErrUnknownCode},
		"tiny measure":     {anatomy.Place{Frame: anatomy.FrameMouth, Scale: anatomy.Scale{Measure: "mouth_width", Measured: 999}}, anatomy.ErrRange},
		"huge measure":     {anatomy.Place{Frame: anatomy.FrameMouth, Scale: anatomy.Scale{Measure: "mouth_width", Measured: 300_001}}, anatomy.ErrRange},
	} {
		_, located := anatomy.Locate(c.place, nil)
		_, apart := anatomy.DistanceBetween(mouth, c.place)
		_, converted := anatomy.Convert(c.place, anatomy.FrameChin, anatomy.SideNone, anatomy.Scale{})
		_, compared := anatomy.Compare(c.place, mouth)
		for _, err := range []error{c.place.Check(), located, apart, converted, compared} {
			var evidence *anatomy.Error
			if !errors.Is(err, c.reason) || !errors.As(err, &evidence) || evidence.Field == "" {
				t.Errorf("%s: got %v, want %v", name, err, c.reason)
			}
		}
	}
	left, right := anatomy.Place{Frame: anatomy.FrameOrbit, Side: anatomy.SideLeft}, anatomy.Place{Frame: anatomy.FrameOrbit, Side: anatomy.SideRight}
	if _, err := anatomy.DistanceBetween(left, right); !errors.Is(err, anatomy.ErrFrames) {
		t.Errorf("two orbits: got %v", err)
	}
	if _, err := anatomy.Compare(left, right); !errors.Is(err, anatomy.ErrSide) {
		t.Errorf("left as right: got %v", err)
	}
	if _, err := anatomy.Compare(mouth, anatomy.Place{Frame: anatomy.FrameChin}); !errors.Is(err, anatomy.ErrFrames) {
		t.Errorf("two frames: got %v", err)
	}
	cheek := anatomy.Place{Frame: anatomy.FrameCheek, Side: anatomy.SideLeft, X: -12_000, Y: 9_000}
	if q, err := anatomy.Convert(cheek, anatomy.FrameCheek, anatomy.SideLeft, anatomy.Scale{}); err != nil || q != cheek {
		t.Errorf("a cheek to itself: %v, %v", q, err)
	}
	if _, err := anatomy.Convert(cheek, anatomy.FrameCheek, anatomy.SideRight, anatomy.Scale{}); !errors.Is(err, anatomy.ErrFrames) {
		t.Errorf("one cheek to the other: got %v", err)
	}
	for _, to := range []anatomy.FrameCode{anatomy.FrameCheek, anatomy.FrameNeck} {
		if _, err := anatomy.Convert(mouth, to, anatomy.SideLeft, anatomy.Scale{}); !errors.Is(err, anatomy.ErrFrames) {
			t.Errorf("mouth to %s: got %v", to, err)
		}
	}
}
