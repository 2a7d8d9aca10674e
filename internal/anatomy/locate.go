package anatomy

// Margin is how far a place is inside a zone. Positive is inside, negative outside; zero is on the edge, which belongs to the zone.
type Margin struct {
	// Sign is -1, 0 or 1, exactly.
	Sign int
	// Distance is to the nearest micrometre: the rounded distance from the landmark less the bound, so that zero may stand for less than half a
	// micrometre either way.
	Distance Micrometre
}

// Reading is where a place is with respect to one zone.
type Reading struct {
	Zone Zone
	// Distance is from the zone's landmark in its direction, to the nearest micrometre, a half away from zero.
	Distance Micrometre
	// Margin is to the nearest edge.
	Margin Margin
	// Bound is the edge that it is to: the zone's Least or Most.
	Bound Micrometre
	// ByDefault is true when the answer rests on the generic model, because what would have scaled it was not measured.
	ByDefault bool
	// Landmark is the landmark as it is in the place's frame.
	Landmark Landmark
}

// Inside reports whether the place keeps to the zone; the edge does.
func (r Reading) Inside() bool { return r.Margin.Sign >= 0 }

// Reason says why a zone was not measured.
type Reason string

// The reasons.
const (
	// OtherFrame: the place's frame does not have the landmark.
	OtherFrame Reason = "the place's frame does not have the landmark"
	// NotMeasured: the landmark is nowhere until the patient is measured.
	NotMeasured Reason = "the landmark must be measured on the patient"
	// OtherLip: the landmark is of the upper lip and the place below it.
	OtherLip Reason = "the landmark is of the upper lip"
	// NoDirection: a distance from this landmark does not count that way.
	NoDirection Reason = "a distance from this landmark does not count that way"
	// NoBound: the zone names no bound, or one beyond what a place can reach.
	NoBound Reason = "the zone has no bound that a place can reach"
)

// Unmeasured is a zone about which a place says nothing. It is not an all-clear.
type Unmeasured struct {
	Zone   Zone
	Reason Reason
}

// Location is where a place is.
type Location struct {
	Place Place
	// Side is where it lies; Crossed is true when the place was said to be on the other side or on the midline and is not.
	Side    Side
	Crossed bool
	// MidlineKnown is false in a frame that has no midline. Midline is the distance to it, to the nearest micrometre; MidlineByDefault as in [Reading].
	MidlineKnown, MidlineByDefault bool
	Midline                        Micrometre
	// Readings and Unmeasured hold every zone asked about once, in the order asked.
	Readings   []Reading
	Unmeasured []Unmeasured
}

// Locate says where a place is with respect to the zones; [ZonesFor] picks those of a muscle. The error is that of [Place.Check].
func Locate(p Place, zones []Zone) (Location, error) {
	f, err := ParseFrame(string(p.Frame))
	if err != nil {
		return Location{}, err
	}
	return f.Locate(p, zones)
}

// Locate is [Locate] in a frame that is at hand; a place of another frame is refused. A frame is made anew by each [FrameByCode], so whoever locates many
// places keeps it.
func (f Frame) Locate(p Place, zones []Zone) (Location, error) {
	if p.Frame != f.Code {
		return Location{}, refuse("frame", ErrUnknownCode, string(p.Frame))
	}
	if _, err := p.in(f); err != nil {
		return Location{}, err
	}
	g := newGround(f, p)
	where := Location{Place: p, Side: f.sideOf(p)}
	if len(zones) > 0 {
		where.Readings = make([]Reading, 0, len(zones))
	}
	where.Crossed = p.Side != SideNone && p.Side != where.Side
	if l, ok := f.Landmark("midline"); ok {
		q, _ := g.distance(&l, From)
		where.MidlineKnown, where.Midline, where.MidlineByDefault = true, q.round(), g.byDefault(&l, From)
	}
	for _, z := range zones {
		r, reason := g.read(z)
		if reason != "" {
			where.Unmeasured = append(where.Unmeasured, Unmeasured{z, reason})
			continue
		}
		where.Readings = append(where.Readings, r)
	}
	return where, nil
}

