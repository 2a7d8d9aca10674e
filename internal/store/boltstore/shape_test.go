package boltstore_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// TestFlippedBits flips one random bit of a store's used pages, again and again. Nothing panics, and what still opens
// and passes Check holds exactly what was written, or says that a root is damaged and holds the commit before.
func TestFlippedBits(t *testing.T) {
	rng, seed := newRand()
	t.Logf("seed %d", seed)
	cfg := config(t)
	s := mustOpen(t, cfg)
	var before string
	for n := range 120 {
		before = mustContents(t, s)
		err := s.Update(t.Context(), func(w store.Writer) error { _, err := appendRow(w, byte(n%2)); return err })
		if err != nil {
			t.Fatal(err)
		}
	}
	truth := mustContents(t, s)
	image := mustRead(t, cfg.Path)
	page := s.Stats().PageBytes
	image = image[:(len(bytes.TrimRight(image, "\x00"))/page+1)*page]
	flips := 400
	if isLong() {
		flips = 10_000
	}
	path := filepath.Join(t.TempDir(), "flipped.db")
	found := map[string]int{}
	for i := range flips {
		bit := rng.IntN(len(image) * 8)
		if i%2 == 0 { // half of them where a page's shape is
			bit = rng.IntN(len(image)/page)*page*8 + rng.IntN(64*8)
		}
		image[bit/8] ^= 1 << (bit % 8)
		if err := os.WriteFile(path, image, 0o600); err != nil {
			t.Fatal(err)
		}
		image[bit/8] ^= 1 << (bit % 8)
		got, stage := openFlipped(t, path)
		if found[stage]++; stage == "sound" && got != truth || stage == "root" && got != truth && got != before {
			t.Fatalf("bit %d of byte %d: passes every check and is not what was written", bit%8, bit/8)
		}
	}
	t.Logf("%d flips, found %v", flips, found)
	if found["open"] == 0 || found["check"] == 0 || found["sound"] == 0 || found["root"] == 0 {
		t.Errorf("found %v: some stage was never met", found)
	}
}

// openFlipped tells which stage found the damage, or what a sound store holds.
func openFlipped(t *testing.T, path string) (string, string) {
	s, err := boltstore.Open(boltstore.Config{Path: path, Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		if !errors.Is(err, store.ErrCorrupt) && !errors.Is(err, boltstore.ErrNotStore) {
			t.Errorf("Open = %v, want ErrCorrupt or ErrNotStore", err)
		}
		return "", "open"
	}
	defer s.Close()
	got, errRead := contents(t, s)
	if err := s.Check(t.Context()); err != nil {
		return "", "check"
	}
	if errRead != nil {
		t.Fatalf("Check passes what cannot be read: %v", errRead)
	}
	if s.RootDamaged() {
		return got, "root"
	}
	return got, "sound"
}

func mustContents(t *testing.T, s *boltstore.Store) string {
	t.Helper()
	got, err := contents(t, s)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// contents is all that the tests' tables hold.
func contents(t *testing.T, s *boltstore.Store) (string, error) {
	var b bytes.Buffer
	err := s.View(t.Context(), func(r store.Reader) error {
		for _, table := range []string{"n", "r"} {
			err := r.Scan([]byte(table), nil, func(key, value []byte) error { fmt.Fprintf(&b, "%x=%x\n", key, value); return nil })
			if err != nil {
				return err
			}
		}
		return nil
	})
	return b.String(), err
}
