package anatomy

// The frames one by one. Origins and defaults come from the vertices of model.go.

// across is the distance between the two vertices of a pair, up the distance from the lower vertex to the upper.
func across(number int) Micrometre { return Micrometre(2 * modelVertex(number).lateral) }

func up(lower, upper int) Micrometre {
	return Micrometre(modelVertex(upper).up - modelVertex(lower).up)
}

func mouthWidth() Measure {
	return Measure{Code: "mouth_width", Name: "mouth width", Between: "from mouth corner to mouth corner, lips at rest", Axis: AxisX,
		Default: across(mouthCorner), Obtained: Computed}
}

func mouthFrame() Frame {
	m := maker{origin: vertex{0, modelVertex(mouthCorner).up, modelVertex(mouthCorner).forward}}
	return Frame{
		Code: FrameMouth, Name: "mouth", Flat: true, origin: m.origin,
		Origin: "on the midline, midway between the mouth corners, lips at rest",
		Landmarks: []Landmark{
			m.point("mouth_corner", "mouth corner (cheilion)", mouthCorner),
			m.level("mouth_corner_line", "line through the mouth corners", mouthCorner),
			m.midline(), m.upperLip(), m.lowerLip(), m.jaw(),
		},
		Measures: []Measure{mouthWidth(), {Code: "lip_height", Name: "height of the lips",
			Between: "on the midline, from the lower to the upper vermilion border, lips closed",
			Axis:    AxisY, Default: up(lowerLipMiddle, upperLipMiddle), Obtained: Computed}},
	}
}

func chinFrame() Frame {
	m := maker{origin: modelVertex(chinLowest)}
	return Frame{
		Code: FrameChin, Name: "chin", Flat: true, origin: m.origin,
		Origin: "on the midline, the lowest point of the chin (menton)",
		Landmarks: []Landmark{
			m.midline(), m.lowerLip(), m.point("mouth_corner", "mouth corner (cheilion)", mouthCorner),
			m.level("mouth_corner_line", "line through the mouth corners", mouthCorner), m.jaw(),
		},
		Measures: []Measure{{Code: "chin_height", Name: "height of the chin",
			Between: "on the midline, from the lowest point of the chin to the lower vermilion border",
			Axis:    AxisY, Default: up(chinLowest, lowerLipMiddle), Obtained: Computed}, mouthWidth()},
	}
}

func browFrame() Frame {
	m := maker{origin: vertex{0, modelVertex(browMedialEnd).up, modelVertex(browMedialEnd).forward}}
	return Frame{
		Code: FrameBrow, Name: "brow", Flat: true, origin: m.origin,
		Origin: "on the midline, midway between the medial ends of the brows (glabella)",
		Landmarks: []Landmark{
			m.midline(),
			m.point("brow_medial_end", "medial end of the brow", browMedialEnd),
			m.point("central_eyebrow", "middle of the brow's upper edge", browMiddle),
			m.point("brow_lateral_end", "lateral end of the brow", browLateralEnd),
			m.ridge("supraorbital_ridge", "bony supraorbital ridge", m.at(browLower4)),
			rimLevel(m),
		},
		Measures: []Measure{{Code: "interbrow_width", Name: "distance between the brows",
			Between: "between the medial ends of the brows, at rest", Axis: AxisX,
			Default: across(browMedialEnd), Obtained: Computed}},
	}
}

// rimLevel is the orbital rim as a level. Its height in the model is from memory; in the forehead frame it is the origin.
func rimLevel(m maker) Landmark {
	l := m.level("orbital_rim", "upper orbital rim", browLower2)
	l.Obtained, l.Remark = Memory, "the model has no bone: the lower edge of the brow stands for it; feel the bone"
	return l
}

func foreheadFrame() Frame {
	m := maker{origin: vertex{0, modelVertex(browLower2).up, modelVertex(browLower2).forward}}
	rim := rimLevel(m)
	rim.Obtained, rim.Remark = "", "the origin's own height, felt"
	return Frame{
		Code: FrameForehead, Name: "forehead", Flat: true, origin: m.origin,
		Origin: "on the midline, at the height of the upper orbital rims, felt",
		Landmarks: []Landmark{
			m.midline(), rim, m.level("brow_line", "upper edge of the brows", browMiddle),
			convergence("convergence_line_men", "line of convergence, men", 609),
			convergence("convergence_line_women", "line of convergence, women", 606),
		},
		Measures: []Measure{{Code: "forehead_height", Name: "height of the forehead",
			Between: "on the midline, from the upper orbital rims to the hairline", Axis: AxisY,
			Default: foreheadHeight, Obtained: Memory, Own: true}},
	}
}

// foreheadHeight is from memory: the model ends below the hairline.
const foreheadHeight = 60 * Millimetre

