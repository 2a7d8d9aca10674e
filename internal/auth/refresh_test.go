package auth

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	mathrand "math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
	"needlebook/internal/store/storetest"
)

// tablet is the client's side of what this package does: a key, and what it stores before it sends.
type tablet struct {
	private *ecdsa.PrivateKey
	key     DeviceKey
	device  Device
	token   string
	request string // of the refresh under way, stored before it is first sent
}

func newTablet(t testing.TB) *tablet {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	key, ok := DeviceKeyOf(&private.PublicKey)
	if !ok {
		t.Fatal("no P-256 key")
	}
	return &tablet{private: private, key: key}
}

func (b *tablet) sign(t testing.TB, message []byte) []byte {
	t.Helper()
	sig, err := SignP256(rand.Reader, b.private, message)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}

// enrol enrols the tablet in ada's organisation.
func (b *tablet) enrol(t testing.TB, st store.Store, now time.Time) {
	t.Helper()
	mustUpdate(t, st, func(w store.Writer) error {
		c, _, err := NewEnrolment(w, rand.Reader, now, roomOne)
		if err != nil {
			return err
		}
		b.device, err = Enrol(w, rand.Reader, now, c.String(), "", b.key.Bytes(), b.sign(t, EnrolStatement(c, b.key)), uuid.New())
		return err
	})
}

func (b *tablet) signIn(t testing.TB, st store.Store, now time.Time) {
	t.Helper()
	mustUpdate(t, st, func(w store.Writer) error {
		a, err := GetAccount(w, ada().Staff)
		if err != nil {
			return err
		}
		out, err := BeginSignIn(w, rand.Reader, now, a, b.device.ID)
		b.token = out.Token
		return err
	})
}

// refresh calls Refresh as a server does: what it wrote is committed also when it refuses.
func refresh(t testing.TB, st store.Store, now time.Time, token, request string, proof []byte) (out *Refreshed, refusal error) {
	t.Helper()
	mustUpdate(t, st, func(w store.Writer) (err error) {
		out, refusal, err = Refresh(w, now, token, request, proof)
		return err
	})
	return out, refusal
}

func (b *tablet) refresh(t testing.TB, st store.Store, now time.Time, token, request string) (*Refreshed, error) {
	t.Helper()
	return refresh(t, st, now, token, request, b.sign(t, RefreshStatement(token, request)))
}

var (
	clinicA = uuid.MustParse("0190b5a0-0000-7000-8000-00000000000a")
	clinicB = uuid.MustParse("0190b5a0-0000-7000-8000-00000000000b")
)

func newSignedIn(t testing.TB) (store.Store, *tablet) {
	t.Helper()
	st := storetest.NewMemory()
	mustUpdate(t, st, func(w store.Writer) error {
		_, err := SetPositions(w, ada().Org, ada().Staff, ada().Positions, false)
		return err
	})
	b := newTablet(t)
	b.enrol(t, st, start)
	b.signIn(t, st, start)
	return st, b
}

var refreshCount = flag.Int("refreshes", 1000, "how many refreshes TestRefreshOverBadRadio makes")

// TestRefreshOverBadRadio loses half of all requests and half of all answers, with waits from seconds to hours between the tries: an honest
// tablet is never signed out. The seed is fixed; a failure replays.
func TestRefreshOverBadRadio(t *testing.T) {
	st, b := newSignedIn(t)
	now := start
	chance := mathrand.New(mathrand.NewPCG(1, 2))
	refreshes, replays, lost := 0, 0, 0
	for refreshes < *refreshCount {
		if b.request == "" {
			b.request = fmt.Sprintf("request %d", refreshes)
		}
		wait := time.Duration(chance.IntN(20)) * time.Second
		if chance.IntN(20) == 0 {
			wait = time.Duration(chance.IntN(12)) * time.Hour // no signal for a day's visits
		}
		if now = now.Add(wait); now.Sub(start) > SignInLife-24*time.Hour {
			now = start.Add(SignInLife - 24*time.Hour)
		}
		if chance.IntN(2) == 0 {
			lost++
			continue // the request is lost
		}
		out, refusal := b.refresh(t, st, now, b.token, b.request)
		if refusal != nil {
			t.Fatalf("refresh %d at %v: %v", refreshes, now.Sub(start), refusal)
		}
		if out.Replayed {
			replays++
		}
		if chance.IntN(2) == 0 {
			lost++
			continue // the answer is lost
		}
		b.token, b.request = out.Token, ""
		refreshes++
	}
	t.Logf("%d refreshes, %d messages lost, %d answers given again, no sign-out", refreshes, lost, replays)
	if replays == 0 {
		t.Error("no answer was ever lost: the test proves nothing")
	}
}

