package ledger_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

var (
	org    = record.ID{1}
	author = record.ID{2}
)

// world is a server's ledger with the devices that speak to it.
type world struct {
	testing.TB
	path   string
	store  *boltstore.Store
	ledger *ledger.Ledger
	schema *record.Schema
	ids    uint64
	// denied is the authors that may edit nothing.
	denied map[record.ID]bool
	owner  map[causal.ReplicaID]record.ID
	// mayHold says which patients a device may hold; nil for all.
	mayHold func(record.ID) error
}

func newWorld(t testing.TB) *world {
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{TB: t, path: filepath.Join(t.TempDir(), "store"), schema: sch, denied: map[record.ID]bool{}, owner: map[causal.ReplicaID]record.ID{}}
	w.open()
	t.Cleanup(func() {
		if w.store != nil {
			w.check()
			w.close()
		}
	})
	return w
}

func (w *world) open() {
	w.Helper()
	s, err := boltstore.Open(boltstore.Config{Path: w.path, Now: time.Now, MinFreeBytes: -1, AppendTables: string(ledger.AppendOnlyTables())})
	if err != nil {
		w.Fatal(err)
	}
	w.store = s
	w.ledger, err = ledger.Open(w.Context(), s, ledger.Config{Schema: w.schema, Authorise: w.authorise, Now: time.Now, Terms: termsOfTest(1)})
	if err != nil {
		w.Fatal(err)
	}
}

func (w *world) close() {
	w.Helper()
	if err := w.store.Close(); err != nil {
		w.Fatal(err)
	}
	w.store = nil
}

func (w *world) authorise(_ store.Reader, _ record.ID, e *record.Edit) *fault.Error {
	if w.denied[e.Author] {
		return fault.New(15+2, "", "", "")
	}
	return nil
}

// check proves the ledger, as after every test.
func (w *world) check() {
	w.Helper()
	if _, err := w.ledger.Check(context.Background(), nil); err != nil {
		w.Error(err)
	}
}

func (w *world) id() record.ID {
	w.ids++
	return record.ID(binary.BigEndian.AppendUint64([]byte{0xaa, 0, 0, 0, 0, 0, 0, 0}, w.ids))
}

// tablet is a replica with its device key and its store, as rows in memory.
type tablet struct {
	w      *world
	device record.ID
	key    *ecdsa.PrivateKey
	r      *replica.Replica
	rows   map[string][]byte
	sent   int // bytes, of the last exchange
	got    int
}

func (w *world) tablet() *tablet {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		w.Fatal(err)
	}
	t := &tablet{w: w, device: w.id(), key: key, rows: map[string][]byte{}}
	r, ch := replica.New(w.schema, causal.ReplicaID(w.id()))
	t.r = r
	t.store(ch)
	return t
}

// clone is a second tablet that was copied from t, key and all.
func (t *tablet) clone() *tablet {
	c := *t
	c.rows = map[string][]byte{}
	for k, v := range t.rows {
		c.rows[k] = v
	}
	c.restart()
	return &c
}

func (t *tablet) store(ch replica.Changes) {
	for _, k := range ch.Delete {
		delete(t.rows, string(k))
	}
	for _, row := range ch.Put {
		t.rows[string(row.Key)] = row.Value
	}
}

func (t *tablet) restart() {
	t.w.Helper()
	rows := make([]replica.Row, 0, len(t.rows))
	for _, k := range sortedKeys(t.rows) {
		rows = append(rows, replica.Row{Key: []byte(k), Value: t.rows[k]})
	}
	r, err := replica.Load(t.w.schema, rows)
	if err != nil {
		t.w.Fatal(err)
	}
	t.r = r
}

func (t *tablet) caller() ledger.Caller {
	owns := func(r causal.ReplicaID) error {
		if d, ok := t.w.owner[r]; ok && d != t.device {
			return fault.New(6, "replica", "", "")
		}
		return nil
	}
	return ledger.Caller{
		Org: org, Device: t.device,
		Owns: func(_ store.Reader, r causal.ReplicaID) error { return owns(r) },
		MayHold: func(_ store.Reader, patient record.ID) error {
			if t.w.mayHold == nil {
				return nil
			}
			return t.w.mayHold(patient)
		},
		Claim: func(_ store.Writer, r causal.ReplicaID) error {
			if err := owns(r); err != nil {
				return err
			}
			t.w.owner[r] = t.device
			return nil
		},
		Verify: func(statement, signature []byte) error {
			sum := sha256.Sum256(statement)
			if len(signature) != 64 || !ecdsa.Verify(&t.key.PublicKey, sum[:], new(big.Int).SetBytes(signature[:32]), new(big.Int).SetBytes(signature[32:])) {
				return errors.New("signature does not verify")
			}
			return nil
		},
	}
}

func (t *tablet) sign(statement []byte) []byte {
	sum := sha256.Sum256(statement)
	r, s, err := ecdsa.Sign(rand.Reader, t.key, sum[:])
	if err != nil {
		t.w.Fatal(err)
	}
	return append(r.FillBytes(make([]byte, 32)), s.FillBytes(make([]byte, 32))...)
}

// step does one step of the sync. lose drops the answer on its way back.
func (t *tablet) step(lose bool) (more bool, err error) {
	s := t.r.Next()
	switch {
	case s.Hello != nil:
		m, err := t.w.ledger.Hello(t.w.Context(), t.caller(), s.Hello)
		if err != nil {
			return false, err
		}
		if !lose {
			t.store(t.r.ReceiveHello(s, m, causal.ReplicaID(t.w.id())))
		}
	case s.Exchange != nil:
		if s.Statement != nil {
			s.Exchange.Page.Signature = t.sign(s.Statement)
		}
		m, err := t.w.ledger.Exchange(t.w.Context(), t.caller(), s.Exchange)
		if refusal := fault.Of(err); refusal != nil {
			return true, t.r.Refused(s, refusal)
		}
		if err != nil {
			return false, err
		}
		t.sent, t.got = proto.Size(s.Exchange), proto.Size(m)
		if !lose {
			ch, err := t.r.Receive(s, m)
			if err != nil {
				return false, err
			}
			t.store(ch)
		}
	default:
		return false, nil
	}
	return true, nil
}

