package bench_test

import (
	"bytes"
	"fmt"
	"net/http"
	"sync"
	"syscall"
	"testing"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"needlebook/internal/device"
	"needlebook/internal/record"
)

const many = 10_000

// BenchmarkSync pushes 10,000 new sessions, pulls them to a fresh replica, changes one field of 100 and syncs that, and exchanges nothing, each beside
// the floor.
func BenchmarkSync(b *testing.B) {
	for b.Loop() {
		f, h := newFloor(b), newHost(b)
		a := h.tablet(b)
		keys, ids, docs := a.fill(b, many)
		floorPush := f.pushAll(b, ids, docs, 500)
		push, traffic := a.sync(b)
		report(b, "push", push, floorPush)
		b.ReportMetric(float64(traffic.BytesUp)/many, "push-B/session")

		floorPull := f.pullAll(b)
		c := h.tablet(b)
		report(b, "pull", c.first, floorPull)
		a.sync(b) // takes in that the other was enrolled
		if a.Digest() != c.Digest() {
			b.Fatal("the replicas differ")
		}
		changes(b, f, a, c, keys, ids, docs)
		idle(b, f, a)
	}
}

// spent is how long something took by the clock, and how much of the processors it took. On a busy machine the second is the one to compare.
type spent struct{ wall, cpu time.Duration }

func since(start time.Time, cpu time.Duration) spent {
	return spent{time.Since(start), cpuTime() - cpu}
}

func least(a, b spent) spent { return spent{min(a.wall, b.wall), min(a.cpu, b.cpu)} }

// cpuTime is what the process has used of the processors.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func report(b *testing.B, what string, ours, floor spent) {
	b.ReportMetric(float64(ours.wall.Microseconds())/1000, what+"-ms")
	b.ReportMetric(float64(floor.wall.Microseconds())/1000, what+"-floor-ms")
	b.ReportMetric(float64(ours.wall)/float64(floor.wall), what+"-x-floor")
	b.ReportMetric(float64(ours.cpu)/float64(floor.cpu), what+"-cpu-x-floor")
}

func changes(b *testing.B, f *floor, a, c *tablet, keys []record.Key, ids, docs [][]byte) {
	step := len(keys) / 100
	var fewIDs, fewDocs [][]byte
	for i := range 100 {
		id, doc := ids[i*step], bytes.Clone(docs[i*step])
		fewIDs, fewDocs = append(fewIDs, id), append(fewDocs, doc)
	}
	floorPush := spent{1 << 62, 1 << 62}
	for range 5 {
		floorPush = least(floorPush, f.pushAll(b, fewIDs, fewDocs, 100))
	}
	for i := range 100 {
		set := protowire.AppendTag(nil, 10, protowire.BytesType) // supervisor_id, one field
		set = protowire.AppendString(set, a.h.staff.String())
		c.edit(b, keys[i*step], []record.Write{{Set: set}})
	}
	push, traffic := c.sync(b)
	report(b, "few-push", push, floorPush)
	b.ReportMetric(float64(traffic.BytesUp+traffic.BytesDown), "few-push-B")
	pull, traffic := a.sync(b)
	report(b, "few-pull", pull, floorPush)
	b.ReportMetric(float64(traffic.BytesUp+traffic.BytesDown), "few-pull-B")
	if a.Digest() != c.Digest() {
		b.Fatal("the replicas differ")
	}
}

func idle(b *testing.B, f *floor, a *tablet) {
	c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, f.url+"/floor/idle")
	floor, ours := spent{1 << 62, 1 << 62}, spent{1 << 62, 1 << 62}
	var traffic device.Traffic
	for range 50 {
		start, cpu := time.Now(), cpuTime()
		if _, err := c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(make([]byte, 80)))); err != nil {
			b.Fatal(err)
		}
		floor = least(floor, since(start, cpu))
		var took spent
		took, traffic = a.sync(b)
		ours = least(ours, took)
		if traffic.RoundTrips != 1 {
			b.Fatalf("an idle exchange took %d round trips", traffic.RoundTrips)
		}
	}
	report(b, "idle", ours, floor)
	b.ReportMetric(float64(traffic.BytesUp), "idle-up-B")
	b.ReportMetric(float64(traffic.BytesDown), "idle-down-B")
}

// BenchmarkWriters has 64 replicas with one durable edit a call, and 64 clients of the floor likewise.
func BenchmarkWriters(b *testing.B) {
	const writers, each = 64, 60
	http.DefaultTransport.(*http.Transport).MaxIdleConnsPerHost = 2 * writers
	for b.Loop() {
		floor := floorWriters(b, writers, each)
		ours := ourWriters(b, writers, each)
		perSecond := func(s spent) float64 { return writers * each / s.wall.Seconds() }
		b.ReportMetric(perSecond(floor), "floor-edits/s")
		b.ReportMetric(perSecond(ours), "edits/s")
		b.ReportMetric(perSecond(ours)/perSecond(floor), "x-floor")
		b.ReportMetric(float64(ours.cpu.Microseconds())/(writers*each), "cpu-us/edit")
		b.ReportMetric(float64(ours.cpu)/float64(floor.cpu), "cpu-x-floor")
	}
}

func floorWriters(b *testing.B, writers, each int) spent {
	url := newFloorGrouped(b)
	s := newSource(4)
	_, m := s.session(record.ID{7, 1}, record.ID{7, 2}.String())
	doc := mustMarshal(b, m)
	start, cpu := time.Now(), cpuTime()
	var wg sync.WaitGroup
	for range writers {
		c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, url)
		ids := make([][]byte, each)
		for i := range ids {
			id := s.id()
			ids[i] = id[:]
		}
		wg.Go(func() {
			for _, id := range ids {
				if _, err := c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(appendDoc(nil, id, doc)))); err != nil {
					b.Error(err)
				}
			}
		})
	}
	wg.Wait()
	return since(start, cpu)
}

func ourWriters(b *testing.B, writers, each int) spent {
	h := newHost(b)
	all := make([]*writer, writers)
	for i := range all {
		all[i] = h.writer(b, each)
	}
	start, cpu := time.Now(), cpuTime()
	var wg sync.WaitGroup
	for _, w := range all {
		wg.Go(func() { w.push(b) })
	}
	wg.Wait()
	return since(start, cpu)
}

// BenchmarkGrowth syncs 100 changes and nothing at all with more and more stored.
func BenchmarkGrowth(b *testing.B) {
	for _, stored := range []int{1_000, 10_000, 100_000} {
		b.Run(fmt.Sprint(stored), func(b *testing.B) {
			for b.Loop() {
				f, h := newFloor(b), newHost(b)
				a, c := h.tablet(b), h.tablet(b)
				keys, ids, docs := a.fill(b, stored)
				f.pushAll(b, ids, docs, 500)
				a.sync(b)
				c.sync(b)
				changes(b, f, a, c, keys, ids, docs)
				idle(b, f, a)
			}
		})
	}
}
