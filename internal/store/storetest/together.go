package storetest

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"testing"

	"needlebook/internal/store"
)

func testFailedUpdate(t *testing.T, s store.Store) {
	mustPut(t, s, row{"a1", "old"}, row{"a2", "old"})
	broken := errors.New("broken")
	err := s.Update(t.Context(), func(w store.Writer) error {
		return errors.Join(w.Put([]byte("a1"), []byte("new")), w.Delete([]byte("a2")), w.Put([]byte("z"), []byte("new")), broken)
	})
	if !errors.Is(err, broken) {
		t.Errorf("Update = %v, want the function's error", err)
	}
	if got, want := mustScan(t, s, []byte("a"), nil), []row{{"a1", "old"}, {"a2", "old"}}; !slices.Equal(got, want) {
		t.Errorf("after a failed Update: %q, want %q", got, want)
	}
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "z", ""); return nil })
}

// crowd runs fn(0) to fn(n-1) at once while gate, an Update, holds everyone else up, so that they share commits.
func crowd(t *testing.T, s store.Store, n int, fn func(i int)) {
	t.Helper()
	open, held := make(chan struct{}), make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		if err := s.Update(context.Background(), func(store.Writer) error { close(held); <-open; return nil }); err != nil {
			t.Errorf("gate: %v", err)
		}
	})
	<-held
	var started sync.WaitGroup
	for i := range n {
		started.Add(1)
		all.Go(func() { started.Done(); fn(i) })
	}
	started.Wait()
	close(open)
	all.Wait()
}

func testPanic(t *testing.T, s store.Store) {
	crowd(t, s, 16, func(i int) {
		key := []byte(fmt.Sprintf("p%02d", i))
		defer func() {
			if p := recover(); (p != nil) != (i%2 == 1) || i%2 == 1 && p != i {
				t.Errorf("caller %d recovered %v", i, p)
			}
		}()
		err := s.Update(context.Background(), func(w store.Writer) error {
			if err := w.Put(key, key); err != nil {
				return err
			}
			if i%2 == 1 {
				panic(i)
			}
			return nil
		})
		if err != nil {
			t.Errorf("caller %d: %v", i, err)
		}
	})
	wantEven(t, s, "p", 16)
}

// wantEven fails unless the table holds the even numbers below n.
func wantEven(t *testing.T, s store.Store, table string, n int) {
	t.Helper()
	var want []row
	for i := 0; i < n; i += 2 {
		key := fmt.Sprintf("%s%02d", table, i)
		want = append(want, row{key, key})
	}
	if got := mustScan(t, s, []byte(table), nil); !slices.Equal(got, want) {
		t.Errorf("table %s = %q, want %q", table, got, want)
	}
}

// testGoexit ends the goroutine inside the function, as t.FailNow does.
func testGoexit(t *testing.T, s store.Store) {
	crowd(t, s, 16, func(i int) {
		key := []byte(fmt.Sprintf("g%02d", i))
		err := s.Update(context.Background(), func(w store.Writer) error {
			if err := w.Put(key, key); err != nil {
				return err
			}
			if i%2 == 1 {
				runtime.Goexit()
			}
			return nil
		})
		if err != nil || i%2 == 1 {
			t.Errorf("caller %d came back with %v", i, err)
		}
	})
	wantEven(t, s, "g", 16)
}

// testContext cancels while another Update holds the turn.
func testContext(t *testing.T, s store.Store) {
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	never := func(store.Writer) error { t.Error("called though its context had ended"); return nil }
	if err := s.Update(ended, never); !errors.Is(err, context.Canceled) {
		t.Errorf("Update = %v", err)
	}
	if err := s.View(ended, func(store.Reader) error { return never(nil) }); !errors.Is(err, context.Canceled) {
		t.Errorf("View = %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	answer := make(chan error, 1)
	mustUpdate(t, s, func(store.Writer) error {
		go func() { answer <- s.Update(ctx, never) }()
		cancel()
		if err := <-answer; !errors.Is(err, context.Canceled) {
			t.Errorf("waiting Update = %v", err)
		}
		return nil
	})
	late, cancel := context.WithCancel(t.Context())
	err := s.Update(late, func(w store.Writer) error { cancel(); return w.Put([]byte("late"), []byte("v")) })
	if err != nil {
		t.Errorf("Update cancelled after its turn came: %v", err)
	}
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "late", "v"); return nil })
}

