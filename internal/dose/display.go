package dose

import "strings"

// Text for people follows safe-dose practice (ISMP list of error-prone abbreviations; trust.md B2): "units" in full and never shortened, a
// zero before the point, none after the last digit, a non-breaking space before the unit, commas from 1,000, strength as an amount per
// volume. Nothing else in the product formats a dose or a volume.

const (
	nbsp      = "\u00a0"
	unitUnits = nbsp + "units"
	unitML    = nbsp + "mL"
)

// group puts commas into the whole part of a plain decimal.
func group(decimal string) string {
	sign := ""
	if strings.HasPrefix(decimal, "-") {
		sign, decimal = "-", decimal[1:]
	}
	whole, part, hasPart := strings.Cut(decimal, ".")
	var b strings.Builder
	b.WriteString(sign)
	for i := range len(whole) {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteByte(whole[i])
	}
	if hasPart {
		b.WriteByte('.')
		b.WriteString(part)
	}
	return b.String()
}

// displayNumber shows an exact value with its unit. What is not zero but would be shown as 0 is said to be less than the last place.
func displayNumber(f Fraction, n Number, unit string) string {
	if n.Decimal != "0" || f.Sign() == 0 {
		return group(n.Decimal) + unit
	}
	if f.Sign() < 0 {
		return "between -0.0001 and 0" + unit
	}
	return "less than 0.0001" + unit
}

// Display is the amount for people, as in "1,000 units" with a non-breaking space.
func (a Amount) Display() string { return group(a.Decimal()) + unitUnits }

// Display is the amount for people, rounded as Number rounds. A negative amount, which only an error has, begins with "-".
func (a ExactAmount) Display() string { return displayNumber(a.units, a.Number(), unitUnits) }

// Display is the volume for people, as in "0.0125 mL" with a non-breaking space.
func (v Volume) Display() string { return group(v.Decimal()) + unitML }

// Display is the volume for people, rounded as Number rounds.
func (v ExactVolume) Display() string { return displayNumber(v.ml, v.Number(), unitML) }

// Display is the strength for people, as an amount per volume and never as a ratio: "100 units per 2.5 mL".
func (c Concentration) Display() string { return c.content.Display() + " per " + c.volume.Display() }
