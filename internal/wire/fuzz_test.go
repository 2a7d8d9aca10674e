package wire_test

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// FuzzDecodePage holds that a page which is taken says what the page of its edits says: nothing that is not hashed is in it but the signature.
func FuzzDecodePage(f *testing.F) {
	seed, err := proto.Marshal(pageOf())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, b []byte) {
		p := &syncv1.Page{}
		if proto.Unmarshal(b, p) != nil {
			return
		}
		chained, err := wire.DecodePage(replicaID(1), p)
		if err != nil {
			return
		}
		edits := make([]record.Edit, len(chained))
		for i := range chained {
			edits[i] = chained[i].Edit
			if _, err := record.ParseEdit(edits[i].AppendBinary(nil)); err != nil {
				t.Fatalf("accepted an edit that cannot be read from a store: %v", err)
			}
		}
		p.Signature = nil
		if again := wire.EncodePage(edits); !proto.Equal(again, known(t, p)) {
			t.Fatalf("accepted %v, writes %v", p, again)
		}
	})
}

// known is the page without the fields that this version does not know. A replica that wrote such a field also hashed it, so its signature fails.
func known(t *testing.T, p *syncv1.Page) *syncv1.Page {
	b, err := proto.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	out := &syncv1.Page{}
	if err := (proto.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(b, out); err != nil {
		t.Fatal(err)
	}
	return out
}

// answerOf is an answer with a row of everything that a row can have.
func answerOf() *syncv1.ExchangeResponse {
	d := causal.Dot{Replica: replicaID(2), Counter: 4}
	row := wire.Row{
		Key: record.Key{Kind: 5, ID: record.ID{2}}, Seen: causal.Vector{{Replica: replicaID(1), Counter: 1}, d}, Delta: true,
		Infos:     []record.DotInfo{{Dot: d, Author: record.ID{3}, AuthoredAt: 7}},
		Fragments: []record.Fragment{{Dot: d, Set: []byte{4<<3 | 2, 1, 'x'}, Clear: []uint32{9}}},
		Held: []wire.Held{{
			Edit: record.Edit{
				ID: record.ID{1}, Dot: causal.Dot{Replica: replicaID(1), Counter: 1}, Context: causal.Vector{d},
				Key: record.Key{Kind: 5, ID: record.ID{2}}, Author: record.ID{4}, AuthoredAt: 1, Writes: []record.Write{{Clear: []uint32{9}}},
			},
			Reason: faultv1.Reason_REASON_RECORD_FULL, Detail: "full", Status: syncv1.HeldStatus_HELD_STATUS_HELD, Partial: true,
		}},
	}
	var t wire.Tables
	m := &syncv1.ExchangeResponse{Rows: []*syncv1.RecordRow{t.EncodeRow(&row)}}
	m.Replicas, m.Authors = t.Replicas, t.Authors
	return m
}

// FuzzRow holds that a row which is read, and whose fragments are those of a state, is written as it was read.
func FuzzRow(f *testing.F) {
	seed, err := proto.Marshal(answerOf())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, b []byte) {
		m := &syncv1.ExchangeResponse{}
		if proto.Unmarshal(b, m) != nil {
			return
		}
		rd, err := wire.NewReader(m.GetReplicas(), m.GetAuthors())
		if err != nil {
			return
		}
		for _, r := range m.GetRows() {
			row, err := rd.Row(r)
			if err != nil {
				continue
			}
			st, err := row.State()
			if err != nil {
				continue
			}
			if _, err := record.ParseState(st.AppendBinary(nil)); err != nil {
				t.Fatalf("accepted a state that cannot be read from a store: %v", err)
			}
			for i := range row.Held {
				if _, err := wire.ParseHeld(row.Held[i].AppendBinary(nil)); err != nil {
					t.Fatalf("accepted a held edit that cannot be read from a store: %v", err)
				}
			}
			var tables wire.Tables
			written := tables.EncodeRow(&row)
			rd, err := wire.NewReader(tables.Replicas, tables.Authors)
			if err != nil {
				t.Fatal(err)
			}
			again, err := rd.Row(written)
			if err != nil {
				t.Fatalf("wrote what it does not read: %v", err)
			}
			var more wire.Tables
			if !proto.Equal(more.EncodeRow(&again), written) || len(again.Fragments) != len(r.GetFragments()) || len(again.Held) != len(r.GetHeld()) {
				t.Fatalf("read %v, wrote %v", r, written)
			}
		}
	})
}

func FuzzParseHeld(f *testing.F) {
	rd, err := wire.NewReader(answerOf().GetReplicas(), answerOf().GetAuthors())
	if err != nil {
		f.Fatal(err)
	}
	row, err := rd.Row(answerOf().GetRows()[0])
	if err != nil {
		f.Fatal(err)
	}
	f.Add(row.Held[0].AppendBinary(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := wire.ParseHeld(b)
		if err == nil && !bytes.Equal(h.AppendBinary(nil), b) {
			t.Fatalf("accepted %x, writes %x", b, h.AppendBinary(nil))
		}
	})
}
