package anatomy

// Position is a point of a frame as it is drawn: X toward the patient's left, Y up, from the frame's origin, each to the nearest micrometre, a
// half away from zero.
type Position struct {
	X, Y Micrometre
}

// Outline is a landmark or an edge of a zone as it is drawn on one side.
type Outline struct {
	// Kind is its shape. A level has the height of its one position, an upright line its x; a path goes on level beyond its ends.
	Kind Kind
	// Positions are its points on the side asked for.
	Positions []Position
	// Radius is above zero for a circle round a point, or for a line at that distance from a path.
	Radius Micrometre
}

// Edge is an edge of a zone as it is drawn.
type Edge struct {
	Outline
	// Bound is the distance that it is at: the zone's least or greatest.
	Bound Micrometre
}

// Draw is where a landmark of a frame is on the right or the left, moved to the patient by the scale. It is false for a landmark that must be
// measured and was not. The error is that of [Place.Check].
func Draw(frame FrameCode, landmark string, side Side, scale Scale) (Outline, bool, error) {
	g, l, err := groundOf(frame, landmark, side, scale)
	if err != nil || l.Needs != "" && l.Needs != scale.Measure {
		return Outline{}, false, err
	}
	return Outline{Kind: l.Kind, Positions: g.positions(l, 0, 0)}, true, nil
}

// DrawEdges is where the edges of a zone are on the right or the left: first the least distance, then the greatest, as far as there are. A zone
// that keeps off a line on both of its sides has its edge on the side asked for. An edge that would lie over the midline, as in a mouth too
// narrow for its zone, is left out: no place on this side is at that distance. It is false where [Locate] would not measure.
func DrawEdges(z Zone, side Side, scale Scale) ([]Edge, bool, error) {
	g, l, err := groundOf(z.Frame, z.Landmark, side, scale)
	if err != nil || l.Needs != "" && l.Needs != scale.Measure || !z.bounded() {
		return nil, false, err
	}
	if _, ok := g.distance(&l, z.Direction); !ok {
		return nil, false, nil
	}
	var edges []Edge
	for _, b := range []Bound{z.Least, z.Most} {
		if !b.Set {
			continue
		}
		if e := g.edge(l, z.Direction, b.Distance); !g.overMidline(e) {
			edges = append(edges, Edge{e, b.Distance})
		}
	}
	return edges, true, nil
}

// overMidline reports whether an upright edge lies on the other side in a frame whose origin is on the midline.
func (g ground) overMidline(e Outline) bool {
	return !g.frame.Sided && e.Kind == KindUpright && int64(e.Positions[0].X)*g.place.Side.lateral() < 0
}

func groundOf(frame FrameCode, landmark string, side Side, scale Scale) (ground, Landmark, error) {
	p := Place{Frame: frame, Side: side, Scale: scale}
	f, err := p.frame()
	if err != nil {
		return ground{}, Landmark{}, err
	}
	l, ok := f.Landmark(landmark)
	if !ok {
		return ground{}, Landmark{}, refuse("landmark of "+string(frame), ErrUnknownCode, landmark)
	}
	if side.lateral() == 0 {
		return ground{}, Landmark{}, refuse("side", ErrSide, side.String())
	}
	return newGround(f, p), l, nil
}

// positions are a landmark's points on the ground's side, shifted outward and up.
func (g ground) positions(l Landmark, outward, up Micrometre) []Position {
	var drawn []Position
	for i := range l.Points {
		s := g.spot(&l, i)
		x := Micrometre(roundRatio(s.lateral+int64(outward)*g.den, g.den) * g.place.Side.lateral())
		drawn = append(drawn, Position{x, Micrometre(roundRatio(s.up+int64(up)*g.den, g.den))})
	}
	return drawn
}

// edge is where the distance from a landmark in a direction is the bound.
func (g ground) edge(l Landmark, d Direction, bound Micrometre) Outline {
	last := l
	last.Points = l.Points[len(l.Points)-1:]
	level := l.Kind
	if level == KindPoint {
		level = KindLevel
	}
	switch {
	case d == Above, d == From && l.Kind == KindLevel:
		return Outline{Kind: level, Positions: g.positions(l, 0, bound)}
	case d == Below:
		return Outline{Kind: level, Positions: g.positions(l, 0, -bound)}
	case d == Lateral, d == Inside, d == From && l.Kind == KindUpright:
		return Outline{Kind: KindUpright, Positions: g.positions(last, bound, 0)}
	case d == Medial:
		return Outline{Kind: KindUpright, Positions: g.positions(last, -bound, 0)}
	}
	return Outline{Kind: l.Kind, Positions: g.positions(l, 0, 0), Radius: bound}
}
