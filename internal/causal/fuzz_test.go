package causal_test

import (
	"bytes"
	"encoding/binary"
	"testing"

	"needlebook/internal/causal"
)

func FuzzCutVector(f *testing.F) {
	f.Add(causal.Vector{{Replica: replicaID(0), Counter: 1}, {Replica: replicaID(1), Counter: 300}}.AppendBinary(nil))
	f.Add([]byte{0})
	f.Fuzz(func(t *testing.T, b []byte) {
		v, rest, err := causal.CutVector(b)
		if err == nil && !bytes.Equal(append(v.AppendBinary(nil), rest...), b) {
			t.Fatalf("accepted %x, writes %x and leaves %x", b, v.AppendBinary(nil), rest)
		}
	})
}

func FuzzUvarint(f *testing.F) {
	f.Add([]byte{0xac, 0x02, 7})
	f.Add([]byte{0x80, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		x, rest, err := causal.Uvarint(b)
		if err == nil && !bytes.Equal(append(binary.AppendUvarint(nil, x), rest...), b) {
			t.Fatalf("accepted %x as %d and leaves %x", b, x, rest)
		}
	})
}

func FuzzParseReplicaID(f *testing.F) {
	f.Add(replicaID(0).String())
	f.Add("AA000000000000000000000000000007")
	f.Fuzz(func(t *testing.T, s string) {
		if r, err := causal.ParseReplicaID(s); err == nil && r.String() != s {
			t.Fatalf("accepted %q, prints %q", s, r)
		}
	})
}
