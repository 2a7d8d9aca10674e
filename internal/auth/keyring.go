package auth

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"time"

	"needlebook/internal/store"
)

// SigningKey is one Ed25519 key that signs access tokens.
type SigningKey struct {
	// ID is the `kid` of tokens that it signs: 16 hex digits from the hash of its public half.
	ID string
	// MadeAt is when it was made.
	MadeAt time.Time
	// Private signs.
	Private ed25519.PrivateKey
}

// Public is the half that verifies.
func (k SigningKey) Public() ed25519.PublicKey { return k.Private.Public().(ed25519.PublicKey) }

func newSigningKey(seed []byte, madeAt time.Time) SigningKey {
	private := ed25519.NewKeyFromSeed(seed)
	sum := sha256.Sum256(private.Public().(ed25519.PublicKey))
	return SigningKey{ID: hex.EncodeToString(sum[:8]), MadeAt: madeAt.UTC().Truncate(time.Millisecond), Private: private}
}

// Keyring is the keys that are live: the first signs, all verify. It holds one key, or two after a rotation, so that tokens of the key
// before stay good until they end. It is not changed after it was made and may be used concurrently.
type Keyring struct{ keys []SigningKey }

// NewKeyring makes a ring with one new key from random (crypto/rand.Reader, but in tests).
func NewKeyring(random io.Reader, now time.Time) (Keyring, error) {
	return Keyring{}.Rotate(random, now)
}

// Rotate returns a ring whose new key signs and whose signing key until now still verifies; any older key is dropped. Rotate at most once every
// AccessLife, or tokens that are still good are refused.
func (r Keyring) Rotate(random io.Reader, now time.Time) (Keyring, error) {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return Keyring{}, fmt.Errorf("make signing key: %w", err)
	}
	next := Keyring{keys: []SigningKey{newSigningKey(seed, now)}}
	if len(r.keys) > 0 {
		next.keys = append(next.keys, r.keys[0])
	}
	return next, nil
}

// Keys returns the live keys, the signing one first. The slice is the caller's own.
func (r Keyring) Keys() []SigningKey { return append([]SigningKey(nil), r.keys...) }

// Age is how long the signing key has been in use.
func (r Keyring) Age(now time.Time) time.Duration { return now.Sub(r.keys[0].MadeAt) }

// storedKeyring is the value of a keyring in the store.
type storedKeyring struct {
	Keys []storedKey `json:"keys"`
}

type storedKey struct {
	Seed     []byte `json:"seed"`
	MadeAtMS int64  `json:"made_at_unix_ms"`
}

// SaveKeyring stores the ring. Whoever can read the store can sign tokens: its file is for the server's user alone.
func SaveKeyring(w store.Writer, r Keyring) error {
	var v storedKeyring
	for _, k := range r.keys {
		v.Keys = append(v.Keys, storedKey{Seed: k.Private.Seed(), MadeAtMS: k.MadeAt.UnixMilli()})
	}
	return put(w, keyringKey(), v)
}

// LoadKeyring returns the stored ring, or store.ErrNotFound before the first was stored.
func LoadKeyring(r store.Reader) (Keyring, error) {
	v, err := get[storedKeyring](r, keyringKey())
	if err != nil {
		return Keyring{}, err
	}
	if len(v.Keys) < 1 || len(v.Keys) > 2 {
		return Keyring{}, fmt.Errorf("keyring: %w: %d keys, want 1 or 2", ErrStored, len(v.Keys))
	}
	var out Keyring
	for _, k := range v.Keys {
		if len(k.Seed) != ed25519.SeedSize {
			return Keyring{}, fmt.Errorf("keyring: %w: seed of %d bytes", ErrStored, len(k.Seed))
		}
		out.keys = append(out.keys, newSigningKey(k.Seed, time.UnixMilli(k.MadeAtMS)))
	}
	return out, nil
}

// EnsureKeyring returns the stored ring, after making it when there is none and rotating it when the signing key is older than maxAge.
func EnsureKeyring(w store.Writer, random io.Reader, now time.Time, maxAge time.Duration) (Keyring, error) {
	ring, err := LoadKeyring(w)
	switch {
	case err == nil && ring.Age(now) < maxAge:
		return ring, nil
	case err != nil && !errors.Is(err, store.ErrNotFound):
		return Keyring{}, err
	}
	if ring, err = ring.Rotate(random, now); err != nil {
		return Keyring{}, err
	}
	return ring, SaveKeyring(w, ring)
}