// ground is a place folded onto one side and everything beside it on one scale: coordinates are in micrometres times den, lateral and up.
type ground struct {
	frame Frame
	place Place
	x, y  ratio
	// own is true when the measure moves only the landmarks that need it.
	own bool
	den int64
	at  spot
}

type spot struct{ lateral, up int64 }

func (s spot) less(t spot) spot { return spot{s.lateral - t.lateral, s.up - t.up} }

func newGround(f Frame, p Place) ground {
	g := ground{frame: f, place: p, x: f.ratio(p.Scale, AxisX), y: f.ratio(p.Scale, AxisY)}
	m, _ := f.Measure(p.Scale.Measure)
	g.own = m.Own
	// A place has one scale and that one axis, so one of the two is 1.
	g.den = g.x.den * g.y.den
	lateral := int64(p.X) * p.Side.lateral()
	if !f.Sided {
		lateral = int64(magnitude(int64(p.X)))
	}
	g.at = spot{lateral * g.den, int64(p.Y) * g.den}
	return g
}

// spot is a point of a landmark, moved to the patient. x.den and y.den divide den, since each is 1 or the other's.
func (g ground) spot(l *Landmark, i int) spot {
	x, y, p := ratio{1, 1}, ratio{1, 1}, l.Points[i]
	if g.moves(l) {
		x, y = g.x, g.y
	}
	return spot{int64(p.Lateral) * x.num * (g.den / x.den), int64(p.Up) * y.num * (g.den / y.den)}
}

func (g ground) last(l *Landmark) spot { return g.spot(l, len(l.Points)-1) }

// moves reports whether the scale moves a landmark: a measure of its own leaves the others where the model has them.
func (g ground) moves(l *Landmark) bool { return !g.own || l.Needs == g.place.Scale.Measure }

// read measures one zone, or says why it cannot.
func (g ground) read(z Zone) (Reading, Reason) {
	l, ok := g.frame.Landmark(z.Landmark)
	if !ok {
		return Reading{}, OtherFrame
	}
	if l.Needs != "" && l.Needs != g.place.Scale.Measure {
		return Reading{}, NotMeasured
	}
	if l.Upper && g.under(&l) {
		return Reading{}, OtherLip
	}
	q, ok := g.distance(&l, z.Direction)
	if !ok {
		return Reading{}, NoDirection
	}
	if !z.bounded() {
		return Reading{}, NoBound
	}
	r := Reading{Zone: z, Distance: q.round(), ByDefault: g.byDefault(&l, z.Direction), Landmark: l}
	r.Margin, r.Bound = z.margin(q)
	return r, ""
}

// under reports whether the place is lower than every point of a landmark.
func (g ground) under(l *Landmark) bool {
	for i := range l.Points {
		if g.at.up >= g.spot(l, i).up {
			return false
		}
	}
	return true
}

// bounded reports whether the zone has a bound and none beyond MostOffset either way.
func (z Zone) bounded() bool {
	for _, b := range []Bound{z.Least, z.Most} {
		if b.Set && (b.Distance < -MostOffset || b.Distance > MostOffset) {
			return false
		}
	}
	return z.Least.Set || z.Most.Set
}

// margin is to the nearest edge: the smaller of the two, by exact sign first.
func (z Zone) margin(q quantity) (Margin, Micrometre) {
	least := Margin{q.cmp(z.Least.Distance), q.round() - z.Least.Distance}
	most := Margin{-q.cmp(z.Most.Distance), z.Most.Distance - q.round()}
	if !z.Most.Set || z.Least.Set && least.below(most) {
		return least, z.Least.Distance
	}
	return most, z.Most.Distance
}

func (m Margin) below(n Margin) bool {
	return m.Sign < n.Sign || m.Sign == n.Sign && m.Distance < n.Distance
}

// distance is from a landmark in a direction; false when it does not count that way.
func (g ground) distance(l *Landmark, d Direction) (quantity, bool) {
	switch d {
	case Above, Below:
		q, ok := g.above(l)
		if d == Below {
			q = q.negated()
		}
		return q, ok
	case Lateral, Medial:
		q, ok := g.lateral(l)
		if d == Medial {
			q = q.negated()
		}
		return q, ok
	case Inside:
		q, _ := g.lateral(l)
		return q, l.Kind == KindUpright
	case From:
		return g.from(l)
	}
	return quantity{}, false
}

