package auth

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"
)

// Cost is what one hash costs an attacker and us. RFC 9106 section 4 recommends argon2id with 64 MiB and t=3 where 2 GiB cannot be spent.
type Cost struct {
	// MemoryKiB is the memory of one hash, 8 to 1048576.
	MemoryKiB uint32
	// Passes is the number of passes over it, 1 to 16.
	Passes uint32
	// Lanes is the parallelism, 1 to 16.
	Lanes uint8
}

// DefaultCost is what new passwords are hashed with. On a machine of two cores it takes about 0.2 s.
func DefaultCost() Cost { return Cost{MemoryKiB: 64 << 10, Passes: 3, Lanes: 2} }

func (c Cost) valid() bool {
	return c.MemoryKiB >= 8*uint32(c.Lanes) && c.MemoryKiB <= 1<<20 && c.Passes >= 1 && c.Passes <= 16 && c.Lanes >= 1 && c.Lanes <= 16
}

const (
	saltBytes = 16
	hashBytes = 32
	hashIntro = "$argon2id$v=19$"
)

// PasswordHash is an argon2id hash with its parameters and salt.
type PasswordHash struct {
	Cost Cost
	Salt [saltBytes]byte
	Sum  [hashBytes]byte
}

// String is the form of the reference implementation: $argon2id$v=19$m=65536,t=3,p=2$salt$sum, base64 without padding.
func (h PasswordHash) String() string {
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("%sm=%d,t=%d,p=%d$%s$%s", hashIntro, h.Cost.MemoryKiB, h.Cost.Passes, h.Cost.Lanes,
		b64.EncodeToString(h.Salt[:]), b64.EncodeToString(h.Sum[:]))
}

// ParsePasswordHash reads what String writes and nothing else.
func ParsePasswordHash(s string) (PasswordHash, error) {
	var h PasswordHash
	rest, ok := strings.CutPrefix(s, hashIntro)
	parts := strings.Split(rest, "$")
	if !ok || len(s) > 256 || len(parts) != 3 {
		return PasswordHash{}, fmt.Errorf("password hash of %d bytes: want the form %sm=,t=,p=$salt$sum", len(s), hashIntro)
	}
	cost, err := parseCost(parts[0])
	if err != nil {
		return PasswordHash{}, err
	}
	h.Cost = cost
	salt, err1 := base64.RawStdEncoding.Strict().DecodeString(parts[1])
	sum, err2 := base64.RawStdEncoding.Strict().DecodeString(parts[2])
	if err1 != nil || err2 != nil || copy(h.Salt[:], salt) != len(salt) || copy(h.Sum[:], sum) != len(sum) || h.String() != s {
		return PasswordHash{}, fmt.Errorf("password hash: salt or sum is not %d and %d bytes of base64", saltBytes, hashBytes)
	}
	return h, nil
}

func parseCost(s string) (Cost, error) {
	var figures [3]uint64
	fields := strings.Split(s, ",")
	if len(fields) != 3 {
		return Cost{}, fmt.Errorf("password hash: %d parameters, want m, t and p", len(fields))
	}
	for i, name := range []string{"m=", "t=", "p="} {
		digits, ok := strings.CutPrefix(fields[i], name)
		n, err := strconv.ParseUint(digits, 10, 21)
		if !ok || err != nil {
			return Cost{}, fmt.Errorf("password hash: parameter %d: want %s and a number", i+1, name)
		}
		figures[i] = n
	}
	if figures[2] > 16 {
		return Cost{}, fmt.Errorf("password hash: p is %d, want 1 to 16", figures[2])
	}
	c := Cost{MemoryKiB: uint32(figures[0]), Passes: uint32(figures[1]), Lanes: uint8(figures[2])}
	if !c.valid() {
		return Cost{}, fmt.Errorf("password hash: m=%d, t=%d, p=%d are out of range", figures[0], figures[1], figures[2])
	}
	return c, nil
}

// Hasher hashes passwords, a few at a time, because each holds its memory. It may be used concurrently.
type Hasher struct {
	cost  Cost
	slots chan struct{}
	dummy PasswordHash
}

// NewHasher returns a hasher that runs at most parallel hashes at once (at least 1), the others wait. An impossible cost panics.
func NewHasher(cost Cost, parallel int) *Hasher {
	if !cost.valid() || parallel < 1 {
		panic(fmt.Sprintf("auth: hasher of cost %+v, %d at once", cost, parallel))
	}
	h := &Hasher{cost: cost, slots: make(chan struct{}, parallel), dummy: PasswordHash{Cost: cost}}
	rand.Read(h.dummy.Salt[:])
	rand.Read(h.dummy.Sum[:])
	return h
}

// Hash hashes a password with a new salt. It returns the context's error when that ends before its turn.
func (h *Hasher) Hash(ctx context.Context, password string) (PasswordHash, error) {
	out := PasswordHash{Cost: h.cost}
	rand.Read(out.Salt[:])
	sum, err := h.sum(ctx, password, out)
	out.Sum = sum
	return out, err
}

// Matches reports whether the password is the one of the stored hash, in constant time. A nil stored hash (no such account, or none set)
// costs the same and never matches. It returns the context's error when that ends before its turn.
func (h *Hasher) Matches(ctx context.Context, password string, stored *PasswordHash) (bool, error) {
	against := h.dummy
	if stored != nil {
		against = *stored
	}
	sum, err := h.sum(ctx, password, against)
	if err != nil {
		return false, err
	}
	same := subtle.ConstantTimeCompare(sum[:], against.Sum[:]) == 1
	return same && stored != nil, nil
}

// Stale reports whether a hash was made at another cost than today's; a sign-in that succeeds then hashes anew.
func (h *Hasher) Stale(stored PasswordHash) bool { return stored.Cost != h.cost }

func (h *Hasher) sum(ctx context.Context, password string, with PasswordHash) ([hashBytes]byte, error) {
	select {
	case h.slots <- struct{}{}:
		defer func() { <-h.slots }()
	case <-ctx.Done():
		return [hashBytes]byte{}, ctx.Err()
	}
	c := with.Cost
	return [hashBytes]byte(argon2.IDKey([]byte(norm.NFKC.String(password)), with.Salt[:], c.Passes, c.MemoryKiB, c.Lanes, hashBytes)), nil
}
