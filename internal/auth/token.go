package auth

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// Times and sizes of access tokens.
const (
	// AccessLife is how long an access token is good.
	AccessLife = 10 * time.Minute
	// backdate is how long before its making a token is good already, so that a server clock set back a little refuses nobody.
	backdate = 30 * time.Second
	// maxTokenBytes bounds a token before anything of it is read.
	maxTokenBytes = 2048
	// tokenType is the header `typ` of RFC 9068.
	tokenType = "at+jwt"
	// maxCached bounds how many verified tokens each half of the cache remembers.
	maxCached = 4096
)

// Claims are what an access token says. Roles are a hint for clients: rights come from the account as it stands (Admit).
type Claims struct {
	// Issuer is the organisation's server, Audience this interface of it; both are fixed for a server.
	Issuer   string `json:"iss"`
	Audience string `json:"aud"`
	// Staff is who, Org of which organisation, Device from where; uuid.Nil for a client without a device.
	Staff  uuid.UUID `json:"sub"`
	Org    uuid.UUID `json:"org"`
	Device uuid.UUID `json:"device"`
	// Roles are the roles at the time of making, by number, ascending.
	Roles []accessv1.Role `json:"roles"`
	// RoleVersion is the account's at the time of making; a token of an older one is refused.
	RoleVersion uint64 `json:"role_version"`
	// ID is the token's own.
	ID uuid.UUID `json:"jti"`
	// Seconds since 1970 UTC: when it was made, from when and until when it is good.
	IssuedAt  int64 `json:"iat"`
	NotBefore int64 `json:"nbf"`
	ExpiresAt int64 `json:"exp"`
}

// The methods that golang-jwt wants of claims.

func (c *Claims) GetExpirationTime() (*jwt.NumericDate, error) { return numericDate(c.ExpiresAt), nil }
func (c *Claims) GetIssuedAt() (*jwt.NumericDate, error)       { return numericDate(c.IssuedAt), nil }
func (c *Claims) GetNotBefore() (*jwt.NumericDate, error)      { return numericDate(c.NotBefore), nil }
func (c *Claims) GetIssuer() (string, error)                   { return c.Issuer, nil }
func (c *Claims) GetSubject() (string, error)                  { return c.Staff.String(), nil }
func (c *Claims) GetAudience() (jwt.ClaimStrings, error)       { return jwt.ClaimStrings{c.Audience}, nil }

func numericDate(seconds int64) *jwt.NumericDate {
	if seconds == 0 {
		return nil
	}
	return jwt.NewNumericDate(time.Unix(seconds, 0))
}

// errClaims says that signed claims are not such as Sign makes.
var errClaims = errors.New("claims are not those of an access token")

// Validate checks what golang-jwt does not: that someone is named, and that the life is not longer than it may be.
func (c *Claims) Validate() error {
	life := c.ExpiresAt - c.IssuedAt
	early := c.IssuedAt - c.NotBefore
	switch {
	case c.Staff == uuid.Nil, c.Org == uuid.Nil, c.ID == uuid.Nil:
		return errClaims
	case life <= 0, life > int64(AccessLife/time.Second), early < 0, early > int64(backdate/time.Second):
		return errClaims
	case !slices.IsSorted(c.Roles), len(c.Roles) > 16:
		return errClaims
	}
	return nil
}

// Signer makes access tokens. It may be used concurrently.
type Signer struct {
	issuer, audience string
	mu               sync.RWMutex
	key              SigningKey
}

// NewSigner returns a signer for a server that calls itself issuer and this interface audience.
func NewSigner(ring Keyring, issuer, audience string) *Signer {
	return &Signer{issuer: issuer, audience: audience, key: ring.keys[0]}
}

// Use makes the ring's first key the one that signs from now on.
func (s *Signer) Use(ring Keyring) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.key = ring.keys[0]
}

