package dose

import (
	"errors"
	"math/bits"
	"strconv"
)

// ErrDenominator is returned for a fraction whose denominator is not positive, and for a division by zero.
var ErrDenominator = errors.New("the denominator must be more than zero")

// roundedDecimals is how many decimals are shown of a value that does not end.
const roundedDecimals = 4

const maxInt64 = 1<<63 - 1

// Fraction is an exact rational number. It is always reduced and its denominator is positive, so == compares values. Numerator and
// denominator are from -(2^63-1) to 2^63-1. The zero value is 0.
type Fraction struct {
	num int64
	// denLessOne is the denominator less one, so that the zero value is 0/1.
	denLessOne int64
}

// NewFraction returns num/den, reduced. It fails with ErrDenominator when den is not positive, with ErrOverflow when the numerator does not fit.
func NewFraction(num, den int64) (Fraction, error) {
	if den <= 0 {
		return Fraction{}, ErrDenominator
	}
	return ratio(num < 0, magnitude(num), 1, uint64(den), 1)
}

// mustFraction is NewFraction for figures whose bounds make it safe; it panics when that is not so.
func mustFraction(num, den int64) Fraction {
	f, err := NewFraction(num, den)
	if err != nil {
		panic("dose: bounds broken: " + strconv.FormatInt(num, 10) + "/" + strconv.FormatInt(den, 10))
	}
	return f
}

// Num is the numerator of the reduced fraction; it carries the sign.
func (f Fraction) Num() int64 { return f.num }

// Den is the denominator of the reduced fraction, at least 1.
func (f Fraction) Den() int64 { return f.denLessOne + 1 }

// Sign is -1, 0 or 1.
func (f Fraction) Sign() int {
	switch {
	case f.num < 0:
		return -1
	case f.num > 0:
		return 1
	}
	return 0
}

// Neg is -f.
func (f Fraction) Neg() Fraction { return Fraction{-f.num, f.denLessOne} }

// Abs is |f|.
func (f Fraction) Abs() Fraction {
	if f.num < 0 {
		return f.Neg()
	}
	return f
}

// Cmp is -1 when f is less than g, 0 when they are equal, 1 when f is more. It cannot overflow.
func (f Fraction) Cmp(g Fraction) int {
	if f.Sign() != g.Sign() {
		return compare(int64(f.Sign()), int64(g.Sign()))
	}
	fh, fl := bits.Mul64(magnitude(f.num), uint64(g.Den()))
	gh, gl := bits.Mul64(magnitude(g.num), uint64(f.Den()))
	return f.Sign() * compare128(fh, fl, gh, gl)
}

// Add is f+g, or ErrOverflow when the reduced sum does not fit.
func (f Fraction) Add(g Fraction) (Fraction, error) {
	// Knuth, The Art of Computer Programming 4.5.1: with d the common divisor of the denominators, the sum over their least common multiple
	// can only be reduced further by a divisor of d.
	fd, gd := uint64(f.Den()), uint64(g.Den())
	d := gcd(fd, gd)
	fh, fl := bits.Mul64(magnitude(f.num), gd/d)
	gh, gl := bits.Mul64(magnitude(g.num), fd/d)
	negative, hi, lo := addSigned(f.num < 0, fh, fl, g.num < 0, gh, gl)
	if hi == 0 && lo == 0 {
		return Fraction{}, nil
	}
	d2 := gcd(bits.Rem64(hi, lo, d), d)
	if hi >= d2 {
		return Fraction{}, ErrOverflow
	}
	num, _ := bits.Div64(hi, lo, d2)
	denHi, den := bits.Mul64(fd/d, gd/d2)
	if denHi != 0 {
		return Fraction{}, ErrOverflow
	}
	return fitted(negative, num, den)
}

// Sub is f-g, or ErrOverflow when the reduced difference does not fit.
func (f Fraction) Sub(g Fraction) (Fraction, error) { return f.Add(g.Neg()) }

// Mul is f*g, or ErrOverflow when the reduced product does not fit.
func (f Fraction) Mul(g Fraction) (Fraction, error) {
	return ratio((f.num < 0) != (g.num < 0), magnitude(f.num), magnitude(g.num), uint64(f.Den()), uint64(g.Den()))
}

// Div is f/g; ErrDenominator when g is zero, ErrOverflow when the reduced quotient does not fit.
func (f Fraction) Div(g Fraction) (Fraction, error) {
	if g.num == 0 {
		return Fraction{}, ErrDenominator
	}
	return ratio((f.num < 0) != (g.num < 0), magnitude(f.num), uint64(g.Den()), uint64(f.Den()), magnitude(g.num))
}

