package boltstore_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// The floor of each benchmark is bbolt itself with the same bytes and the same syncs, in the same run.

const writers = 64

// BenchmarkUpdate64Writers has 64 callers who each make one small durable write a call.
func BenchmarkUpdate64Writers(b *testing.B) {
	value := make([]byte, 100)
	b.Run("store", func(b *testing.B) {
		s := mustOpen(b, config(b))
		benchWriters(b, func(key []byte) error {
			return s.Update(context.Background(), func(w store.Writer) error { return w.Put(key, value) })
		})
		stats := s.Stats()
		b.ReportMetric(float64(stats.Updates)/float64(stats.Commits), "updates/commit")
	})
	db := mustBolt(b)
	put := func(key []byte) func(*bbolt.Tx) error {
		return func(tx *bbolt.Tx) error { return tx.Bucket([]byte("e")).Put(key, value) }
	}
	b.Run("bbolt_batch", func(b *testing.B) { benchWriters(b, func(key []byte) error { return db.Batch(put(key)) }) })
	b.Run("bbolt_update", func(b *testing.B) { benchWriters(b, func(key []byte) error { return db.Update(put(key)) }) })
}

// benchWriters spreads b.N calls over the writers; each has keys of its own that grow, as replicas' edits do.
func benchWriters(b *testing.B, update func(key []byte) error) {
	var left atomic.Int64
	left.Store(int64(b.N))
	var all sync.WaitGroup
	for i := range writers {
		all.Go(func() {
			for n := uint64(0); left.Add(-1) >= 0; n++ {
				if err := update(benchKey(uint64(i), n)); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "updates/s")
}

func benchKey(replica, n uint64) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64([]byte("e"), replica), n)
}

// BenchmarkUpdatePage writes pages of 1000 values of 3 KB, one page a commit.
func BenchmarkUpdatePage(b *testing.B) {
	const rows = 1000
	value := make([]byte, 3<<10)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range value {
		value[i] = byte(rng.Uint32())
	}
	b.Run("store", func(b *testing.B) {
		s := mustOpen(b, config(b))
		benchPages(b, len(value)*rows, func(page uint64) error {
			return s.Update(context.Background(), func(w store.Writer) error {
				for i := range uint64(rows) {
					if err := w.Put(benchKey(page, i), value); err != nil {
						return err
					}
				}
				return nil
			})
		})
	})
	b.Run("bbolt_update", func(b *testing.B) {
		db := mustBolt(b)
		benchPages(b, len(value)*rows, func(page uint64) error {
			return db.Update(func(tx *bbolt.Tx) error {
				for i := range uint64(rows) {
					if err := tx.Bucket([]byte("e")).Put(benchKey(page, i), value); err != nil {
						return err
					}
				}
				return nil
			})
		})
	})
}

func benchPages(b *testing.B, pageBytes int, update func(page uint64) error) {
	b.SetBytes(int64(pageBytes))
	var page uint64
	for b.Loop() {
		if err := update(page); err != nil {
			b.Fatal(err)
		}
		page++
	}
}

// BenchmarkScan reads 10,000 values of 3 KB.
func BenchmarkScan(b *testing.B) {
	const rows = 10_000
	s := mustOpen(b, config(b))
	value := make([]byte, 3<<10)
	err := s.Update(b.Context(), func(w store.Writer) error {
		for i := range uint64(rows) {
			if err := w.Put(benchKey(0, i), value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(rows * 3 << 10)
	for b.Loop() {
		n := 0
		err := s.View(b.Context(), func(r store.Reader) error {
			return r.Scan([]byte("e"), nil, func(_, value []byte) error { n += len(value); return nil })
		})
		if err != nil || n != rows*3<<10 {
			b.Fatal(n, err)
		}
	}
}

// mustBolt opens bbolt as the store does, with one bucket.
func mustBolt(b *testing.B) *bbolt.DB {
	b.Helper()
	db, err := bbolt.Open(filepath.Join(b.TempDir(), "floor.db"), 0o600, &bbolt.Options{
		NoFreelistSync: true, FreelistType: bbolt.FreelistMapType, InitialMmapSize: 1 << 36,
	})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	if err := db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("e")); return err }); err != nil {
		b.Fatal(fmt.Errorf("create bucket: %w", err))
	}
	return db
}
