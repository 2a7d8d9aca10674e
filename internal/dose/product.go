package dose

import "strconv"

// MaxProductBytes is the longest product name that ParseProduct takes.
const MaxProductBytes = 64

// Product is a toxin by its nonproprietary name, as in "onabotulinumtoxinA". The empty Product is invalid. Two products are the same only
// if their names are the same bytes: which names exist is the formulary's matter.
type Product string

// ParseProduct reads a product's name: 1 to MaxProductBytes ASCII letters, digits and hyphens, the first a letter. The error is a *ParseError.
func ParseProduct(s string) (Product, error) {
	if s == "" {
		return "", newParseError(KindProduct, s, RuleEmpty)
	}
	if len(s) > MaxProductBytes {
		return "", newParseError(KindProduct, s, RuleTooLong)
	}
	if !isLetter(s[0]) {
		return "", newParseError(KindProduct, s, RuleProductName)
	}
	for i := 1; i < len(s); i++ {
		if !isLetter(s[i]) && !isDigit(s[i]) && s[i] != '-' {
			return "", newParseError(KindProduct, s, RuleProductName)
		}
	}
	return Product(s), nil
}

func isLetter(b byte) bool { return 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z' }

func isDigit(b byte) bool { return '0' <= b && b <= '9' }

// MixedProductsError says that amounts of two products met where only one may be.
type MixedProductsError struct {
	// Field names the input that brought the second product, as "doses[3].dose_units"; empty for a sum or comparison.
	Field string
	// Want is the product that was there first, Got the other.
	Want, Got Product
}

// Error names both products and, where known, the field.
func (e *MixedProductsError) Error() string {
	s := "units of " + strconv.Quote(string(e.Got)) + " are not units of " + strconv.Quote(string(e.Want))
	if e.Field != "" {
		return e.Field + ": " + s
	}
	return s
}