// String is "7/120", or "5" for a whole number.
func (f Fraction) String() string {
	s := strconv.FormatInt(f.num, 10)
	if f.denLessOne == 0 {
		return s
	}
	return s + "/" + strconv.FormatInt(f.Den(), 10)
}

// Number is a value as machines are told it.
type Number struct {
	// Decimal is the plain decimal, as "0.0583".
	Decimal string
	// Fraction is the exact value, as "7/120", when Decimal is rounded; else empty.
	Fraction string
}

// number writes f in full if it ends within so many decimals, else rounded half-even to 4 decimals with the fraction beside it.
func (f Fraction) number(decimals int) Number {
	if s, exact := f.decimal(decimals); exact {
		return Number{Decimal: s}
	}
	s, _ := f.decimal(roundedDecimals)
	return Number{Decimal: s, Fraction: f.String()}
}

// decimal rounds f half-even to so many decimals, writes it without trailing zeros, and says whether nothing was lost.
func (f Fraction) decimal(decimals int) (text string, exact bool) {
	den := uint64(f.Den())
	whole, rest := magnitude(f.num)/den, magnitude(f.num)%den
	var digits [18]byte
	for i := range decimals {
		hi, lo := bits.Mul64(rest, 10)
		var digit uint64
		digit, rest = bits.Div64(hi, lo, den)
		digits[i] = byte('0' + digit)
	}
	odd := whole%2 == 1
	if decimals > 0 {
		odd = digits[decimals-1]%2 == 1
	}
	if exact = rest == 0; rest > den-rest || rest == den-rest && odd {
		whole += carry(digits[:decimals])
	}
	for decimals > 0 && digits[decimals-1] == '0' {
		decimals--
	}
	buf := make([]byte, 0, 40)
	if f.num < 0 && (whole != 0 || decimals > 0) {
		buf = append(buf, '-')
	}
	buf = strconv.AppendUint(buf, whole, 10)
	if decimals > 0 {
		buf = append(buf, '.')
	}
	return string(append(buf, digits[:decimals]...)), exact
}

// carry adds one to the last of the digits and returns what runs over.
func carry(digits []byte) uint64 {
	for i := len(digits) - 1; i >= 0; i-- {
		if digits[i] != '9' {
			digits[i]++
			return 0
		}
		digits[i] = '0'
	}
	return 1
}

// ratio is a*b/(c*d) with a sign, reduced before it is multiplied; c and d are not zero.
func ratio(negative bool, a, b, c, d uint64) (Fraction, error) {
	a, c = cancel(a, c)
	a, d = cancel(a, d)
	b, c = cancel(b, c)
	b, d = cancel(b, d)
	numHi, num := bits.Mul64(a, b)
	denHi, den := bits.Mul64(c, d)
	if numHi != 0 || denHi != 0 {
		return Fraction{}, ErrOverflow
	}
	return fitted(negative, num, den)
}

// fitted makes a fraction of what is already reduced, if it fits.
func fitted(negative bool, num, den uint64) (Fraction, error) {
	if num > maxInt64 || den > maxInt64 {
		return Fraction{}, ErrOverflow
	}
	f := Fraction{int64(num), int64(den) - 1}
	if negative {
		f.num = -f.num
	}
	return f, nil
}

func cancel(num, den uint64) (uint64, uint64) {
	d := gcd(num, den)
	return num / d, den / d
}

// gcd is the greatest common divisor; one of the two is not zero.
func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// addSigned adds two 128-bit numbers with signs; each is less than 2^127.
func addSigned(aNeg bool, ah, al uint64, bNeg bool, bh, bl uint64) (negative bool, hi, lo uint64) {
	if aNeg == bNeg {
		lo, c := bits.Add64(al, bl, 0)
		hi, _ := bits.Add64(ah, bh, c)
		return aNeg, hi, lo
	}
	if compare128(ah, al, bh, bl) < 0 {
		return addSigned(bNeg, bh, bl, aNeg, ah, al)
	}
	lo, borrow := bits.Sub64(al, bl, 0)
	hi, _ = bits.Sub64(ah, bh, borrow)
	return aNeg, hi, lo
}

func compare128(ah, al, bh, bl uint64) int {
	if ah != bh {
		return compare(ah, bh)
	}
	return compare(al, bl)
}

func compare[T int64 | uint64](a, b T) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
