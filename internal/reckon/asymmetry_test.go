package reckon

import (
	"fmt"
	"math/big"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// bothSides is a session with one injection of the mouth-corner depressor on each side, at mirrored places.
func bothSides() *chartv1.Session {
	s := treated("s", "2026-01-10", "onabotulinumtoxinA", 3000)
	left := treated("x", "2026-01-10", "onabotulinumtoxinA", 2000).Injections[0]
	left.Side = chartv1.Side_SIDE_LEFT.Enum()
	s.Injections[0].Place = &chartv1.Place{Frame: "mouth", XMicrometers: -30_000, YMicrometers: -10_000}
	left.Place = &chartv1.Place{Frame: "mouth", XMicrometers: 30_000, YMicrometers: -10_000}
	s.Injections = append(s.Injections, left)
	return s
}

func view(t testing.TB, sessions ...*chartv1.Session) *dosev1.AsymmetryView {
	t.Helper()
	r, err := GetAsymmetry(builtin(t), &dosev1.GetAsymmetryRequest{Subject: &dosev1.GetAsymmetryRequest_Facts{Facts: &dosev1.HistoryFacts{
		Patient: &chartv1.Patient{Id: "p"}, Sessions: sessions}}})
	if err != nil {
		t.Fatal(err)
	}
	if r.GetView().GetStatement() != Describes || r.GetCaution() != Caution {
		t.Fatalf("statement %q, caution %q", r.GetView().GetStatement(), r.GetCaution())
	}
	return r.GetView()
}

func TestSidesBesideEachOther(t *testing.T) {
	m := view(t, bothSides()).GetTreatments()[0].GetMuscles()[0]
	if m.GetRight().GetGiven().GetLeastUnits() != "3" || m.GetLeft().GetGiven().GetLeastUnits() != "2" || m.GetDifference().GetLeastUnits() != "1" ||
		m.GetDifferencePercent() != "33.3333" || m.GetDifferencePercentFraction() != "100/3" {
		t.Errorf("%v", m)
	}
	if p := m.GetPairs()[0]; p.GetDistanceMm() != "0" || p.GetLateralDifferenceMm() != "0" || p.GetRightLateralMm() != "30" || p.GetLeftLateralMm() != "30" {
		t.Errorf("%v", p)
	}
	swapped := bothSides()
	for _, i := range swapped.Injections {
		side := chartv1.Side_SIDE_RIGHT + chartv1.Side_SIDE_LEFT - i.GetSide()
		i.Side, i.Place.XMicrometers = &side, -i.Place.XMicrometers
	}
	if n := view(t, swapped).GetTreatments()[0].GetMuscles()[0]; n.GetDifference().GetLeastUnits() != "-1" || n.GetDifferencePercent() != "-33.3333" {
		t.Errorf("sides swapped: %v", n)
	}
}

func TestUnpaired(t *testing.T) {
	for want, change := range map[string]func(*chartv1.Session){
		"2 injections and the left 1": func(s *chartv1.Session) { s.Injections = append(s.Injections, proto.CloneOf(s.Injections[0])) },
		"has a place":                 func(s *chartv1.Session) { s.Injections[1].Place = nil },
		"different frames":            func(s *chartv1.Session) { s.Injections[1].Place.Frame = "chin" },
		"frames or scales": func(s *chartv1.Session) {
			s.Injections[1].Place.Scale = &chartv1.FrameScale{Measure: "mouth_width", MeasuredMicrometers: 50_000}
		},
	} {
		s := bothSides()
		change(s)
		m := view(t, s).GetTreatments()[0].GetMuscles()[0]
		if len(m.GetPairs()) != 0 || !strings.Contains(m.GetUnpairedText(), want) {
			t.Errorf("%s: %v, %q", want, m.GetPairs(), m.GetUnpairedText())
		}
	}
	s := bothSides()
	s.Injections[1].Givings[0].Place = &chartv1.Place{Frame: "mouth", XMicrometers: 33_000, YMicrometers: -14_000} // 3 and 4 mm off: 5 mm, by Pythagoras
	if p := view(t, s).GetTreatments()[0].GetMuscles()[0].GetPairs()[0]; p.GetDistanceMm() != "5" || p.GetLateralDifferenceMm() != "-3" || p.GetHeightDifferenceMm() != "4" {
		t.Errorf("where it went in, not where it was planned: %v", p)
	}
}

// Injections are paired from the highest down, of one height the more medial first, whatever order they were given in.
func TestPairsGoFromTheHighestDown(t *testing.T) {
	s := bothSides()
	add := func(side chartv1.Side, x, y int32) {
		i := proto.CloneOf(s.Injections[0])
		i.Id, i.Side, i.Place = fmt.Sprint(side, x, y), side.Enum(), &chartv1.Place{Frame: "mouth", XMicrometers: x, YMicrometers: y}
		s.Injections = append(s.Injections, i)
	}
	add(chartv1.Side_SIDE_RIGHT, -36_000, -10_000)
	add(chartv1.Side_SIDE_LEFT, 25_000, -2_000)
	add(chartv1.Side_SIDE_LEFT, 35_000, -10_000)
	add(chartv1.Side_SIDE_RIGHT, -26_000, -4_000)
	var got []string
	for _, p := range view(t, s).GetTreatments()[0].GetMuscles()[0].GetPairs() {
		got = append(got, strings.Join([]string{p.GetRightLateralMm(), p.GetRightHeightMm(), p.GetLeftLateralMm(), p.GetLeftHeightMm()}, " "))
	}
	if want := "26 -4 25 -2, 30 -10 30 -10, 36 -10 35 -10"; strings.Join(got, ", ") != want {
		t.Errorf("got %v, want %s", got, want)
	}
}

// Grades are compared within one scale, version, direction and contraction, and only where both were graded.
func TestResponses(t *testing.T) {
	grade := func(id string, side chartv1.Side, scale string, n int32) *chartv1.Rating {
		return &chartv1.Rating{Id: id, Grade: &chartv1.Grade{Scale: scale, Version: "1", Region: "mouth_corners", Side: &side,
			Contraction: chartv1.Contraction_CONTRACTION_SMILING, Grade: n}}
	}
	right, left := chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT
	s := bothSides()
	s.Ratings = []*chartv1.Rating{grade("a", right, "plain", 2), grade("b", left, "plain", 2), grade("c", right, "other", 1)}
	review := &chartv1.Session{Id: "v", On: date("2026-01-24"), Parent: &chartv1.SessionParent{SessionId: "s"}, Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum(),
		Ratings: []*chartv1.Rating{grade("d", right, "plain", 0), grade("e", left, "plain", 1), grade("f", left, "plain", 2)}}
	v := view(t, s, review).GetTreatments()[0]
	if len(v.GetResponses()) != 2 || !v.GetInConflict() { // two grades of the left
		t.Fatalf("%v", v)
	}
	other, plain := v.GetResponses()[0], v.GetResponses()[1]
	if plain.GetRightChange() != -2 || plain.LeftChange != nil || plain.LeftAfter != nil || plain.GetLeftBefore() != 2 || plain.GetDaysAfter() != 14 || plain.GetReviewSessionId() != "v" {
		t.Errorf("%v", plain)
	}
	if other.RightChange != nil || other.RightAfter != nil || other.GetRightBefore() != 1 {
		t.Errorf("%v", other)
	}
	if alone := view(t, s).GetTreatments()[0].GetResponses(); len(alone) != 2 || alone[0].GetReviewSessionId() != "" || alone[0].DaysAfter != nil {
		t.Errorf("without a review: %v", alone)
	}
}

// The view can name no side to treat and propose no dose: no field of it plans, advises or recommends.
func TestTheViewOnlyDescribes(t *testing.T) {
	var walk func(d protoreflect.MessageDescriptor)
	seen := map[protoreflect.FullName]bool{}
	walk = func(d protoreflect.MessageDescriptor) {
		if seen[d.FullName()] {
			return
		}
		seen[d.FullName()] = true
		for i := range d.Fields().Len() {
			f := d.Fields().Get(i)
			for _, word := range []string{"advi", "suggest", "propos", "recommend", "target_side", "correct", "planned"} {
				if strings.Contains(string(f.Name()), word) {
					t.Errorf("%s", f.FullName())
				}
			}
			if f.Message() != nil {
				walk(f.Message())
			}
		}
	}
	walk((&dosev1.AsymmetryView{}).ProtoReflect().Descriptor())
	if len(seen) < 8 {
		t.Errorf("only %d messages looked at", len(seen))
	}
}

// Roots against math/big: the whole number nearest to the exact root.
func TestRootOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(0, 1<<42).Draw(t, "n")
		twice := new(big.Int).Sqrt(new(big.Int).Mul(big.NewInt(4), big.NewInt(n))) // the floor of twice the root
		want := new(big.Int).Rsh(twice.Add(twice, big.NewInt(1)), 1)
		if got := rootOf(n); got != want.Int64() {
			t.Fatalf("%d: got %d, want %s", n, got, want)
		}
	})
}
