package boltstore

import (
	"context"
	"fmt"

	"go.etcd.io/bbolt"

	"needlebook/internal/store"
)

// Bounds of one commit: those who come after wait for the next, so that no one waits long behind others' megabytes.
const (
	maxJoined      = 4096
	maxCommitBytes = 16 << 20
)

// Update implements store.Store.
func (s *Store) Update(ctx context.Context, fn func(store.Writer) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r := newRequest()
	if !s.queue.push(r) {
		return store.ErrClosed
	}
	w, err := r.awaitTurn(ctx)
	if err != nil {
		return err
	}
	err = r.run(w, fn)
	// A function that failed waits too: what it saw, and so its error, may rest on writes of this commit.
	if a := <-r.answers; a.err != nil {
		return a.err
	}
	return err
}

// commitLoop is the only writer of the file. It runs until the queue is closed.
func (s *Store) commitLoop() {
	defer close(s.stopped)
	for s.queue.awaitWork() {
		if err := s.refusal(); err != nil {
			s.queue.refuse(err)
			continue
		}
		s.commitOnce()
	}
	s.queue.refuse(store.ErrClosed)
}

// commit is one transaction and those who joined it.
type commit struct {
	t       *tables
	waiters []*request
	broken  error // set: nothing of this commit may reach the disk
}

// commitOnce serves whoever waits, and whoever comes while their functions run.
func (s *Store) commitOnce() {
	tx, err := s.db.Begin(true)
	if err != nil {
		s.queue.refuse(s.fail(err))
		return
	}
	c := &commit{t: newTables(tx, s.cfg.AppendTables)}
	for c.hasRoom() {
		r := s.queue.take()
		if r == nil {
			break
		}
		c.serve(r)
	}
	s.finish(c)
}

func (c *commit) hasRoom() bool {
	return c.broken == nil && len(c.waiters) < maxJoined && c.t.bytes < maxCommitBytes
}

// serve gives r its turn and merges what it wrote.
func (c *commit) serve(r *request) {
	w := newWriter(c.t)
	r.answers <- answer{writer: w}
	o := <-r.ran
	if o.failed && c.t.writes == 0 && c.t.damage == nil {
		r.answers <- answer{} // it saw only what is on disk: its error stands
		return
	}
	c.waiters = append(c.waiters, r)
	if !o.failed && c.t.damage == nil {
		c.broken = c.t.apply(w)
	}
	if c.t.damage != nil {
		c.broken = c.t.damage
	}
}

// finish commits and tells everyone.
func (s *Store) finish(c *commit) {
	err := s.settle(c)
	for _, r := range c.waiters {
		r.answers <- answer{err: err}
	}
}

// settle brings the commit to its end and returns what its waiters are told.
func (s *Store) settle(c *commit) error {
	if c.broken != nil {
		rollback(c.t.tx)
		return s.fail(c.broken)
	}
	if c.t.writes == 0 {
		rollback(c.t.tx)
		s.stats.joined(len(c.waiters))
		return nil
	}
	id := c.t.tx.ID()
	if err := commitTx(c.t.tx); err != nil {
		return s.commitFailed(id, err)
	}
	s.stats.joined(len(c.waiters))
	s.stats.committed(c.t)
	return nil
}

// commitTx commits; a panic of bbolt over a damaged page is an error.
func commitTx(tx *bbolt.Tx) (err error) {
	defer func() {
		if p := recover(); p != nil {
			rollback(tx)
			err = &store.CorruptError{What: fmt.Sprint(p)}
		}
	}()
	return tx.Commit()
}

// rollback ends tx whatever state it is in.
func rollback(tx *bbolt.Tx) {
	defer func() { _ = recover() }() // the tree may be the thing that is damaged; the store has failed already then
	_ = tx.Rollback()
}

// fail makes the store refuse all later Updates and returns the error for those that it hit.
func (s *Store) fail(cause error) error {
	f := &store.FailedError{Cause: cause}
	if !s.failure.CompareAndSwap(nil, f) {
		return s.failure.Load() // the first failure is the one to look into
	}
	s.cfg.Log.Error("store: failed, writes no more until it is opened anew", "cause", cause)
	return f
}
