package boltstore_test

import (
	"path/filepath"
	"testing"
	"time"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
	"needlebook/internal/store/storetest"
)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store { return mustOpen(t, config(t)) })
}

// config is the default configuration of a new store in the test's own folder.
func config(t testing.TB) boltstore.Config {
	return boltstore.Config{Path: filepath.Join(t.TempDir(), "needlebook.db"), Now: time.Now}
}

// mustOpen opens a store and closes it when the test ends.
func mustOpen(t testing.TB, cfg boltstore.Config) *boltstore.Store {
	t.Helper()
	s, err := boltstore.Open(cfg)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}
