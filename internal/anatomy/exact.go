package anatomy

import "math/bits"

// wide is an unsigned integer of 256 bits, least word first. The largest product here is a squared area times a squared denominator, under 2^160
// (see quantity), so that nothing runs over.
type wide [4]uint64

func wideOf(n uint64) wide { return wide{n} }

func (a wide) add(b wide) (sum wide) {
	var carry uint64
	for i := range a {
		sum[i], carry = bits.Add64(a[i], b[i], carry)
	}
	return sum
}

// sub is a-b, a being at least b.
func (a wide) sub(b wide) (difference wide) {
	var borrow uint64
	for i := range a {
		difference[i], borrow = bits.Sub64(a[i], b[i], borrow)
	}
	return difference
}

func (a wide) mul(b wide) (product wide) {
	for i, x := range a {
		if x == 0 {
			continue
		}
		var carry uint64
		for j := 0; i+j < len(product); j++ {
			hi, lo := bits.Mul64(x, b[j])
			lo, c1 := bits.Add64(lo, product[i+j], 0)
			lo, c2 := bits.Add64(lo, carry, 0)
			product[i+j], carry = lo, hi+c1+c2
		}
	}
	return product
}

// cmp is -1, 0 or 1.
func (a wide) cmp(b wide) int {
	for i := len(a) - 1; i >= 0; i-- {
		if a[i] != b[i] {
			if a[i] < b[i] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// signed is a wide with a sign; zero is not negative.
type signed struct {
	negative bool
	size     wide
}

func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

func product(a, b int64) signed {
	hi, lo := bits.Mul64(magnitude(a), magnitude(b))
	s := signed{negative: (a < 0) != (b < 0), size: wide{lo, hi}}
	s.negative = s.negative && s.size != wide{}
	return s
}

func (s signed) add(t signed) signed {
	if s.negative == t.negative {
		return signed{s.negative, s.size.add(t.size)}
	}
	switch s.size.cmp(t.size) {
	case 1:
		return signed{s.negative, s.size.sub(t.size)}
	case -1:
		return signed{t.negative, t.size.sub(s.size)}
	}
	return signed{}
}

func (s signed) negated() signed { return signed{!s.negative && s.size != wide{}, s.size} }

func (s signed) sign() int {
	switch {
	case s.negative:
		return -1
	case s.size == wide{}:
		return 0
	}
	return 1
}

// quantity is an exact length in micrometres: num/den, or with root the square root of num/den. With places within 300 mm, measured distances
// within 300 mm and model figures below 200 mm, coordinates times their denominator are below 2^38, so that num of a root is below 2^155 and den
// below 2^113. A root has no sign.
type quantity struct {
	num  signed
	den  wide
	root bool
}

// whole divides the size of a quantity that is no root: its num is below 2^78, its den below 2^57, and no length here reaches 2^64.
func (q quantity) whole() (whole, rest uint64) {
	return bits.Div64(q.num.size[1], q.num.size[0], q.den[0])
}

// against compares the size of a root with half of k.
func (q quantity) against(k uint64) int {
	return q.num.size.mul(wideOf(4)).cmp(q.den.mul(wideOf(k).mul(wideOf(k))))
}

// mostRounded is more than any length that bounded places and landmarks can have, in micrometres.
const mostRounded = 1 << 24

// round is the nearest micrometre, a half away from zero.
func (q quantity) round() Micrometre {
	if q.root {
		return q.roundRoot()
	}
	whole, rest := q.whole()
	if rest >= q.den[0]-rest {
		whole++
	}
	if q.num.negative {
		return -Micrometre(whole)
	}
	return Micrometre(whole)
}

// roundRoot finds the smallest whole number whose half above is beyond the root.
func (q quantity) roundRoot() Micrometre {
	low, high := uint64(0), uint64(mostRounded)
	for low < high {
		if middle := (low + high) / 2; q.against(2*middle+1) < 0 {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return Micrometre(low)
}

// cmp is the sign of q less limit, exactly.
func (q quantity) cmp(limit Micrometre) int {
	if q.num.negative != (limit < 0) {
		if q.num.negative {
			return -1
		}
		return 1
	}
	c := q.cmpSize(magnitude(int64(limit)))
	if q.num.negative {
		return -c
	}
	return c
}

func (q quantity) cmpSize(limit uint64) int {
	if q.root {
		return q.against(2 * limit)
	}
	whole, rest := q.whole()
	switch {
	case whole < limit:
		return -1
	case whole == limit && rest == 0:
		return 0
	}
	return 1
}

func (q quantity) negated() quantity { q.num = q.num.negated(); return q }

func (q quantity) size() quantity { q.num.negative = false; return q }

// ratioOf is num/den; den is positive.
func ratioOf(num, den int64) quantity {
	return quantity{num: product(num, 1), den: wideOf(uint64(den))}
}

// hypotenuse is the length of (x/den, y/den).
func hypotenuse(x, y, den int64) quantity {
	return quantity{num: product(x, x).add(product(y, y)), den: product(den, den).size, root: true}
}

// roundRatio is num/den to the nearest whole, a half away from zero; den is positive.
func roundRatio(num, den int64) int64 {
	if num < 0 {
		return -roundRatio(-num, den)
	}
	whole, rest := num/den, num%den
	if rest >= den-rest {
		whole++
	}
	return whole
}