func (g ground) above(l *Landmark) (quantity, bool) {
	switch l.Kind {
	case KindPoint, KindLevel:
		return ratioOf(g.at.up-g.spot(l, 0).up, g.den), true
	case KindPath:
		return g.abovePath(l), true
	}
	return quantity{}, false
}

// abovePath is upright from the piece of the path over or under the place; beyond its ends the path goes on level.
func (g ground) abovePath(l *Landmark) quantity {
	a := g.spot(l, 0)
	for i := 1; i < len(l.Points) && g.at.lateral > a.lateral; i++ {
		b := g.spot(l, i)
		if g.at.lateral < b.lateral {
			along, to := b.less(a), g.at.less(a)
			return quantity{num: product(to.up, along.lateral).add(product(-along.up, to.lateral)),
				den: product(along.lateral, g.den).size}
		}
		a = b
	}
	return ratioOf(g.at.up-a.up, g.den)
}

func (g ground) lateral(l *Landmark) (quantity, bool) {
	if l.Kind == KindLevel {
		return quantity{}, false
	}
	return ratioOf(g.at.lateral-g.last(l).lateral, g.den), true
}

func (g ground) from(l *Landmark) (quantity, bool) {
	switch l.Kind {
	case KindPoint:
		d := g.at.less(g.spot(l, 0))
		return hypotenuse(d.lateral, d.up, g.den), true
	case KindLevel:
		q, _ := g.above(l)
		return q.size(), true
	case KindUpright:
		q, _ := g.lateral(l)
		return q.size(), true
	case KindPath:
		return g.fromPath(l), true
	}
	return quantity{}, false
}

// fromPath is the straight distance to the nearest piece. The path on the other side of the midline is never nearer, since both are mirrored.
func (g ground) fromPath(l *Landmark) quantity {
	nearest := toPiece(g.at, g.spot(l, 0), g.spot(l, 0))
	for i := range l.Points[1:] {
		if q := toPiece(g.at, g.spot(l, i), g.spot(l, i+1)); q.less(nearest) {
			nearest = q
		}
	}
	nearest.den = nearest.den.mul(product(g.den, g.den).size)
	return nearest
}

// toPiece is the straight distance from p to the piece from a to b, in micrometres times the ground's den.
func toPiece(p, a, b spot) quantity {
	along, to := b.less(a), p.less(a)
	dot := product(along.lateral, to.lateral).add(product(along.up, to.up))
	length := product(along.lateral, along.lateral).add(product(along.up, along.up))
	if dot.sign() <= 0 {
		return hypotenuse(to.lateral, to.up, 1)
	}
	if dot.size.cmp(length.size) >= 0 {
		past := p.less(b)
		return hypotenuse(past.lateral, past.up, 1)
	}
	cross := product(along.lateral, to.up).add(product(-along.up, to.lateral))
	return quantity{num: signed{size: cross.size.mul(cross.size)}, den: length.size, root: true}
}

// less reports whether the size of q is less than that of r; both are roots.
func (q quantity) less(r quantity) bool { return q.num.size.mul(r.den).cmp(r.num.size.mul(q.den)) < 0 }

// byDefault reports whether a distance uses a coordinate that the model gave and nobody scaled. What is at the origin needs no scale.
func (g ground) byDefault(l *Landmark, d Direction) bool {
	needsX := d != Above && d != Below && l.Kind != KindLevel || l.Kind == KindPath
	needsY := d != Lateral && d != Medial && d != Inside && l.Kind != KindUpright || l.Kind == KindPath && d == From
	scaledX, scaledY := g.moves(l) && g.x != ratio{1, 1}, g.moves(l) && g.y != ratio{1, 1}
	for _, p := range l.Points {
		if needsX && p.Lateral != 0 && !scaledX || needsY && p.Up != 0 && !scaledY {
			return true
		}
	}
	return false
}
