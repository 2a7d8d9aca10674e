package auth

import (
	"fmt"
	"net/netip"
	"testing"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/fault"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

var start = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func address(n int) Source {
	return Source{Address: netip.AddrFrom4([4]byte{198, 51, byte(n >> 8), byte(n)})} // 198.51.100.0/24 is for documentation, RFC 5737
}

func TestLimiterSlowsOneSource(t *testing.T) {
	l := NewLimiter()
	allowed := 0
	for second := range 3600 {
		if l.Try(start.Add(time.Duration(second)*time.Second), "ada", address(1)) == nil {
			allowed++
		}
	}
	// 5 at once, then after 30, 60, ... seconds.
	if allowed < accountBurst+3 || allowed > 15 {
		t.Errorf("%d tries in an hour of guessing, want about 11", allowed)
	}
}

// 100 failures on one account is where NIST SP 800-63B-4 section 3.2.2 (from memory) stops an authenticator. Strangers get there slowly.
func TestLimiterHoldsUpManyAddresses(t *testing.T) {
	l := NewLimiter()
	allowed := 0
	for minute := range 48 * 60 {
		for n := range 5 {
			if l.Try(start.Add(time.Duration(minute)*time.Minute), "ada", address(minute*5+n)) == nil {
				allowed++
			}
		}
	}
	if allowed > 100 {
		t.Errorf("%d tries in two days from %d addresses, want at most 100", allowed, 48*60*5)
	}
}

// A patient guesser who stays below the first pace is slowed down all the same.
func TestLimiterSlowsPatientGuessing(t *testing.T) {
	l := NewLimiter()
	allowed := 0
	for n := range 2 * 24 * 3600 / 16 {
		if l.Try(start.Add(time.Duration(n)*16*time.Second), "ada", address(1)) == nil {
			allowed++
		}
	}
	if allowed > 70 {
		t.Errorf("%d tries in two days, one every 16 s, want at most 70", allowed)
	}
}

func TestLimiterDoesNotLockOthersOut(t *testing.T) {
	l := NewLimiter()
	tablet := Source{Address: address(1).Address, Device: uuid.New()}
	for n := range 10000 {
		_ = l.Try(start, "ada", address(n))
	}
	if err := l.Try(start, "ada", tablet); err != nil {
		t.Errorf("an enrolled tablet is held up by strangers: %v", err)
	}
	if err := l.Try(start, "ben", address(20000)); err != nil {
		t.Errorf("another account from another address: %v", err)
	}
}

func TestLimiterSucceedForgets(t *testing.T) {
	l := NewLimiter()
	for n := range 15 {
		if err := l.Try(start, "ada", address(1)); err != nil {
			t.Fatalf("try %d: %v", n, err)
		}
		l.Succeed(start, "ada", address(1))
	}
}

func TestLimiterSaysWhen(t *testing.T) {
	l := NewLimiter()
	var err error
	for range accountBurst + 1 {
		err = l.Try(start, "ada", address(1))
	}
	e := fault.Of(err)
	if !fault.Has(err, faultv1.Reason_REASON_RATE_LIMITED) {
		t.Fatalf("got %v", err)
	}
	var ms int64
	if _, scan := fmt.Sscan(e.Meta["retry_after_ms"], &ms); scan != nil || ms <= 0 {
		t.Fatalf("retry_after_ms is %q", e.Meta["retry_after_ms"])
	}
	if err := l.Try(start.Add(time.Duration(ms)*time.Millisecond), "ada", address(1)); err != nil {
		t.Errorf("after the time named: %v", err)
	}
}

func TestLimiterMemoryIsBounded(t *testing.T) {
	l := NewLimiter()
	for n := range 3 * maxLimited {
		_ = l.Try(start, fmt.Sprint("name", n), Source{Address: netip.AddrFrom4([4]byte{10, byte(n >> 16), byte(n >> 8), byte(n)})})
	}
	if got := len(l.addresses.byKey); got != maxLimited || l.addresses.order.Len() != got {
		t.Errorf("%d addresses kept, want %d", got, maxLimited)
	}
	if got := len(l.accounts.byKey); got != maxLimited || l.accounts.order.Len() != got {
		t.Errorf("%d accounts kept, want %d", got, maxLimited)
	}
}

func TestNetworkOfIPv6IsTheSubscriber(t *testing.T) {
	a, b := Source{Address: netip.MustParseAddr("2001:db8::1")}, Source{Address: netip.MustParseAddr("2001:db8::ffff:1")}
	if a.network() != b.network() {
		t.Errorf("%s and %s count apart", a.network(), b.network())
	}
	if c := (Source{Address: netip.MustParseAddr("::ffff:198.51.100.7")}); c.network() != "198.51.100.7" {
		t.Errorf("mapped address counts as %s", c.network())
	}
}
