package anatomy

import "strconv"

// The bounds of a place and of a measured distance.
const (
	MostOffset    Micrometre = 300_000
	LeastMeasured Micrometre = 1_000
	MostMeasured  Micrometre = 300_000
)

// Scale is what was measured on the patient to scale a frame. The zero value is the frame's default.
type Scale struct {
	// Measure is the code of one of the frame's measures.
	Measure string
	// Measured is what it measured, from LeastMeasured to MostMeasured.
	Measured Micrometre
}

// Place is where a needle goes in. X and Y are millimetres of the patient from the frame's origin, X toward the patient's left, Y up, each at most
// MostOffset either way. The zero value is not a place.
type Place struct {
	Frame FrameCode
	// Side is right or left in a sided frame, where it says which of the two origins is meant. In the others it is what was said, none included;
	// the sign of X says where the place is.
	Side  Side
	X, Y  Micrometre
	Scale Scale
}

// Check refuses a place that cannot be: an unknown frame, a sided frame without right or left, a measure that the frame does not have, numbers out of
// bounds. The error is an [*Error].
func (p Place) Check() error {
	_, err := p.frame()
	return err
}

func (p Place) frame() (Frame, error) {
	f, err := ParseFrame(string(p.Frame))
	if err != nil {
		return Frame{}, err
	}
	return p.in(f)
}

// in is the frame, which is the place's, when the place can be in it.
func (p Place) in(f Frame) (Frame, error) {
	if f.Sided && p.Side.lateral() == 0 {
		return Frame{}, refuse("side of "+string(p.Frame), ErrSide, p.Side.String())
	}
	if p.Side > SideMidline {
		return Frame{}, refuse("side", ErrSide, strconv.Itoa(int(p.Side)))
	}
	if p.X < -MostOffset || p.X > MostOffset {
		return Frame{}, refuse("x", ErrRange, strconv.FormatInt(int64(p.X), 10))
	}
	if p.Y < -MostOffset || p.Y > MostOffset {
		return Frame{}, refuse("y", ErrRange, strconv.FormatInt(int64(p.Y), 10))
	}
	return f, f.checkScale(p.Scale)
}

func (f Frame) checkScale(s Scale) error {
	if s == (Scale{}) {
		return nil
	}
	if _, ok := f.Measure(s.Measure); !ok {
		return refuse("measure of "+string(f.Code), ErrUnknownCode, s.Measure)
	}
	if s.Measured < LeastMeasured || s.Measured > MostMeasured {
		return refuse(s.Measure, ErrRange, strconv.FormatInt(int64(s.Measured), 10))
	}
	return nil
}

// ratio is patient to model on one axis: 1/1 where nothing was measured.
type ratio struct{ num, den int64 }

// ratio of an axis; the scale was checked.
func (f Frame) ratio(s Scale, axis Axis) ratio {
	if m, ok := f.Measure(s.Measure); ok && m.Axis == axis {
		return ratio{int64(s.Measured), int64(m.Default)}
	}
	return ratio{1, 1}
}

// whole is the ratio of an axis for the frame as a whole: a measure that moves only its own landmarks leaves it.
func (f Frame) whole(s Scale, axis Axis) ratio {
	if m, ok := f.Measure(s.Measure); ok && m.Own {
		return ratio{1, 1}
	}
	return f.ratio(s, axis)
}

// Mirror is the place on the other side of the midline. It is exact, and twice gives the place itself.
func Mirror(p Place) Place {
	p.X, p.Side = -p.X, p.Side.Opposite()
	return p
}

// GeometricSide is the side on which a place lies: in a sided frame the one it was given, in the others by the sign of X, the midline at zero.
func GeometricSide(p Place) Side {
	f, _ := FrameByCode(p.Frame)
	return f.sideOf(p)
}

func (f Frame) sideOf(p Place) Side {
	switch {
	case f.Sided:
		return p.Side
	case p.X < 0:
		return SideRight
	case p.X > 0:
		return SideLeft
	}
	return SideMidline
}

