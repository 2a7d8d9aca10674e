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

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/wire"
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
		push := a.sync(b)
		report(b, "push", push, floorPush)
		b.ReportMetric(float64(a.up)/many, "push-B/session")

		floorPull := f.pullAll(b)
		c := h.tablet(b)
		pull := c.sync(b)
		report(b, "pull", pull, floorPull)
		if a.r.Digest() != c.r.Digest() {
			b.Fatal("the replicas differ")
		}
		changes(b, f, a, c, keys, ids, docs)
		idle(b, f, a)
	}
}

// spent is how long something took by the clock, and how much of the processors it took. On a busy machine the second is the one to compare.
type spent struct{ wall, cpu time.Duration }

func since(start time.Time, cpu time.Duration) spent { return spent{time.Since(start), cpuTime() - cpu} }

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
	var ch replica.Changes
	for i := range 100 {
		set := protowire.AppendTag(nil, 9, protowire.BytesType) // responsible_id, one field
		set = protowire.AppendString(set, staff.String()[:35]+"9")
		one := c.edit(b, keys[i*step], []record.Write{{Set: set}})
		ch.Put = append(ch.Put, one.Put...)
	}
	c.keep(b, ch)
	c.up, c.down = 0, 0
	push := c.sync(b)
	report(b, "few-push", push, floorPush)
	b.ReportMetric(float64(c.up+c.down), "few-push-B")
	a.up, a.down = 0, 0
	pull := a.sync(b)
	report(b, "few-pull", pull, floorPush)
	b.ReportMetric(float64(a.up+a.down), "few-pull-B")
	if a.r.Digest() != c.r.Digest() {
		b.Fatal("the replicas differ")
	}
}

func idle(b *testing.B, f *floor, a *tablet) {
	c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, f.url+"/floor/idle")
	floor, ours := spent{1 << 62, 1 << 62}, spent{1 << 62, 1 << 62}
	for range 50 {
		start, cpu := time.Now(), cpuTime()
		if _, err := c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(make([]byte, 80)))); err != nil {
			b.Fatal(err)
		}
		floor = least(floor, since(start, cpu))
		a.up, a.down, a.trips = 0, 0, 0
		ours = least(ours, a.sync(b))
		if a.trips != 1 {
			b.Fatalf("an idle exchange took %d round trips", a.trips)
		}
	}
	report(b, "idle", ours, floor)
	b.ReportMetric(float64(a.up), "idle-up-B")
	b.ReportMetric(float64(a.down), "idle-down-B")
}

// BenchmarkWriters has 64 replicas with one durable edit a call, and 64 clients of the floor likewise.
func BenchmarkWriters(b *testing.B) {
	const writers, each = 64, 60
	http.DefaultTransport.(*http.Transport).MaxIdleConnsPerHost = 2 * writers
	for b.Loop() {
		floor := floorWriters(b, writers, each)
		ours := ourWriters(b, writers, each)
		b.ReportMetric(floor, "floor-edits/s")
		b.ReportMetric(ours, "edits/s")
		b.ReportMetric(ours/floor, "x-floor")
	}
}

func floorWriters(b *testing.B, writers, each int) float64 {
	f := newFloorGrouped(b)
	s := newSource(4)
	k, m := s.session()
	_, doc := k, mustMarshal(b, m)
	start := time.Now()
	var wg sync.WaitGroup
	for range writers {
		c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, f)
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
	return float64(writers*each) / time.Since(start).Seconds()
}

func ourWriters(b *testing.B, writers, each int) float64 {
	h := newHost(b)
	h.alone = true
	queues := make([][]*syncv1.ExchangeRequest, writers)
	for i := range queues {
		queues[i] = h.signedEdits(b, each)
	}
	start := time.Now()
	var wg sync.WaitGroup
	for _, queue := range queues {
		client := syncv1connect.NewSyncServiceClient(http.DefaultClient, h.url)
		wg.Go(func() {
			var cursor []byte
			for _, req := range queue {
				req.Cursor = cursor
				resp, err := client.Exchange(b.Context(), req)
				if err != nil {
					b.Error(err)
					return
				}
				if len(resp.GetCursor()) > 0 {
					cursor = resp.GetCursor()
				}
			}
		})
	}
	wg.Wait()
	return float64(writers*each) / time.Since(start).Seconds()
}

// signedEdits is requests of one replica that each carry one signed edit. The clients' own work is left out on both sides: tablets have processors
// of their own.
func (h *host) signedEdits(b *testing.B, n int) []*syncv1.ExchangeRequest {
	id := causal.ReplicaID(h.source.id())
	var out []*syncv1.ExchangeRequest
	var previous record.Hash
	for i := range n {
		k, m := h.source.session()
		writes, err := h.schema.Split(k.Kind, mustMarshal(b, m))
		if err != nil {
			b.Fatal(err)
		}
		e := record.Edit{
			ID: h.source.id(), Key: k, Author: staff, Writes: writes, Previous: previous, Dot: causal.Dot{Replica: id, Counter: uint64(i) + 1},
		}
		page := wire.EncodePage([]record.Edit{e})
		previous = e.Hash()
		page.Signature = h.sign(b, wire.Statement(id, e.Dot.Counter, e.Dot.Counter, previous))
		out = append(out, &syncv1.ExchangeRequest{Replica: bytes.Clone(id[:]), HeadCounter: e.Dot.Counter, HeadHash: bytes.Clone(previous[:]), Page: page})
	}
	return out
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
