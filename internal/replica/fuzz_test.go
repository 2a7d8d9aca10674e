package replica

import (
	"bytes"
	"encoding/binary"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/wire"
)

// everything is the rows that store all of r, ascending.
func (r *Replica) everything() []Row {
	var ch Changes
	r.meta = nil
	r.putMeta(&ch)
	for _, inc := range r.incarnations {
		for _, o := range inc.kept {
			r.putOwn(o, &ch)
			if o.fate == waiting {
				ch.put(waitingKey(o.edit.Dot), []byte{storedForm})
			}
		}
	}
	for k := range r.locals {
		if r.locals[k].says() {
			r.putLocal(k, &ch)
		}
	}
	for _, rec := range r.recovered {
		r.putRecovered(rec, &ch)
	}
	for _, inc := range r.incarnations {
		if inc.backedUp > 0 {
			ch.put(backedUpKey(inc.id), binary.BigEndian.AppendUint64([]byte{storedForm}, inc.backedUp))
		}
	}
	for id, hold := range r.wishes.patients {
		ch.put(wishKey(id), []byte{storedForm, flag(hold)})
	}
	for id := range r.wishes.granted {
		if _, said := r.wishes.patients[id]; !said {
			ch.put(wishKey(id), []byte{storedForm, wishWasHeard})
		}
	}
	switch {
	case r.wishes.mode != 0:
		ch.put([]byte{tableWishes}, []byte{storedForm, byte(r.wishes.mode), wished})
	case r.wishes.limited:
		ch.put([]byte{tableWishes}, []byte{storedForm, byte(syncv1.ScopeMode_SCOPE_MODE_PATIENTS), wishWasHeard})
	}
	slices.SortFunc(ch.Put, func(a, b Row) int { return bytes.Compare(a.Key, b.Key) })
	return ch.Put
}

// says reports whether the record's row says more than that the record has edits of its own, which their rows say too.
func (l *local) says() bool {
	return !l.server.Empty() || len(l.server.Seen) > 0 || len(l.held) > 0 || l.stale
}

func pack(rows []Row) []byte {
	var b []byte
	for _, row := range rows {
		b = binary.AppendUvarint(b, uint64(len(row.Key)))
		b = append(b, row.Key...)
		b = binary.AppendUvarint(b, uint64(len(row.Value)))
		b = append(b, row.Value...)
	}
	return b
}

func unpack(b []byte) (rows []Row) {
	next := func() []byte {
		n, rest, err := causal.Uvarint(b)
		if err != nil || n > uint64(len(rest)) {
			b = nil
			return nil
		}
		b = rest[n:]
		return rest[:n:n]
	}
	for len(b) > 0 {
		key := next()
		rows = append(rows, Row{key, next()})
	}
	return rows
}

// full is a replica with something in each of its tables.
func full(t testing.TB) *Replica {
	t.Helper()
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	r, _ := New(s, causal.ReplicaID{1})
	k := record.Key{Kind: 5, ID: record.ID{2}}
	for i := range byte(3) {
		d := Draft{ID: record.ID{3, i}, Key: k, Author: record.ID{4}, AuthoredAt: -1, Writes: []record.Write{{Set: []byte{4<<3 | 2, 1, 'A' + i}}}}
		if _, _, err := r.Edit(d); err != nil {
			t.Fatal(err)
		}
	}
	inc := r.current()
	inc.acked, inc.hello, r.cursor, r.replacing = 2, false, []byte{9, 9}, true
	inc.kept[0].fate, inc.kept[1].fate = settled, waiting
	inc.noteBackedUp(1, &Changes{})
	l := r.local(k)
	l.server.Apply(&inc.kept[0].edit)
	l.drop(inc.kept[0])
	l.stale = true
	l.hold(wire.Held{Edit: inc.kept[1].edit, Status: syncv1.HeldStatus_HELD_STATUS_WAITING, Reason: 12, Detail: "waits"})
	rec := Recovered{Key: k, Register: record.Register{Field: 4}, Info: record.DotInfo{Dot: causal.Dot{Replica: causal.ReplicaID{7}, Counter: 8}, Author: record.ID{4}, AuthoredAt: 5}}
	rec.Sibling = causal.Sibling{Dot: rec.Info.Dot, Value: []byte{4<<3 | 2, 1, 'Z'}}
	r.recovered = append(r.recovered, rec)
	r.LimitScope()
	r.Hold(record.ID{11})
	r.Unhold(record.ID{12})
	return r
}

