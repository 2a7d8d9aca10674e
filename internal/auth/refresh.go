package auth

import (
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// Times of refresh tokens.
const (
	// RefreshLife is how long a sign-in lasts without being used; each refresh begins it anew, up to SignInLife.
	RefreshLife = 30 * 24 * time.Hour
	// SignInLife is how long a sign-in lasts at most.
	SignInLife = 180 * 24 * time.Hour
	// ReplayWindow is how long the answer to a lost refresh is given again to the same request.
	ReplayWindow = 60 * time.Second
)

// A refresh token is the family's id, a 256-bit secret, and a tag that tells a token of this family, however old, from noise; as text,
// base64url of all three without padding.
const refreshBytes = 16 + 32 + 16

type refreshToken struct {
	family uuid.UUID
	secret [32]byte
	tag    [16]byte
}

func (t refreshToken) String() string {
	return base64.RawURLEncoding.EncodeToString(slices.Concat(t.family[:], t.secret[:], t.tag[:]))
}

// parseRefreshToken reads what String writes and nothing else.
func parseRefreshToken(s string) (refreshToken, error) {
	if len(s) != base64.RawURLEncoding.EncodedLen(refreshBytes) {
		return refreshToken{}, errUnauthenticated()
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(s)
	if err != nil || len(b) != refreshBytes {
		return refreshToken{}, errUnauthenticated()
	}
	t := refreshToken{family: uuid.UUID(b[:16]), secret: [32]byte(b[16:48]), tag: [16]byte(b[48:])}
	if t.String() != s { // the decoder skips line ends
		return refreshToken{}, errUnauthenticated()
	}
	return t, nil
}

// family is one sign-in: the chain of refresh tokens that began with it. Only the newest works.
type family struct {
	Staff      uuid.UUID `json:"staff"`
	Device     uuid.UUID `json:"device"`
	Epoch      uint64    `json:"epoch"` // the account's SignInEpoch
	MadeAtMS   int64     `json:"made_at_unix_ms"`
	TurnedAtMS int64     `json:"turned_at_unix_ms"`
	// Current is the hash of the token that works; Previous of the one before it, and Request the id of the request that traded it.
	Current  []byte `json:"current"`
	Previous []byte `json:"previous"`
	Request  string `json:"request"`
	// Key derives each token from the one before, so that the answer to a lost refresh can be given again though only hashes are stored.
	Key []byte `json:"key"`
	// Dead families refuse everything; they are kept until they would have ended.
	Dead bool `json:"dead"`
}

func (f family) endsAt() time.Time {
	return time.UnixMilli(min(f.TurnedAtMS+RefreshLife.Milliseconds(), f.MadeAtMS+SignInLife.Milliseconds())).UTC()
}

// next derives the token after t for a request. Who holds only the store lacks t; who holds only t lacks the key.
func (f family) next(t refreshToken, request string) refreshToken {
	n := refreshToken{family: t.family, secret: f.mac("needlebook refresh next v1\x00", t.secret[:], []byte(request))}
	n.tag = f.tag(n)
	return n
}

// tag proves that a token was made here, at any time.
func (f family) tag(t refreshToken) [16]byte {
	sum := f.mac("needlebook refresh tag v1\x00", t.family[:], t.secret[:])
	return [16]byte(sum[:16])
}

func (f family) mac(purpose string, parts ...[]byte) [32]byte {
	m := hmac.New(sha256.New, f.Key)
	m.Write([]byte(purpose))
	for _, p := range parts {
		m.Write(p)
	}
	return [32]byte(m.Sum(nil))
}

func (t refreshToken) hash() []byte {
	sum := sha256.Sum256(t.secret[:])
	return sum[:]
}

// Refreshed is the outcome of a refresh.
type Refreshed struct {
	// Account is whose sign-in it is, as it stands now.
	Account Account
	// Device is the device that it is bound to, or uuid.Nil.
	Device uuid.UUID
	// Token is the refresh token to use from now on, and EndsAt when it ends.
	Token  string
	EndsAt time.Time
	// Replayed is true when an answer that was lost is given again.
	Replayed bool
}

// BeginSignIn makes the first refresh token of a sign-in, bound to a device or to none (uuid.Nil).
func BeginSignIn(w store.Writer, random io.Reader, now time.Time, a Account, device uuid.UUID) (Refreshed, error) {
	id, err := uuid.NewRandomFromReader(random)
	if err != nil {
		return Refreshed{}, fmt.Errorf("make sign-in: %w", err)
	}
	f := family{Staff: a.Staff, Device: device, Epoch: a.SignInEpoch, MadeAtMS: now.UnixMilli(), TurnedAtMS: now.UnixMilli(), Key: make([]byte, 32)}
	t := refreshToken{family: id}
	if _, err := io.ReadFull(random, t.secret[:]); err != nil {
		return Refreshed{}, fmt.Errorf("make sign-in: %w", err)
	}
	if _, err := io.ReadFull(random, f.Key); err != nil {
		return Refreshed{}, fmt.Errorf("make sign-in: %w", err)
	}
	t.tag, f.Current = f.tag(t), t.hash()
	return Refreshed{Account: a, Device: device, Token: t.String(), EndsAt: f.endsAt()}, put(w, familyKey(id), f)
}

// ErrReuse is inside the refusal of a refresh token that was traded before, perhaps by someone else: the sign-in was ended.
var ErrReuse = errors.New("a traded refresh token was used again; the sign-in was ended")

// RefreshStatement is what a device signs to refresh: the token and the request, so that a token copied off a tablet opens nothing.
func RefreshStatement(token, request string) []byte {
	return statement("refresh", []byte(token), []byte(request))
}

// Refresh trades a refresh token for the next one. The request id (at most 64 bytes, may be empty) is the client's own, stored before it is
// first sent. The proof is the device's signature over RefreshStatement; it is not read for a sign-in without a device.
//
// A token traded before is answered as before, with the same next token, when the same request asks within ReplayWindow, and also later as
// long as the next token was never used and the request has an id: then the answer was lost and nobody gained by it. Within the window any
// other request is refused and nothing else happens (two windows of one client raced). After it the sign-in is ended, for everyone who holds
// one of its tokens. Bytes that were never a token of the family end nothing.
//
// The first result is nil when the token was refused; refusal then is UNAUTHENTICATED, or DEVICE_REVOKED. err is a failure of the store. On
// a refusal the transaction is to be committed too, because it may have ended the sign-in; the refusal is ErrReuse in that case, for the
// audit log.
func Refresh(w store.Writer, now time.Time, token, request string, proof []byte) (out *Refreshed, refusal, err error) {
	t, bad := parseRefreshToken(token)
	if bad != nil || len(request) > 64 {
		return nil, errUnauthenticated(), nil
	}
	f, err := get[family](w, familyKey(t.family))
	if errors.Is(err, store.ErrNotFound) {
		return nil, errUnauthenticated(), nil
	} else if err != nil {
		return nil, nil, err
	}
	if tag := f.tag(t); f.Dead || !now.Before(f.endsAt()) || subtle.ConstantTimeCompare(tag[:], t.tag[:]) != 1 {
		return nil, errUnauthenticated(), nil
	}
	a, refusal, err := f.holder(w, RefreshStatement(token, request), proof)
	if refusal != nil || err != nil {
		return nil, refusal, err
	}
	return f.turn(w, now, t, request, a)
}

// holder returns the account of the family as it stands, or why it may not refresh.
func (f family) holder(r store.Reader, signed, proof []byte) (a Account, refusal, err error) {
	a, err = get[Account](r, accountKey(f.Staff))
	if errors.Is(err, store.ErrNotFound) {
		return a, errUnauthenticated(), nil
	} else if err != nil {
		return a, nil, err
	}
	if a.Suspended || f.Epoch != a.SignInEpoch {
		return a, errUnauthenticated(), nil
	}
	if f.Device == uuid.Nil {
		return a, nil, nil
	}
	d, err := GetDevice(r, a.Org, f.Device)
	switch {
	case fault.Has(err, faultv1.Reason_REASON_NOT_FOUND):
		return a, errUnauthenticated(), nil
	case err != nil:
		return a, nil, err
	case d.Revoked():
		return a, errDeviceRevoked(), nil
	case d.Key.Verify(signed, proof) != nil:
		return a, errUnauthenticated(), nil
	}
	return a, nil, nil
}

// turn decides by the token's hash: the current one is traded, the previous one may be a lost answer, any other is not of this family's last two.
func (f family) turn(w store.Writer, now time.Time, t refreshToken, request string, a Account) (out *Refreshed, refusal, err error) {
	next := f.next(t, request)
	out = &Refreshed{Account: a, Device: f.Device, Token: next.String()}
	hash := t.hash()
	switch {
	case subtle.ConstantTimeCompare(hash, f.Current) == 1:
		f.Previous, f.Current, f.Request, f.TurnedAtMS = hash, next.hash(), request, now.UnixMilli()
		out.EndsAt = f.endsAt()
		return out, nil, put(w, familyKey(t.family), f)
	case subtle.ConstantTimeCompare(hash, f.Previous) == 1 && f.mayReplay(now, request):
		out.EndsAt, out.Replayed = f.endsAt(), true
		return out, nil, nil
	case f.sinceTurn(now) <= ReplayWindow && subtle.ConstantTimeCompare(hash, f.Previous) == 1:
		return nil, errUnauthenticated(), nil
	}
	f.Dead = true
	reused := errUnauthenticated()
	reused.Err = ErrReuse
	return nil, reused, put(w, familyKey(t.family), f)
}

func (f family) sinceTurn(now time.Time) time.Duration {
	return time.Duration(now.UnixMilli()-f.TurnedAtMS) * time.Millisecond
}

// mayReplay: Previous is only replaced when Current is used, so as long as the token is Previous its successor never was.
func (f family) mayReplay(now time.Time, request string) bool {
	return request == f.Request && (request != "" || f.sinceTurn(now) <= ReplayWindow)
}

// EndSignIn ends the sign-in of a refresh token, as signing out does. A token that is not good is no error.
func EndSignIn(w store.Writer, token string) error {
	t, err := parseRefreshToken(token)
	if err != nil {
		return nil
	}
	f, err := get[family](w, familyKey(t.family))
	hash := t.hash()
	if errors.Is(err, store.ErrNotFound) {
		return nil
	} else if err != nil {
		return err
	}
	if subtle.ConstantTimeCompare(hash, f.Current) != 1 && subtle.ConstantTimeCompare(hash, f.Previous) != 1 {
		return nil
	}
	f.Dead = true
	return put(w, familyKey(t.family), f)
}