func TestReuseEndsTheSignIn(t *testing.T) {
	for _, c := range []struct {
		name    string
		use     bool // the successor was used before the old token comes again
		request string
		wait    time.Duration
		good    bool
		ends    bool
	}{
		{"same request at once", false, "r1", 0, true, false},
		{"same request after 60 s", false, "r1", ReplayWindow, true, false},
		{"same request after hours, successor unused: a lost answer", false, "r1", 5 * time.Hour, true, false},
		{"other request within 60 s: two windows of one client", false, "r2", ReplayWindow, false, false},
		{"other request after 60 s", false, "r2", ReplayWindow + time.Millisecond, false, true},
		{"no request id after 60 s", false, "", ReplayWindow + time.Millisecond, false, true},
		{"same request, successor used", true, "r1", 0, false, true},
		{"same request after 60 s, successor used", true, "r1", ReplayWindow + time.Second, false, true},
		{"other request, successor used", true, "r9", time.Hour, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			st, b := newSignedIn(t)
			first := b.token
			second, refusal := b.refresh(t, st, start, first, "r1")
			if refusal != nil {
				t.Fatal(refusal)
			}
			newest := second
			if c.use {
				if newest, refusal = b.refresh(t, st, start, second.Token, "r5"); refusal != nil {
					t.Fatal(refusal)
				}
			}
			out, refusal := b.refresh(t, st, start.Add(c.wait), first, c.request)
			if (refusal == nil) != c.good || errors.Is(refusal, ErrReuse) != c.ends {
				t.Errorf("old token again: %v", refusal)
			}
			if c.good && (out.Token != second.Token || !out.Replayed) {
				t.Error("the answer given again is another one")
			}
			_, after := b.refresh(t, st, start.Add(c.wait), newest.Token, "r7")
			if (after != nil) != c.ends {
				t.Errorf("newest token after it: %v, want ended %v", after, c.ends)
			}
		})
	}
}

func TestEveryOldTokenEndsTheSignIn(t *testing.T) {
	for age := 1; age <= 20; age++ {
		st, b := newSignedIn(t)
		stolen := b.token
		for n := range age {
			out, refusal := b.refresh(t, st, start, b.token, fmt.Sprint("r", n))
			if refusal != nil {
				t.Fatal(refusal)
			}
			b.token = out.Token
		}
		if _, refusal := b.refresh(t, st, start.Add(time.Hour), stolen, "thief"); !errors.Is(refusal, ErrReuse) {
			t.Errorf("token %d old: %v", age, refusal)
		}
		if _, refusal := b.refresh(t, st, start.Add(time.Hour), b.token, "honest"); !refused(refusal) {
			t.Errorf("sign-in goes on after the re-use of a token %d old", age)
		}
	}
}

func TestNoiseEndsNothing(t *testing.T) {
	st, b := newSignedIn(t)
	for i := range b.token {
		m := []byte(b.token)
		m[i] ^= 1
		if out, refusal := b.refresh(t, st, start, string(m), "r1"); out != nil || !refused(refusal) || errors.Is(refusal, ErrReuse) {
			t.Errorf("byte %d changed: %v %v", i, out, refusal)
		}
	}
	for _, s := range []string{"", "x", b.token + "A", b.token[:len(b.token)-1], b.token + "\n", b.token[:10] + "\n" + b.token[11:]} {
		if out, refusal := b.refresh(t, st, start, s, "r1"); out != nil || !refused(refusal) {
			t.Errorf("%q: %v %v", s, out, refusal)
		}
	}
	if _, refusal := b.refresh(t, st, start, b.token, "r1"); refusal != nil {
		t.Errorf("the good token after all that: %v", refusal)
	}
}

