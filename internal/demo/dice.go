package demo

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/record"
)

// dice is everything that is left to chance in one part of the demo. Parts have dice of their own, so that a change of one leaves the others as
// they are.
type dice struct {
	*rand.Rand
	source *rand.ChaCha8
}

func newDice(seed uint64, part string) *dice {
	b := binary.BigEndian.AppendUint64([]byte("needlebook demo 1\x00"), seed)
	source := rand.NewChaCha8(sha256.Sum256(append(b, part...)))
	return &dice{rand.New(source), source}
}

// Read implements io.Reader; it never fails.
func (d *dice) Read(b []byte) (int, error) { return d.source.Read(b) }

// id is a random UUID.
func (d *dice) id() record.ID {
	var id record.ID
	_, _ = d.Read(id[:])
	id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
	return id
}

// timedID is a UUIDv7 of a time.
func (d *dice) timedID(at time.Time) record.ID {
	id := d.id()
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(at.UnixMilli()))
	copy(id[:6], ms[2:])
	id[6] = id[6]&0x0f | 0x70
	return id
}

// request is the id of a request.
func (d *dice) request() string { return uuid.UUID(d.id()).String() }

// key is a device's key. Devices are records and hold its public half, so that it must come from the seed like everything else.
func (d *dice) key() (*ecdsa.PrivateKey, error) {
	var b [32]byte
	for range 8 {
		_, _ = d.Read(b[:])
		if k, err := ecdsa.ParseRawPrivateKey(elliptic.P256(), b[:]); err == nil {
			return k, nil
		}
	}
	return nil, fmt.Errorf("make a device key: no number below the order of the curve in 8 draws")
}

// between is a whole number from low to high, both included.
func (d *dice) between(low, high int) int { return low + d.IntN(high-low+1) }

// chance is true that many times in a hundred.
func (d *dice) chance(percent int) bool { return d.IntN(100) < percent }

func pick[T any](d *dice, of []T) T { return of[d.IntN(len(of))] }

// lockedReader lets a server read dice: calls come one after another, but not all in one goroutine.
type lockedReader struct {
	mu sync.Mutex
	d  *dice
}

// Read implements io.Reader.
func (r *lockedReader) Read(b []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.d.Read(b)
}
