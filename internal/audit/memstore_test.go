package audit

import (
	"bytes"
	"context"
	"maps"
	"slices"
	"sync"
	"testing"

	"needlebook/internal/store"
)

// memStore is the plainest thing that is a store.Store: a map under a lock.
type memStore struct {
	mu   sync.Mutex
	rows map[string][]byte
}

func newMemStore() *memStore { return &memStore{rows: map[string][]byte{}} }

func (m *memStore) View(_ context.Context, fn func(store.Reader) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	return fn(&memTx{rows: m.rows})
}

func (m *memStore) Update(_ context.Context, fn func(store.Writer) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	tx := &memTx{rows: m.rows, undo: map[string][]byte{}}
	if err := fn(tx); err != nil {
		for k, v := range tx.undo {
			if m.rows[k] = v; v == nil {
				delete(m.rows, k)
			}
		}
		return err
	}
	return nil
}

func (m *memStore) Check(context.Context) error { return nil }
func (m *memStore) Close() error                { return nil }

type memTx struct {
	rows map[string][]byte
	undo map[string][]byte
}

func (t *memTx) Get(key []byte) ([]byte, error) {
	if v, ok := t.rows[string(key)]; ok {
		return bytes.Clone(v), nil
	}
	return nil, store.ErrNotFound
}

func (t *memTx) keys(lo, hi []byte) []string {
	var keys []string
	for k := range maps.Keys(t.rows) {
		if k >= string(lo) && (hi == nil || k < string(hi)) && k[0] == lo[0] {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	return keys
}

func (t *memTx) Scan(lo, hi []byte, fn func(key, value []byte) error) error {
	return t.each(t.keys(lo, hi), fn)
}

func (t *memTx) ScanDown(hi, lo []byte, fn func(key, value []byte) error) error {
	keys := t.keys(lo, hi)
	slices.Reverse(keys)
	return t.each(keys, fn)
}

func (t *memTx) each(keys []string, fn func(key, value []byte) error) error {
	for _, k := range keys {
		v, ok := t.rows[k]
		if !ok {
			continue
		}
		if err := fn([]byte(k), bytes.Clone(v)); err == store.Stop {
			return nil
		} else if err != nil {
			return err
		}
	}
	return nil
}

func (t *memTx) save(key []byte) {
	if _, saved := t.undo[string(key)]; !saved {
		t.undo[string(key)] = t.rows[string(key)]
	}
}

func (t *memTx) Put(key, value []byte) error {
	if err := store.CheckKey(key); err != nil {
		return err
	}
	if err := store.CheckValue(value); err != nil {
		return err
	}
	t.save(key)
	t.rows[string(key)] = bytes.Clone(value)
	return nil
}

func (t *memTx) Delete(key []byte) error {
	t.save(key)
	delete(t.rows, string(key))
	return nil
}

// mustUpdate runs fn in an Update that must succeed.
func mustUpdate(t testing.TB, st store.Store, fn func(store.Writer) error) {
	t.Helper()
	if err := st.Update(context.Background(), fn); err != nil {
		t.Fatal(err)
	}
}
