package boltstore

import (
	"bytes"
	"context"
	"errors"
	"runtime"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"needlebook/internal/store"
)

// View implements store.Store. A View older than Config.SlowReaderAge is logged with the place that called it, while
// it still runs: it keeps every page that was replaced since, and the file grows by them.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	tx, err := s.beginRead()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	defer s.watchReader("view")()
	r := &reader{ctx: ctx, t: newTables(tx, "")}
	defer s.noteDamage(r.t)
	defer r.end()
	return fn(r)
}

func (s *Store) beginRead() (*bbolt.Tx, error) {
	tx, err := s.db.Begin(false)
	if errors.Is(err, berrors.ErrDatabaseNotOpen) {
		return nil, store.ErrClosed
	}
	return tx, err
}

// watchReader counts a reader and logs it when it grows old. Call what it returns when the reader ends.
func (s *Store) watchReader(what string) func() {
	var caller [1]uintptr
	runtime.Callers(3, caller[:])
	began := s.cfg.Now()
	s.stats.readers.Add(1)
	timer := time.AfterFunc(s.cfg.SlowReaderAge, func() {
		s.stats.slowReaders.Add(1)
		frame, _ := runtime.CallersFrames(caller[:]).Next()
		s.cfg.Log.Warn("store: a reader holds its snapshot for long", "reader", what, "age", s.cfg.Now().Sub(began),
			"function", frame.Function, "line", frame.Line)
	})
	return func() {
		timer.Stop()
		s.stats.readers.Add(-1)
	}
}

// noteDamage stops writing once damage was met: what is written next might rest on it.
func (s *Store) noteDamage(t *tables) {
	if t.damage != nil {
		s.fail(t.damage)
	}
}

// reader is a store.Reader on a read transaction.
type reader struct {
	ctx  context.Context
	t    *tables
	done bool
}

func (r *reader) end() { r.done = true }

// Get implements store.Reader.
func (r *reader) Get(key []byte) ([]byte, error) {
	if r.done {
		return nil, store.ErrDone
	}
	if err := store.CheckKey(key); err != nil {
		return nil, err
	}
	stored, err := r.t.get(key)
	if err != nil {
		return nil, err
	}
	return r.t.openStored(key, stored)
}

// openStored checks a stored value (nil when absent) and returns a copy of what is in it.
func (t *tables) openStored(key, stored []byte) ([]byte, error) {
	if stored == nil {
		return nil, store.ErrNotFound
	}
	value, err := t.unseal(key, stored)
	return bytes.Clone(value), err
}

// Scan implements store.Reader.
func (r *reader) Scan(lo, hi []byte, fn func(key, value []byte) error) error {
	return r.scan(lo, hi, false, fn)
}

// ScanDown implements store.Reader.
func (r *reader) ScanDown(hi, lo []byte, fn func(key, value []byte) error) error {
	return r.scan(lo, hi, true, fn)
}

func (r *reader) scan(lo, hi []byte, down bool, fn func(key, value []byte) error) error {
	if r.done {
		return store.ErrDone
	}
	s, err := newSpan(lo, hi, down)
	if err != nil {
		return err
	}
	return r.t.scan(r.ctx, nil, s, fn)
}
