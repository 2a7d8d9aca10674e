// Package store is the contract of an ordered, durable key-value store with transactions: what the ledger, the
// accounts and the audit log stand on. It holds no implementation; package boltstore is one, and package storetest
// is the suite that every implementation passes.
//
// A key is 1 to [MaxKeyBytes] bytes. Its first byte names its table; keys order as bytes do, and a scan never leaves
// its table. A value is 1 to [MaxValueBytes] bytes: an empty value is refused, because engines differ in whether
// they can tell it from an absent one. Larger things are files (package blob).
//
// What it promises: a [Reader] sees one snapshot; an Update takes effect whole or not at all; Update returns nil only
// when a power cut can no longer undo it; a value whose bytes changed on the disk is never returned as if it were true.
package store

import "context"

// Limits of keys and values, in bytes.
const (
	MaxKeyBytes   = 512
	MaxValueBytes = 64 << 10
)

// A Reader sees one consistent snapshot. It is for one goroutine, and only until the function that it was given to
// returns; after that its methods answer [ErrDone].
type Reader interface {
	// Get returns the value of key, or nil and ErrNotFound. The slice is the caller's to keep and to change.
	Get(key []byte) ([]byte, error)

	// Scan calls fn for each key with lo <= key < hi, ascending. lo must not be empty; its first byte names the
	// table, and the scan ends with that table whatever hi is; hi nil means the end of the table. Key and value are
	// copies, fn's to keep and to change. When fn returns Stop the scan ends and Scan returns nil; any other error
	// of fn ends the scan and is returned as it is. fn may write through the Writer it scans: the scan goes on over
	// what was there when it began.
	Scan(lo, hi []byte, fn func(key, value []byte) error) error

	// ScanDown is Scan over the same keys, lo <= key < hi, descending: with Stop it finds the last key of a range.
	ScanDown(hi, lo []byte, fn func(key, value []byte) error) error
}

// A Writer reads its own writes. A write that is refused (a SizeError) makes the whole Update fail with that error,
// even if the function that made it returns nil.
type Writer interface {
	Reader

	// Put sets key to value. Both are copied before Put returns.
	Put(key, value []byte) error

	// Delete removes key; a key that is absent is no error.
	Delete(key []byte) error
}

// A Store is safe for concurrent use. Inside a function given to View or Update, call no method of the Store: it
// would wait for itself.
type Store interface {
	// View calls fn with a snapshot of what was durable when it began. Keep it short, and never do network
	// input or output inside: a held snapshot keeps every page that was replaced since. When ctx ends, scans end
	// with its error. View returns fn's error as it is.
	View(ctx context.Context, fn func(Reader) error) error

	// Update calls fn once, alone, on the caller's goroutine. fn sees what earlier Updates wrote, those of the same
	// commit too. When fn returns an error, or panics, none of its writes take effect and no one else's are touched.
	// Update returns nil only after the commit is on disk; then View sees it. fn is not called at all when Update
	// returns before its turn: ctx ended (its error), ErrClosed, ErrFailed, ErrDiskFull. Once fn has run, ctx no
	// longer matters: Update waits for the disk, so that its answer is the truth.
	//
	// ErrDiskFull: nothing of it took effect; try again when there is room. ErrFailed: the disk failed under the
	// store, and nobody can say whether this commit survives a power cut; the process must open the store anew.
	Update(ctx context.Context, fn func(Writer) error) error

	// Check proves every invariant of the store and returns what is broken, joined. It reads everything, and
	// Updates wait meanwhile.
	Check(ctx context.Context) error

	// Close waits for what runs and releases the store. Updates that wait for their turn get ErrClosed.
	Close() error
}
