package boltstore

import (
	"log/slog"
	"time"

	"needlebook/internal/store"
)

// Config says how a store is opened. The zero value of every field but Path and Now is a sound choice.
type Config struct {
	// Path of the file. Its folder must exist. The file is made when it is missing.
	Path string

	// Now is the clock that dates a new store and ages readers.
	Now func() time.Time

	// Log takes what an operator should see; nil discards it. No key or value is ever logged.
	Log *slog.Logger

	// Migrations lead from one schema version to the next: Migrations[i] from i+1 to i+2. A new file begins at the
	// newest version, len(Migrations)+1. Entries are never removed or reordered.
	Migrations []Migration

	// AppendTables are the bytes of tables whose keys only ever grow; their pages are filled nearly full.
	AppendTables string

	// MapBytes of address space are reserved for the file, so that it grows without waiting for readers. It costs
	// no memory. 0 means 64 GiB where pointers have 64 bits, and 256 MiB elsewhere.
	MapBytes int

	// MaxFileBytes limits the file; a commit that would pass it gets store.ErrDiskFull. 0 means no limit. The
	// file grows in steps of 16 MiB.
	MaxFileBytes int

	// MinFreeBytes must be free on the disk before a commit begins; below it Updates get store.ErrDiskFull. 0 means
	// 64 MiB; negative means that free room is not asked for.
	MinFreeBytes int64

	// FreeBytes answers how much room is free to this process; nil asks the file system that holds Path.
	FreeBytes func() (uint64, error)

	// SlowReaderAge is the age at which a View that still runs is logged with the place of its caller. 0 means 2 s.
	SlowReaderAge time.Duration

	// LockTimeout is how long to wait for another process that holds the file. 0 means 2 s.
	LockTimeout time.Duration
}

// A Migration changes what is stored from one schema version to the next. It runs in a transaction of its own, which
// also sets the new version; when it fails the file stays as it was.
type Migration func(store.Writer) error

const (
	defaultMinFreeBytes  = 64 << 20
	defaultSlowReaderAge = 2 * time.Second
	defaultLockTimeout   = 2 * time.Second
	mapBytes64           = 1 << 36
	mapBytes32           = 256 << 20
)

// withDefaults fills in what the zero values stand for.
func (c Config) withDefaults() Config {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.MapBytes == 0 {
		c.MapBytes = mapBytes32
		if is64bit := ^uint(0)>>63 == 1; is64bit {
			c.MapBytes = int(uint64(mapBytes64) & uint64(^uint(0)>>1))
		}
	}
	if c.MinFreeBytes == 0 {
		c.MinFreeBytes = defaultMinFreeBytes
	}
	if c.FreeBytes == nil {
		c.FreeBytes = func() (uint64, error) { return freeBytes(c.Path) }
	}
	if c.SlowReaderAge == 0 {
		c.SlowReaderAge = defaultSlowReaderAge
	}
	if c.LockTimeout == 0 {
		c.LockTimeout = defaultLockTimeout
	}
	return c
}

// schema is the newest version that this configuration knows.
func (c Config) schema() uint32 { return uint32(len(c.Migrations)) + 1 }
