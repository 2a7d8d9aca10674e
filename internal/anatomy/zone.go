package anatomy

import "slices"

// Level is how strongly a guardrail speaks. Levels count downwards.
type Level uint8

// The levels.
const (
	Hold Level = iota + 1
	Caution
	Note
)

// String is "hold", "caution" or "note".
func (l Level) String() string {
	switch l {
	case Hold:
		return "hold"
	case Caution:
		return "caution"
	case Note:
		return "note"
	}
	return "unknown"
}

// Direction is the way in which the distance from a landmark counts.
type Direction string

// The directions. Above and below are upright from a point, a level or a path, which goes on level beyond its ends; lateral and medial are level
// from a point, an upright line or the most lateral point of a path; inside is lateral of an upright line; from is the straight distance,
// whichever way.
const (
	Above   Direction = "above"
	Below   Direction = "below"
	Lateral Direction = "lateral"
	Medial  Direction = "medial"
	Inside  Direction = "inside"
	From    Direction = "from"
)

// Bound is a distance that may be absent. The zero value is absent.
type Bound struct {
	Distance Micrometre
	Set      bool
}

// At is a bound that is there.
func At(distance Micrometre) Bound { return Bound{distance, true} }

// Sense says what a zone asks.
type Sense uint8

// The senses.
const (
	// KeepOut asks to stay at least so far from a landmark.
	KeepOut Sense = iota + 1
	// KeepIn asks to stay within a greatest distance of a landmark, or inside a band.
	KeepIn
)

// String is "keep out" or "keep in".
func (s Sense) String() string {
	if s == KeepIn {
		return "keep in"
	}
	return "keep out"
}

// Zone is where injections should be: those whose distance from a landmark, in a direction, is at least Least and at most Most. A formulary
// carries zones of this form; [Zones] are the built-in ones.
type Zone struct {
	// Code is its name in data.
	Code string
	// Target is the code of the muscle, area or region that it holds for.
	Target string
	// Frame and Landmark say what the distance is from. A place in another frame that has the landmark is measured there.
	Frame    FrameCode
	Landmark string
	// Direction is the way the distance counts.
	Direction Direction
	// Least and Most bound the distance; both ends belong to the zone.
	Least, Most Bound
	// Level is what a place outside raises, as offered; the lead chooses.
	Level Level
	// Market is where it holds; empty when everywhere.
	Market string
	// Provenance is where the figures come from.
	Provenance Provenance
	// Disagrees are the codes of zones that say otherwise of the same thing; empty when none is known.
	Disagrees []string
}

// Sense is KeepIn when there is a greatest distance, else KeepOut.
func (z Zone) Sense() Sense {
	if z.Most.Set {
		return KeepIn
	}
	return KeepOut
}

// Offered is the level that the zone may speak at: its own, but never stronger than its provenance allows.
func (z Zone) Offered() Level { return max(z.Level, z.Provenance.Obtained.Strongest()) }

// ZonesFor picks the zones that hold for a muscle, in their order.
func ZonesFor(muscle string, zones []Zone) []Zone {
	targets := TargetsOf(muscle)
	var found []Zone
	for _, z := range zones {
		if slices.Contains(targets, z.Target) {
			found = append(found, z)
		}
	}
	return found
}

// ZoneByCode finds a built-in zone.
func ZoneByCode(code string) (Zone, bool) {
	for _, z := range Zones() {
		if z.Code == code {
			return z, true
		}
	}
	return Zone{}, false
}
