package reckon

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// fortyDoses is a session of 40 injections on both sides.
func fortyDoses(tb testing.TB) *dosev1.PlanDrawRequest {
	r := drawRequest(tb, string(readFile(tb, testdata, "design_request.json")))
	r.Doses = nil
	for i := range 40 {
		side := chartv1.Side_SIDE_RIGHT
		if i%2 == 1 {
			side = chartv1.Side_SIDE_LEFT
		}
		r.Doses = append(r.Doses, &dosev1.PlannedDose{Ref: fmt.Sprint(i), DoseUnits: "1.3", Side: &side})
	}
	return r
}

// BenchmarkPlanDraw is a session of 40 injections on both sides.
func BenchmarkPlanDraw(b *testing.B) {
	e, r := builtin(b), fortyDoses(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := PlanDraw(e, r); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBuiltin is reading the edition that is shipped, once a process.
func BenchmarkBuiltin(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := formulary.Builtin(); err != nil {
			b.Fatal(err)
		}
	}
}

// tenYears is a patient's history of ten years: four treatments a year with 40 givings each, a review after each, and a treatment elsewhere every year.
func tenYears() *dosev1.GetToxinHistoryRequest {
	facts := &dosev1.HistoryFacts{Patient: &chartv1.Patient{Id: "p"}}
	for year := range int32(10) {
		facts.Patient.PriorTreatments = append(facts.Patient.PriorTreatments, &chartv1.PriorTreatment{Id: fmt.Sprint("t", year),
			Report: &chartv1.PriorTreatmentReport{On: &recordv1.ApproximateDate{Year: 2016 + year, Month: proto.Int32(5)}, Product: proto.String("abobotulinumtoxinA")}})
		for quarter := range int32(4) {
			id := fmt.Sprint(year, "-", quarter)
			s := &chartv1.Session{Id: id, ClinicId: proto.String("c1"), Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
				On: &recordv1.Date{Year: 2016 + year, Month: 1 + 3*quarter, Day: 10}}
			for i := range 40 {
				s.Injections = append(s.Injections, &chartv1.Injection{Id: fmt.Sprint(id, "-", i), Muscle: proto.String(fmt.Sprint("muscle_", i/4)),
					Side: (chartv1.Side_SIDE_RIGHT + chartv1.Side(i%2)).Enum(), Givings: []*chartv1.Giving{{Id: fmt.Sprint(id, "-", i, "g"),
						Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 1300}}}}})
			}
			facts.Sessions = append(facts.Sessions, s, &chartv1.Session{Id: id + "r", ClinicId: proto.String("c1"), On: &recordv1.Date{Year: 2016 + year, Month: 1 + 3*quarter, Day: 24},
				Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum(), Parent: &chartv1.SessionParent{SessionId: id}})
		}
	}
	return &dosev1.GetToxinHistoryRequest{On: &recordv1.Date{Year: 2026, Month: 3, Day: 1}, Subject: &dosev1.GetToxinHistoryRequest_Facts{Facts: facts}}
}

// BenchmarkHistory is the toxin history of ten years.
func BenchmarkHistory(b *testing.B) {
	e, r := builtin(b), tenYears()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := GetToxinHistory(e, r); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSessionWithHistory is what a treatment of 40 injections asks in all: its syringes and marks, and ten years of history.
func BenchmarkSessionWithHistory(b *testing.B) {
	e, h, d := builtin(b), tenYears(), fortyDoses(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := PlanDraw(e, d); err != nil {
			b.Fatal(err)
		}
		if _, err := GetToxinHistory(e, h); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAdvise is 40 injections with two vials and the formulary's syringes.
func BenchmarkAdvise(b *testing.B) {
	e := builtin(b)
	r := &dosev1.AdviseDilutionRequest{Product: "onabotulinumtoxinA", ContentsUnits: []string{"50", "100"}, OtherDiluentsMl: []string{"1", "2", "4"}}
	r.Doses = fortyDoses(b).Doses
	b.ReportAllocs()
	for b.Loop() {
		if _, err := AdviseDilution(e, r); err != nil {
			b.Fatal(err)
		}
	}
}
