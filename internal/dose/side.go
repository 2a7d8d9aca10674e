package dose

// Side is the patient's own side of an injection.
type Side uint8

// The sides. SideNone is an injection without one; like the others it is rounded on its own.
const (
	SideNone Side = iota
	SideRight
	SideLeft
	SideMidline
	sideCount
)

// String is "none", "right", "left" or "midline".
func (s Side) String() string {
	switch s {
	case SideNone:
		return "none"
	case SideRight:
		return "right"
	case SideLeft:
		return "left"
	case SideMidline:
		return "midline"
	}
	return "unknown"
}

// grid turns doses of one concentration into graduations of one syringe. With amounts and volumes inside their bounds both products are at
// most 10^16, so nothing below leaves int64.
type grid struct {
	concentration Concentration
	graduation    Volume
}

// dosed is the dose times the volume of the concentration; step is one graduation on the same scale. dosed/step is in graduations.
func (g grid) dosed(milliunits int64) int64 { return milliunits * int64(g.concentration.volume) }

func (g grid) step() int64 { return g.concentration.content.milliunits * int64(g.graduation) }

// nearest is the graduation nearest to the volume of the dose, a half going down: too little can be topped up, too much cannot be taken back.
func (g grid) nearest(milliunits int64) int64 {
	whole, rest := g.dosed(milliunits)/g.step(), g.dosed(milliunits)%g.step()
	if rest > g.step()-rest {
		whole++
	}
	return whole
}

// atLeast is the smallest graduation that holds the volume of the dose.
func (g grid) atLeast(milliunits int64) int64 {
	whole := g.dosed(milliunits) / g.step()
	if g.dosed(milliunits)%g.step() != 0 {
		whole++
	}
	return whole
}

// volume is so many graduations.
func (g grid) volume(graduations int64) Volume { return Volume(graduations) * g.graduation }

// outcome is what a dose and the volume delivered for it come to. The product of the delivered volume and the content is at most 4*10^16
// (see checkTotals), a hundred times which still fits.
type outcome struct {
	exact          ExactVolume
	deliveredUnits ExactAmount
	errorUnits     ExactAmount
	errorPercent   Percent
}

// outcome compares what is delivered with the dose, which is more than zero.
func (g grid) outcome(milliunits int64, delivered Volume) outcome {
	product, content, volume := g.concentration.content.product, g.concentration.content.milliunits, int64(g.concentration.volume)
	got, want := int64(delivered)*content, g.dosed(milliunits)
	return outcome{
		exact:          g.exact(milliunits),
		deliveredUnits: ExactAmount{product, mustFraction(got, volume*milliunitsPerUnit)},
		errorUnits:     ExactAmount{product, mustFraction(got-want, volume*milliunitsPerUnit)},
		errorPercent:   Percent{mustFraction((got-want)*100, want)},
	}
}

// exact is the exact volume of a dose.
func (g grid) exact(milliunits int64) ExactVolume {
	return ExactVolume{mustFraction(g.dosed(milliunits), g.concentration.content.milliunits*int64(Millilitre))}
}