// convergence is the height at which the frontalis neither raises nor lowers, in thousandths of the forehead (S67). Without a measured forehead
// it is nowhere.
func convergence(code, name string, permille Micrometre) Landmark {
	return Landmark{Code: code, Name: name, Kind: KindLevel, Points: []Point{{Up: foreheadHeight * permille / 1000}}, Obtained: Read,
		Needs:  "forehead_height",
		Remark: "S67 measures from the brow; here from the orbital rim, which is lower"}
}

func orbitFrame() Frame {
	m := maker{origin: modelVertex(outerCanthus)}
	// Five millimetres from the canthus to the bone beside it are from memory.
	rim := m.ridge("orbital_rim", "upper and lateral orbital rim", Point{Lateral: 5 * Millimetre})
	return Frame{
		Code: FrameOrbit, Name: "orbit", Sided: true, Flat: true, origin: m.origin,
		Origin: "the lateral canthus of the side",
		Landmarks: []Landmark{
			m.point("lateral_canthus", "lateral canthus", outerCanthus),
			m.point("medial_canthus", "medial canthus", innerCanthus), rim, m.midline(),
		},
		Measures: []Measure{{Code: "eye_width", Name: "width of the eye", Between: "from the medial to the lateral canthus of the side, across",
			Axis:    AxisX,
			Default: Micrometre(modelVertex(outerCanthus).lateral - modelVertex(innerCanthus).lateral), Obtained: Computed}},
	}
}

func noseFrame() Frame {
	m := maker{origin: modelVertex(noseBottomMiddle)}
	return Frame{
		Code: FrameNose, Name: "nose", Flat: true, origin: m.origin,
		Origin: "on the midline, where the septum meets the upper lip (subnasale)",
		Landmarks: []Landmark{
			m.midline(),
			m.point("nose_tip", "tip of the nose", noseTipMiddle),
			m.point("nose_corner", "corner of the nose beside the nostril", noseCorner),
			m.point("nose_root", "root of the nose, midway between the eyes", betweenEyes), m.upperLip(),
		},
		Measures: []Measure{
			{Code: "nose_height", Name: "height of the nose", Between: "on the midline, from the subnasale to the root", Axis: AxisY,
				Default: up(noseBottomMiddle, betweenEyes), Obtained: Computed},
			{Code: "nose_corner_width", Name: "width between the corners of the nose",
				Between: "between the corners of the nose beside the nostrils", Axis: AxisX,
				Default: across(noseCorner), Obtained: Computed},
		},
	}
}

func cheekFrame() Frame {
	m := maker{origin: modelVertex(jawAngle), chord: true}
	corner, tragus := m.at(mouthCorner), m.at(faceSide)
	width := 35 * Millimetre // From memory; it only carries the measured width, since the landmark needs one.
	return Frame{
		Code: FrameCheek, Name: "cheek", Sided: true, origin: m.origin,
		Origin: "the angle of the mandible of the side, felt (gonion)",
		Landmarks: []Landmark{
			{Code: "gonion", Name: "angle of the mandible", Kind: KindPoint, Points: []Point{{}}},
			m.point("mouth_corner", "mouth corner (cheilion)", mouthCorner),
			{Code: "tragus_corner_line", Name: "line from the mouth corner to the tragus", Kind: KindPath, Points: []Point{corner, tragus}, Obtained: Memory,
				Remark: "the model has no ear: its edge in front of the ear stands for the tragus"},
			m.jaw(),
			{Code: "masseter_anterior_border", Name: "front border of the masseter, teeth clenched", Kind: KindUpright, Points: []Point{{Lateral: -width}},
				Obtained: Memory, Needs: "masseter_width", Remark: "felt, never assumed: the model has no muscle"},
		},
		Measures: []Measure{
			{Code: "masseter_width", Name: "width of the masseter",
				Between: "from the angle of the mandible to the front border of the masseter, teeth clenched",
				Axis:    AxisX, Default: width, Obtained: Memory, Own: true},
			{Code: "corner_height", Name: "height of the mouth corner",
				Between: "from the height of the angle of the mandible up to the height of the mouth corner", Axis: AxisY,
				Default: corner.Up, Obtained: Computed},
		},
	}
}

func neckFrame() Frame {
	m := maker{origin: modelVertex(chinLowest)}
	return Frame{
		Code: FrameNeck, Name: "neck", origin: m.origin,
		Origin:    "on the midline, the lowest point of the chin (menton); the model ends here, and the skin turns",
		Landmarks: []Landmark{m.midline(), m.jaw()},
		Measures: []Measure{{Code: "jaw_width", Name: "width of the jaw", Between: "between the angles of the mandible", Axis: AxisX,
			Default:  across(jawAngle),
			Obtained: Computed}},
	}
}
