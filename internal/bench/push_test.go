package bench_test

import "testing"

// BenchmarkPush and BenchmarkPull are the halves of BenchmarkSync alone, for profiles.
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

func BenchmarkPull(b *testing.B) {
	h := newHost(b)
	a := h.tablet(b)
	a.fill(b, many)
	a.sync(b)
	for b.Loop() {
		h.tablet(b)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/many, "µs/session")
}
