package anatomy

// FrameCode is the name of a frame in data.
type FrameCode string

// The frames.
const (
	FrameForehead FrameCode = "forehead"
	FrameBrow     FrameCode = "brow"
	FrameOrbit    FrameCode = "orbit"
	FrameNose     FrameCode = "nose"
	FrameCheek    FrameCode = "cheek"
	FrameMouth    FrameCode = "mouth"
	FrameChin     FrameCode = "chin"
	FrameNeck     FrameCode = "neck"
)

// Axis is a direction of a frame.
type Axis uint8

// The axes.
const (
	// AxisX is toward the patient's left.
	AxisX Axis = iota + 1
	// AxisY is up.
	AxisY
)

// String is "x" or "y".
func (a Axis) String() string {
	if a == AxisY {
		return "y"
	}
	return "x"
}

// Measure is a distance of the patient that scales one axis of a frame.
type Measure struct {
	// Code is its name in data, such as mouth_width; Name what people call it.
	Code, Name string
	// Between says which landmarks it is measured between and how.
	Between string
	// Axis is the axis that it scales.
	Axis Axis
	// Default is its length on the generic model.
	Default Micrometre
	// Own is true for a measure that moves only the landmarks that need it, and not the rest of the frame.
	Own bool
	// Obtained says how the default was come by.
	Obtained Obtained
}

// Frame is a system of coordinates on the face: x toward the patient's left, y up, as one looks at the patient from the front.
type Frame struct {
	// Code is its name in data; Name what people call it.
	Code FrameCode
	Name string
	// Sided frames exist on the right and on the left, each with an origin of its own; the others have theirs on the midline.
	Sided bool
	// Origin says which landmark the origin is.
	Origin string
	// Flat frames lie in one plane of the generic model, seen from the front, so that a place in one can be drawn in another.
	Flat bool
	// Landmarks are what distances are taken from.
	Landmarks []Landmark
	// Measures are the distances that may scale it.
	Measures []Measure

	origin vertex
}

// Landmark finds a landmark of the frame.
func (f Frame) Landmark(code string) (Landmark, bool) {
	for _, l := range f.Landmarks {
		if l.Code == code {
			return l, true
		}
	}
	return Landmark{}, false
}

// Measure finds a distance that may scale the frame.
func (f Frame) Measure(code string) (Measure, bool) {
	for _, m := range f.Measures {
		if m.Code == code {
			return m, true
		}
	}
	return Measure{}, false
}

// FrameCodes lists the frames from above.
func FrameCodes() []FrameCode {
	return []FrameCode{FrameForehead, FrameBrow, FrameOrbit, FrameNose, FrameCheek, FrameMouth, FrameChin, FrameNeck}
}

// Frames lists the frames from above.
func Frames() []Frame {
	var frames []Frame
	for _, code := range FrameCodes() {
		f, _ := FrameByCode(code)
		frames = append(frames, f)
	}
	return frames
}

// FrameByCode finds a frame.
func FrameByCode(code FrameCode) (Frame, bool) {
	switch code {
	case FrameForehead:
		return foreheadFrame(), true
	case FrameBrow:
		return browFrame(), true
	case FrameOrbit:
		return orbitFrame(), true
	case FrameNose:
		return noseFrame(), true
	case FrameCheek:
		return cheekFrame(), true
	case FrameMouth:
		return mouthFrame(), true
	case FrameChin:
		return chinFrame(), true
	case FrameNeck:
		return neckFrame(), true
	}
	return Frame{}, false
}

// ParseFrame is FrameByCode for outside text. The error is an [*Error] with [ErrUnknownCode].
func ParseFrame(text string) (Frame, error) {
	if f, ok := FrameByCode(FrameCode(text)); ok {
		return f, nil
	}
	return Frame{}, refuse("frame", ErrUnknownCode, text)
}
