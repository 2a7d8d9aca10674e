package record_test

import (
	"bytes"
	"testing"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

func seedEdit() record.Edit {
	return record.Edit{
		ID: record.ID{1}, Key: key, Author: record.ID{2}, AuthoredAt: -7,
		Dot:     causal.Dot{Replica: replicaID(1), Counter: 300},
		Context: causal.Vector{{Replica: replicaID(0), Counter: 5}, {Replica: replicaID(1), Counter: 299}},
		Writes:  []record.Write{{Set: []byte{2 << 3, 1}, Clear: []uint32{3}}, {Path: record.Path("").Child(7, record.ID{1}), Set: []byte{4<<3 | 2, 1, 'x'}}},
	}
}

func FuzzParseEdit(f *testing.F) {
	e := seedEdit()
	f.Add(e.AppendBinary(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := record.ParseEdit(b)
		if err == nil && !bytes.Equal(e.AppendBinary(nil), b) {
			t.Fatalf("accepted %x, writes %x", b, e.AppendBinary(nil))
		}
	})
}

func FuzzParseState(f *testing.F) {
	first := seedEdit()
	first.Context = nil
	s := record.Fold(key, []record.Edit{first})
	f.Add(s.AppendBinary(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := record.ParseState(b)
		if err == nil && !bytes.Equal(s.AppendBinary(nil), b) {
			t.Fatalf("accepted %x, writes %x", b, s.AppendBinary(nil))
		}
	})
}

func FuzzParsePath(f *testing.F) {
	f.Add([]byte(record.Path("").Child(7, record.ID{1}).Child(900, record.ID{2})))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := record.ParsePath(b)
		if err != nil {
			return
		}
		var again record.Path
		for rest := p; rest != ""; {
			var step record.Step
			step, rest = rest.Cut()
			again = again.Child(step.Field, step.Element)
		}
		if string(again) != string(b) {
			t.Fatalf("accepted %x, writes %x", b, again)
		}
	})
}

func FuzzParseID(f *testing.F) {
	f.Add("0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a")
	f.Fuzz(func(t *testing.T, s string) {
		if id, err := record.ParseID(s); err == nil && id.String() != s {
			t.Fatalf("accepted %q, prints %q", s, id)
		}
	})
}
