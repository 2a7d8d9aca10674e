package bench_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"math/big"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/protobuf/proto"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// host is the ledger behind the generated Connect handler, with signatures verified as in service.
type host struct {
	syncv1connect.UnimplementedSyncServiceHandler
	ledger *ledger.Ledger
	schema *record.Schema
	key    *ecdsa.PrivateKey
	url    string
	source *source
	alone  bool
}

var benchOrg = record.ID{1}

func newHost(b *testing.B) *host {
	b.Helper()
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		b.Fatal(err)
	}
	s, err := boltstore.Open(boltstore.Config{Path: filepath.Join(b.TempDir(), "store"), Now: time.Now, MinFreeBytes: -1, AppendTables: string(ledger.AppendOnlyTables())})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	h := &host{schema: sch, source: newSource(9)}
	if h.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		b.Fatal(err)
	}
	allow := func(store.Reader, record.ID, *record.Edit) *fault.Error { return nil }
	if h.ledger, err = ledger.Open(b.Context(), s, ledger.Config{Schema: sch, Authorise: allow, Now: time.Now}); err != nil {
		b.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.Handle(syncv1connect.NewSyncServiceHandler(h, connect.WithCompressMinBytes(1024)))
	h.url = serve(b, mux)
	return h
}

// caller is the device that speaks. With alone, each replica is in an organisation of its own, so that it pulls nothing of the others', as replicas with
// patients of their own do.
func (h *host) caller(replica []byte) ledger.Caller {
	org := benchOrg
	if h.alone {
		org = record.ID(replica)
	}
	return ledger.Caller{
		Org: org, Device: record.ID{3},
		Owns:  func(store.Reader, causal.ReplicaID) error { return nil },
		Claim: func(store.Writer, causal.ReplicaID) error { return nil },
		Verify: func(statement, sig []byte) error {
			sum := sha256.Sum256(statement)
			if len(sig) != 64 || !ecdsa.Verify(&h.key.PublicKey, sum[:], new(big.Int).SetBytes(sig[:32]), new(big.Int).SetBytes(sig[32:])) {
				return errors.New("signature does not verify")
			}
			return nil
		},
	}
}

func (h *host) Hello(ctx context.Context, m *syncv1.HelloRequest) (*syncv1.HelloResponse, error) {
	return h.ledger.Hello(ctx, h.caller(m.GetReplica()), m)
}

func (h *host) Exchange(ctx context.Context, m *syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error) {
	return h.ledger.Exchange(ctx, h.caller(m.GetReplica()), m)
}

// tablet is a replica with a store of its own, exchanging over HTTP.
type tablet struct {
	h      *host
	client syncv1connect.SyncServiceClient
	r      *replica.Replica
	store  *boltstore.Store
	up     int // bytes of messages sent and received since they were last read
	down   int
	trips  int
}

func (h *host) tablet(b *testing.B) *tablet {
	b.Helper()
	s, err := boltstore.Open(boltstore.Config{Path: filepath.Join(b.TempDir(), "tablet"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	t := &tablet{h: h, client: syncv1connect.NewSyncServiceClient(http.DefaultClient, h.url), store: s}
	var ch replica.Changes
	t.r, ch = replica.New(h.schema, causal.ReplicaID(h.source.id()))
	t.keep(b, ch)
	return t
}

func (t *tablet) keep(b *testing.B, ch replica.Changes) {
	b.Helper()
	err := t.store.Update(b.Context(), func(w store.Writer) error {
		for _, k := range ch.Delete {
			if err := w.Delete(k); err != nil {
				return err
			}
		}
		for _, row := range ch.Put {
			if err := w.Put(row.Key, row.Value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
}

func (h *host) sign(b *testing.B, statement []byte) []byte {
	sum := sha256.Sum256(statement)
	r, s, err := ecdsa.Sign(rand.Reader, h.key, sum[:])
	if err != nil {
		b.Fatal(err)
	}
	return append(r.FillBytes(make([]byte, 32)), s.FillBytes(make([]byte, 32))...)
}

// sync exchanges until there is nothing more, and returns how long it took.
func (t *tablet) sync(b *testing.B) spent {
	b.Helper()
	t.r.Poll()
	start, cpu := time.Now(), cpuTime()
	for t.step(b) {
	}
	return since(start, cpu)
}

func (t *tablet) step(b *testing.B) bool {
	s := t.r.Next()
	switch {
	case s.Hello != nil:
		m, err := t.client.Hello(b.Context(), s.Hello)
		if err != nil {
			b.Fatal(err)
		}
		t.keep(b, t.r.ReceiveHello(s, m, causal.ReplicaID(t.h.source.id())))
	case s.Exchange != nil:
		if s.Statement != nil {
			s.Exchange.Page.Signature = t.h.sign(b, s.Statement)
		}
		m, err := t.client.Exchange(b.Context(), s.Exchange)
		if err != nil {
			b.Fatal(connect.CodeOf(err), err)
		}
		t.up, t.down, t.trips = t.up+proto.Size(s.Exchange), t.down+proto.Size(m), t.trips+1
		ch, err := t.r.Receive(s, m)
		if err != nil {
			b.Fatal(err)
		}
		t.keep(b, ch)
	default:
		return false
	}
	return true
}

func (t *tablet) edit(b *testing.B, k record.Key, writes []record.Write) replica.Changes {
	_, ch, err := t.r.Edit(replica.Draft{ID: t.h.source.id(), Key: k, Author: staff, AuthoredAt: 1_790_000_000_000, Writes: writes})
	if err != nil {
		b.Fatal(err)
	}
	return ch
}

// fill makes n sessions on the tablet and returns their keys.
func (t *tablet) fill(b *testing.B, n int) (keys []record.Key, ids, docs [][]byte) {
	b.Helper()
	var all replica.Changes
	for i := range n {
		k, m := t.h.source.session()
		doc, err := proto.Marshal(m)
		if err != nil {
			b.Fatal(err)
		}
		writes, err := t.h.schema.Split(k.Kind, doc)
		if err != nil {
			b.Fatal(err)
		}
		ch := t.edit(b, k, writes)
		all.Put, all.Delete = append(all.Put, ch.Put...), append(all.Delete, ch.Delete...)
		keys, ids, docs = append(keys, k), append(ids, k.ID[:]), append(docs, doc)
		if i%1000 == 999 || i == n-1 {
			t.keep(b, all)
			all = replica.Changes{}
		}
	}
	return keys, ids, docs
}
