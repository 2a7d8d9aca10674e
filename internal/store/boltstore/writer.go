package boltstore

import (
	"bytes"
	"context"

	"github.com/tidwall/btree"

	"needlebook/internal/store"
)

// entry is one write of an overlay: a stored value, or nil for a deletion.
type entry struct{ key, stored []byte }

func entryLess(a, b entry) bool { return bytes.Compare(a.key, b.key) < 0 }

// writer is a store.Writer: an ordered overlay of its own writes over the transaction that holds those of the
// functions before it.
type writer struct {
	t       *tables
	overlay *btree.BTreeG[entry] // nil until the first write
	hint    btree.PathHint       // pages come in key order
	refused error                // the first refused write
	done    bool
}

func newWriter(t *tables) *writer { return &writer{t: t} }

func (w *writer) end() { w.done = true }

// writes calls fn for each write in key order until it returns false.
func (w *writer) writes(fn func(entry) bool) {
	if w.overlay != nil {
		w.overlay.Scan(fn)
	}
}

// Get implements store.Reader.
func (w *writer) Get(key []byte) ([]byte, error) {
	if w.done {
		return nil, store.ErrDone
	}
	if err := store.CheckKey(key); err != nil {
		return nil, err
	}
	if w.overlay != nil {
		if e, ok := w.overlay.GetHint(entry{key: key}, &w.hint); ok {
			return w.t.openStored(key, e.stored)
		}
	}
	stored, err := w.t.get(key)
	if err != nil {
		return nil, err
	}
	return w.t.openStored(key, stored)
}

// Scan implements store.Reader.
func (w *writer) Scan(lo, hi []byte, fn func(key, value []byte) error) error {
	return w.scan(lo, hi, false, fn)
}

// ScanDown implements store.Reader.
func (w *writer) ScanDown(hi, lo []byte, fn func(key, value []byte) error) error {
	return w.scan(lo, hi, true, fn)
}

func (w *writer) scan(lo, hi []byte, down bool, fn func(key, value []byte) error) error {
	if w.done {
		return store.ErrDone
	}
	s, err := newSpan(lo, hi, down)
	if err != nil {
		return err
	}
	return w.t.scan(context.Background(), w.overlay, s, fn)
}

// Put implements store.Writer.
func (w *writer) Put(key, value []byte) error {
	err := store.CheckKey(key)
	if err == nil {
		err = store.CheckValue(value)
	}
	if err != nil {
		return w.refuse(err)
	}
	return w.set(seal(key, value))
}

// Delete implements store.Writer.
func (w *writer) Delete(key []byte) error {
	if err := store.CheckKey(key); err != nil {
		return w.refuse(err)
	}
	return w.set(entry{key: bytes.Clone(key)})
}

func (w *writer) set(e entry) error {
	if w.done {
		return store.ErrDone
	}
	if w.overlay == nil {
		w.overlay = btree.NewBTreeGOptions(entryLess, btree.Options{NoLocks: true})
	}
	w.overlay.SetHint(e, &w.hint)
	return nil
}

func (w *writer) refuse(err error) error {
	if w.done {
		return store.ErrDone
	}
	if w.refused == nil {
		w.refused = err
	}
	return err
}
