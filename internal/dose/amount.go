package dose

// Bounds and places of amounts.
const (
	// MaxMilliunits is the largest amount: 100,000 units, ten of the largest vials of any toxin.
	MaxMilliunits = 100_000_000
	// UnitsDecimals is how many decimals an amount may be written with.
	UnitsDecimals = 3
	// unitsShown is how many decimals of an exact amount are shown before it counts as one that does not end.
	unitsShown = 4

	milliunitsPerUnit = 1000
)

// Amount is a whole number of thousandths of a unit of one product, 0 to MaxMilliunits: a dose, or what a vial holds. It cannot be added or
// compared with the language's operators; == is true only for the same amount of the same product. The zero value is no amount of no
// product: it is invalid wherever an amount is asked for.
type Amount struct {
	product    Product
	milliunits int64
}

// NewAmount returns so many thousandths of a unit of the product. The error is an *InputError: no product, or an amount outside 0 to
// MaxMilliunits.
func NewAmount(product Product, milliunits int64) (Amount, error) {
	if product == "" {
		return Amount{}, &InputError{Field: "product", Rule: RuleMissing}
	}
	if milliunits < 0 || milliunits > MaxMilliunits {
		return Amount{}, &InputError{Field: "units", Rule: RuleRange, Read: formatScaled(milliunits, UnitsDecimals)}
	}
	return Amount{product, milliunits}, nil
}

// ParseAmount reads units of the product, as "2.5": a plain decimal of at most 3 decimals, 0 to 100,000, in the one form that Decimal
// writes (no sign, exponent, space, comma, unit, leading zero, or trailing zero after the point). The error is a *ParseError for the text
// and an *InputError for a missing product.
func ParseAmount(product Product, s string) (Amount, error) {
	milliunits, err := parseDecimal(KindUnits, s, UnitsDecimals, MaxMilliunits)
	if err != nil {
		return Amount{}, err
	}
	return NewAmount(product, milliunits)
}

// Product is what the amount is of.
func (a Amount) Product() Product { return a.product }

// Milliunits is the number of thousandths of a unit.
func (a Amount) Milliunits() int64 { return a.milliunits }

// Decimal is the number of units as ParseAmount reads it.
func (a Amount) Decimal() string { return formatScaled(a.milliunits, UnitsDecimals) }

// Exact is the same amount as an ExactAmount.
func (a Amount) Exact() ExactAmount {
	return ExactAmount{a.product, mustFraction(a.milliunits, milliunitsPerUnit)}
}

// Add is a+b. The error is a *MixedProductsError, or an *InputError for a sum above MaxMilliunits.
func (a Amount) Add(b Amount) (Amount, error) {
	if err := same(a.product, b.product); err != nil {
		return Amount{}, err
	}
	return NewAmount(a.product, a.milliunits+b.milliunits)
}

// Compare is -1 when a is less than b, 0 when they are equal, 1 when a is more. The error is a *MixedProductsError.
func (a Amount) Compare(b Amount) (int, error) {
	if err := same(a.product, b.product); err != nil {
		return 0, err
	}
	return compare(a.milliunits, b.milliunits), nil
}

// same is the one place where the products of two amounts meet.
func same(want, got Product) error {
	if want != got {
		return &MixedProductsError{Want: want, Got: got}
	}
	return nil
}

// ExactAmount is an exact number of units of one product, which need not be a whole number of thousandths: what a volume holds, or an
// error, which may be negative. The zero value is nothing of no product.
type ExactAmount struct {
	product Product
	units   Fraction
}

// Product is what the amount is of.
func (a ExactAmount) Product() Product { return a.product }

// Units is the number of units without its product. It is for printing, and for ratios within one product.
func (a ExactAmount) Units() Fraction { return a.units }

// Number is the number of units in full if it ends within 4 decimals, else rounded half-even to 4 with its fraction beside it.
func (a ExactAmount) Number() Number { return a.units.number(unitsShown) }

// Add is a+b. The error is a *MixedProductsError or ErrOverflow.
func (a ExactAmount) Add(b ExactAmount) (ExactAmount, error) {
	if err := same(a.product, b.product); err != nil {
		return ExactAmount{}, err
	}
	sum, err := a.units.Add(b.units)
	return ExactAmount{a.product, sum}, err
}

// Sub is a-b. The error is a *MixedProductsError or ErrOverflow.
func (a ExactAmount) Sub(b ExactAmount) (ExactAmount, error) {
	return a.Add(ExactAmount{b.product, b.units.Neg()})
}

// Compare is -1 when a is less than b, 0 when they are equal, 1 when a is more. The error is a *MixedProductsError.
func (a ExactAmount) Compare(b ExactAmount) (int, error) {
	if err := same(a.product, b.product); err != nil {
		return 0, err
	}
	return a.units.Cmp(b.units), nil
}
