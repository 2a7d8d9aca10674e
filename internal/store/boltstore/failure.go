package boltstore

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"

	"needlebook/internal/store"
)

// What fails, and what follows. "Full" is store.ErrDiskFull: nothing took effect, the next commit tries again.
// "Failed" is store.ErrFailed: no more writes. Reads go on in both.
//
//	free room below Config.MinFreeBytes            full     no function is called
//	the room cannot be asked for                   full     as above
//	file would pass Config.MaxFileBytes            full     bbolt refuses before it writes
//	write: no space, quota, read-only, file limit  full     pages not in use were half written, nothing refers to them
//	write: any other error                         failed
//	sync: any error, no space included             failed   the kernel may have dropped what it could not write
//	growing the file, remapping it                 failed   bbolt does not say which error it was
//	any error after the new root became visible    failed   nobody can say whether it survives a power cut
//	a damaged page or value                        failed   what is written next might rest on it

// refusal tells why a commit must not begin, or nil.
func (s *Store) refusal() error {
	if f := s.failure.Load(); f != nil {
		return f
	}
	if s.cfg.MinFreeBytes < 0 {
		return nil
	}
	free, err := s.cfg.FreeBytes()
	if err != nil {
		return s.full(fmt.Errorf("%w: ask for free room: %w", store.ErrDiskFull, err))
	}
	if free < uint64(s.cfg.MinFreeBytes) {
		return s.full(fmt.Errorf("%w: %d bytes free, %d must be", store.ErrDiskFull, free, s.cfg.MinFreeBytes))
	}
	return nil
}

// commitFailed decides what the error of the commit with this transaction id means.
func (s *Store) commitFailed(id int, err error) error {
	if isFull(err) && s.visibleID() < id {
		return s.full(fmt.Errorf("%w: %w", store.ErrDiskFull, err))
	}
	return s.fail(err)
}

// full counts and logs a refusal for want of room.
func (s *Store) full(err error) error {
	s.stats.diskFull.Add(1)
	s.cfg.Log.Warn("store: not written", "cause", err)
	return err
}

// visibleID is the id of the transaction that readers see.
func (s *Store) visibleID() int {
	tx, err := s.db.Begin(false)
	if err != nil {
		return int(^uint(0) >> 1) // unknown: as bad as the worst
	}
	defer tx.Rollback()
	return tx.ID()
}

// isFull tells a write that found no room. bbolt returns a write's error as the *fs.PathError of package os and a
// sync's as a bare errno, which is how the two are told apart: after a sync that failed there is no way back.
func isFull(err error) bool {
	if errors.Is(err, berrors.ErrMaxSizeReached) {
		return true
	}
	var path *fs.PathError
	if !errors.As(err, &path) || path.Op != "write" {
		return false
	}
	for _, errno := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EFBIG} {
		if errors.Is(path.Err, errno) {
			return true
		}
	}
	return false
}
