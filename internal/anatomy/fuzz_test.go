package anatomy_test

import (
	"errors"
	"testing"

	"needlebook/internal/anatomy"
)

// What a parser of codes accepts, it writes again as the same bytes; what it refuses, it refuses as unknown.
func FuzzCodes(f *testing.F) {
	for _, m := range anatomy.Muscles() {
		f.Add(m.Code)
	}
	for _, code := range anatomy.FrameCodes() {
		f.Add(string(code))
	}
	for _, text := range []string{"", "right", "left", "midline", "none", "Right", "lower_face", "mouth ", "orbicularis oris", "\x00", "masseter\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		same := func(kind, written string, err error) {
			if err == nil && written != text || err != nil && !errors.Is(err, anatomy.ErrUnknownCode) {
				t.Errorf("%s: read %q, wrote %q, %v", kind, text, written, err)
			}
		}
		m, err := anatomy.ParseMuscle(text)
		same("muscle", m.Code, err)
		frame, err := anatomy.ParseFrame(text)
		same("frame", string(frame.Code), err)
		side, err := anatomy.ParseSide(text)
		same("side", side.String(), err)
		region, err := anatomy.ParseRegion(text)
		same("region", string(region), err)
		anatomy.KnownTarget(text)
		anatomy.Covers(text, text)
	})
}

// No place and no zone from outside panics, and each zone is answered once.
func FuzzLocate(f *testing.F) {
	f.Add("mouth", byte(1), int64(-12_000), int64(11_000), "mouth_width", int64(50_000), "mouth_corner", "medial", int64(15_000))
	f.Add("orbit", byte(2), int64(-7_109), int64(38_442), "", int64(0), "orbital_rim", "from", int64(-20_000))
	f.Add("cheek", byte(9), int64(1)<<62, int64(-1)<<63, "masseter_width", int64(1)<<62, "x", "", int64(-1)<<63)
	f.Fuzz(func(t *testing.T, frame string, side byte, x, y int64, measure string, measured int64, landmark, direction string, bound int64) {
		p := anatomy.Place{Frame: anatomy.FrameCode(frame), Side: anatomy.Side(side), X: anatomy.Micrometre(x), Y: anatomy.Micrometre(y),
			Scale: anatomy.Scale{Measure: measure, Measured: anatomy.Micrometre(measured)}}
		z := anatomy.Zone{Landmark: landmark, Direction: anatomy.Direction(direction), Least: anatomy.At(anatomy.Micrometre(bound))}
		where, err := anatomy.Locate(p, []anatomy.Zone{z})
		if (err == nil) != (p.Check() == nil) || err == nil && len(where.Readings)+len(where.Unmeasured) != 1 {
			t.Errorf("%v: %d readings, %d without, %v", p, len(where.Readings), len(where.Unmeasured), err)
		}
		for _, r := range where.Readings {
			f, _ := anatomy.FrameByCode(p.Frame)
			agrees(t, f, p, r)
		}
		if mirrored := anatomy.Mirror(anatomy.Mirror(p)); mirrored != p {
			t.Errorf("%v mirrored twice is %v", p, mirrored)
		}
	})
}
