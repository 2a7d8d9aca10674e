// Package storetest is the conformance suite of package store: every implementation's tests call [Run], and then test
// only what is their own (files, crashes, failures).
//
// The suite knows nothing of how a store works inside. It ends each test with Check.
package storetest

import (
	"bytes"
	"context"
	"errors"
	"testing"

	"needlebook/internal/store"
)

// Run tests the stores that open gives. open returns a new, empty store each time and closes it when the test ends.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, test := range []struct {
		name string
		run  func(t *testing.T, s store.Store)
	}{
		{"GetPutDelete", testGetPutDelete},
		{"Limits", testLimits},
		{"RefusedWriteFailsUpdate", testRefusedWrite},
		{"SlicesAreTheCallers", testSlices},
		{"ScanRanges", testScanRanges},
		{"ScanStaysInTable", testScanTables},
		{"ScanEndsEarly", testScanEnds},
		{"ScanWhileWriting", testScanWhileWriting},
		{"FailedUpdateLeavesNothing", testFailedUpdate},
		{"PanicReachesItsCaller", testPanic},
		{"GoexitHurtsNobody", testGoexit},
		{"ContextBeforeTurn", testContext},
		{"ContextEndsScan", testContextScan},
		{"ViewIsASnapshot", testSnapshot},
		{"ViewSeesAcknowledged", testAcknowledged},
		{"ConcurrentUpdatesAreSerial", testSerial},
		{"FailuresAmongMany", testFailuresAmongMany},
		{"EndedTransaction", testEnded},
		{"Close", testClose},
		{"Model", testModel},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := open(t)
			test.run(t, s)
			if err := s.Check(t.Context()); err != nil && !errors.Is(err, store.ErrClosed) {
				t.Errorf("Check at the end: %v", err)
			}
		})
	}
}

// row is a key and its value.
type row struct{ key, value string }

func mustUpdate(t testing.TB, s store.Store, fn func(store.Writer) error) {
	t.Helper()
	if err := s.Update(context.Background(), fn); err != nil {
		t.Fatalf("Update: %v", err)
	}
}

func mustPut(t testing.TB, s store.Store, rows ...row) {
	t.Helper()
	mustUpdate(t, s, func(w store.Writer) error {
		for _, r := range rows {
			if err := w.Put([]byte(r.key), []byte(r.value)); err != nil {
				return err
			}
		}
		return nil
	})
}

func mustView(t testing.TB, s store.Store, fn func(store.Reader) error) {
	t.Helper()
	if err := s.View(context.Background(), fn); err != nil {
		t.Fatalf("View: %v", err)
	}
}

// scan returns what a scan of r gives.
func scan(r store.Reader, lo, hi []byte, down bool) ([]row, error) {
	var rows []row
	collect := func(key, value []byte) error {
		rows = append(rows, row{string(key), string(value)})
		return nil
	}
	if down {
		return rows, r.ScanDown(hi, lo, collect)
	}
	return rows, r.Scan(lo, hi, collect)
}

func mustScan(t testing.TB, s store.Store, lo, hi []byte) (rows []row) {
	t.Helper()
	mustView(t, s, func(r store.Reader) (err error) {
		rows, err = scan(r, lo, hi, false)
		return err
	})
	return rows
}

// wantValue fails unless key has the value; "" stands for absent.
func wantValue(t testing.TB, r store.Reader, key, want string) {
	t.Helper()
	got, err := r.Get([]byte(key))
	if want == "" {
		if !errors.Is(err, store.ErrNotFound) || got != nil {
			t.Errorf("Get(%q) = %q, %v, want nil, ErrNotFound", key, got, err)
		}
		return
	}
	if err != nil || !bytes.Equal(got, []byte(want)) {
		t.Errorf("Get(%q) = %q, %v, want %q", key, got, err, want)
	}
}
