package auth

import (
	"container/list"
	"net/netip"
	"strconv"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/time/rate"

	"needlebook/internal/fault"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// Limits of tries. A source is an enrolled device that proved itself, or else a network address.
const (
	// addressBurst tries at once from one address, then one every addressEvery.
	addressBurst = 30
	addressEvery = 2 * time.Second
	// accountBurst tries at once on one account from one source; from then on each failure doubles the time between tries, from accountEvery
	// to slowest.
	accountBurst = 5
	accountEvery = 15 * time.Second
	// strangerBurst tries at once on one account from all addresses together; devices do not count and are not held up.
	strangerBurst = 20
	slowest       = time.Hour
	// forgiven is how long a source must be silent before its failures no longer count.
	forgiven = 24 * time.Hour
	// maxLimited bounds how many accounts and how many addresses are remembered; the longest unused is forgotten first.
	maxLimited = 20000
)

// Source is where a try comes from.
type Source struct {
	// Address is the network address; the zero value stands for all that have none.
	Address netip.Addr
	// Device is an enrolled device that proved to hold its key, or uuid.Nil. Never set it from an unproven claim: a stranger who can name a
	// device could then hold it up.
	Device uuid.UUID
}

// network is the address as it is counted: a whole /64 for IPv6, because one subscriber has as many.
func (s Source) network() string {
	a := s.Address.Unmap()
	if a.Is6() {
		p, _ := a.WithZone("").Prefix(64)
		return p.String()
	}
	return a.String()
}

func (s Source) known() bool { return s.Device != uuid.Nil }

func (s Source) String() string {
	if s.known() {
		return "device " + s.Device.String()
	}
	return "address " + s.network()
}

// Limiter slows down who tries passwords and codes. Failures on an account slow down only the source that made them and, all together,
// strangers: who sits at an enrolled device is held up by nobody else. It keeps at most maxLimited accounts and addresses in memory, forgets
// all when the server stops, and may be used concurrently.
type Limiter struct {
	mu        sync.Mutex
	addresses *buckets
	accounts  *buckets
}

// NewLimiter returns a limiter that remembers nothing yet.
func NewLimiter() *Limiter {
	return &Limiter{addresses: newBuckets(maxLimited), accounts: newBuckets(maxLimited)}
}

// Try counts a try on an account (a name to sign in with) and returns nil when it may go on, or
// RATE_LIMITED with the figure retry_after_ms. Every try counts as a failure until Succeed is called.
func (l *Limiter) Try(now time.Time, account string, from Source) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.tryAddress(now, from); err != nil {
		return err
	}
	if wait := l.accounts.take(now, account+"\x00"+from.String(), accountBurst, accountEvery, slowest); wait > 0 {
		return limited(wait)
	}
	if !from.known() {
		if wait := l.accounts.take(now, account, strangerBurst, accountEvery, slowest); wait > 0 {
			return limited(wait)
		}
	}
	return nil
}

// TryAddress counts a try against the address alone, for codes and invitations: they are too long to guess, and a limit over all strangers would
// let one keep the others from enrolling.
func (l *Limiter) TryAddress(now time.Time, from Source) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.tryAddress(now, from)
}

func (l *Limiter) tryAddress(now time.Time, from Source) error {
	if from.known() {
		return nil
	}
	if wait := l.addresses.take(now, from.network(), addressBurst, addressEvery, addressEvery); wait > 0 {
		return limited(wait)
	}
	return nil
}

// Succeed forgets the failures of this source on the account, and that its last try was one. Those of other strangers stay.
func (l *Limiter) Succeed(now time.Time, account string, from Source) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.accounts.forget(account + "\x00" + from.String())
	if !from.known() {
		l.accounts.pardon(now, account)
	}
}

func limited(wait time.Duration) error {
	return fault.New(faultv1.Reason_REASON_RATE_LIMITED, "", "", "").With("retry_after_ms", strconv.FormatInt(wait.Milliseconds()+1, 10))
}

// buckets are token buckets by key, at most max of them, the longest unused forgotten first. Not for concurrent use.
type buckets struct {
	max   int
	byKey map[string]*list.Element
	order *list.List // of *bucket, the latest used in front
}

type bucket struct {
	key         string
	burst       int
	every, most time.Duration
	failures    int
	last        time.Time
	limit       *rate.Limiter
}

// pace sets the time between tries: each failure beyond the burst doubles it, however slowly they come.
func (k *bucket) pace(now time.Time) {
	every := k.every
	for n := k.burst; n < k.failures && every < k.most; n++ {
		every = min(2*every, k.most)
	}
	k.limit.SetLimitAt(now, rate.Every(every))
}

func newBuckets(max int) *buckets {
	return &buckets{max: max, byKey: map[string]*list.Element{}, order: list.New()}
}

// take takes one try, counts it as a failure and returns 0; or returns how long to wait.
func (b *buckets) take(now time.Time, key string, burst int, every, most time.Duration) time.Duration {
	k := b.get(now, key, burst, every, most)
	k.last = now
	r := k.limit.ReserveN(now, 1)
	if wait := r.DelayFrom(now); wait > 0 {
		r.CancelAt(now)
		return wait
	}
	k.failures++
	k.pace(now)
	return 0
}

// pardon takes one failure back.
func (b *buckets) pardon(now time.Time, key string) {
	if e, ok := b.byKey[key]; ok {
		k := e.Value.(*bucket)
		k.failures = max(0, k.failures-1)
		k.pace(now)
	}
}

func (b *buckets) get(now time.Time, key string, burst int, every, most time.Duration) *bucket {
	if e, ok := b.byKey[key]; ok {
		if k := e.Value.(*bucket); now.Sub(k.last) < forgiven {
			b.order.MoveToFront(e)
			return k
		}
		b.forget(key)
	}
	if len(b.byKey) >= b.max {
		last := b.order.Back()
		delete(b.byKey, last.Value.(*bucket).key)
		b.order.Remove(last)
	}
	k := &bucket{key: key, burst: burst, every: every, most: most, limit: rate.NewLimiter(rate.Every(every), burst)}
	b.byKey[key] = b.order.PushFront(k)
	return k
}

func (b *buckets) forget(key string) {
	if e, ok := b.byKey[key]; ok {
		b.order.Remove(e)
		delete(b.byKey, key)
	}
}
