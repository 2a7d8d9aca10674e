package reckon

import (
	"cmp"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// entered is where a needle went in, as its side sees it, in micrometres: how far from the midline toward its own side, how far up.
type entered struct{ lateral, height int64 }

// pairs sets the injections of a muscle's two sides against each other, from the highest down, of one height the more medial first. The text says why there
// are none.
func (in *asymmetryReader) pairs(v *visit, product dose.Product, muscle string) ([]*dosev1.PlacePair, string) {
	if v.inConflict {
		return nil, "A value of the visit is in conflict."
	}
	right, left := placesOf(v.session, product, muscle, chartv1.Side_SIDE_RIGHT), placesOf(v.session, product, muscle, chartv1.Side_SIDE_LEFT)
	if len(right) != len(left) {
		return nil, "The right had " + strconv.Itoa(len(right)) + " injections and the left " + strconv.Itoa(len(left)) + "."
	}
	var first *chartv1.Place
	for _, p := range slices.Concat(right, left) {
		switch {
		case p == nil:
			return nil, "Not every injection has a place."
		case first == nil:
			first = p
		case p.GetFrame() != first.GetFrame() || !proto.Equal(p.GetScale(), first.GetScale()):
			return nil, "The places are in different frames or scales."
		}
	}
	var pairs []*dosev1.PlacePair
	lefts := sorted(left, 1)
	for i, r := range sorted(right, -1) {
		pairs = append(pairs, pairOf(first.GetFrame(), r, lefts[i]))
	}
	return pairs, ""
}

// placesOf lists where a session's givings of one product went in, in a muscle and side; nil for one without a place.
func placesOf(s *chartv1.Session, product dose.Product, muscle string, side chartv1.Side) []*chartv1.Place {
	var places []*chartv1.Place
	for _, injection := range s.GetInjections() {
		if injection.GetMuscle() != muscle {
			continue
		}
		for _, g := range injection.GetGivings() {
			if g.GetVoid() != nil || sideIn(injection, g) != side || g.GetGiven().GetDose().GetProduct() != string(product) {
				continue
			}
			place := g.GetPlace()
			if place == nil {
				place = injection.GetPlace()
			}
			places = append(places, place)
		}
	}
	return places
}

// sorted is the places of one side; toward is the sign of x on that side, which grows toward the patient's left.
func sorted(places []*chartv1.Place, toward int64) []entered {
	all := make([]entered, len(places))
	for i, p := range places {
		all[i] = entered{toward * int64(p.GetXMicrometers()), int64(p.GetYMicrometers())}
	}
	slices.SortFunc(all, func(a, b entered) int {
		return cmp.Or(cmp.Compare(b.height, a.height), cmp.Compare(a.lateral, b.lateral))
	})
	return all
}

func pairOf(frame string, right, left entered) *dosev1.PlacePair {
	lateral, height := right.lateral-left.lateral, right.height-left.height
	return &dosev1.PlacePair{Frame: frame,
		RightLateralMm: millimetres(right.lateral), RightHeightMm: millimetres(right.height),
		LeftLateralMm: millimetres(left.lateral), LeftHeightMm: millimetres(left.height),
		LateralDifferenceMm: millimetres(lateral), HeightDifferenceMm: millimetres(height),
		DistanceMm: millimetres(rootOf(lateral*lateral + height*height))}
}

// millimetres writes micrometres as a decimal, which always ends.
func millimetres(micrometres int64) string {
	f, err := dose.NewFraction(micrometres, 1000)
	if err != nil {
		return ""
	}
	return plain(f).Decimal
}

// rootOf is the whole number nearest to the square root of n, which is not negative: Newton's rule from above, then to the nearer side.
func rootOf(n int64) int64 {
	if n < 2 {
		return n
	}
	r := n
	for next := (r + 1) / 2; next < r; next = (r + n/r) / 2 {
		r = next
	}
	if n-r*r > r {
		r++
	}
	return r
}
