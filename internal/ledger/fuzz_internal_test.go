package ledger

import (
	"bytes"
	"testing"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// The targets of this file hold every decoder of what the ledger stores: none panics, and what decodes is written again as the same bytes.

func storedEdit() record.Edit {
	return record.Edit{
		ID: record.ID{1}, Dot: causal.Dot{Replica: causal.ReplicaID{2}, Counter: 3}, Context: causal.Vector{{Replica: causal.ReplicaID{1}, Counter: 9}},
		Key: record.Key{Kind: 5, ID: record.ID{4}}, Author: record.ID{5}, AuthoredAt: -6, Writes: []record.Write{{Set: []byte{4<<3 | 2, 1, 'x'}, Clear: []uint32{9}}},
	}
}

func FuzzDecodeEvent(f *testing.F) {
	with := event{commit: commitHash{1}, outcome: waiting, org: record.ID{2}, previous: 300, edit: storedEdit()}
	about := event{commit: commitHash{1}, outcome: judged, org: record.ID{2}, key: record.Key{Kind: 5, ID: record.ID{4}}, ref: storedEdit().Dot}
	f.Add(with.encode())
	f.Add(about.encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := decodeEvent(7, b)
		if err == nil && !bytes.Equal(e.encode(), b) {
			t.Fatalf("accepted %x, writes %x", b, e.encode())
		}
	})
}

func FuzzDecodeHeld(f *testing.F) {
	h := heldEntry{300, wire.Held{Edit: storedEdit(), Reason: 3, Detail: "why", Status: syncv1.HeldStatus_HELD_STATUS_HELD, Partial: true}}
	f.Add(h.encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := decodeHeld(b)
		if err == nil && !bytes.Equal(h.encode(), b) {
			t.Fatalf("accepted %x, writes %x", b, h.encode())
		}
	})
}

// log is a store with one event, the fourth.
type log struct{ store.Reader }

func (log) Get(key []byte) ([]byte, error) {
	if !bytes.Equal(key, eventKey(4)) {
		return nil, store.ErrNotFound
	}
	e := event{outcome: applied, org: record.ID{2}, edit: storedEdit()}
	return e.encode(), nil
}

func FuzzDecodeRow(f *testing.F) {
	e := storedEdit()
	k := e.Key
	whole := row{state: record.Fold(k, []record.Edit{e}), first: 4, last: 300, other: 5, dots: map[causal.Dot]uint64{e.Dot: 4}, lastReplica: e.Dot.Replica}
	sole := row{first: 4, last: 4, lastReplica: e.Dot.Replica}
	f.Add(whole.encode())
	f.Add(sole.encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := decodeRow(log{}, k, b)
		if err == nil && !bytes.Equal(r.encode(), b) {
			t.Fatalf("accepted %x, writes %x", b, r.encode())
		}
		if err == nil && r.bound < len(r.encodeWhole()) {
			t.Fatalf("a row of %d bytes is bound by %d", len(r.encodeWhole()), r.bound)
		}
	})
}

func FuzzDecodeChange(f *testing.F) {
	f.Add(change{key: storedEdit().Key, lastReplica: causal.ReplicaID{1}, other: 300}.encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := decodeChange(b)
		if err == nil && !bytes.Equal(c.encode(), b) {
			t.Fatalf("accepted %x, writes %x", b, c.encode())
		}
	})
}

func FuzzDecodeLinks(f *testing.F) {
	f.Add(link{300, record.Hash{1}}.encode(), encodeIDEntry(7, record.Hash{2}))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		k, err := decodeLink(a)
		if err == nil && !bytes.Equal(k.encode(), a) {
			t.Fatalf("accepted %x, writes %x", a, k.encode())
		}
		seq, body, err := decodeIDEntry(b)
		if err == nil && !bytes.Equal(encodeIDEntry(seq, body), b) {
			t.Fatalf("accepted %x, writes %x", b, encodeIDEntry(seq, body))
		}
	})
}

func FuzzDecodePageEntry(f *testing.F) {
	f.Add(pageKey(causal.ReplicaID{1}, 9), signedPage{first: 3, signature: make([]byte, 64)}.encode())
	f.Fuzz(func(t *testing.T, key, v []byte) {
		p, err := decodePage(key, v)
		if err == nil && (!bytes.Equal(p.encode(), v) || !bytes.Equal(pageKey(p.replica, p.last)[1:], key[1:])) {
			t.Fatalf("accepted %x %x, writes %x", key, v, p.encode())
		}
	})
}

// FuzzOpenCursor holds that a cursor is opened only by whom it was made for, and is then the one that was made.
func FuzzOpenCursor(f *testing.F) {
	m := meta{epoch: [16]byte{1}, key: [32]byte{2}}
	made := cursor{epoch: m.epoch, seq: 300, commit: commitHash{3}, base: 9}.seal(m, record.ID{4}, record.ID{5})
	f.Add(made)
	f.Add([]byte(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := openCursor(m, b, record.ID{4}, record.ID{5})
		if err == nil && len(b) > 0 && !bytes.Equal(c.seal(m, record.ID{4}, record.ID{5}), b) {
			t.Fatalf("accepted %x, writes %x", b, c.seal(m, record.ID{4}, record.ID{5}))
		}
		if _, err := openCursor(m, b, record.ID{4}, record.ID{6}); err == nil && len(b) > 0 {
			t.Fatal("opened for another device")
		}
	})
}
