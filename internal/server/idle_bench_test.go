package server_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/server"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// BenchmarkIdle has a tablet exchange nothing with the whole server, beside a bare Connect call that reads one key of the same kind of store. Both
// send requests of one size over one connection. cpu-us/op is what both ends took of the processors: the figure to compare on a busy machine.
func BenchmarkIdle(b *testing.B) {
	w := newWorld(b, func(c *server.Config) { c.Log = slog.New(slog.NewJSONHandler(io.Discard, nil)) })
	tablets := idleTablets(w, 20)
	idle := tablets[0].idle
	b.Run("floor", func(b *testing.B) {
		call := bareCall(b, make([]byte, proto.Size(idle)))
		perCall(b, func() error { _, err := call(); return err })
	})
	b.Run("exchange", func(b *testing.B) {
		n := 0
		perCall(b, func() error {
			n++
			t := tablets[n%len(tablets)]
			_, err := t.client.Exchange(b.Context(), t.idle)
			return err
		})
	})
}

// idleTablet is a tablet with its request when nothing happens.
type idleTablet struct {
	*tablet
	idle *syncv1.ExchangeRequest
}

// idleTablets are so many that none of them calls more often than a device may.
func idleTablets(w *world, n int) (out []idleTablet) {
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	for range n {
		w.pass(3 * time.Second) // enrolments from one address are limited, too
		out = append(out, idleTablet{tablet: w.tablet(eve)})
	}
	for i := range out {
		out[i].sync()
		out[i].r.Poll()
		out[i].idle = out[i].r.Next().Exchange
	}
	return out
}

// perCall reports what a call takes of the processors.
func perCall(b *testing.B, call func() error) {
	b.Helper()
	n, began := 0, cpuTime()
	for b.Loop() {
		n++
		if err := call(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64((cpuTime()-began).Microseconds())/float64(n), "cpu-us/op")
}

func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// bareCall is a Connect call that reads one key and does nothing else.
func bareCall(b *testing.B, body []byte) func() (*connect.Response[emptypb.Empty], error) {
	b.Helper()
	s, err := boltstore.Open(boltstore.Config{Path: filepath.Join(b.TempDir(), "floor"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	if err := s.Update(b.Context(), func(w store.Writer) error { return w.Put([]byte("dkey"), body) }); err != nil {
		b.Fatal(err)
	}
	const path = "/floor/idle"
	read := func(ctx context.Context, _ *connect.Request[wrapperspb.BytesValue]) (*connect.Response[emptypb.Empty], error) {
		err := s.View(ctx, func(r store.Reader) error { _, err := r.Get([]byte("dkey")); return err })
		return connect.NewResponse(&emptypb.Empty{}), err
	}
	mux := http.NewServeMux()
	mux.Handle(path, connect.NewUnaryHandler(path, read, connect.WithCompressMinBytes(1024)))
	web := httptest.NewServer(mux)
	b.Cleanup(web.Close)
	c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, web.URL+path)
	return func() (*connect.Response[emptypb.Empty], error) {
		return c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(body)))
	}
}
