package sim

import (
	"bytes"
	"context"
	"sync"

	"github.com/tidwall/btree"

	"needlebook/internal/store"
)

// Disk is what survives a crash of a simulated store. Its zero value is an empty disk.
type Disk struct {
	rows tree
	// lag is how many of the newest commits are not on the disk though they were acknowledged: 0 in a store that keeps its promise.
	lag    int
	queued []tree
}

// tree is the rows of a store. Copying one costs nothing until one of the two is written to.
type tree = *btree.Map[string, []byte]

// Snapshot is the disk as it is, for a backup.
func (d *Disk) Snapshot() *Disk { return &Disk{rows: d.tree().Copy(), lag: d.lag} }

func (d *Disk) tree() tree {
	if d.rows == nil {
		d.rows = btree.NewMap[string, []byte](0)
	}
	return d.rows
}

// write puts a commit on the disk, behind those that are still on their way.
func (d *Disk) write(t tree) {
	d.queued = append(d.queued, t)
	for len(d.queued) > d.lag {
		d.rows, d.queued = d.queued[0], d.queued[1:]
	}
}

// Failure is how the next operation of a store fails.
type Failure int

// The ways to fail. Each strikes once.
const (
	NoFailure  Failure = iota
	NoRoom             // Update: nothing took effect, and the store goes on
	LostCommit         // Update: the power went before the commit was on the disk
	LateCommit         // Update: the commit is on the disk, and its caller is told that it failed
	NoRead             // View: fails before it reads
	LateRead           // View: fails after it read
)

// Store is a store.Store in memory with a disk under it. Where Fail strikes with LostCommit or LateCommit, the store has failed and must be opened anew.
type Store struct {
	disk *Disk
	turn chan struct{} // held by the Update that runs

	mu     sync.Mutex // guards what follows
	rows   tree       // never written to: each commit puts another in its place
	failed bool
	closed bool
	fail   Failure
}

// OpenStore opens what is on a disk.
func OpenStore(d *Disk) *Store {
	d.queued = nil
	return &Store{disk: d, turn: make(chan struct{}, 1), rows: d.tree().Copy()}
}

// Fail makes the next operation of its kind fail.
func (s *Store) Fail(f Failure) { s.fail = f }

// Failed reports whether the store writes no more.
func (s *Store) Failed() bool { return s.failed }

// strikes reports whether the failure that is due is one of those given, and then it is due no more.
func (s *Store) strikes(of ...Failure) Failure {
	for _, f := range of {
		if s.fail == f {
			s.fail = NoFailure
			return f
		}
	}
	return NoFailure
}

// View implements store.Store.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	struck, closed := s.strikes(NoRead, LateRead), s.closed
	rows := s.rows.Copy()
	s.mu.Unlock()
	switch {
	case closed:
		return store.ErrClosed
	case struck == NoRead:
		return store.ErrCorrupt
	}
	tx := &transaction{ctx: ctx, rows: rows}
	defer func() { tx.done = true }()
	if err := fn(tx); err != nil {
		return err
	}
	if struck == LateRead {
		return store.ErrCorrupt
	}
	return nil
}

// Update implements store.Store.
func (s *Store) Update(ctx context.Context, fn func(store.Writer) error) error {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	s.mu.Lock()
	struck, closed, failed := s.strikes(NoRoom, LostCommit, LateCommit), s.closed, s.failed
	rows := s.rows.Copy()
	s.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case closed:
		return store.ErrClosed
	case failed:
		return store.ErrFailed
	case struck == NoRoom:
		return store.ErrDiskFull
	}
	tx := &transaction{ctx: context.Background(), rows: rows, writes: true}
	defer func() { tx.done = true }()
	if err := fn(tx); err != nil {
		return err
	}
	if tx.refused != nil {
		return tx.refused
	}
	return s.commit(rows, struck)
}

func (s *Store) commit(rows tree, struck Failure) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if struck == LostCommit {
		s.failed = true
		return &store.FailedError{Cause: context.DeadlineExceeded}
	}
	s.rows = rows
	s.disk.write(rows.Copy())
	if struck == LateCommit {
		s.failed = true
		return &store.FailedError{Cause: context.DeadlineExceeded}
	}
	return nil
}

// Check implements store.Store. There is nothing on the way that could be damaged.
func (s *Store) Check(context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return store.ErrClosed
	}
	return nil
}

// Close implements store.Store.
func (s *Store) Close() error {
	s.turn <- struct{}{}
	defer func() { <-s.turn }()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return nil
}

// transaction is a Reader, or a Writer when writes is set.
type transaction struct {
	ctx     context.Context
	rows    tree
	writes  bool
	done    bool
	refused error
}

func (t *transaction) Get(key []byte) ([]byte, error) {
	if t.done {
		return nil, store.ErrDone
	}
	if err := store.CheckKey(key); err != nil {
		return nil, err
	}
	v, ok := t.rows.Get(string(key))
	if !ok {
		return nil, store.ErrNotFound
	}
	return bytes.Clone(v), nil
}

// scan is what both directions share: the rows to go over and the range, whose ends are in one table.
func (t *transaction) scan(lo, hi []byte) (rows tree, low, high string, err error) {
	if t.done {
		return nil, "", "", store.ErrDone
	}
	if err := store.CheckKey(lo); err != nil {
		return nil, "", "", err
	}
	rows = t.rows
	if t.writes {
		rows = t.rows.Copy() // the scan goes on over what was there when it began
	}
	low = string(lo)
	if lo[0] == 0xff {
		high = string(bytes.Repeat([]byte{0xff}, store.MaxKeyBytes+1))
	} else {
		high = string([]byte{lo[0] + 1})
	}
	if len(hi) > 0 && string(hi) < high {
		high = string(hi)
	}
	return rows, low, high, t.ctx.Err()
}

func (t *transaction) Scan(lo, hi []byte, fn func(key, value []byte) error) error {
	rows, low, high, err := t.scan(lo, hi)
	if err != nil {
		return err
	}
	rows.Ascend(low, func(key string, value []byte) bool {
		if key >= high {
			return false
		}
		err = t.visit(key, value, fn)
		return err == nil
	})
	return stopped(err)
}

func (t *transaction) ScanDown(hi, lo []byte, fn func(key, value []byte) error) error {
	rows, low, high, err := t.scan(lo, hi)
	if err != nil {
		return err
	}
	rows.Descend(high, func(key string, value []byte) bool {
		if key >= high {
			return true
		}
		if key < low {
			return false
		}
		err = t.visit(key, value, fn)
		return err == nil
	})
	return stopped(err)
}

func (t *transaction) visit(key string, value []byte, fn func(key, value []byte) error) error {
	if err := fn([]byte(key), bytes.Clone(value)); err != nil {
		return err
	}
	return t.ctx.Err()
}

func stopped(err error) error {
	if err == store.Stop {
		return nil
	}
	return err
}

func (t *transaction) Put(key, value []byte) error {
	err := t.writable(key)
	if err == nil {
		err = store.CheckValue(value)
	}
	if err != nil {
		return t.refuse(err)
	}
	t.rows.Set(string(key), bytes.Clone(value))
	return nil
}

func (t *transaction) Delete(key []byte) error {
	if err := t.writable(key); err != nil {
		return t.refuse(err)
	}
	t.rows.Delete(string(key))
	return nil
}

func (t *transaction) writable(key []byte) error {
	if t.done {
		return store.ErrDone
	}
	return store.CheckKey(key)
}

// refuse remembers a write that was refused: the whole Update fails with it.
func (t *transaction) refuse(err error) error {
	if t.refused == nil && !t.done {
		t.refused = err
	}
	return err
}
