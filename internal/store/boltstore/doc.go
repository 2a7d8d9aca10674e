// Package boltstore is a store.Store in one bbolt file.
//
// Open it once per process, give it to whoever needs a store, Close it last. One bucket holds each table, named by the
// table's byte; the bucket "meta" holds the schema version, the store's id and when it was made. docs/format.md has
// the bytes.
//
// Group commit: Updates queue; one goroutine begins a transaction, lets each queued function run in its turn on its
// caller's goroutine, and commits once for all of them. Whoever comes while a commit runs joins the next one. There is
// no timer: alone, an Update costs one commit; with many callers the disk's sync is shared by all that waited for it.
// Each function writes into an overlay of its own, which is laid over the transaction for its reads and merged into it
// only when the function succeeds; so a failing one undoes nothing of the others.
//
// Each value is followed by a checksum of key and value, since bbolt has none on its data pages: damage is an error,
// never a wrong dose.
//
// What it promises when the disk fails is in failure.go, in one table.
package boltstore
