package wire_test

import (
	"bytes"
	"testing"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

func sealedTexts() []wire.SealedText {
	e := record.Edit{
		ID: record.ID{3}, Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 2}, Previous: record.Hash{9}, Key: record.Key{Kind: 5, ID: record.ID{2}},
		Author: record.ID{4}, AuthoredAt: -1, Writes: []record.Write{{Set: []byte{4<<3 | 2, 1, 'A'}}},
	}
	return []wire.SealedText{{Edit: e}, {Edit: e, Signature: bytes.Repeat([]byte{7}, 64)}}
}

func outboxes() []wire.Outbox {
	one := wire.Sealed{Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, Bytes: []byte{1}}
	two := wire.Sealed{Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 2}, Bytes: bytes.Repeat([]byte{2}, 300)}
	return []wire.Outbox{{}, {Org: record.ID{5}, Device: record.ID{6}, Edits: []wire.Sealed{one}}, {Edits: []wire.Sealed{one, two}}}
}

// FuzzParseSealedText holds that what is opened has one form.
func FuzzParseSealedText(f *testing.F) {
	for _, t := range sealedTexts() {
		f.Add(t.AppendBinary(nil))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		text, err := wire.ParseSealedText(b)
		if err != nil {
			return
		}
		if again := text.AppendBinary(nil); !bytes.Equal(again, b) {
			t.Fatalf("took %x, writes %x", b, again)
		}
		text.Statement()
	})
}

// FuzzParseOutbox holds that a file of sealed edits has one form.
func FuzzParseOutbox(f *testing.F) {
	for _, o := range outboxes() {
		f.Add(o.AppendBinary(nil))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		o, err := wire.ParseOutbox(b)
		if err != nil {
			return
		}
		if again := o.AppendBinary(nil); !bytes.Equal(again, b) {
			t.Fatalf("took %x, writes %x", b, again)
		}
	})
}

// TestParseOutbox_TakesNothingElse has a row for each way in which a file can say something else.
func TestParseOutbox_TakesNothingElse(t *testing.T) {
	whole := outboxes()[2]
	b := whole.AppendBinary(nil)
	swapped, twice := whole, whole
	swapped.Edits = []wire.Sealed{whole.Edits[1], whole.Edits[0]}
	twice.Edits = []wire.Sealed{whole.Edits[0], whole.Edits[0]}
	large := wire.Outbox{Edits: []wire.Sealed{{Dot: whole.Edits[0].Dot, Bytes: make([]byte, wire.MaxSealedBytes+1)}}}
	nameless := wire.Outbox{Edits: []wire.Sealed{{Bytes: []byte{1}}}}
	for name, b := range map[string][]byte{
		"nothing": nil, "another mark": append([]byte("x"), b...), "bytes behind": append(bytes.Clone(b), 0), "cut": b[:len(b)-1], "cut in its head": b[:40],
		"out of order": swapped.AppendBinary(nil), "one twice": twice.AppendBinary(nil), "one too large": large.AppendBinary(nil),
		"one without a dot": nameless.AppendBinary(nil),
	} {
		if o, err := wire.ParseOutbox(b); err == nil {
			t.Errorf("%s: taken with %d edits", name, len(o.Edits))
		}
	}
}
