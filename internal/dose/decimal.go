package dose

import "strconv"

// maxDecimalBytes is the longest decimal that is read at all.
const maxDecimalBytes = 24

// parseDecimal reads s as a whole number of 10^-decimals, from 0 to most. It takes exactly what formatScaled writes:
//
//	decimal = ( "0" | nonzero { digit } ) [ "." { digit } nonzero ]
func parseDecimal(kind Kind, s string, decimals int, most int64) (int64, error) {
	if rule := checkDecimal(s, decimals); rule != "" {
		return 0, newParseError(kind, s, rule)
	}
	var v int64
	seen, point := 0, false
	for i := 0; i < len(s) || seen < decimals; i++ {
		digit := int64(0)
		if i < len(s) {
			if s[i] == '.' {
				point = true
				continue
			}
			digit = int64(s[i] - '0')
		}
		if v = v*10 + digit; v > most {
			return 0, newParseError(kind, s, RuleTooLarge)
		}
		if point || i >= len(s) {
			seen++
		}
	}
	return v, nil
}

// checkDecimal returns the first rule of the decimal's form that s breaks, or "".
func checkDecimal(s string, decimals int) Rule {
	switch {
	case s == "":
		return RuleEmpty
	case len(s) > maxDecimalBytes:
		return RuleTooLong
	}
	point := -1
	for i := 0; i < len(s); i++ {
		if s[i] == '.' && point < 0 {
			point = i
		} else if !isDigit(s[i]) {
			return ruleOfByte(s, i)
		}
	}
	whole, part := s, ""
	if point >= 0 {
		whole, part = s[:point], s[point+1:]
	}
	switch {
	case whole == "":
		return RuleDigitBefore
	case point >= 0 && part == "":
		return RuleDigitAfter
	case len(whole) > 1 && whole[0] == '0':
		return RuleLeadingZero
	case part != "" && part[len(part)-1] == '0':
		return RuleTrailingZero
	case len(part) > decimals:
		return RuleDecimals
	}
	return ""
}

// ruleOfByte names the rule that the byte s[i], no digit and no first point, breaks.
func ruleOfByte(s string, i int) Rule {
	switch b := s[i]; {
	case b == '+' || b == '-':
		return RuleNoSign
	case b == ' ' || '\t' <= b && b <= '\r':
		return RuleNoSpace
	case b == ',':
		return RuleNoComma
	case (b == 'e' || b == 'E') && i > 0 && i+1 < len(s) && !isLetter(s[i+1]):
		return RuleNoExponent
	case isLetter(b) || b == '%':
		return RuleNoUnitText
	}
	return RuleCharacter
}

// formatScaled writes v, a whole number of 10^-decimals, in the one form that parseDecimal takes; a negative v, which only differences
// have, gets a leading "-".
func formatScaled(v int64, decimals int) string {
	buf := make([]byte, 0, maxDecimalBytes)
	u := magnitude(v)
	if v < 0 {
		buf = append(buf, '-')
	}
	scale := uint64(1)
	for range decimals {
		scale *= 10
	}
	buf = strconv.AppendUint(buf, u/scale, 10)
	rest := u % scale
	if rest != 0 {
		buf = append(buf, '.')
	}
	for rest != 0 {
		scale /= 10
		buf = append(buf, byte('0'+rest/scale))
		rest %= scale
	}
	return string(buf)
}

// magnitude is |v|, right for the smallest int64 too.
func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}
