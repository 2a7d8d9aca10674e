package boltstore_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

func TestOpen_Again(t *testing.T) {
	cfg := config(t)
	s := mustOpen(t, cfg)
	first := s.Meta()
	if err := errors.Join(put(s, "a", "1"), s.Close()); err != nil {
		t.Fatal(err)
	}
	s = mustOpen(t, cfg)
	if value, err := get(t, s, "a"); value != "1" || err != nil {
		t.Errorf("after opening again: %q, %v", value, err)
	}
	if s.Meta() != first || first.Schema != 1 || first.StoreID.Version() != 4 || time.Since(first.Created) > time.Minute {
		t.Errorf("Meta %+v, then %+v", first, s.Meta())
	}
	if names, _ := filepath.Glob(filepath.Join(filepath.Dir(cfg.Path), "*")); len(names) != 1 {
		t.Errorf("files left: %q", names)
	}
}

// TestOpen_Locked names who holds the file: this process.
func TestOpen_Locked(t *testing.T) {
	cfg := config(t)
	mustOpen(t, cfg)
	cfg.LockTimeout = 60 * time.Millisecond
	_, err := boltstore.Open(cfg)
	var locked *boltstore.LockedError
	if !errors.As(err, &locked) || locked.Path != cfg.Path {
		t.Fatalf("second Open = %v, want LockedError", err)
	}
	if locked.PID != os.Getpid() || locked.Command == "" {
		t.Errorf("holder = %d %q, want %d", locked.PID, locked.Command, os.Getpid())
	}
}

// TestOpen_CreateRace has several create one file at once: all that open it see one and the same.
func TestOpen_CreateRace(t *testing.T) {
	cfg := config(t)
	ids := make([]string, 8)
	var all sync.WaitGroup
	for i := range ids {
		all.Go(func() {
			s, err := boltstore.Open(cfg)
			if err != nil {
				t.Error(err)
				return
			}
			ids[i] = s.Meta().StoreID.String()
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	for _, id := range ids {
		if id != ids[0] {
			t.Errorf("store ids %q", ids)
		}
	}
}

func TestOpen_NotAStore(t *testing.T) {
	for name, content := range map[string][]byte{
		"empty": {}, "short": []byte("hello"), "zeros": make([]byte, 1<<16), "text": []byte(strings.Repeat("not a store ", 9000)),
	} {
		cfg := config(t)
		if err := os.WriteFile(cfg.Path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := boltstore.Open(cfg)
		if err == nil {
			s.Close()
			t.Errorf("%s: opened", name)
		}
		if got := mustRead(t, cfg.Path); len(got) != len(content) {
			t.Errorf("%s: the file was changed", name)
		}
	}
}

// TestMigrations runs two steps, one transaction each; the second fails at first, and the file stays at its step.
func TestMigrations(t *testing.T) {
	cfg := config(t)
	s := mustOpen(t, cfg)
	if err := errors.Join(put(s, "a1", "old"), s.Close()); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	rename := func(w store.Writer) error {
		return w.Scan([]byte("a"), nil, func(key, value []byte) error {
			return errors.Join(w.Delete(key), w.Put(append([]byte("b"), key[1:]...), append(value, '+')))
		})
	}
	half := func(w store.Writer) error { return errors.Join(w.Put([]byte("b1"), []byte("half")), broken) }
	careless := func(w store.Writer) error { _ = w.Put([]byte("b1"), nil); return nil }
	for _, second := range []boltstore.Migration{half, careless} {
		cfg.Migrations = []boltstore.Migration{rename, second}
		if _, err := boltstore.Open(cfg); !errors.Is(err, broken) && !errors.Is(err, store.ErrSize) {
			t.Fatalf("Open with a failing step = %v", err)
		}
	}
	cfg.Migrations[1] = func(w store.Writer) error { return w.Put([]byte("c"), []byte("new")) }
	s = mustOpen(t, cfg)
	b, errB := get(t, s, "b1")
	c, errC := get(t, s, "c")
	_, errA := get(t, s, "a1")
	if b != "old+" || c != "new" || errB != nil || errC != nil || !errors.Is(errA, store.ErrNotFound) || s.Meta().Schema != 3 {
		t.Errorf("after both steps: b %q %v, c %q %v, a %v, schema %d", b, errB, c, errC, errA, s.Meta().Schema)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	cfg.Migrations = cfg.Migrations[:1]
	_, err := boltstore.Open(cfg)
	var schema *store.SchemaError
	if !errors.As(err, &schema) || *schema != (store.SchemaError{Have: 3, Want: 2}) {
		t.Errorf("older program: %v, want SchemaError 3, 2", err)
	}
}

// TestOpen_EmptiedTable fills tables and takes everything out again, part by part: each file in between opens and passes.
func TestOpen_EmptiedTable(t *testing.T) {
	cfg := config(t)
	rows := func(s *boltstore.Store, from, to int, change func(w store.Writer, key []byte) error) {
		t.Helper()
		err := s.Update(t.Context(), func(w store.Writer) error {
			for i := from; i < to; i++ {
				for _, table := range []string{"e", "\xff"} {
					if err := change(w, fmt.Appendf(nil, "%s%06d", table, i)); err != nil {
						return err
					}
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	s := mustOpen(t, cfg)
	rows(s, 0, 3000, func(w store.Writer, key []byte) error { return w.Put(key, key) })
	for _, to := range []int{1000, 2990, 3000} {
		rows(s, 0, to, func(w store.Writer, key []byte) error { return w.Delete(key) })
		if err := errors.Join(s.Check(t.Context()), s.Close()); err != nil {
			t.Fatal(err)
		}
		s = mustOpen(t, cfg)
	}
	rows(s, 5, 6, func(w store.Writer, key []byte) error { return w.Put(key, key) })
	if value, err := get(t, s, "e000005"); value != "e000005" || err != nil {
		t.Errorf("after emptying: %q, %v", value, err)
	}
}
