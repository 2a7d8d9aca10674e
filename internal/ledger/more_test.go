package ledger_test

import (
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
)

// draw is a vial that one more draw was taken from.
func draw(w *world, milliunits int32) *chartv1.Vial {
	amount := &chartv1.DrawAmount{SessionId: w.id().String(), VolumeNanoliters: 100_000, DoseMilliunits: milliunits}
	return &chartv1.Vial{Draws: []*chartv1.Draw{{Id: w.id().String(), Amount: amount}}}
}

// failing lets a world stand in a drawn case: what fails, fails the case, so that it can be made smaller; the rest is the test's.
type failing struct {
	testing.TB
	rt *rapid.T
}

func (f failing) Fatal(args ...any)                 { f.rt.Fatal(args...) }
func (f failing) Fatalf(format string, args ...any) { f.rt.Fatalf(format, args...) }
func (f failing) Error(args ...any)                 { f.rt.Error(args...) }
func (f failing) Errorf(format string, args ...any) { f.rt.Errorf(format, args...) }

// newWorldIn is a world for one drawn case. Its store is removed when the case ends, not when the test does.
func newWorldIn(t *testing.T, rt *rapid.T) *world {
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		rt.Fatal(err)
	}
	dir, err := os.MkdirTemp(t.TempDir(), "case")
	if err != nil {
		rt.Fatal(err)
	}
	w := &world{
		TB: failing{t, rt}, path: filepath.Join(dir, "store"), schema: sch, denied: map[record.ID]bool{}, owner: map[causal.ReplicaID]record.ID{},
	}
	rt.Cleanup(func() {
		if w.store != nil {
			_ = w.store.Close()
		}
		_ = os.RemoveAll(dir)
	})
	w.open()
	return w
}

// failer is a test or a drawn case.
type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

// notes is writes that add n notes of this text to a record.
func notes(w *world, k record.Key, n int, text string) []record.Write {
	w.Helper()
	v := &chartv1.Vial{}
	for range n {
		v.Notes = append(v.Notes, &recordv1.Note{Id: w.id().String(), Text: &text})
	}
	return w.split(k, v)
}

// split is the writes that make a message.
func (w *world) split(k record.Key, m proto.Message) []record.Write {
	w.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		w.Fatal(err)
	}
	writes, err := w.schema.Split(k.Kind, b)
	if err != nil {
		w.Fatal(err)
	}
	return writes
}

func draft(w *world, k record.Key, writes []record.Write) replica.Draft {
	return replica.Draft{ID: w.id(), Key: k, Author: author, AuthoredAt: 1, Writes: writes}
}
