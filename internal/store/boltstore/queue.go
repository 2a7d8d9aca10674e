package boltstore

import (
	"context"
	"sync"
	"sync/atomic"

	"needlebook/internal/store"
)

// request is one Update that waits for its turn.
type request struct {
	state   atomic.Int32 // requestWaiting, then one of the others for ever
	answers chan answer  // from the commit loop: the turn or a refusal, then the commit's result
	ran     chan outcome // to the commit loop: how the function ended
}

const (
	requestWaiting = iota
	requestTaken   // the loop has it
	requestLeft    // its caller went away
)

// answer is what the commit loop tells a caller.
type answer struct {
	writer *writer // set: it is your turn
	err    error
}

// outcome is how a function ended.
type outcome struct{ failed bool }

func newRequest() *request {
	return &request{answers: make(chan answer, 1), ran: make(chan outcome, 1)}
}

// awaitTurn returns the writer when the turn comes. An error means that the function must not run.
func (r *request) awaitTurn(ctx context.Context) (*writer, error) {
	select {
	case a := <-r.answers:
		return r.turn(ctx, a)
	case <-ctx.Done():
		if r.state.CompareAndSwap(requestWaiting, requestLeft) {
			return nil, ctx.Err()
		}
		return r.turn(ctx, <-r.answers)
	}
}

// turn gives the turn back when ctx ended just before it came.
func (r *request) turn(ctx context.Context, a answer) (*writer, error) {
	if a.err != nil {
		return nil, a.err
	}
	if err := ctx.Err(); err != nil {
		r.ran <- outcome{failed: true}
		return nil, err
	}
	return a.writer, nil
}

// run calls fn and reports how it ended, also when it panics or ends its goroutine.
func (r *request) run(w *writer, fn func(store.Writer) error) (err error) {
	o := outcome{failed: true}
	defer func() {
		w.end()
		r.ran <- o
	}()
	if err = fn(w); err == nil {
		err = w.refused
	}
	o.failed = err != nil
	return err
}

// queue holds the requests that wait, first come first served.
type queue struct {
	mu      sync.Mutex
	waiting []*request
	closed  bool

	wake chan struct{} // holds one token when something changed
}

func newQueue() queue { return queue{wake: make(chan struct{}, 1)} }

// push adds r unless the queue is closed.
func (q *queue) push(r *request) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return false
	}
	q.waiting = append(q.waiting, r)
	q.signal()
	return true
}

func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	q.signal()
}

func (q *queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// take returns the next request whose caller still waits, or nil.
func (q *queue) take() *request {
	q.mu.Lock()
	defer q.mu.Unlock()
	for len(q.waiting) > 0 {
		r := q.waiting[0]
		q.waiting[0] = nil
		q.waiting = q.waiting[1:]
		if r.state.CompareAndSwap(requestWaiting, requestTaken) {
			return r
		}
	}
	return nil
}

// awaitWork returns false when the queue is closed.
func (q *queue) awaitWork() bool {
	for {
		q.mu.Lock()
		work, closed := len(q.waiting) > 0, q.closed
		q.mu.Unlock()
		if closed || work {
			return !closed
		}
		<-q.wake
	}
}

// refuse answers with err everyone who waits now. Whoever comes later, and be it because of this answer, is not refused
// on old grounds.
func (q *queue) refuse(err error) {
	q.mu.Lock()
	waiting := q.waiting
	q.waiting = nil
	q.mu.Unlock()
	for _, r := range waiting {
		if r.state.CompareAndSwap(requestWaiting, requestTaken) {
			r.answers <- answer{err: err}
		}
	}
}
