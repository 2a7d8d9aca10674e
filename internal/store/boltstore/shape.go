package boltstore

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"

	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// bbolt trusts the pages it reads: over a damaged one it may panic in a goroutine of its own, walk in circles, or reach
// outside its map, and each of these ends the process. So the shape of the tree is proved here first, from the bytes of
// the file: every page is what it says, inside the file, and reached once; every element lies inside its page; keys ascend.
//
// The layout is that of bbolt's file format 2, in the byte order of the machine:
//
//	page     id uint64, flags uint16, count uint16, overflow uint32 (pages that follow), then count elements
//	branch   pos uint32, key bytes uint32, page uint64
//	leaf     flags uint32, pos uint32, key bytes uint32, value bytes uint32; pos counts from the element's own start
//	bucket   the value of a leaf element with flag 1: root page uint64, sequence uint64; root 0: a page follows, inline
const (
	pageHeaderBytes = 16
	elementBytes    = 16
	bucketBytes     = 16

	branchPage, leafPage = 1, 2
	bucketFlag           = 1

	maxDepth = 64 // of pages; a tree of 2^64 keys has fewer
)

// checkFileShape proves the shape of a file that is not open yet, and tells whether one of its two roots is damaged.
func checkFileShape(cfg Config) (rootDamaged bool, err error) {
	db, err := bbolt.Open(cfg.Path, 0o600, &bbolt.Options{ReadOnly: true, Timeout: cfg.LockTimeout, OpenFile: openExisting})
	if err != nil {
		return false, err
	}
	defer db.Close() // read only
	err = db.View(func(tx *bbolt.Tx) error {
		return errors.Join(checkShape(tx), checkRoots(tx, &rootDamaged))
	})
	return rootDamaged, err
}

// A root is in each of the first two pages, after the page's header: 56 bytes and their FNV-1a sum of 64 bits.
const rootBytes = 56

// checkRoots looks for a root that fails its own sum; bbolt falls back to the other in silence.
func checkRoots(tx *bbolt.Tx, damaged *bool) error {
	f, err := os.Open(tx.DB().Path())
	if err != nil {
		return err
	}
	defer f.Close() // read only
	for page := range int64(2) {
		root := make([]byte, rootBytes+8)
		if _, err := f.ReadAt(root, page*int64(tx.DB().Info().PageSize)+pageHeaderBytes); err != nil {
			return err
		}
		sum := fnv.New64a()
		sum.Write(root[:rootBytes]) // never fails
		if sum.Sum64() != binary.NativeEndian.Uint64(root[rootBytes:]) {
			*damaged = true
		}
	}
	return nil
}

// checkShape proves the shape of what tx sees. Nothing may have been written in tx.
func checkShape(tx *bbolt.Tx) error {
	f, err := os.Open(tx.DB().Path())
	if err != nil {
		return err
	}
	defer f.Close() // read only
	pageBytes := int64(tx.DB().Info().PageSize)
	s := &shape{file: f, pageBytes: pageBytes, seen: make([]bool, tx.Size()/pageBytes), leafFlags: bucketFlag}
	return s.walk(uint64(tx.Cursor().Bucket().Root()), nil, nil, maxDepth)
}

type shape struct {
	file      io.ReaderAt
	pageBytes int64
	seen      []bool // by page
	leafFlags uint64 // of each element: bucketFlag in the root's tree, 0 in a bucket's
}

func (s *shape) wrong(id uint64, what string) error {
	return &store.CorruptError{What: fmt.Sprintf("page %d: %s", id, what)}
}

