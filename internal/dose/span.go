package dose

// Span is a sum of doses of one product that may be in doubt: from the least to the most that it can be. Where something unknown was given there is no
// most. A difference of two spans may be negative. The empty product is one that nobody knows; its units add to no other's. The zero value is nothing of
// that.
type Span struct {
	product     Product
	least, most int64
	open        bool
}

// maxSpanMilliunits bounds a span so that no history can overflow one: a million times the largest amount.
const maxSpanMilliunits = MaxMilliunits * 1_000_000

// NewSpan is from least to most milliunits of the product, both 0 to MaxMilliunits. The error is an *InputError.
func NewSpan(product Product, least, most int64) (Span, error) {
	if least < 0 || most < least || most > MaxMilliunits {
		return Span{}, &InputError{Field: "units", Rule: RuleRange, Read: formatScaled(least, UnitsDecimals) + " to " + formatScaled(most, UnitsDecimals)}
	}
	return Span{product: product, least: least, most: most}, nil
}

// UnknownSpan is an unknown dose of the product: it is never counted as zero, since its most is not known.
func UnknownSpan(product Product) Span { return Span{product: product, open: true} }

// Product is what it is of; empty when nobody knows.
func (s Span) Product() Product { return s.product }

// Least is the least that it can be, in units, as a decimal; negative only in a difference.
func (s Span) Least() string { return formatScaled(s.least, UnitsDecimals) }

// Most is the most that it can be, in units, as a decimal; known is false when there is no most.
func (s Span) Most() (decimal string, known bool) {
	if s.open {
		return "", false
	}
	return formatScaled(s.most, UnitsDecimals), true
}

// Display is the sum for people: "5 units", "7.5 to 13.5 units", or "at least 5 units and an unknown dose".
func (s Span) Display() string {
	most, known := s.Most()
	switch {
	case !known:
		return "at least " + group(s.Least()) + unitUnits + " and an unknown dose"
	case s.Certain():
		return group(most) + unitUnits
	default:
		return group(s.Least()) + " to " + group(most) + unitUnits
	}
}

// Certain says whether it is one figure.
func (s Span) Certain() bool { return !s.open && s.least == s.most }

// Possible says whether it may be more than nothing.
func (s Span) Possible() bool { return s.open || s.most > 0 }

// Exceeds says whether it may be more than so many milliunits.
func (s Span) Exceeds(milliunits int64) bool { return s.open || s.most > milliunits }

// Known is the known part of it: what it would be without anything unknown.
func (s Span) Known() Span {
	s.open = false
	return s
}

// Plus is s+o. The error is a *MixedProductsError, or ErrOverflow beyond a million times MaxMilliunits.
func (s Span) Plus(o Span) (Span, error) {
	if err := same(s.product, o.product); err != nil {
		return Span{}, err
	}
	sum := Span{s.product, s.least + o.least, s.most + o.most, s.open || o.open}
	if sum.most > maxSpanMilliunits {
		return Span{}, ErrOverflow
	}
	return sum, nil
}

// Minus is s-o, from the least that s can be less the most that o can be. The error is a *MixedProductsError, or an *InputError where either holds something
// unknown: then nothing is known of the difference.
func (s Span) Minus(o Span) (Span, error) {
	if err := same(s.product, o.product); err != nil {
		return Span{}, err
	}
	if s.open || o.open {
		return Span{}, &InputError{Field: "units", Rule: RuleMissing}
	}
	return Span{product: s.product, least: s.least - o.most, most: s.most - o.least}, nil
}

// PercentOfLarger is s less o as a share of the larger of the two; ok is false unless both are certain and one of them is more than zero.
func (s Span) PercentOfLarger(o Span) (p Percent, ok bool) {
	larger := max(s.least, o.least)
	if s.product != o.product || !s.Certain() || !o.Certain() || larger <= 0 {
		return Percent{}, false
	}
	f, err := NewFraction(s.least-o.least, larger)
	if err != nil {
		return Percent{}, false
	}
	share, err := f.Mul(Fraction{num: 100})
	return Percent{share}, err == nil
}

// maybe is the span of what may or may not have been.
func (s Span) maybe() Span {
	s.least = 0
	return s
}
