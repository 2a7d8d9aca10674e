package dose

// Volume is a number of nanolitres (10^-6 mL). Functions of this package take 0 to MaxVolume and refuse the rest, so that sums of volumes
// they return cannot wrap.
type Volume int64

// Bounds, places and units of volumes.
const (
	Nanolitre  Volume = 1
	Microlitre Volume = 1000
	Millilitre Volume = 1_000_000

	// MaxVolume is the largest volume that is read or reckoned with: 100 mL.
	MaxVolume = 100 * Millilitre
	// MLDecimals is how many decimals of a millilitre a volume may be written with.
	MLDecimals = 6
)

// ParseVolume reads millilitres, as "0.0125": a plain decimal of at most 6 decimals, 0 to 100, in the one form that Decimal writes. The
// error is a *ParseError.
func ParseVolume(s string) (Volume, error) {
	v, err := parseDecimal(KindML, s, MLDecimals, int64(MaxVolume))
	return Volume(v), err
}

// Decimal is the number of millilitres as ParseVolume reads it.
func (v Volume) Decimal() string { return formatScaled(int64(v), MLDecimals) }

// Exact is the same volume as an ExactVolume.
func (v Volume) Exact() ExactVolume { return ExactVolume{mustFraction(int64(v), int64(Millilitre))} }

// ok says whether the volume is one that this package reckons with.
func (v Volume) ok() bool { return 0 <= v && v <= MaxVolume }

// ExactVolume is an exact number of millilitres, which need not be a whole number of nanolitres. The zero value is no volume.
type ExactVolume struct {
	ml Fraction
}

// ML is the number of millilitres.
func (v ExactVolume) ML() Fraction { return v.ml }

// Number is the number of millilitres in full if it ends within 6 decimals, else rounded half-even to 4 with its fraction beside it.
func (v ExactVolume) Number() Number { return v.ml.number(MLDecimals) }
