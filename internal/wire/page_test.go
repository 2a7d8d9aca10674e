package wire_test

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

func replicaID(i int) causal.ReplicaID { return causal.ReplicaID{0: byte(i), 15: 7} }

// drawEdits draws a run of edits of one replica, chained, over a few records, authors and replicas.
func drawEdits(t *rapid.T) []record.Edit {
	self := replicaID(1)
	first := uint64(rapid.IntRange(1, 300).Draw(t, "first"))
	var previous record.Hash
	if first > 1 {
		previous = record.Hash{1, 2, 3}
	}
	edits := make([]record.Edit, rapid.IntRange(1, 5).Draw(t, "edits"))
	for i := range edits {
		var context causal.Vector
		for r := 1; r < 5; r++ {
			if n := rapid.IntRange(0, 200).Draw(t, "seen"); n > 0 && (r != 1 || uint64(n) < first) {
				context = context.With(causal.Dot{Replica: replicaID(r), Counter: uint64(n)})
			}
		}
		text := rapid.SliceOfN(rapid.ByteRange('a', 'z'), 1, 9).Draw(t, "text")
		edits[i] = record.Edit{
			ID: record.ID{1, byte(i + 1)}, Dot: causal.Dot{Replica: self, Counter: first + uint64(i)}, Previous: previous, Context: context,
			Key:    record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: record.ID{2, byte(rapid.IntRange(1, 3).Draw(t, "record"))}},
			Author: record.ID{3, byte(rapid.IntRange(1, 3).Draw(t, "author"))}, AuthoredAt: rapid.Int64().Draw(t, "at"),
			Writes: []record.Write{{Set: append([]byte{4<<3 | 2, byte(len(text))}, text...), Clear: []uint32{9}}},
		}
		previous = edits[i].Hash()
	}
	return edits
}

func TestLaw_APageDecodesToTheEditsItWasMadeOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edits := drawEdits(t)
		got, err := wire.DecodePage(replicaID(1), viaBytes(t, wire.EncodePage(edits)))
		if err != nil {
			t.Fatal(err)
		}
		for i := range edits {
			if got[i].Hash != edits[i].Hash() || !bytes.Equal(got[i].Edit.AppendBinary(nil), edits[i].AppendBinary(nil)) {
				t.Fatalf("edit %d differs: %v, want %v", i, got[i].Edit, edits[i])
			}
		}
	})
}

// viaBytes is the page as it arrives.
func viaBytes(t interface{ Fatal(...any) }, p *syncv1.Page) *syncv1.Page {
	b, err := proto.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	out := &syncv1.Page{}
	if err := proto.Unmarshal(b, out); err != nil {
		t.Fatal(err)
	}
	return out
}

// pageOf is a page of two edits by two authors, one of which has seen another replica.
func pageOf() *syncv1.Page {
	e := record.Edit{
		ID: record.ID{1}, Dot: causal.Dot{Replica: replicaID(1), Counter: 1}, Context: causal.Vector{{Replica: replicaID(2), Counter: 4}},
		Key: record.Key{Kind: 5, ID: record.ID{2}}, Author: record.ID{3}, AuthoredAt: 1, Writes: []record.Write{{Clear: []uint32{9}}},
	}
	f := e
	f.ID, f.Dot.Counter, f.Author, f.Previous = record.ID{4}, 2, record.ID{5}, e.Hash()
	return wire.EncodePage([]record.Edit{e, f})
}

// TestDecodePage_TakesOnlyWhatEncodePageWrites has a row for each way in which a page can say the same or less in other bytes.
func TestDecodePage_TakesOnlyWhatEncodePageWrites(t *testing.T) {
	for _, row := range []struct {
		name   string
		change func(*syncv1.Page)
		reason faultv1.Reason // none: it is right
	}{
		{"as it is", func(*syncv1.Page) {}, 0},
		{"no edits", func(p *syncv1.Page) { p.Edits = nil }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"counter 0", func(p *syncv1.Page) { p.FirstCounter = 0 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"the last counters", func(p *syncv1.Page) { p.FirstCounter = math.MaxUint64 - 1 }, 0},
		{"counters that wrap", func(p *syncv1.Page) { p.FirstCounter = math.MaxUint64 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"a hash of 31 bytes", func(p *syncv1.Page) { p.Previous = p.Previous[:31] }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"a replica that nobody names", func(p *syncv1.Page) { p.Replicas = append(p.Replicas, bytes.Repeat([]byte{9}, 16)) }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"an author twice", func(p *syncv1.Page) { p.Authors[1] = p.Authors[0] }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"authors in another order", func(p *syncv1.Page) {
			p.Authors[0], p.Authors[1], p.Edits[0].Author, p.Edits[1].Author = p.Authors[1], p.Authors[0], 1, 0
		}, faultv1.Reason_REASON_NOT_CANONICAL},
		{"an author that is not there", func(p *syncv1.Page) { p.Edits[1].Author = 2 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"a replica that is not there", func(p *syncv1.Page) { p.Edits[1].Context[0] = 1 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"half a pair", func(p *syncv1.Page) { p.Edits[1].Context = p.Edits[1].Context[:1] }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"a counter of 0 in a context", func(p *syncv1.Page) { p.Edits[1].Context[1] = 0 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"a write of nothing", func(p *syncv1.Page) { p.Edits[1].Writes[0].Clear = nil }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"the last kind there can be", func(p *syncv1.Page) { p.Edits[1].Kind = record.MaxKind }, 0},
		{"a kind beyond", func(p *syncv1.Page) { p.Edits[1].Kind = record.MaxKind + 1 }, faultv1.Reason_REASON_NOT_CANONICAL},
		{"1,001 edits", func(p *syncv1.Page) {
			for len(p.Edits) < 1001 {
				p.Edits = append(p.Edits, p.Edits[1])
			}
		}, faultv1.Reason_REASON_TOO_LARGE},
		{"more than 3 MiB", func(p *syncv1.Page) { p.Edits[0].Writes[0].Set = make([]byte, wire.MaxPageBytes) }, faultv1.Reason_REASON_TOO_LARGE},
	} {
		t.Run(row.name, func(t *testing.T) {
			p := pageOf()
			row.change(p)
			_, err := wire.DecodePage(replicaID(1), p)
			var refusal *fault.Error
			if row.reason == 0 {
				if err != nil {
					t.Error(err)
				}
			} else if !errors.As(err, &refusal) || refusal.Reason != row.reason {
				t.Errorf("%v, want %v", err, row.reason)
			}
		})
	}
}
