package boltstore

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"needlebook/internal/store"
)

// maxReported bounds how many faults Check returns; the first ones tell.
const maxReported = 20

// Check implements store.Store: the shape of the tree; bbolt's own proof of its pages; that every bucket is a table or the meta bucket; that
// every key is in its table and in range; that every value passes its checksum. The commit loop stands still meanwhile,
// since bbolt's proof needs a free list at rest; to check beside a running clinic, check a copy.
func (s *Store) Check(ctx context.Context) error {
	tx, err := s.db.Begin(true)
	if errors.Is(err, berrors.ErrDatabaseNotOpen) {
		return store.ErrClosed
	} else if err != nil {
		return err
	}
	defer rollback(tx)
	c := &checker{ctx: ctx, tx: tx}
	if err := checkShape(tx); err != nil {
		return s.fail(err)
	}
	for err := range tx.Check() { // drained to its end: bbolt's goroutine waits for us
		c.found(&store.CorruptError{What: err.Error()})
	}
	if len(c.faults) == 0 {
		c.buckets()
	}
	if len(c.faults) > 0 {
		err := errors.Join(c.faults...)
		s.fail(err)
		return err
	}
	return ctx.Err()
}

type checker struct {
	ctx    context.Context
	tx     *bbolt.Tx
	faults []error
}

func (c *checker) found(err error) {
	if len(c.faults) < maxReported {
		c.faults = append(c.faults, err)
	}
}

func (c *checker) buckets() {
	defer func() {
		if p := recover(); p != nil {
			c.found(&store.CorruptError{What: fmt.Sprint(p)})
		}
	}()
	if _, err := readMeta(c.tx); err != nil {
		c.found(err)
	}
	_ = c.tx.ForEach(func(name []byte, b *bbolt.Bucket) error { // the callbacks return no error
		switch {
		case b == nil:
			c.found(&store.CorruptError{What: "the root holds a value that is no table"})
		case len(name) == 1:
			c.table(name[0], b)
		case string(name) != metaBucket:
			c.found(&store.CorruptError{What: fmt.Sprintf("unknown bucket of %d bytes", len(name))})
		}
		return nil
	})
}

func (c *checker) table(name byte, b *bbolt.Bucket) {
	cursor := b.Cursor()
	var last []byte
	for k, v := cursor.First(); k != nil && c.ctx.Err() == nil; k, v = cursor.Next() {
		if last != nil && bytes.Compare(last, k) >= 0 {
			c.found(&store.CorruptError{Table: name, What: "keys out of order"})
		}
		last = append(last[:0], k...)
		c.row(name, k, v)
	}
}

func (c *checker) row(name byte, key, stored []byte) {
	if store.CheckKey(key) != nil || key[0] != name {
		c.found(&store.CorruptError{Table: name, What: "a key that this table cannot hold"})
		return
	}
	if _, err := unseal(key, stored); err != nil {
		c.found(err)
	}
}
