// Package blob keeps photos as files named by the SHA-256 of their content.
//
// Open a [Dir]; hand it chunks with PutChunk in any order, as often as the radio makes it necessary; ask Missing what is
// still wanted after a break. When the last chunk is in and the whole has the promised hash, the blob exists; until
// then it does not. Get reads a part of a blob and proves the whole of it each time.
//
// What it promises: a chunk that PutChunk took survives a power cut; a blob appears whole or not at all; Get never
// returns a byte of a blob whose content is not its hash. A Dir is safe for concurrent use by one process.
//
//	DIR/3f/3f79bb7b...          a blob, read-only, named by its hash in hex, in the folder of its first byte
//	DIR/partial/HASH-SIZE/OFFSET-LENGTH   a chunk of a blob that is not complete
//	DIR/3f/.new-*               left behind by a crash; Sweep removes it
package blob

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"syscall"

	"needlebook/internal/durable"
)

// HashBytes is the length of a Hash.
const HashBytes = 32

// Hash is the SHA-256 of a blob's content, and its name.
type Hash [HashBytes]byte

// String is the hash in 64 lower-case hex digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// ParseHash reads what String writes and nothing else.
func ParseHash(s string) (Hash, error) {
	var h Hash
	if len(s) != 2*HashBytes {
		return Hash{}, fmt.Errorf("hash of %d characters: must have %d", len(s), 2*HashBytes)
	}
	if _, err := hex.Decode(h[:], []byte(s)); err != nil || h.String() != s {
		return Hash{}, fmt.Errorf("hash %q: must be lower-case hex digits", s)
	}
	return h, nil
}

// Errors to branch on.
var (
	// ErrNotFound: no complete blob has this hash.
	ErrNotFound = errors.New("blob not found")
	// ErrRange: sizes or offsets that no blob can have here; see RangeError.
	ErrRange = errors.New("out of range")
	// ErrMismatch: the chunks together are not what the hash promised; see MismatchError.
	ErrMismatch = errors.New("content does not have its hash")
	// ErrDamaged: a complete blob's content is no longer its hash; see DamagedError.
	ErrDamaged = errors.New("blob is damaged")
	// ErrDiskFull: no room, a quota reached, or a file system gone read-only. What was taken before stays.
	ErrDiskFull = errors.New("no room to write")
)

// RangeError is a figure out of range. It is ErrRange.
type RangeError struct {
	Field    string // "size", "offset", "chunk bytes", "chunks"
	Got      int64
	Min, Max int64
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %d: must be %d to %d", e.Field, e.Got, e.Min, e.Max)
}

// Unwrap gives ErrRange.
func (e *RangeError) Unwrap() error { return ErrRange }

// MismatchError says that all chunks came and were not the blob; they are dropped, and it may be sent anew.
type MismatchError struct {
	Want, Got Hash
}

func (e *MismatchError) Error() string {
	return fmt.Sprintf("%v: want %v, got %v", ErrMismatch, e.Want, e.Got)
}

// Unwrap gives ErrMismatch.
func (e *MismatchError) Unwrap() error { return ErrMismatch }

// DamagedError is a blob whose file was altered.
type DamagedError struct {
	Hash Hash
	Got  Hash // of what is there
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%v: %v has content %v", ErrDamaged, e.Hash, e.Got)
}

// Unwrap gives ErrDamaged.
func (e *DamagedError) Unwrap() error { return ErrDamaged }

// Config says how a Dir is opened.
type Config struct {
	Path          string // the folder; made when missing
	MaxBlobBytes  int64  // the largest blob; 0 means 32 MiB
	MaxChunkBytes int64  // the largest chunk; 0 means 1 MiB
}

const (
	defaultMaxBlobBytes  = 32 << 20
	defaultMaxChunkBytes = 1 << 20

	// maxChunks bounds the files of one partial blob, whatever sizes a tablet sends.
	maxChunks = 512

	partialFolder = "partial"
)

// Dir is an open folder of blobs.
type Dir struct {
	cfg   Config
	locks [256]sync.Mutex // by the hash's first byte; held while a partial blob changes
}

// Open opens the folder, or makes it.
func Open(cfg Config) (*Dir, error) {
	if cfg.MaxBlobBytes == 0 {
		cfg.MaxBlobBytes = defaultMaxBlobBytes
	}
	if cfg.MaxChunkBytes == 0 {
		cfg.MaxChunkBytes = defaultMaxChunkBytes
	}
	if err := durable.MkdirAll(filepath.Join(cfg.Path, partialFolder), 0o700); err != nil {
		return nil, fmt.Errorf("open blobs: %w", diskError(err))
	}
	return &Dir{cfg: cfg}, nil
}

// lock serialises changes to one blob's chunks, and returns the unlocking.
func (d *Dir) lock(h Hash) func() {
	d.locks[h[0]].Lock()
	return d.locks[h[0]].Unlock
}

func (d *Dir) path(h Hash) string {
	name := h.String()
	return filepath.Join(d.cfg.Path, name[:2], name)
}

func (d *Dir) partialPath(h Hash, size int64) string {
	return filepath.Join(d.cfg.Path, partialFolder, fmt.Sprintf("%v-%d", h, size))
}

// Size returns the size of a complete blob in bytes, or ErrNotFound. It does not read the content.
func (d *Dir) Size(h Hash) (int64, error) {
	info, err := os.Stat(d.path(h))
	if errors.Is(err, os.ErrNotExist) {
		return 0, ErrNotFound
	} else if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

// diskError makes the errors of a full disk ErrDiskFull.
func diskError(err error) error {
	for _, errno := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EFBIG} {
		if errors.Is(err, errno) {
			return fmt.Errorf("%w: %w", ErrDiskFull, err)
		}
	}
	return err
}