func TestRefreshIsBoundToTheDevice(t *testing.T) {
	st, b := newSignedIn(t)
	thief := newTablet(t)
	thief.enrol(t, st, start)
	for name, proof := range map[string][]byte{
		"no proof":             nil,
		"another device's":     thief.sign(t, RefreshStatement(b.token, "r1")),
		"of another request":   b.sign(t, RefreshStatement(b.token, "r2")),
		"of another statement": b.sign(t, []byte(b.token+"r1")),
		"parts shifted":        b.sign(t, RefreshStatement(b.token+"r", "1")),
		"all zeros":            make([]byte, SignatureBytes),
	} {
		if _, refusal := refresh(t, st, start, b.token, "r1", proof); !refused(refusal) {
			t.Errorf("%s: %v", name, refusal)
		}
	}
	if _, refusal := b.refresh(t, st, start, b.token, "r1"); refusal != nil {
		t.Error(refusal)
	}
}

func TestRefreshEnds(t *testing.T) {
	past := func(st store.Store, b *tablet, at time.Duration) error {
		_, refusal := b.refresh(t, st, start.Add(at), b.token, "r1")
		return refusal
	}
	st, b := newSignedIn(t)
	if err := past(st, b, RefreshLife); !refused(err) {
		t.Errorf("after RefreshLife: %v", err)
	}
	st, b = newSignedIn(t)
	mustUpdate(t, st, func(w store.Writer) error {
		_, err := RevokeDevice(w, start, ada().Org, b.device.ID, ada().Staff)
		return err
	})
	if err := past(st, b, 0); !fault.Has(err, faultv1.Reason_REASON_DEVICE_REVOKED) {
		t.Errorf("revoked device: %v", err)
	}
	st, b = newSignedIn(t)
	mustUpdate(t, st, func(w store.Writer) error { _, err := SetPositions(w, ada().Org, ada().Staff, nil, true); return err })
	if err := past(st, b, 0); !refused(err) {
		t.Errorf("suspended: %v", err)
	}
	mustUpdate(t, st, func(w store.Writer) error { _, err := SetPositions(w, ada().Org, ada().Staff, nil, false); return err })
	if err := past(st, b, 0); !refused(err) {
		t.Errorf("let in again, but the old sign-in goes on: %v", err)
	}
	st, b = newSignedIn(t)
	mustUpdate(t, st, func(w store.Writer) error { return EndSignIn(w, b.token) })
	if err := past(st, b, 0); !refused(err) {
		t.Errorf("signed out: %v", err)
	}
}

// TestStoreHoldsNoSecret looks for the token's secret and the code in every stored byte.
func TestStoreHoldsNoSecret(t *testing.T) {
	st, b := newSignedIn(t)
	out, refusal := b.refresh(t, st, start, b.token, "r1")
	if refusal != nil {
		t.Fatal(refusal)
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		return scan(r, makeKey(keyFamily), func(_ []byte, f family) error {
			for _, text := range []string{b.token, out.Token} {
				parsed, _ := parseRefreshToken(text)
				for name, stored := range map[string][]byte{"current": f.Current, "previous": f.Previous, "key": f.Key} {
					if string(stored) == string(parsed.secret[:]) {
						t.Errorf("the secret is stored as %s", name)
					}
				}
			}
			return nil
		})
	})
}

func FuzzParseRefreshToken(f *testing.F) {
	f.Add(refreshToken{family: uuid.New()}.String())
	f.Add("AAAA")
	f.Fuzz(func(t *testing.T, s string) {
		if token, err := parseRefreshToken(s); err == nil && token.String() != s {
			t.Errorf("%q prints as %q", s, token)
		}
	})
}