// walk proves the page and all below it; its keys must be lo <= key < hi, where nil is no bound.
func (s *shape) walk(id uint64, lo, hi []byte, depth int) error {
	page, err := s.read(id)
	if err != nil {
		return err
	}
	flags := binary.NativeEndian.Uint16(page[8:])
	if depth == 0 || flags != branchPage && flags != leafPage {
		return s.wrong(id, "neither branch nor leaf, or too deep")
	}
	elements, err := s.elements(id, page, lo, hi)
	if err != nil {
		return err
	}
	for i, e := range elements {
		next := hi
		if i+1 < len(elements) {
			next = elements[i+1].key
		}
		if flags == branchPage {
			err = s.walk(e.child, e.key, next, depth-1)
		} else if e.flags != s.leafFlags {
			err = s.wrong(id, "a bucket where a value should be, or the reverse")
		} else if e.flags == bucketFlag {
			err = s.bucket(id, e, depth)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// read returns the page with its overflow, seen for the first time.
func (s *shape) read(id uint64) ([]byte, error) {
	header := make([]byte, pageHeaderBytes)
	if id < 2 || id >= uint64(len(s.seen)) {
		return nil, s.wrong(id, "outside the file")
	}
	if _, err := s.file.ReadAt(header, int64(id)*s.pageBytes); err != nil {
		return nil, s.wrong(id, err.Error())
	}
	end := id + 1 + uint64(binary.NativeEndian.Uint32(header[12:]))
	if binary.NativeEndian.Uint64(header) != id || end > uint64(len(s.seen)) {
		return nil, s.wrong(id, "not the page it should be")
	}
	for i := id; i < end; i++ {
		if s.seen[i] {
			return nil, s.wrong(i, "used twice")
		}
		s.seen[i] = true
	}
	page := make([]byte, int64(end-id)*s.pageBytes)
	if _, err := s.file.ReadAt(page, int64(id)*s.pageBytes); err != nil {
		return nil, s.wrong(id, err.Error())
	}
	return page, nil
}

// element is one element of a page: a branch's has a child, a leaf's a value.
type element struct {
	key, value []byte
	child      uint64
	flags      uint64
	start      int // of the key in the page
}

// elements returns the elements of a page, whose keys ascend from lo to below hi. bbolt writes keys and values without
// gaps behind the headers, so that a count that was altered does not pass.
func (s *shape) elements(id uint64, page, lo, hi []byte) ([]element, error) {
	count := int(binary.NativeEndian.Uint16(page[10:]))
	isBranch := binary.NativeEndian.Uint16(page[8:]) == branchPage
	next := pageHeaderBytes + count*elementBytes
	if next > len(page) || count == 0 && (isBranch || len(bytes.Trim(page[pageHeaderBytes:], "\x00")) > 0) {
		return nil, s.wrong(id, "impossible number of elements")
	}
	elements := make([]element, count)
	for i := range elements {
		e, ok := readElement(page, pageHeaderBytes+i*elementBytes, isBranch)
		if !ok || e.start != next {
			return nil, s.wrong(id, "an element out of place")
		}
		next = e.start + len(e.key) + len(e.value)
		order := bytes.Compare(lo, e.key)
		if order > 0 || order == 0 && i > 0 || hi != nil && bytes.Compare(e.key, hi) >= 0 {
			return nil, s.wrong(id, "keys out of order")
		}
		elements[i], lo = e, e.key
	}
	return elements, nil
}

// readElement reads the element whose header is at the offset; false when it does not lie inside the page.
func readElement(page []byte, at int, isBranch bool) (e element, ok bool) {
	field := func(n int) uint64 { return uint64(binary.NativeEndian.Uint32(page[at+n:])) }
	pos, keyBytes, valueBytes := field(4), field(8), field(12)
	if isBranch {
		pos, keyBytes, valueBytes = field(0), field(4), 0
		e.child = binary.NativeEndian.Uint64(page[at+8:])
	} else {
		e.flags = field(0)
	}
	start := uint64(at) + pos
	if start+keyBytes+valueBytes > uint64(len(page)) {
		return e, false
	}
	e.start = int(start)
	e.key = page[start : start+keyBytes]
	e.value = page[start+keyBytes : start+keyBytes+valueBytes]
	return e, true
}

// bucket proves the bucket in a leaf of the root's tree. A table's keys all begin with its name.
func (s *shape) bucket(id uint64, e element, depth int) error {
	var lo, hi []byte
	if len(e.key) == 1 {
		lo = e.key
		if e.key[0] < 0xff {
			hi = []byte{e.key[0] + 1}
		}
	}
	if len(e.value) < bucketBytes {
		return s.wrong(id, "a bucket of too few bytes")
	}
	inside := *s
	inside.leafFlags = 0
	if root := binary.NativeEndian.Uint64(e.value); root != 0 {
		return inside.walk(root, lo, hi, depth-1)
	}
	return inside.inline(id, e.value[bucketBytes:], lo, hi)
}

// inline proves a small bucket's page, which lies in its parent's.
func (s *shape) inline(id uint64, page, lo, hi []byte) error {
	if len(page) < pageHeaderBytes || binary.NativeEndian.Uint16(page[8:]) != leafPage {
		return s.wrong(id, "an inline bucket that is no leaf")
	}
	elements, err := s.elements(id, page, lo, hi)
	for _, e := range elements {
		if e.flags != s.leafFlags {
			return s.wrong(id, "a bucket inside an inline bucket")
		}
	}
	return err
}