func TestLoad_IsTheInverseOfWhatIsStored(t *testing.T) {
	r := full(t)
	rows := r.everything()
	again, err := Load(r.schema, rows)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(pack(again.everything()), pack(rows)) {
		t.Errorf("stored %x\nloaded %x", pack(rows), pack(again.everything()))
	}
	if again.Digest() != r.Digest() || again.Unsent() != r.Unsent() || len(again.Recovered()) != 1 {
		t.Error("what it shows differs")
	}
}

// TestLoad_RefusesWhatItDidNotStore has a row for each way in which a store can say something else than a replica wrote.
func TestLoad_RefusesWhatItDidNotStore(t *testing.T) {
	r := full(t)
	at := func(rows []Row, table byte) *Row {
		return &rows[slices.IndexFunc(rows, func(row Row) bool { return row.Key[0] == table })]
	}
	for name, change := range map[string]func([]Row) []Row{
		"no meta row": func(rows []Row) []Row {
			return slices.DeleteFunc(rows, func(x Row) bool { return x.Key[0] == tableMeta })
		},
		"an edit left out":      func(rows []Row) []Row { return slices.Delete(rows, 2, 3) },
		"an edit altered":       func(rows []Row) []Row { v := at(rows, tableOwn).Value; v[len(v)-2] ^= 1; return rows },
		"an edit under a dot":   func(rows []Row) []Row { at(rows, tableOwn).Key[1]++; return rows },
		"a record under a key":  func(rows []Row) []Row { at(rows, tableLocals).Key[5]++; return rows },
		"rows out of order":     func(rows []Row) []Row { slices.Reverse(rows); return rows },
		"a row twice":           func(rows []Row) []Row { return append(rows, rows[len(rows)-1]) },
		"a table of tomorrow":   func(rows []Row) []Row { return append(rows, Row{[]byte{'~'}, []byte{1}}) },
		"a form of tomorrow":    func(rows []Row) []Row { at(rows, tableLocals).Value[0]++; return rows },
		"counters that went up": func(rows []Row) []Row { at(rows, tableMeta).Value[2+1+2+1+16]++; return rows },
	} {
		rows := change(unpack(bytes.Clone(pack(r.everything()))))
		if _, err := Load(r.schema, rows); err == nil {
			t.Errorf("%s: loaded", name)
		}
	}
}

// FuzzLoad holds that a store which loads is one that a replica wrote: stored again it has the same rows. A patient's safety entry is the server's message,
// and an edit noted as waiting may be settled since; of these only that they stay as they are.
func FuzzLoad(f *testing.F) {
	r := full(f)
	f.Add(pack(r.everything()))
	fresh, _ := New(r.schema, causal.ReplicaID{1})
	f.Add(pack(fresh.everything()))
	f.Fuzz(func(t *testing.T, b []byte) {
		rows := unpack(b)
		got, err := Load(r.schema, rows)
		if err != nil {
			return
		}
		for _, e := range got.safety {
			if _, err := proto.Marshal(e); err != nil {
				t.Fatal(err)
			}
		}
		rows = slices.DeleteFunc(rows, func(row Row) bool {
			if row.Key[0] == tableBackedUp && bytes.Equal(row.Value[1:], make([]byte, 8)) {
				return true // none is the same as no row
			}
			if row.Key[0] == tableLocals {
				l, err := readLocal(row.Value)
				return err == nil && !l.says()
			}
			return row.Key[0] == tableSafety || row.Key[0] == tableWaiting || row.Key[0] == tableSealed
		})
		again := slices.DeleteFunc(got.everything(), func(row Row) bool { return row.Key[0] == tableWaiting })
		if !bytes.Equal(pack(rows), pack(again)) {
			t.Fatalf("loaded %x\nstores %x", pack(rows), pack(again))
		}
		got.Digest()
		got.Next()
		for _, k := range got.Keys(0) {
			got.View(k).Message()
		}
	})
}
