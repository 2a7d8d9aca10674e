package bench_test

import (
	"testing"

	"google.golang.org/protobuf/encoding/protowire"

	"needlebook/internal/record"
)

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

// BenchmarkFew is the push of 100 changes of BenchmarkSync alone.
func BenchmarkFew(b *testing.B) {
	h := newHost(b)
	a := h.tablet(b)
	keys, _, _ := a.fill(b, 2000)
	a.sync(b)

	for b.Loop() {
		b.StopTimer()
		for i := range 100 {
			set := protowire.AppendTag(nil, 10, protowire.BytesType)
			set = protowire.AppendString(set, h.source.id().String())
			a.edit(b, keys[i*19], []record.Write{{Set: set}})
		}

		b.StartTimer()
		a.sync(b)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/100, "µs/edit")
}
