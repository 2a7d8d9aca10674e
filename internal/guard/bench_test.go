package guard_test

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/reckon"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// fortyInjections is the clear visit with 40 injections in ten muscles, each with a place and a depth, four earlier visits a year of 40 givings for ten years
// with a review after each, and a treatment elsewhere every year.
func fortyInjections(tb testing.TB) (*dosev1.CheckSessionRequest, *dosev1.PlanDrawRequest) {
	e := builtin(tb)
	r := clear(e)
	f := r.GetFacts()
	draw := &dosev1.PlanDrawRequest{Product: ona, Vial: &dosev1.VialContent{ContentUnits: "100", DiluentMl: proto.String("2.5")},
		Syringe: &dosev1.SyringeType{CapacityMl: "1", GraduationMl: "0.01"}}
	muscles := []struct{ muscle, frame string }{{"corrugator_supercilii", "brow"}, {"frontalis", "forehead"}, {"orbicularis_oculi", "orbit"},
		{"nasalis", "nose"},
		{"levator_labii_superioris_alaeque_nasi", "nose"}, {"orbicularis_oris", "mouth"}, {"depressor_anguli_oris", "mouth"}, {"mentalis",
			"chin"}, {"masseter", "cheek"},
		{"platysma", "neck"}}
	f.Session.Injections = nil
	for i := range 40 {
		m, side, x := muscles[i/4], right, int32(-9000)
		if i%2 == 1 {
			side, x = left, 9000
		}
		in := planned(i+1, ona, m.muscle, side, 1300)
		in.Place = &chartv1.Place{Frame: m.frame, XMicrometers: x, YMicrometers: int32(1000 * (i % 7))}
		f.Session.Injections = append(f.Session.Injections, in)
		draw.Doses = append(draw.Doses, &dosev1.PlannedDose{Ref: in.GetId(), DoseUnits: "1.3", Side: &side, Muscle: in.Muscle})
	}
	for year := range int32(10) {
		f.Patient.PriorTreatments = append(f.Patient.PriorTreatments, elsewhereIn(2016+year))
		for quarter := range int32(4) {
			s := &chartv1.Session{Id: fmt.Sprint(year, "-", quarter), PatientId: proto.String("p1"), ClinicId: proto.String("c1"),
				OrderId: proto.String("old"),
				Kind:    chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(), On: date(2016+year, 1+3*quarter, 10)}
			for _, in := range f.Session.Injections {
				in = proto.CloneOf(in)
				s.Injections = append(s.Injections, given(in, 32_500))
			}
			f.History = append(f.History, s, &chartv1.Session{Id: s.Id + "r", ClinicId: proto.String("c1"),
				Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum(),
				On:   date(2016+year, 1+3*quarter, 24), Parent: &chartv1.SessionParent{SessionId: s.Id}})
		}
	}
	return r, draw
}

func elsewhereIn(year int32) *chartv1.PriorTreatment {
	return &chartv1.PriorTreatment{Id: fmt.Sprint("t", year), Report: &chartv1.PriorTreatmentReport{Product: proto.String(abo),
		DoseMilliunits: proto.Int32(50_000),
		On:             approximate(year, 5)}}
}

// BenchmarkSession is what a treatment of 40 injections asks of guardrails and arithmetic: its findings with ten years of history, its syringes and marks.
// The design asks for less than 1 ms natively.
func BenchmarkSession(b *testing.B) {
	e := builtin(b)
	session, draw := fortyInjections(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := reckon.CheckSession(e, session); err != nil {
			b.Fatal(err)
		}
		if _, err := reckon.PlanDraw(e, draw); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCheckSession is the findings alone.
func BenchmarkCheckSession(b *testing.B) {
	e := builtin(b)
	session, _ := fortyInjections(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := reckon.CheckSession(e, session); err != nil {
			b.Fatal(err)
		}
	}
}
