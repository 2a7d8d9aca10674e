package boltstore_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

func put(s *boltstore.Store, key, value string) error {
	return s.Update(context.Background(), func(w store.Writer) error { return w.Put([]byte(key), []byte(value)) })
}

func get(t *testing.T, s *boltstore.Store, key string) (value string, err error) {
	err = s.View(t.Context(), func(r store.Reader) error {
		b, err := r.Get([]byte(key))
		value = string(b)
		return err
	})
	return value, err
}

// TestDiskFull takes the room away and gives it back: reads go on, no function runs, and writing goes on by itself.
func TestDiskFull(t *testing.T) {
	var free atomic.Uint64
	free.Store(1 << 40)
	var ask atomic.Pointer[error]
	cfg := config(t)
	cfg.FreeBytes = func() (uint64, error) {
		if err := ask.Load(); err != nil {
			return 0, *err
		}
		return free.Load(), nil
	}
	s := mustOpen(t, cfg)
	if err := put(s, "a", "1"); err != nil {
		t.Fatal(err)
	}
	full := func(name string) {
		t.Helper()
		err := s.Update(t.Context(), func(store.Writer) error { t.Errorf("%s: the function ran", name); return nil })
		if !errors.Is(err, store.ErrDiskFull) {
			t.Errorf("%s: Update = %v, want ErrDiskFull", name, err)
		}
		if value, err := get(t, s, "a"); value != "1" || err != nil {
			t.Errorf("%s: read %q, %v", name, value, err)
		}
	}
	free.Store(64<<20 - 1)
	full("one byte too little")
	broken := errors.New("no answer")
	free.Store(1 << 40)
	ask.Store(&broken)
	full("room unknown")
	ask.Store(nil)
	free.Store(64 << 20)
	if err := put(s, "a", "2"); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if st := s.Stats(); st.DiskFull != 2 || st.Failed {
		t.Errorf("Stats = %+v", st)
	}
}

// TestMaxFileBytes fills the file to its limit, makes room by deleting, and writes on.
func TestMaxFileBytes(t *testing.T) {
	cfg := config(t)
	cfg.MaxFileBytes = 20 << 20
	s := mustOpen(t, cfg)
	value := string(bytes.Repeat([]byte("v"), 60_000))
	var err error
	n := 0
	for ; err == nil && n < 1000; n++ {
		err = put(s, "a"+string(rune('a'+n)), value)
	}
	if !errors.Is(err, store.ErrDiskFull) || n < 10 {
		t.Fatalf("after %d puts: %v, want ErrDiskFull", n, err)
	}
	if got, err := get(t, s, "aa"); got != value || err != nil {
		t.Errorf("read at the limit: %d bytes, %v", len(got), err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Errorf("Check at the limit: %v", err)
	}
	err = s.Update(t.Context(), func(w store.Writer) error {
		for i := range n / 2 {
			if err := w.Delete([]byte("a" + string(rune('a'+i)))); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatalf("delete at the limit: %v", err)
	}
	for i := range 3 {
		if err := put(s, "b"+string(rune('a'+i)), value); err != nil {
			t.Errorf("put %d after deleting: %v", i, err)
		}
	}
	if st := s.Stats(); st.FileBytes > int64(cfg.MaxFileBytes) || st.Failed {
		t.Errorf("Stats = %+v", st)
	}
}

// TestBitRot flips one bit of a value on the disk: the value is an error, Check finds it, and the store stops writing.
func TestBitRot(t *testing.T) {
	cfg := config(t)
	s := mustOpen(t, cfg)
	secret := bytes.Repeat([]byte("dose 2.5 units "), 20)
	for _, key := range []string{"a1", "a2"} {
		if err := put(s, key, key+string(secret)); err != nil {
			t.Fatal(err)
		}
	}
	image := mustRead(t, cfg.Path)
	for at := 0; ; { // every copy, stale pages too
		i := bytes.Index(image[at:], append([]byte("a2"), secret...))
		if i < 0 {
			break
		}
		at += i + 10
		image[at] ^= 4
	}
	cfg.Path = filepath.Join(t.TempDir(), "rotten.db")
	if err := os.WriteFile(cfg.Path, image, 0o600); err != nil {
		t.Fatal(err)
	}
	rotten := mustOpen(t, cfg)
	if value, err := get(t, rotten, "a1"); value != "a1"+string(secret) || err != nil {
		t.Errorf("the sound value: %v", err)
	}
	if err := put(rotten, "b", "before anyone saw it"); err != nil {
		t.Errorf("Update: %v", err)
	}
	if value, err := get(t, rotten, "a2"); value != "" || !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("the damaged value: %q, %v", value, err)
	}
	err := put(rotten, "b", "after")
	if !errors.Is(err, store.ErrFailed) || !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("Update after damage = %v", err)
	}
	if err := rotten.Check(t.Context()); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("Check = %v", err)
	}
	if value, err := get(t, rotten, "a1"); value != "a1"+string(secret) || err != nil {
		t.Errorf("reads go on: %v", err)
	}
}

// TestSlowReader sees the warning while the reader still runs, in the bubble's own time.
func TestSlowReader(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		cfg := config(t)
		cfg.Log = slog.New(slog.NewTextHandler(&log, nil))
		s := mustOpen(t, cfg)
		for _, hold := range []time.Duration{1999 * time.Millisecond, 2001 * time.Millisecond} {
			err := s.View(t.Context(), func(store.Reader) error {
				time.Sleep(hold) // the bubble's clock
				synctest.Wait()
				if slow := s.Stats().SlowReaders == 1; slow != (hold > 2*time.Second) || slow != bytes.Contains(log.Bytes(), []byte("TestSlowReader")) {
					t.Errorf("after %v: slow %v, log %q", hold, slow, log.String())
				}
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		}
	})
}

// TestCopyTo copies while writers write, and checks the copy.
func TestCopyTo(t *testing.T) {
	s := mustOpen(t, config(t))
	for range 30 {
		if err := s.Update(t.Context(), func(w store.Writer) error { _, err := appendRow(w, 0); return err }); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "copy.db")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	interrupted := &hookWriter{w: f, hook: func() {
		if err := s.Update(t.Context(), func(w store.Writer) error { _, err := appendRow(w, 0); return err }); err != nil {
			t.Error(err)
		}
	}}
	n, err := s.CopyTo(t.Context(), interrupted)
	if err := errors.Join(err, f.Close()); err != nil || n < 1000 {
		t.Fatalf("CopyTo = %d, %v", n, err)
	}
	if got := verify(t, path, 1, map[byte]uint64{0: 30}, said{})[0]; got != 30 {
		t.Errorf("the copy stands at %d, want 30, as when it began", got)
	}
	if m := mustOpen(t, boltstore.Config{Path: path, Now: time.Now}).Meta(); m != s.Meta() {
		t.Errorf("the copy says %+v, the store %+v", m, s.Meta())
	}
}

// hookWriter calls hook before the third write.
type hookWriter struct {
	w    io.Writer
	n    int
	hook func()
}

func (h *hookWriter) Write(p []byte) (int, error) {
	if h.n++; h.n == 3 {
		h.hook()
	}
	return h.w.Write(p)
}
