package storetest

import (
	"bytes"
	"context"
	"errors"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/store"
)

// testModel runs random transactions against the store and against a map, the slow obvious twin.
func testModel(t *testing.T, s store.Store) {
	rapid.Check(t, func(t *rapid.T) {
		m := &model{store: s, durable: map[string]string{}}
		m.clear(t)
		t.Repeat(map[string]func(*rapid.T){
			"update": m.update,
			"view":   func(t *rapid.T) { m.view(t, m.durable) },
			"during": m.viewDuringUpdate,
		})
	})
}

type model struct {
	store   store.Store
	durable map[string]string
}

// clear empties the store; a new one for each of rapid's runs would cost more than the runs.
func (m *model) clear(t *rapid.T) {
	err := m.store.Update(context.Background(), func(w store.Writer) error {
		for table := range 256 {
			var keys [][]byte
			err := w.Scan([]byte{byte(table)}, nil, func(key, _ []byte) error { keys = append(keys, key); return nil })
			for _, key := range keys {
				err = errors.Join(err, w.Delete(key))
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatalf("clear: %v", err)
	}
}

var errChosen = errors.New("chosen to fail")

// update does some operations in one Update, reads among its own writes, and sometimes fails at the end.
func (m *model) update(t *rapid.T) {
	pending := maps.Clone(m.durable)
	fails := rapid.IntRange(0, 3).Draw(t, "fails") == 0
	err := m.store.Update(context.Background(), func(w store.Writer) error {
		for range rapid.IntRange(0, 12).Draw(t, "operations") {
			step(t, w, pending)
		}
		if fails {
			return errChosen
		}
		return nil
	})
	if errors.Is(err, errChosen) != fails || err != nil && !fails {
		t.Fatalf("Update: %v", err)
	}
	if !fails {
		m.durable = pending
	}
}

// step is one operation on both.
func step(t *rapid.T, w store.Writer, pending map[string]string) {
	key := drawKey(t, "key")
	switch rapid.SampledFrom([]string{"put", "put", "delete", "get", "scan"}).Draw(t, "operation") {
	case "put":
		value := rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "value")
		if rapid.IntRange(0, 9).Draw(t, "large") == 0 {
			value = bytes.Repeat(value[:1], rapid.IntRange(1000, 9000).Draw(t, "bytes"))
		}
		if err := w.Put(key, value); err != nil {
			t.Fatalf("Put(%q): %v", key, err)
		}
		pending[string(key)] = string(value)
	case "delete":
		if err := w.Delete(key); err != nil {
			t.Fatalf("Delete(%q): %v", key, err)
		}
		delete(pending, string(key))
	case "get":
		compareGet(t, w, pending, key)
	case "scan":
		compareScan(t, w, pending)
	}
}

// drawKey draws from few keys, so that operations meet; some are prefixes of others, in neighbouring tables.
func drawKey(t *rapid.T, label string) []byte {
	table := rapid.SampledFrom([]byte{0, 'a', 'b', 0xff}).Draw(t, label+" table")
	return append([]byte{table}, rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 0xff}), 0, 3).Draw(t, label)...)
}

func compareGet(t *rapid.T, r store.Reader, want map[string]string, key []byte) {
	got, err := r.Get(key)
	value, ok := want[string(key)]
	if ok && (err != nil || string(got) != value) || !ok && !errors.Is(err, store.ErrNotFound) {
		t.Fatalf("Get(%q) = %q, %v, want %q, %v", key, got, err, value, ok)
	}
}

func compareScan(t *rapid.T, r store.Reader, want map[string]string) {
	lo, down := drawKey(t, "lo"), rapid.Bool().Draw(t, "down")
	var hi []byte
	if rapid.Bool().Draw(t, "bounded") {
		hi = drawKey(t, "hi")
	}
	var rows []row
	for _, key := range slices.Sorted(maps.Keys(want)) {
		if key[0] == lo[0] && key >= string(lo) && (hi == nil || key < string(hi)) {
			rows = append(rows, row{key, want[key]})
		}
	}
	if down {
		slices.Reverse(rows)
	}
	got, err := scan(r, lo, hi, down)
	if err != nil || !slices.Equal(got, rows) {
		t.Fatalf("scan %q to %q, down %v: %q, %v, want %q", lo, hi, down, got, err, rows)
	}
}

// view compares reads of a snapshot with what it should hold.
func (m *model) view(t *rapid.T, want map[string]string) {
	err := m.store.View(context.Background(), func(r store.Reader) error {
		compareGet(t, r, want, drawKey(t, "key"))
		compareScan(t, r, want)
		return nil
	})
	if err != nil {
		t.Fatalf("View: %v", err)
	}
}

// viewDuringUpdate opens a view, updates, and compares the view with what was there before.
func (m *model) viewDuringUpdate(t *rapid.T) {
	before := m.durable
	err := m.store.View(context.Background(), func(r store.Reader) error {
		m.update(t)
		compareGet(t, r, before, drawKey(t, "key"))
		compareScan(t, r, before)
		return nil
	})
	if err != nil {
		t.Fatalf("View: %v", err)
	}
}