// Sign returns a token for the account on a device (uuid.Nil for none), and when it ends.
func (s *Signer) Sign(a Account, device uuid.UUID, now time.Time) (string, time.Time, error) {
	id, err := uuid.NewRandom()
	if err != nil {
		return "", time.Time{}, fmt.Errorf("make token id: %w", err)
	}
	c := Claims{
		Issuer: s.issuer, Audience: s.audience, Staff: a.Staff, Org: a.Org, Device: device, Roles: a.allRoles(), RoleVersion: a.RoleVersion, ID: id,
		IssuedAt: now.Unix(), NotBefore: now.Add(-backdate).Unix(), ExpiresAt: now.Add(AccessLife).Unix(),
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	text, err := sign(s.key, &c)
	return text, time.Unix(c.ExpiresAt, 0).UTC(), err
}

func sign(k SigningKey, c *Claims) (string, error) {
	t := jwt.NewWithClaims(jwt.SigningMethodEdDSA, c)
	t.Header["typ"], t.Header["kid"] = tokenType, k.ID
	text, err := t.SignedString(k.Private)
	if err != nil {
		return "", fmt.Errorf("sign token: %w", err)
	}
	return text, nil
}

// headerOf is the first segment of every token that a key signs. A token is accepted only under a header that is byte for byte one of these,
// so no header can name an algorithm, a key or an address of its own.
func headerOf(k SigningKey) string {
	header, err := json.Marshal(map[string]any{"alg": "EdDSA", "kid": k.ID, "typ": tokenType})
	if err != nil {
		panic(err) // a map of strings
	}
	return base64.RawURLEncoding.EncodeToString(header)
}

// Verifier checks access tokens and remembers those it found good, so that checking one again is a look-up. It may be used concurrently.
type Verifier struct {
	issuer, audience string
	now              func() time.Time

	mu      sync.Mutex
	headers map[string]SigningKey
	young   map[[32]byte]*Claims // at most maxCached
	old     map[[32]byte]*Claims // what young was before it was full
}

// NewVerifier returns a verifier of tokens that a Signer with the same ring and names makes.
func NewVerifier(ring Keyring, issuer, audience string, now func() time.Time) *Verifier {
	v := &Verifier{issuer: issuer, audience: audience, now: now}
	v.Use(ring)
	return v
}

// Use makes the ring's keys the live ones and forgets what was verified with others.
func (v *Verifier) Use(ring Keyring) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.headers = map[string]SigningKey{}
	for _, k := range ring.keys {
		v.headers[headerOf(k)] = k
	}
	v.young, v.old = map[[32]byte]*Claims{}, nil
}

// Verify returns the claims of a good token, and UNAUTHENTICATED, always in the same words, for anything else. Expiry is checked at every
// call. Whether the device was revoked or the roles changed since is not known here: ask Admit.
func (v *Verifier) Verify(token string) (Claims, error) {
	if len(token) > maxTokenBytes {
		return Claims{}, errUnauthenticated()
	}
	sum := sha256.Sum256([]byte(token))
	if c := v.cached(sum); c != nil {
		if now := v.now().Unix(); now >= c.ExpiresAt || now < c.NotBefore {
			return Claims{}, errUnauthenticated()
		}
		return c.clone(), nil
	}
	c, err := v.parse(token)
	if err != nil {
		return Claims{}, errUnauthenticated()
	}
	v.remember(sum, token, c)
	return c.clone(), nil
}

func (c *Claims) clone() Claims {
	out := *c
	out.Roles = slices.Clone(c.Roles)
	return out
}

// parse checks a token in full.
func (v *Verifier) parse(token string) (*Claims, error) {
	if strings.ContainsAny(token, "\r\n") { // Go's base64 skips line ends, also when strict
		return nil, errClaims
	}
	header, rest, _ := strings.Cut(token, ".")
	v.mu.Lock()
	key, live := v.headers[header]
	v.mu.Unlock()
	if !live {
		return nil, errClaims
	}
	p := jwt.NewParser(jwt.WithValidMethods([]string{"EdDSA"}), jwt.WithExpirationRequired(), jwt.WithNotBeforeRequired(), jwt.WithStrictDecoding(),
		jwt.WithIssuer(v.issuer), jwt.WithAudience(v.audience), jwt.WithTimeFunc(v.now))
	var c Claims
	if _, err := p.ParseWithClaims(token, &c, func(*jwt.Token) (any, error) { return key.Public(), nil }); err != nil {
		return nil, err
	}
	payload, _, _ := strings.Cut(rest, ".")
	read, err1 := base64.RawURLEncoding.Strict().DecodeString(payload)
	again, err2 := json.Marshal(&c)
	if err1 != nil || err2 != nil || !bytes.Equal(read, again) {
		return nil, errClaims
	}
	return &c, nil
}

func (v *Verifier) cached(sum [32]byte) *Claims {
	v.mu.Lock()
	defer v.mu.Unlock()
	if c := v.young[sum]; c != nil {
		return c
	}
	return v.old[sum]
}

// remember keeps a good token, unless its key was dropped while it was checked.
func (v *Verifier) remember(sum [32]byte, token string, c *Claims) {
	v.mu.Lock()
	defer v.mu.Unlock()
	header, _, _ := strings.Cut(token, ".")
	if _, live := v.headers[header]; !live {
		return
	}
	if len(v.young) >= maxCached {
		v.young, v.old = map[[32]byte]*Claims{}, v.young
	}
	v.young[sum] = c
}
