package sim

import (
	"context"

	"needlebook/internal/store"
)

// hooked is a store whose transactions go through hooks.
type hooked struct {
	store.Store
	get  func(key []byte) error
	put  func(key, value []byte) (drop bool, instead []byte)
	scan func(key, value []byte) (skip bool)
}

func (h hooked) View(ctx context.Context, fn func(store.Reader) error) error {
	return h.Store.View(ctx, func(r store.Reader) error { return fn(hookedReader{r, h}) })
}

func (h hooked) Update(ctx context.Context, fn func(store.Writer) error) error {
	return h.Store.Update(ctx, func(w store.Writer) error { return fn(hookedWriter{w, h}) })
}

type hookedReader struct {
	store.Reader
	h hooked
}

func (r hookedReader) Get(key []byte) ([]byte, error) {
	if r.h.get != nil {
		if err := r.h.get(key); err != nil {
			return nil, err
		}
	}
	return r.Reader.Get(key)
}

type hookedWriter struct {
	store.Writer
	h hooked
}

func (w hookedWriter) Get(key []byte) ([]byte, error) { return hookedReader{w.Writer, w.h}.Get(key) }

func (w hookedWriter) Put(key, value []byte) error {
	if w.h.put != nil {
		drop, instead := w.h.put(key, value)
		if drop {
			return nil
		}
		value = instead
	}
	return w.Writer.Put(key, value)
}

func (w hookedWriter) Scan(lo, hi []byte, fn func(key, value []byte) error) error {
	return w.Writer.Scan(lo, hi, func(key, value []byte) error {
		if w.h.scan != nil && w.h.scan(key, value) {
			return nil
		}
		return fn(key, value)
	})
}
