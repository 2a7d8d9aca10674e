package anatomy

// Point is a point of a frame as it is on either side: Lateral is away from the midline, Up is up, both from the frame's origin. In frames whose
// origin is on the midline Lateral is not negative.
type Point struct {
	Lateral, Up Micrometre
}

// Kind is the shape of a landmark.
type Kind uint8

// The kinds.
const (
	// KindPoint is one point, on each side.
	KindPoint Kind = iota + 1
	// KindLevel is a horizontal line.
	KindLevel
	// KindUpright is a vertical line.
	KindUpright
	// KindPath is a line through several points, from medial to lateral.
	KindPath
)

// Landmark is a point, a line or an edge of a frame that distances are taken from. Landmarks of one code in several frames are the same part of
// the face.
type Landmark struct {
	// Code is its name in data, such as mouth_corner; Name what people call it.
	Code, Name string
	// Kind is its shape.
	Kind Kind
	// Points are where it is on the generic model: one for a point or a line (of which only one number counts), several for a path.
	Points []Point
	// Obtained says how its place on the model was come by: computed from the mesh, or from memory. It is empty for one that every frame defines
	// for itself, such as its origin.
	Obtained Obtained
	// Needs is the measure without which the landmark is nowhere, since the model has none; empty for the others.
	Needs string
	// Upper is true for a landmark of the upper lip: places lower than all of it are not measured from it.
	Upper bool
	// Remark is what a reader should know; empty when nothing.
	Remark string
}

// maker turns vertices into points of a frame.
type maker struct {
	origin vertex
	// chord is true for the cheek, where lateral is along the skin's horizontal chord to the origin rather than across the face.
	chord bool
}

func (m maker) at(number int) Point {
	v := modelVertex(number)
	lateral := v.lateral - m.origin.lateral
	if m.chord {
		size := int64(hypotenuse(lateral, v.forward-m.origin.forward, 1).round())
		// The jaw turns from front to side: what lies in front of the origin is medial of it.
		if v.forward > m.origin.forward {
			size = -size
		}
		lateral = size
	}
	return Point{Micrometre(lateral), Micrometre(v.up - m.origin.up)}
}

func (m maker) all(numbers ...int) []Point {
	points := make([]Point, len(numbers))
	for i, n := range numbers {
		points[i] = m.at(n)
	}
	return points
}

func (m maker) point(code, name string, number int) Landmark {
	return Landmark{Code: code, Name: name, Kind: KindPoint, Points: m.all(number), Obtained: Computed}
}

func (m maker) level(code, name string, number int) Landmark {
	return Landmark{Code: code, Name: name, Kind: KindLevel, Points: []Point{{Up: m.at(number).Up}}, Obtained: Computed}
}

func (m maker) midline() Landmark {
	return Landmark{Code: "midline", Name: "facial midline", Kind: KindUpright, Points: []Point{{Lateral: Micrometre(-m.origin.lateral)}},
		Obtained: Computed}
}

func (m maker) jaw() Landmark {
	return Landmark{Code: "mandibular_border", Name: "lower border of the mandible", Kind: KindPath, Obtained: Memory,
		Points: m.all(chinLowest, jawOutline1, jawOutline2, jawOutline3, jawOutline4, jawOutline5, jawAngle),
		Remark: "the outline of the skin; feel the bone"}
}

func (m maker) lowerLip() Landmark {
	return Landmark{Code: "lower_vermilion", Name: "vermilion border of the lower lip", Kind: KindPath, Obtained: Memory,
		Points: m.all(lowerLipMiddle, lowerLip1, lowerLip2, lowerLip3, lowerLip4, mouthCorner),
		Remark: "middle and corner read, the points between from memory"}
}

func (m maker) upperLip() Landmark {
	return Landmark{Code: "vermilion", Name: "vermilion border of the upper lip", Kind: KindPath, Obtained: Memory, Upper: true,
		Points: m.all(upperLipMiddle, upperLip1, upperLip2, upperLip3, upperLip4, mouthCorner),
		Remark: "middle and corner read, the points between from memory"}
}

// ridge is the bony edge above the eye. The model has skin alone: the lower edge of the brow stands for it.
func (m maker) ridge(code, name string, extra ...Point) Landmark {
	return Landmark{Code: code, Name: name, Kind: KindPath, Obtained: Memory, Points: append(m.all(browLower1, browLower2, browLower3), extra...),
		Remark: "the model has no bone: the lower edge of the brow stands for it; feel the bone"}
}
