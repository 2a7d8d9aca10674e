package service

import (
	"container/list"
	"strconv"
	"sync"
	"time"

	"golang.org/x/time/rate"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// Limits of one server.
const (
	// MaxMessageBytes bounds a message, unpacked.
	MaxMessageBytes = 4 << 20
	// MaxRunning bounds the calls that run at once, all together; MaxRunningOfOne those of one device, person or unknown address.
	MaxRunning      = 512
	MaxRunningOfOne = 16
	// callsPerSecond and callsBurst bound how often one device, person or unknown address may call.
	callsPerSecond = 200
	callsBurst     = 1000
	// fullPullsAtOnce pulls from the beginning, then one every fullPullEvery: a tablet needs one, and its first may be cut off.
	fullPullsAtOnce = 4
	fullPullEvery   = 30 * time.Minute
	// maxCounted bounds how many are remembered in one table of limits; the longest unused is forgotten.
	maxCounted = 20000
)

// running counts the calls that run and how often each comes, so that one client cannot starve the others. It may be used concurrently.
type running struct {
	now func() time.Time

	mu    sync.Mutex
	total int
	ofOne map[string]int
	pace  *paces
}

func newRunning(now func() time.Time) *running {
	return &running{now: now, ofOne: map[string]int{}, pace: newPaces(rate.Limit(callsPerSecond), callsBurst)}
}

// enter lets a call in, and makes its release; or it is RATE_LIMITED.
func (r *running) enter(c *call) error {
	who := c.from.String()
	if !c.principal.Nobody() && c.principal.Device == [16]byte{} {
		who = "staff " + c.principal.Staff.String()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.total >= MaxRunning || r.ofOne[who] >= MaxRunningOfOne {
		return rateLimited(time.Second)
	}
	if wait := r.pace.take(r.now(), who); wait > 0 {
		return rateLimited(wait)
	}
	r.total++
	r.ofOne[who]++
	c.release = sync.OnceFunc(func() { r.leave(who) })
	return nil
}

func (r *running) leave(who string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.total--
	if r.ofOne[who]--; r.ofOne[who] <= 0 {
		delete(r.ofOne, who)
	}
}

// Running is how many calls run.
func (r *running) Running() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.total
}

func rateLimited(wait time.Duration) *fault.Error {
	return fault.New(faultv1.Reason_REASON_RATE_LIMITED, "", "", "").With("retry_after_ms", strconv.FormatInt(wait.Milliseconds()+1, 10))
}

// paces is a token bucket for each key. It is not for concurrent use.
type paces struct {
	limit rate.Limit
	burst int
	byKey map[string]*list.Element
	order *list.List // of *paced, the latest used in front
}

type paced struct {
	key     string
	limiter *rate.Limiter
}

func newPaces(limit rate.Limit, burst int) *paces {
	return &paces{limit: limit, burst: burst, byKey: map[string]*list.Element{}, order: list.New()}
}

func (p *paces) get(key string) *rate.Limiter {
	if e, ok := p.byKey[key]; ok {
		p.order.MoveToFront(e)
		return e.Value.(*paced).limiter
	}
	if len(p.byKey) >= maxCounted {
		last := p.order.Back()
		delete(p.byKey, last.Value.(*paced).key)
		p.order.Remove(last)
	}
	k := &paced{key: key, limiter: rate.NewLimiter(p.limit, p.burst)}
	p.byKey[key] = p.order.PushFront(k)
	return k.limiter
}

// take takes one and returns 0, or how long to wait.
func (p *paces) take(now time.Time, key string) time.Duration {
	r := p.get(key).ReserveN(now, 1)
	wait := r.DelayFrom(now)
	if wait > 0 {
		r.CancelAt(now)
	}
	return wait
}

// fullPulls limits pulls from the beginning. It may be used concurrently.
type fullPulls struct {
	mu   sync.Mutex
	pace *paces
}

func newFullPulls() *fullPulls {
	return &fullPulls{pace: newPaces(rate.Every(fullPullEvery), fullPullsAtOnce)}
}

// take takes one pull of a device and returns how to give it back when it brought nothing, or how long to wait.
func (f *fullPulls) take(now time.Time, device string) (giveBack func(), wait time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	r := f.pace.get(device).ReserveN(now, 1)
	if wait := r.DelayFrom(now); wait > 0 {
		r.CancelAt(now)
		return nil, wait
	}
	return func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		// A reservation whose time has come can no longer be cancelled, so the bucket gets its token by a negative take.
		f.pace.get(device).ReserveN(now, -1)
	}, 0
}
