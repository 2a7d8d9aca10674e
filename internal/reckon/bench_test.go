package reckon

import (
	"fmt"
	"testing"

	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// BenchmarkPlanDraw is a session of 40 injections on both sides.
func BenchmarkPlanDraw(b *testing.B) {
	e := builtin(b)
	r := drawRequest(b, string(readFile(b, testdata, "design_request.json")))
	r.Doses = nil
	for i := range 40 {
		side := chartv1.Side_SIDE_RIGHT
		if i%2 == 1 {
			side = chartv1.Side_SIDE_LEFT
		}
		r.Doses = append(r.Doses, &dosev1.PlannedDose{Ref: fmt.Sprint(i), DoseUnits: "1.3", Side: &side})
	}
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