// DistanceBetween is the straight distance between two places of one frame and, in a sided frame, of one side, to the nearest micrometre, a half
// up. The places' scales play no part, since places are in millimetres of the patient.
func DistanceBetween(p, q Place) (Micrometre, error) {
	f, err := p.frame()
	if err != nil {
		return 0, err
	}
	if err := q.Check(); err != nil {
		return 0, err
	}
	if p.Frame != q.Frame || f.Sided && p.Side != q.Side {
		return 0, refuse("frame "+string(p.Frame)+" "+p.Side.String(), ErrFrames, string(q.Frame)+" "+q.Side.String())
	}
	return hypotenuse(int64(p.X-q.X), int64(p.Y-q.Y), 1).round(), nil
}

// Asymmetry is how far a place on the left is from where the mirror puts its fellow on the right.
type Asymmetry struct {
	// Lateral is how much further from the midline the left one is, Up how much higher.
	Lateral, Up Micrometre
	// Distance is the straight distance, to the nearest micrometre, a half up.
	Distance Micrometre
}

// Compare puts a place on the right beside its fellow on the left, both in one frame. Either may be on the midline; one on the other's side is
// [ErrSide]. It describes and names no side to treat.
func Compare(right, left Place) (Asymmetry, error) {
	for _, p := range []Place{right, left} {
		if err := p.Check(); err != nil {
			return Asymmetry{}, err
		}
	}
	if right.Frame != left.Frame {
		return Asymmetry{}, refuse("frame "+string(right.Frame), ErrFrames, string(left.Frame))
	}
	if GeometricSide(right) == SideLeft {
		return Asymmetry{}, refuse("side of the right place", ErrSide, SideLeft.String())
	}
	if GeometricSide(left) == SideRight {
		return Asymmetry{}, refuse("side of the left place", ErrSide, SideRight.String())
	}
	lateral, up := left.X+right.X, left.Y-right.Y
	return Asymmetry{lateral, up, hypotenuse(int64(lateral), int64(up), 1).round()}, nil
}

// Convert draws a place in another frame: to the generic model by the place's scale, and from it by the scale given. Each coordinate is to the
// nearest micrometre, a half away from zero. It is defined between flat frames alone (forehead, brow, orbit, nose, mouth, chin), else
// [ErrFrames]; a side is needed for a sided frame. Without scales it is a shift and exact. It is for drawings: the model's distance between the
// two origins is in it.
func Convert(p Place, to FrameCode, side Side, scale Scale) (Place, error) {
	from, err := p.frame()
	if err != nil {
		return Place{}, err
	}
	q := Place{Frame: to, Side: side, Scale: scale}
	target, err := q.frame()
	if err != nil {
		return Place{}, err
	}
	if from.Code != to && !(from.Flat && target.Flat) || from.Code == to && from.Sided && !from.Flat && p.Side != side {
		return Place{}, refuse("frame "+string(p.Frame), ErrFrames, string(to))
	}
	shiftX := from.originX(p.Side) - target.originX(side)
	q.X = carry(p.X, shiftX, from.whole(p.Scale, AxisX), target.whole(scale, AxisX))
	q.Y = carry(p.Y, from.origin.up-target.origin.up, from.whole(p.Scale, AxisY), target.whole(scale, AxisY))
	return q, q.Check()
}

// originX is the origin of the frame on the whole model, toward the patient's left.
func (f Frame) originX(s Side) int64 {
	if !f.Sided {
		return 0
	}
	return s.lateral() * f.origin.lateral
}

// carry is (v/from + shift)*to: at most 5.4*10^10 + 6*10^10 times 3*10^5, which fits.
func carry(v Micrometre, shift int64, from, to ratio) Micrometre {
	return Micrometre(roundRatio((int64(v)*from.den+shift*from.num)*to.num, from.num*to.den))
}
