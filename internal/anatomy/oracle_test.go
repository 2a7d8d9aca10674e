package anatomy_test

import (
	"math/big"

	"needlebook/internal/anatomy"
)

// The twin: the whole face unfolded, both sides drawn, every piece of every path tried, all in math/big.

type dot struct{ x, y *big.Rat }

func rat(n anatomy.Micrometre) *big.Rat { return big.NewRat(int64(n), 1) }

func (a dot) minus(b dot) dot { return dot{new(big.Rat).Sub(a.x, b.x), new(big.Rat).Sub(a.y, b.y)} }

func (a dot) times(b dot) *big.Rat {
	return new(big.Rat).Add(new(big.Rat).Mul(a.x, b.x), new(big.Rat).Mul(a.y, b.y))
}

// figure is a signed distance: value, or the root of value.
type figure struct {
	value *big.Rat
	root  bool
}

// sideOf is the side on which a twin measures: a place on the midline is as near to either.
func sideOf(p anatomy.Place) anatomy.Side {
	if s := anatomy.GeometricSide(p); s != anatomy.SideMidline {
		return s
	}
	return anatomy.SideRight
}

func sign(s anatomy.Side) int64 {
	if s == anatomy.SideRight {
		return -1
	}
	return 1
}

// drawn is a landmark's points on one side, moved to the patient.
func drawn(f anatomy.Frame, l anatomy.Landmark, p anatomy.Place, side anatomy.Side) []dot {
	var dots []dot
	for _, point := range l.Points {
		d := dot{new(big.Rat).Mul(rat(point.Lateral), big.NewRat(sign(side), 1)), rat(point.Up)}
		if m, ok := f.Measure(p.Scale.Measure); ok && (!m.Own || l.Needs == m.Code) {
			factor := big.NewRat(int64(p.Scale.Measured), int64(m.Default))
			if m.Axis == anatomy.AxisX {
				d.x.Mul(d.x, factor)
			} else {
				d.y.Mul(d.y, factor)
			}
		}
		dots = append(dots, d)
	}
	return dots
}

// twin measures one distance; the landmark has it in that direction.
func twin(f anatomy.Frame, l anatomy.Landmark, p anatomy.Place, d anatomy.Direction) figure {
	at, side := dot{rat(p.X), rat(p.Y)}, sideOf(p)
	own := drawn(f, l, p, side)
	outward := func(x *big.Rat) *big.Rat { return new(big.Rat).Mul(x, big.NewRat(sign(side), 1)) }
	switch d {
	case anatomy.Above:
		return figure{value: new(big.Rat).Sub(at.y, heightAt(own, at.x, side))}
	case anatomy.Below:
		return figure{value: new(big.Rat).Sub(heightAt(own, at.x, side), at.y)}
	case anatomy.Lateral, anatomy.Inside:
		return figure{value: outward(new(big.Rat).Sub(at.x, own[len(own)-1].x))}
	case anatomy.Medial:
		return figure{value: outward(new(big.Rat).Sub(own[len(own)-1].x, at.x))}
	}
	switch l.Kind {
	case anatomy.KindUpright:
		return figure{value: new(big.Rat).Abs(new(big.Rat).Sub(at.x, own[0].x))}
	case anatomy.KindLevel:
		return figure{value: new(big.Rat).Abs(new(big.Rat).Sub(at.y, own[0].y))}
	}
	best := nearest(own, at)
	if !f.Sided {
		if other := nearest(drawn(f, l, p, side.Opposite()), at); other.Cmp(best) < 0 {
			best = other
		}
	}
	return figure{value: best, root: true}
}

// heightAt is the height of a path at x, level beyond its ends.
func heightAt(path []dot, x *big.Rat, side anatomy.Side) *big.Rat {
	for i := 1; i < len(path); i++ {
		a, b := path[i-1], path[i]
		if side == anatomy.SideRight {
			a, b = b, a
		}
		if a.x.Cmp(x) <= 0 && x.Cmp(b.x) <= 0 {
			slope := new(big.Rat).Quo(new(big.Rat).Sub(b.y, a.y), new(big.Rat).Sub(b.x, a.x))
			return slope.Mul(slope, new(big.Rat).Sub(x, a.x)).Add(slope, a.y)
		}
	}
	first, last := path[0], path[len(path)-1]
	if new(big.Rat).Sub(x, first.x).Sign()*int(sign(side)) <= 0 {
		return first.y
	}
	return last.y
}

// nearest is the squared distance to the nearest point of a path.
func nearest(path []dot, at dot) *big.Rat {
	square := func(d dot) *big.Rat { return d.times(d) }
	best := square(at.minus(path[0]))
	for i := 1; i < len(path); i++ {
		along := path[i].minus(path[i-1])
		share := new(big.Rat).Quo(at.minus(path[i-1]).times(along), along.times(along))
		if share.Sign() < 0 {
			share.SetInt64(0)
		} else if share.Cmp(big.NewRat(1, 1)) > 0 {
			share.SetInt64(1)
		}
		foot := dot{new(big.Rat).Add(path[i-1].x, new(big.Rat).Mul(along.x, share)), new(big.Rat).Add(path[i-1].y, new(big.Rat).Mul(along.y, share))}
		if s := square(at.minus(foot)); s.Cmp(best) < 0 {
			best = s
		}
	}
	return best
}

// round is the nearest whole, a half away from zero.
func (f figure) round() anatomy.Micrometre {
	size := new(big.Rat).Abs(f.value)
	var whole *big.Int
	if f.root {
		// The whole part of the root of four times the square is twice the length, whole part again: its half, rounded up, is the nearest.
		four := new(big.Rat).Mul(size, big.NewRat(4, 1))
		whole = new(big.Int).Sqrt(new(big.Int).Quo(four.Num(), four.Denom()))
	} else {
		twice := new(big.Rat).Mul(size, big.NewRat(2, 1))
		whole = new(big.Int).Quo(twice.Num(), twice.Denom())
	}
	whole.Add(whole, big.NewInt(1)).Rsh(whole, 1)
	return anatomy.Micrometre(whole.Int64() * int64(f.value.Sign()|1))
}

// against is the sign of the distance less a bound.
func (f figure) against(bound anatomy.Micrometre) int {
	if f.root {
		if bound < 0 {
			return 1
		}
		return f.value.Cmp(new(big.Rat).Mul(rat(bound), rat(bound)))
	}
	return f.value.Cmp(rat(bound))
}

// marginSign is 1 inside both edges, 0 on one, -1 outside.
func marginSign(z anatomy.Zone, f figure) int {
	s := 1
	if z.Least.Set {
		s = min(s, f.against(z.Least.Distance))
	}
	if z.Most.Set {
		s = min(s, -f.against(z.Most.Distance))
	}
	return s
}
