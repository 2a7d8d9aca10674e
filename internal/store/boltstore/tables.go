package boltstore

import (
	"fmt"

	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// appendFill fills pages of tables whose keys only grow; a little room is left for the odd correction in place.
const appendFill = 0.95

// tables is a bbolt transaction seen as tables. It is for one goroutine at a time.
type tables struct {
	tx           *bbolt.Tx
	appendTables string
	opened       []openTable
	bytes        int64 // of keys and values applied
	writes       int64 // puts and deletes applied
	damage       error // the first damage met; the store must stop writing
}

type openTable struct {
	name   byte
	bucket *bbolt.Bucket
}

func newTables(tx *bbolt.Tx, appendTables string) *tables {
	return &tables{tx: tx, appendTables: appendTables}
}

// bucket returns the table's bucket, or nil where nothing was ever put there.
func (t *tables) bucket(name byte) *bbolt.Bucket {
	for _, o := range t.opened {
		if o.name == name {
			return o.bucket
		}
	}
	b := t.tx.Bucket([]byte{name})
	if b != nil {
		t.remember(name, b)
	}
	return b
}

func (t *tables) remember(name byte, b *bbolt.Bucket) {
	for i := range t.appendTables {
		if t.appendTables[i] == name {
			b.FillPercent = appendFill
		}
	}
	t.opened = append(t.opened, openTable{name: name, bucket: b})
}

// get returns the stored value of key in the file's own memory, or nil.
func (t *tables) get(key []byte) (stored []byte, err error) {
	defer t.guard(key[0], &err)
	if b := t.bucket(key[0]); b != nil {
		return b.Get(key), nil
	}
	return nil, nil
}

// apply merges what w wrote into the transaction.
func (t *tables) apply(w *writer) (err error) {
	defer t.guard(0, &err)
	w.writes(func(e entry) bool {
		if err = t.applyOne(e); err == nil {
			t.writes++
			t.bytes += int64(len(e.key) + len(e.stored))
		}
		return err == nil
	})
	return err
}

func (t *tables) applyOne(e entry) (err error) {
	b := t.bucket(e.key[0])
	switch {
	case e.stored == nil && b == nil:
		return nil
	case e.stored == nil:
		return b.Delete(e.key)
	case b == nil:
		if b, err = t.tx.CreateBucket([]byte{e.key[0]}); err != nil {
			return err
		}
		t.remember(e.key[0], b)
	}
	return b.Put(e.key, e.stored)
}

// guard turns a panic of bbolt, its answer to a damaged page, into an error. Only calls into bbolt run under it, never
// a caller's function.
func (t *tables) guard(table byte, err *error) {
	if p := recover(); p != nil {
		*err = t.damaged(&store.CorruptError{Table: table, What: fmt.Sprint(p)})
	}
}

func (t *tables) damaged(err error) error {
	if t.damage == nil {
		t.damage = err
	}
	return err
}

// unseal is unseal that remembers damage.
func (t *tables) unseal(key, stored []byte) ([]byte, error) {
	value, err := unseal(key, stored)
	if err != nil {
		return nil, t.damaged(err)
	}
	return value, nil
}