func (t *tablet) sync() {
	t.w.Helper()
	t.r.Poll()
	for range 10_000 {
		more, err := t.step(false)
		if err != nil {
			t.w.Fatalf("sync: %v", err)
		}
		if !more {
			return
		}
	}
	t.w.Fatal("sync does not come to an end")
}

func (t *tablet) edit(k record.Key, m proto.Message) record.Edit {
	t.w.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		t.w.Fatal(err)
	}
	writes, err := t.w.schema.Split(k.Kind, b)
	if err != nil {
		t.w.Fatal(err)
	}
	e, ch, err := t.r.Edit(replica.Draft{ID: t.w.id(), Key: k, Author: author, AuthoredAt: 1, Writes: writes})
	if err != nil {
		t.w.Fatal(err)
	}
	t.store(ch)
	return e
}

func (w *world) vial() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: w.id()}
}

func sameDigest(t failer, tablets ...*tablet) {
	t.Helper()
	for _, o := range tablets[1:] {
		if o.r.Digest() != tablets[0].r.Digest() {
			t.Errorf("tablets differ:\n%s\n%s", tablets[0].draw(), o.draw())
		}
	}
}

// draw shows what a tablet holds, for a failure.
func (t *tablet) draw() string {
	out := ""
	for _, k := range t.r.Keys(0) {
		v := t.r.View(k)
		out += fmt.Sprintf("%v seen %v\n", k, v.Seen)
		for _, f := range v.Fragments() {
			out += fmt.Sprintf("  %x %v %q %v\n", f.Path, f.Dot, f.Set, f.Clear)
		}
	}
	return out
}

func note(text string) *chartv1.Vial { return &chartv1.Vial{ShortNumber: &text} }

func TestSync_TwoTabletsAgreeAndKeepBothValues(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	a.edit(k, note("12"))
	b.edit(k, note("13"))
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if n := len(a.r.View(k).Conflicts()); n != 1 {
		t.Fatalf("%d conflicts, want 1: %s", n, a.draw())
	}
	a.edit(k, note("14"))
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	if n := len(b.r.View(k).Conflicts()); n != 0 {
		t.Fatalf("%d conflicts after settling, want 0", n)
	}
}

func TestSync_LostAnswerChangesNothing(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.sync()
	a.edit(k, note("11"))
	for range 3 {
		if _, err := a.step(true); err != nil {
			t.Fatal(err)
		}
	}
	a.restart()
	a.sync()
	entries, err := w.ledger.History(t.Context(), org, k)
	if err != nil || len(entries) != 1 {
		t.Fatalf("%d edits in the ledger, want 1 (%v)", len(entries), err)
	}
	if a.r.Unsent() != 0 {
		t.Fatalf("%d unsent", a.r.Unsent())
	}
}

func TestSync_IdleExchangeIsSmall(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	a.edit(w.vial(), note("11"))
	a.sync()
	a.sync()
	if a.sent > 300 || a.got > 300 {
		t.Errorf("an idle exchange takes %d bytes up and %d down, want at most 300", a.sent, a.got)
	}
	t.Logf("idle exchange: %d bytes up, %d down", a.sent, a.got)
}

func TestFork_CloneKeepsEverythingOnce(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b := a.clone()
	a.edit(k, note("12"))
	b.edit(k, note("13"))
	other := w.vial()
	b.edit(other, note("20"))
	b.edit(other, note("21"))
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if got := a.r.View(k).Conflicts(); len(got) != 1 || len(got[0].Siblings) != 2 {
		t.Errorf("want both values of the fork: %s", a.draw())
	}
	if a.r.View(other).Conflicts() != nil || a.r.View(other).Empty() {
		t.Errorf("the second edit saw the first: %s", a.draw())
	}
	if a.r.ID() == b.r.ID() {
		t.Error("both still speak as the same replica")
	}
}

func TestHeld_ElementAndItsFollowersAreReleasedTogether(t *testing.T) {
	w := newWorld(t)
	a, b := w.tablet(), w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	b.sync()
	w.denied[author] = true
	draw := w.id().String()
	amount := &chartv1.DrawAmount{SessionId: w.id().String(), VolumeNanoliters: 100_000, DoseMilliunits: 4000}
	a.edit(k, &chartv1.Vial{Draws: []*chartv1.Draw{{Id: draw, Amount: amount}}})
	held := a.r.View(k)
	if held.Has("") == false || len(a.r.View(k).Values()) != 2 {
		t.Fatalf("the draw is shown before the exchange: %s", a.draw())
	}
	a.sync()
	if len(a.r.Held(k)) != 1 || len(a.r.View(k).Values()) != 1 {
		t.Fatalf("the refused edit is taken back out of what is shown, and listed: %s", a.draw())
	}
	w.denied[author] = false
	h := a.r.Held(k)[0]
	if _, err := w.ledger.Release(t.Context(), ledger.Judgement{Org: org, By: author, Key: k, Dot: h.Edit.Dot}); err != nil {
		t.Fatal(err)
	}
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	if len(b.r.View(k).Values()) != 2 {
		t.Fatalf("the released draw is there: %s", b.draw())
	}
	if got := a.r.Held(k)[0].Status; got != syncv1.HeldStatus_HELD_STATUS_RELEASED {
		t.Errorf("status %v", got)
	}
}
