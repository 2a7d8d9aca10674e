package bench_test

import "testing"

// BenchmarkPush is the push of BenchmarkSync alone, for profiles.
func BenchmarkPush(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		h := newHost(b)
		a := h.tablet(b)
		a.fill(b, many)
		b.StartTimer()
		a.sync(b)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/many, "µs/session")
}
