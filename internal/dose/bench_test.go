package dose_test

import (
	"strconv"
	"testing"

	"needlebook/internal/dose"
)

// fortyInjections is a large treatment: both sides of ten muscles, two injections a side, several syringes.
func fortyInjections(tb testing.TB) dose.DrawRequest {
	limit, err := dose.ParsePercent("10")
	if err != nil {
		tb.Fatal(err)
	}
	r := dose.DrawRequest{Concentration: concentration(tb, "abobotulinumtoxinA", "300", "2.5"), Syringe: millilitreSyringe,
		Tolerance: dose.Tolerance{Injection: &limit, Side: &limit}}
	for i := range 40 {
		r.Injections = append(r.Injections, dose.Injection{Ref: strconv.Itoa(i), Muscle: strconv.Itoa(i / 4), Side: dose.SideRight + dose.Side(i%2),
			Dose: amount(tb, "abobotulinumtoxinA", strconv.Itoa(3+i/4))})
	}
	return r
}

func BenchmarkPlanDraw40(b *testing.B) {
	r := fortyInjections(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := dose.PlanDraw(r); err != nil {
			b.Fatal(err)
		}
	}
}
