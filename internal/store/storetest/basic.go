package storetest

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"needlebook/internal/store"
)

func testGetPutDelete(t *testing.T, s store.Store) {
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "a1", ""); return nil })
	mustUpdate(t, s, func(w store.Writer) error {
		wantValue(t, w, "a1", "")
		err := errors.Join(w.Put([]byte("a1"), []byte("x")), w.Put([]byte("a"), []byte("\x00")), w.Delete([]byte("absent")))
		wantValue(t, w, "a1", "x")
		return err
	})
	mustView(t, s, func(r store.Reader) error {
		wantValue(t, r, "a1", "x")
		wantValue(t, r, "a", "\x00")
		return nil
	})
	mustUpdate(t, s, func(w store.Writer) error {
		err := errors.Join(w.Put([]byte("a1"), []byte("y")), w.Delete([]byte("a1")))
		wantValue(t, w, "a1", "")
		return err
	})
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "a1", ""); return nil })
	mustPut(t, s, row{"a1", "z"}, row{"a1", "last"})
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "a1", "last"); return nil })
}

// testLimits takes the largest and refuses one byte more, by name.
func testLimits(t *testing.T, s store.Store) {
	longKey, longValue := strings.Repeat("k", store.MaxKeyBytes), strings.Repeat("v", store.MaxValueBytes)
	mustPut(t, s, row{longKey, longValue})
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, longKey, longValue); return nil })
	for _, test := range []struct {
		name, key, value, field string
		large                   bool
	}{
		{"empty key", "", "v", "key", false},
		{"empty value", "k", "", "value", false},
		{"long key", longKey + "k", "v", "key", true},
		{"long value", "k", longValue + "v", "value", true},
	} {
		err := s.Update(t.Context(), func(w store.Writer) error { return w.Put([]byte(test.key), []byte(test.value)) })
		var size *store.SizeError
		if !errors.As(err, &size) || size.Field != test.field || !errors.Is(err, store.ErrSize) || errors.Is(err, store.ErrTooLarge) != test.large {
			t.Errorf("%s: error %v", test.name, err)
		}
	}
	mustView(t, s, func(r store.Reader) error {
		for _, key := range []string{"", longKey + "k"} {
			if _, err := r.Get([]byte(key)); !errors.Is(err, store.ErrSize) {
				t.Errorf("Get of a key of %d bytes: %v", len(key), err)
			}
		}
		if err := r.Scan(nil, nil, nil); !errors.Is(err, store.ErrSize) {
			t.Errorf("Scan from an empty key: %v", err)
		}
		return nil
	})
}

// testRefusedWrite ignores the error of a refused write, as a careless caller would.
func testRefusedWrite(t *testing.T, s store.Store) {
	for name, careless := range map[string]func(w store.Writer){
		"put":    func(w store.Writer) { _ = w.Put([]byte("k"), nil) },
		"delete": func(w store.Writer) { _ = w.Delete(nil) },
	} {
		err := s.Update(t.Context(), func(w store.Writer) error {
			careless(w)
			return w.Put([]byte("other"), []byte("v"))
		})
		if !errors.Is(err, store.ErrSize) {
			t.Errorf("%s: Update = %v, want ErrSize", name, err)
		}
	}
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "other", ""); return nil })
}

// testSlices changes everything that went in and came out.
func testSlices(t *testing.T, s store.Store) {
	key, value := []byte("ka"), []byte("value")
	spoil := func(b ...[]byte) {
		for _, b := range b {
			for i := range b {
				b[i] = '!'
			}
		}
	}
	mustUpdate(t, s, func(w store.Writer) error {
		err := w.Put(key, value)
		spoil(key, value)
		got, _ := w.Get([]byte("ka"))
		spoil(got)
		wantValue(t, w, "ka", "value")
		return err
	})
	var kept [][]byte
	mustView(t, s, func(r store.Reader) error {
		got, _ := r.Get([]byte("ka"))
		spoil(got)
		wantValue(t, r, "ka", "value")
		return r.Scan([]byte("k"), nil, func(key, value []byte) error {
			kept = append(kept, append(key, "+"...), append(value, "+"...))
			return nil
		})
	})
	mustPut(t, s, row{"ka", "other"})
	if !slices.EqualFunc(kept, [][]byte{[]byte("ka+"), []byte("value+")}, bytes.Equal) {
		t.Errorf("kept rows = %q", kept)
	}
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "ka", "other"); return nil })
}

func testEnded(t *testing.T, s store.Store) {
	var w store.Writer
	var r store.Reader
	mustUpdate(t, s, func(given store.Writer) error { w = given; return w.Put([]byte("a"), []byte("v")) })
	mustView(t, s, func(given store.Reader) error { r = given; return nil })
	_, errGet := r.Get([]byte("a"))
	_, errOwn := w.Get([]byte("a"))
	for name, err := range map[string]error{
		"Reader.Get": errGet, "Writer.Get": errOwn,
		"Put": w.Put([]byte("a"), []byte("late")), "Delete": w.Delete([]byte("a")), "refused Put": w.Put(nil, nil),
		"Scan": r.Scan([]byte("a"), nil, nil), "ScanDown": w.ScanDown(nil, []byte("a"), nil),
	} {
		if !errors.Is(err, store.ErrDone) {
			t.Errorf("%s after the end: %v, want ErrDone", name, err)
		}
	}
	mustView(t, s, func(r store.Reader) error { wantValue(t, r, "a", "v"); return nil })
}

func testClose(t *testing.T, s store.Store) {
	if err := s.Close(); err != nil {
		t.Fatalf("Close: %v", err)
	}
	never := func() error { t.Error("called on a closed store"); return nil }
	for name, err := range map[string]error{
		"Update": s.Update(t.Context(), func(store.Writer) error { return never() }),
		"View":   s.View(t.Context(), func(store.Reader) error { return never() }),
		"Check":  s.Check(t.Context()),
	} {
		if !errors.Is(err, store.ErrClosed) {
			t.Errorf("%s after Close: %v, want ErrClosed", name, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
}
