package replica

import (
	"slices"
	"testing"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// applied is rows after changes.
func applied(rows map[string][]byte, ch Changes) {
	for _, k := range ch.Delete {
		delete(rows, string(k))
	}
	for _, row := range ch.Put {
		rows[string(row.Key)] = row.Value
	}
}

func sorted(rows map[string][]byte) (out []Row) {
	for k, v := range rows {
		out = append(out, Row{[]byte(k), v})
	}
	slices.SortFunc(out, func(a, b Row) int { return slices.Compare(a.Key, b.Key) })
	return out
}

func sealedReplica(t *testing.T, edits int) (*Replica, map[string][]byte) {
	t.Helper()
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]byte{}
	r, ch := New(s, causal.ReplicaID{1})
	applied(rows, ch)
	for i := range byte(edits) {
		_, ch, err := r.Edit(Draft{
			ID: record.ID{3, i}, Key: record.Key{Kind: 5, ID: record.ID{2}}, Author: record.ID{4}, AuthoredAt: int64(i) + 100,
			Writes: []record.Write{{Set: []byte{4<<3 | 2, 1, 'A' + i}}},
		})
		if err != nil {
			t.Fatal(err)
		}
		applied(rows, ch)
	}
	return r, rows
}

// TestSeal_EachUnsentEditOnceAndNoLongerThanTheEdit: what is to be sealed, what is stored of it, and when it goes.
func TestSeal_EachUnsentEditOnceAndNoLongerThanTheEdit(t *testing.T) {
	r, rows := sealedReplica(t, 3)
	if got := r.ToSeal(false); len(got) != 3 || got[0].Edit.Dot.Counter != 1 {
		t.Fatalf("%d to seal", len(got))
	}
	for i, text := range r.ToSeal(false) {
		applied(rows, r.Sealed(text.Edit.Dot, []byte{byte(i), 9}, i == 0))
	}
	if plain, signed := len(r.ToSeal(false)), len(r.ToSeal(true)); plain != 0 || signed != 2 {
		t.Errorf("%d lack a seal, %d a signature; want 0 and 2", plain, signed)
	}
	again, err := Load(r.schema, sorted(rows))
	if err != nil || len(again.ToSeal(false)) != 0 || len(again.ToSeal(true)) != 2 {
		t.Fatalf("loaded: %v", err)
	}
	r.current().acked = 2
	r.acknowledgeAll()
	var ch Changes
	r.release(r.current(), 1, &ch)
	r.putMeta(&ch)
	applied(rows, ch)
	left, err := SealedRows(sorted(rows))
	if err != nil || len(left) != 2 || left[0].Dot.Counter != 2 {
		t.Errorf("after the first is backed up: %v, %v", left, err)
	}
	if _, err := Load(r.schema, sorted(rows)); err != nil {
		t.Error(err)
	}
	if ch := r.Sealed(causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, []byte{1}, true); !ch.Empty() {
		t.Error("an edit that is not kept is sealed")
	}
}

// acknowledgeAll is what an answer does to edits that took effect as they came.
func (r *Replica) acknowledgeAll() {
	for _, o := range r.current().kept {
		if o.edit.Dot.Counter <= r.current().acked {
			o.fate = settled
		}
	}
}

// TestWipe_LeavesTheSealedEditsAlone: nothing that can be read is left, and the seals in their order.
func TestWipe_LeavesTheSealedEditsAlone(t *testing.T) {
	r, rows := sealedReplica(t, 2)
	for i, text := range r.ToSeal(false) {
		applied(rows, r.Sealed(text.Edit.Dot, []byte{byte(i), 9}, true))
	}
	applied(rows, Wipe(sorted(rows)))
	left, err := SealedRows(sorted(rows))
	if err != nil || len(left) != 2 || len(rows) != 2 || left[1].Bytes[0] != 1 {
		t.Fatalf("%d rows, %v, %v", len(rows), left, err)
	}
	applied(rows, ForgetSealed([]causal.Dot{left[0].Dot, left[1].Dot}))
	if len(rows) != 0 {
		t.Errorf("%d rows after all was handed in", len(rows))
	}
}

// TestStanding_EachEditIsInOnePlace: saved here, on the server, backed up.
func TestStanding_EachEditIsInOnePlace(t *testing.T) {
	r, rows := sealedReplica(t, 5)
	inc := r.current()
	if got := r.Standing(); got != (Standing{Saved: 5, OldestUnsentMS: 100}) {
		t.Errorf("at first: %+v", got)
	}
	inc.acked = 3
	r.acknowledgeAll()
	var ch Changes
	inc.noteBackedUp(2, &ch)
	r.putMeta(&ch)
	applied(rows, ch)
	want := Standing{Saved: 2, OnServer: 1, BackedUp: 2, OldestUnsentMS: 103}
	if got := r.Standing(); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	again, err := Load(r.schema, sorted(rows))
	if err != nil || again.Standing() != want {
		t.Errorf("loaded: %v", err)
	}
	ch = Changes{}
	r.release(inc, 1, &ch) // gone from here, and so backed up
	if got := r.Standing(); got != want {
		t.Errorf("released: %+v, want %+v", got, want)
	}
	r.backupsUnknown(&Changes{})
	if got := r.Standing(); got.BackedUp != 1 || got.OnServer != 2 {
		t.Errorf("after a restore: %+v", got)
	}
}
