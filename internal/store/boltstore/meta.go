package boltstore

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// Meta is what a store says of itself.
type Meta struct {
	Schema  uint32    // version of what is stored, from 1
	StoreID uuid.UUID // random, given when the file was made; a copy has the same
	Created time.Time // when the file was made, UTC, to the millisecond
}

// The bucket "meta" and its keys. A table's bucket has a name of one byte, so that no table can be this one.
const (
	metaBucket = "meta"
	keySchema  = "schema"   // uint32, big-endian
	keyStoreID = "store_id" // 16 bytes
	keyCreated = "created"  // milliseconds since 1970, int64, big-endian
)

// writeNewMeta writes the meta bucket of a new file at the newest schema.
func writeNewMeta(tx *bbolt.Tx, cfg Config) error {
	b, err := tx.CreateBucket([]byte(metaBucket))
	if err != nil {
		return err
	}
	id := uuid.New()
	return errors.Join(
		b.Put([]byte(keySchema), binary.BigEndian.AppendUint32(nil, cfg.schema())),
		b.Put([]byte(keyStoreID), id[:]),
		b.Put([]byte(keyCreated), binary.BigEndian.AppendUint64(nil, uint64(cfg.Now().UnixMilli()))),
	)
}

// readMeta reads the meta bucket, strictly.
func readMeta(tx *bbolt.Tx) (Meta, error) {
	b := tx.Bucket([]byte(metaBucket))
	if b == nil {
		return Meta{}, fmt.Errorf("%w: no meta bucket", ErrNotStore)
	}
	schema, id, created := b.Get([]byte(keySchema)), b.Get([]byte(keyStoreID)), b.Get([]byte(keyCreated))
	if len(schema) != 4 || len(id) != 16 || len(created) != 8 {
		return Meta{}, &store.CorruptError{What: fmt.Sprintf("meta has %d, %d, %d bytes, not 4, 16, 8", len(schema), len(id), len(created))}
	}
	m := Meta{
		Schema:  binary.BigEndian.Uint32(schema),
		StoreID: uuid.UUID(id),
		Created: time.UnixMilli(int64(binary.BigEndian.Uint64(created))).UTC(),
	}
	if m.Schema == 0 {
		return Meta{}, &store.CorruptError{What: "schema version 0"}
	}
	return m, nil
}

// migrate brings the file to the newest schema, a transaction a step, and returns its meta.
func migrate(db *bbolt.DB, cfg Config) (m Meta, err error) {
	if err := db.View(func(tx *bbolt.Tx) (err error) { m, err = readMeta(tx); return err }); err != nil {
		return m, err
	}
	if m.Schema > cfg.schema() {
		return m, &store.SchemaError{Have: m.Schema, Want: cfg.schema()}
	}
	for ; m.Schema < cfg.schema(); m.Schema++ {
		if err := migrateStep(db, cfg, m.Schema); err != nil {
			return m, fmt.Errorf("migrate from schema %d: %w", m.Schema, err)
		}
	}
	return m, nil
}

func migrateStep(db *bbolt.DB, cfg Config, from uint32) error {
	return db.Update(func(tx *bbolt.Tx) error {
		t := newTables(tx, cfg.AppendTables)
		w := newWriter(t)
		defer w.end()
		if err := errors.Join(cfg.Migrations[from-1](w), w.refused); err != nil {
			return err
		}
		if err := t.apply(w); err != nil {
			return err
		}
		return tx.Bucket([]byte(metaBucket)).Put([]byte(keySchema), binary.BigEndian.AppendUint32(nil, from+1))
	})
}
