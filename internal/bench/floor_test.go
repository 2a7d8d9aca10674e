package bench_test

import (
	"context"
	"encoding/binary"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"connectrpc.com/connect"
	"go.etcd.io/bbolt"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// floor is a bare Connect server that keeps documents in bbolt and does nothing else: no merge, no rights, no signatures, no findings. A request is
// documents one after the other, each its id (16 bytes), its size (4 bytes) and itself.
type floor struct {
	db  *bbolt.DB
	url string
}

var docs = []byte("docs")

// small answers go as they are: below about a kilobyte compression only costs.
var small = connect.WithCompressMinBytes(1024)

func newFloor(b *testing.B) *floor {
	b.Helper()
	db, err := bbolt.Open(filepath.Join(b.TempDir(), "floor.db"), 0o600, &bbolt.Options{NoFreelistSync: true, FreelistType: bbolt.FreelistMapType, InitialMmapSize: 1 << 32})
	if err != nil {
		b.Fatal(err)
	}
	err = db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket(docs); return err })
	if err != nil {
		b.Fatal(err)
	}
	f := &floor{db: db}
	mux := http.NewServeMux()
	mux.Handle("/floor/put", connect.NewUnaryHandler("/floor/put", f.put, small))
	mux.Handle("/floor/get", connect.NewUnaryHandler("/floor/get", f.get, small))
	mux.Handle("/floor/idle", connect.NewUnaryHandler("/floor/idle", f.idle, small))
	f.url = serve(b, mux)
	b.Cleanup(func() { db.Close() })
	return f
}

func serve(b *testing.B, h http.Handler) string {
	b.Helper()
	s := httptest.NewServer(h)
	b.Cleanup(s.Close)
	return s.URL
}

func (f *floor) put(_ context.Context, req *connect.Request[wrapperspb.BytesValue]) (*connect.Response[emptypb.Empty], error) {
	err := f.db.Update(func(tx *bbolt.Tx) error {
		bucket := tx.Bucket(docs)
		for b := req.Msg.GetValue(); len(b) > 20; {
			n := binary.BigEndian.Uint32(b[16:])
			if err := bucket.Put(b[:16], b[20:20+n]); err != nil {
				return err
			}
			b = b[20+n:]
		}
		return nil
	})
	return connect.NewResponse(&emptypb.Empty{}), err
}

// get reads a thousand documents from a key on.
func (f *floor) get(_ context.Context, req *connect.Request[wrapperspb.BytesValue]) (*connect.Response[wrapperspb.BytesValue], error) {
	var out []byte
	err := f.db.View(func(tx *bbolt.Tx) error {
		c := tx.Bucket(docs).Cursor()
		n := 0
		for k, v := c.Seek(req.Msg.GetValue()); k != nil && n < 1000; k, v = c.Next() {
			out = appendDoc(out, k, v)
			n++
		}
		return nil
	})
	return connect.NewResponse(wrapperspb.Bytes(out)), err
}

// idle reads the last key and answers nothing new.
func (f *floor) idle(_ context.Context, _ *connect.Request[wrapperspb.BytesValue]) (*connect.Response[emptypb.Empty], error) {
	err := f.db.View(func(tx *bbolt.Tx) error { tx.Bucket(docs).Cursor().Last(); return nil })
	return connect.NewResponse(&emptypb.Empty{}), err
}

func appendDoc(b, id, doc []byte) []byte {
	b = append(b, id...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(doc)))
	return append(b, doc...)
}

func (f *floor) pushAll(b *testing.B, ids, all [][]byte, page int) spent {
	b.Helper()
	c := connect.NewClient[wrapperspb.BytesValue, emptypb.Empty](http.DefaultClient, f.url+"/floor/put")
	start, cpu := time.Now(), cpuTime()
	for i := 0; i < len(all); i += page {
		var body []byte
		for j := i; j < min(i+page, len(all)); j++ {
			body = appendDoc(body, ids[j], all[j])
		}
		if _, err := c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(body))); err != nil {
			b.Fatal(err)
		}
	}
	return since(start, cpu)
}

// pullAll reads everything into a second bbolt file, as a replica would keep it.
func (f *floor) pullAll(b *testing.B) spent {
	b.Helper()
	s, err := boltstore.Open(boltstore.Config{Path: filepath.Join(b.TempDir(), "pulled"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	c := connect.NewClient[wrapperspb.BytesValue, wrapperspb.BytesValue](http.DefaultClient, f.url+"/floor/get")
	start, cpu := time.Now(), cpuTime()
	next := []byte{0}
	for {
		resp, err := c.CallUnary(b.Context(), connect.NewRequest(wrapperspb.Bytes(next)))
		if err != nil {
			b.Fatal(err)
		}
		body := resp.Msg.GetValue()
		if len(body) == 0 {
			return since(start, cpu)
		}
		err = s.Update(b.Context(), func(w store.Writer) error {
			for d := body; len(d) > 20; {
				n := binary.BigEndian.Uint32(d[16:])
				if err := w.Put(append([]byte{'d'}, d[:16]...), d[20:20+n]); err != nil {
					return err
				}
				next = append(append([]byte(nil), d[:16]...), 0)
				d = d[20+n:]
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// newFloorGrouped is the floor with the store's group commit instead of a transaction a call: the fastest that 64 callers can get on bbolt. It returns
// the address to put to.
func newFloorGrouped(b *testing.B) string {
	b.Helper()
	s, err := boltstore.Open(boltstore.Config{Path: filepath.Join(b.TempDir(), "floor"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	mux := http.NewServeMux()
	mux.Handle("/floor/put", connect.NewUnaryHandler("/floor/put",
		func(ctx context.Context, req *connect.Request[wrapperspb.BytesValue]) (*connect.Response[emptypb.Empty], error) {
			doc := req.Msg.GetValue()
			err := s.Update(ctx, func(w store.Writer) error { return w.Put(append([]byte{'d'}, doc[:16]...), doc[20:]) })
			return connect.NewResponse(&emptypb.Empty{}), err
		}, small))
	return serve(b, mux) + "/floor/put"
}
