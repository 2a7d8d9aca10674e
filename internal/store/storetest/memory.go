package storetest

import (
	"bytes"
	"context"
	"maps"
	"slices"
	"sync"

	"needlebook/internal/store"
)

// Memory is the plainest thing that is a store.Store: a map under a lock. It is for tests of what stands on a store, which may look into Rows and damage them.
type Memory struct {
	mu sync.Mutex
	// Rows is everything stored, by key. Nothing may run while a test changes it.
	Rows map[string][]byte
}

// NewMemory is an empty one.
func NewMemory() *Memory { return &Memory{Rows: map[string][]byte{}} }

// View implements store.Store.
func (m *Memory) View(_ context.Context, fn func(store.Reader) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	return fn(&memTx{rows: m.Rows})
}

// Update implements store.Store.
func (m *Memory) Update(_ context.Context, fn func(store.Writer) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	tx := &memTx{rows: m.Rows, undo: map[string][]byte{}}
	if err := fn(tx); err != nil {
		for k, v := range tx.undo {
			if m.Rows[k] = v; v == nil {
				delete(m.Rows, k)
			}
		}
		return err
	}
	return nil
}

// Check implements store.Store: there is nothing to check.
func (m *Memory) Check(context.Context) error { return nil }

// Close implements store.Store: there is nothing to close.
func (m *Memory) Close() error { return nil }

var _ store.Store = (*Memory)(nil)

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