func testContextScan(t *testing.T, s store.Store) {
	mustPut(t, s, row{"a1", "1"}, row{"a2", "2"})
	ctx, cancel := context.WithCancel(t.Context())
	seen := 0
	err := s.View(ctx, func(r store.Reader) error {
		return r.Scan([]byte("a"), nil, func(_, _ []byte) error { seen++; cancel(); return nil })
	})
	if !errors.Is(err, context.Canceled) || seen != 1 {
		t.Errorf("scan under a cancelled context: %v after %d rows", err, seen)
	}
}

// testSnapshot writes while a View is open.
func testSnapshot(t *testing.T, s store.Store) {
	mustPut(t, s, row{"a1", "old"}, row{"a2", "old"})
	mustView(t, s, func(r store.Reader) error {
		for i := range 50 {
			mustPut(t, s, row{"a1", fmt.Sprint(i)}, row{fmt.Sprintf("b%d", i), "new"})
		}
		mustUpdate(t, s, func(w store.Writer) error { return w.Delete([]byte("a2")) })
		wantValue(t, r, "a1", "old")
		wantValue(t, r, "a2", "old")
		wantValue(t, r, "b1", "")
		rows, err := scan(r, []byte("a"), nil, true)
		if want := []row{{"a2", "old"}, {"a1", "old"}}; !slices.Equal(rows, want) {
			t.Errorf("scan in the snapshot: %q, want %q", rows, want)
		}
		return err
	})
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "a1", "49"); wantValue(t, r, "a2", ""); return nil })
}

// testAcknowledged reads back each write in a new View as soon as its Update returns.
func testAcknowledged(t *testing.T, s store.Store) {
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for n := range 10 {
				key := fmt.Sprintf("a%d-%d", i, n)
				mustPutAsync(t, s, row{key, key})
				if err := s.View(context.Background(), func(r store.Reader) error { wantValue(t, r, key, key); return nil }); err != nil {
					t.Errorf("View: %v", err)
				}
			}
		})
	}
	all.Wait()
}

// mustPutAsync is mustPut for goroutines that are not the test's own.
func mustPutAsync(t *testing.T, s store.Store, r row) {
	if err := s.Update(context.Background(), func(w store.Writer) error { return w.Put([]byte(r.key), []byte(r.value)) }); err != nil {
		t.Errorf("Update: %v", err)
	}
}

// testSerial adds one to a counter from many goroutines: each function must run once, alone, over the one before.
func testSerial(t *testing.T, s store.Store) {
	const callers, rounds = 16, 20
	var all sync.WaitGroup
	for range callers {
		all.Go(func() {
			for range rounds {
				calls := 0
				err := s.Update(context.Background(), func(w store.Writer) error { calls++; return increment(w, "counter") })
				if err != nil || calls != 1 {
					t.Errorf("Update = %v after %d calls", err, calls)
				}
			}
		})
	}
	all.Wait()
	mustView(t, s, func(r store.Reader) error {
		got, err := r.Get([]byte("counter"))
		if err == nil && binary.BigEndian.Uint64(got) != callers*rounds {
			t.Errorf("counter = %d, want %d", binary.BigEndian.Uint64(got), callers*rounds)
		}
		return err
	})
}

func increment(w store.Writer, key string) error {
	var n uint64
	got, err := w.Get([]byte(key))
	if err == nil {
		n = binary.BigEndian.Uint64(got)
	} else if !errors.Is(err, store.ErrNotFound) {
		return err
	}
	return w.Put([]byte(key), binary.BigEndian.AppendUint64(nil, n+1))
}

// testFailuresAmongMany has every other caller of a crowd fail after it wrote to what all of them write.
func testFailuresAmongMany(t *testing.T, s store.Store) {
	broken := errors.New("broken")
	crowd(t, s, 32, func(i int) {
		key := []byte(fmt.Sprintf("f%02d", i))
		err := s.Update(context.Background(), func(w store.Writer) error {
			if err := errors.Join(w.Put(key, key), increment(w, "counter")); err != nil || i%2 == 0 {
				return err
			}
			return broken
		})
		if errors.Is(err, broken) != (i%2 == 1) {
			t.Errorf("caller %d: %v", i, err)
		}
	})
	wantEven(t, s, "f", 32)
	mustView(t, s, func(r store.Reader) error {
		wantValue(t, r, "counter", string(binary.BigEndian.AppendUint64(nil, 16)))
		return nil
	})
}
