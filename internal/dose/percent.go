package dose

const (
	// maxPercentScaled is 1,000 per cent in units of the last decimal.
	maxPercentScaled = 10_000_000
	percentDecimals  = 4
)

// Percent is an exact number of per cent; an error in per cent may be negative. The zero value is 0 per cent.
type Percent struct {
	value Fraction
}

// ParsePercent reads per cent, as "12.5": a plain decimal of at most 4 decimals, 0 to 1,000. The error is a *ParseError.
func ParsePercent(s string) (Percent, error) {
	v, err := parseDecimal(KindPercent, s, percentDecimals, maxPercentScaled)
	if err != nil {
		return Percent{}, err
	}
	return Percent{mustFraction(v, 10_000)}, nil
}

// NewPercent is f per cent.
func NewPercent(f Fraction) Percent { return Percent{f} }

// Value is the number of per cent.
func (p Percent) Value() Fraction { return p.value }

// Number is the number of per cent in full if it ends within 4 decimals, else rounded half-even to 4 with its fraction beside it.
func (p Percent) Number() Number { return p.value.number(percentDecimals) }

// over says whether p, whatever its sign, is more than limit.
func (p Percent) over(limit Percent) bool { return p.value.Abs().Cmp(limit.value) > 0 }
