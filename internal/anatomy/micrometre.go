package anatomy

import "strconv"

// Micrometre is a length in micrometres. Places are within 300,000 of their origin.
type Micrometre int64

// Millimetre is a thousand micrometres.
const Millimetre Micrometre = 1000

// Decimal is the length in millimetres, in full, without trailing zeros: "3.2", "-0.05", "10".
func (m Micrometre) Decimal() string {
	sign, n := "", uint64(m)
	if m < 0 {
		sign, n = "-", -n
	}
	text := sign + strconv.FormatUint(n/1000, 10)
	if rest := n % 1000; rest != 0 {
		digits := strconv.FormatUint(1000+rest, 10)[1:]
		for digits[len(digits)-1] == '0' {
			digits = digits[:len(digits)-1]
		}
		text += "." + digits
	}
	return text
}

// Display is the length for people, to a tenth of a millimetre, a half away from zero: "3.2 mm".
func (m Micrometre) Display() string {
	tenths := (m + 50) / 100
	if m < 0 {
		tenths = (m - 50) / 100
	}
	return (tenths * 100).Decimal() + " mm"
}
