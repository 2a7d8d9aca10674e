package boltstore

import (
	"bytes"
	"context"
	"errors"

	"github.com/tidwall/btree"
	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// span is lo <= key < hi inside one table. hi is nil only in table 255, which nothing follows.
type span struct {
	lo, hi []byte
	down   bool
}

// newSpan cuts the range at the end of lo's table.
func newSpan(lo, hi []byte, down bool) (span, error) {
	if err := store.CheckKey(lo); err != nil {
		return span{}, err
	}
	if len(hi) == 0 || hi[0] > lo[0] {
		hi = nil
		if lo[0] < 0xff {
			hi = []byte{lo[0] + 1}
		}
	}
	return span{lo: lo, hi: hi, down: down}, nil
}

// holds tells whether key, reached in the direction of the scan, is still inside.
func (s span) holds(key []byte) bool {
	if s.down {
		return bytes.Compare(key, s.lo) >= 0
	}
	return s.hi == nil || bytes.Compare(key, s.hi) < 0
}

// baseRows walks a span of the bbolt transaction. key is nil at the end.
type baseRows struct {
	t           *tables
	span        span
	cursor      *bbolt.Cursor
	key, stored []byte
}

func (r *baseRows) start() (err error) {
	defer r.t.guard(r.span.lo[0], &err)
	b := r.t.bucket(r.span.lo[0])
	if b == nil {
		return nil
	}
	r.cursor = b.Cursor()
	switch {
	case !r.span.down:
		r.set(r.cursor.Seek(r.span.lo))
	case r.span.hi == nil:
		r.set(r.cursor.Last())
	default:
		if k, _ := r.cursor.Seek(r.span.hi); k == nil {
			r.set(r.cursor.Last())
		} else {
			r.set(r.cursor.Prev())
		}
	}
	return nil
}

func (r *baseRows) next() (err error) {
	defer r.t.guard(r.span.lo[0], &err)
	if r.span.down {
		r.set(r.cursor.Prev())
	} else {
		r.set(r.cursor.Next())
	}
	return nil
}

func (r *baseRows) set(key, stored []byte) {
	if key == nil || !r.span.holds(key) {
		key, stored = nil, nil
	}
	r.key, r.stored = key, stored
}

// overRows walks the same span of an overlay. Its zero value is empty.
type overRows struct {
	span  span
	iter  btree.IterG[entry]
	entry entry // key nil at the end
}

// newOverRows walks a copy (which shares all nodes until someone writes), so that fn may write while it scans.
func newOverRows(overlay *btree.BTreeG[entry], s span) *overRows {
	r := &overRows{span: s}
	if overlay == nil || overlay.Len() == 0 {
		return r
	}
	r.iter = overlay.Copy().Iter()
	switch {
	case !s.down:
		r.set(r.iter.Seek(entry{key: s.lo}))
	case s.hi != nil && r.iter.Seek(entry{key: s.hi}):
		r.set(r.iter.Prev())
	default:
		r.set(r.iter.Last())
	}
	return r
}

func (r *overRows) next() {
	if r.span.down {
		r.set(r.iter.Prev())
	} else {
		r.set(r.iter.Next())
	}
}

func (r *overRows) set(ok bool) {
	r.entry = entry{}
	if ok && r.span.holds(r.iter.Item().key) {
		r.entry = r.iter.Item()
	}
}

// scan lays the overlay (nil for none) over the transaction and calls fn for each key, with copies.
func (t *tables) scan(ctx context.Context, overlay *btree.BTreeG[entry], s span, fn func(key, value []byte) error) error {
	base, over := &baseRows{t: t, span: s}, newOverRows(overlay, s)
	if err := base.start(); err != nil {
		return err
	}
	for base.key != nil || over.entry.key != nil {
		if err := ctx.Err(); err != nil {
			return err
		}
		e, err := nearer(base, over)
		if err != nil {
			return err
		}
		if e.stored == nil {
			continue // deleted in the overlay
		}
		value, err := t.unseal(e.key, e.stored)
		if err != nil {
			return err
		}
		key, value := copyRow(e.key, value)
		if err := fn(key, value); errors.Is(err, store.Stop) {
			return nil
		} else if err != nil {
			return err
		}
	}
	return nil
}

// nearer returns the row that comes next and steps past it; on the same key the overlay hides the base.
func nearer(base *baseRows, over *overRows) (entry, error) {
	order := compareRows(base, over)
	e := over.entry
	if order < 0 {
		e = entry{key: base.key, stored: base.stored}
	}
	if order >= 0 {
		over.next()
	}
	if order <= 0 {
		return e, base.next()
	}
	return e, nil
}

// compareRows is negative when the base's row comes first in the direction of the scan.
func compareRows(base *baseRows, over *overRows) int {
	switch {
	case over.entry.key == nil:
		return -1
	case base.key == nil:
		return 1
	case base.span.down:
		return bytes.Compare(over.entry.key, base.key)
	}
	return bytes.Compare(base.key, over.entry.key)
}

// copyRow copies both into one allocation.
func copyRow(key, value []byte) ([]byte, []byte) {
	n := len(key)
	row := make([]byte, n+len(value))
	copy(row, key)
	copy(row[n:], value)
	return row[:n:n], row[n:]
}
