package boltstore

import (
	"os"
	"sync/atomic"
)

// Stats are figures since Open, and the file's present state.
type Stats struct {
	Commits      int64 // transactions that reached the disk
	Updates      int64 // Updates that those commits, and empty ones, served
	Joined       int64 // of them, those that shared another's commit
	WrittenBytes int64 // keys and values put, before bbolt's pages
	DiskFull     int64 // times that writing was refused for want of room
	Readers      int64 // Views and copies that run now
	SlowReaders  int64 // Views that grew older than Config.SlowReaderAge
	FileBytes    int64 // size of the file, its holes included
	FreePages    int   // pages that the next commits can use
	PendingPages int   // pages that become free when their readers end
	PageBytes    int   // size of a page
	Failed       bool  // the store writes no more
}

type counters struct {
	commits, updates, shared, writtenBytes, diskFull, readers, slowReaders atomic.Int64
}

func (c *counters) joined(updates int) {
	c.updates.Add(int64(updates))
	if updates > 1 {
		c.shared.Add(int64(updates) - 1)
	}
}

func (c *counters) committed(t *tables) {
	c.commits.Add(1)
	c.writtenBytes.Add(t.bytes)
}

// Stats reads the figures. They are each exact, but not of one instant.
func (s *Store) Stats() Stats {
	pages := s.db.Stats()
	st := Stats{
		Commits:      s.stats.commits.Load(),
		Updates:      s.stats.updates.Load(),
		Joined:       s.stats.shared.Load(),
		WrittenBytes: s.stats.writtenBytes.Load(),
		DiskFull:     s.stats.diskFull.Load(),
		Readers:      s.stats.readers.Load(),
		SlowReaders:  s.stats.slowReaders.Load(),
		FreePages:    pages.FreePageN,
		PendingPages: pages.PendingPageN,
		PageBytes:    s.db.Info().PageSize,
		Failed:       s.failure.Load() != nil,
	}
	if info, err := os.Stat(s.cfg.Path); err == nil {
		st.FileBytes = info.Size()
	}
	return st
}
