// Package ledger is the server's side of the record: the log of every edit ever taken, the state that each record folds to, the indexes that make
// an exchange cost what changed, and the edits that were held for a person.
//
// Open one Ledger on a store; its methods may be called concurrently. Everything that a method acknowledges is on disk when it returns.
//
// What it promises: an edit takes effect once, whatever is repeated; nothing that came in is dropped: it is applied, waits for what it was made after,
// or is held with its reason; sequences become visible in order, so a cursor skips nothing; a restored or rolled-back store is found out by its
// commit chain and starts a new epoch. docs/protocol.md and docs/format.md are the manual.
package ledger

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"time"

	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// Authorise says whether an author may make this edit, as the staff and their rights stand in r now; nil means yes. It must be a function of what is
// in r and e only.
type Authorise func(r store.Reader, org record.ID, e *record.Edit) *fault.Error

// Config is what a Ledger needs from its surroundings.
type Config struct {
	Schema    *record.Schema
	Authorise Authorise
	Now       func() time.Time // for authored_at of the server's own edits and the answer to Hello
	Random    io.Reader        // for ids and keys; crypto/rand.Reader when nil
	Summarise Summarise        // for devices that do not hold every patient; nil when there are none
	Terms     Terms            // what records are found by; the zero value keeps no such index
}

// Ledger is the log and its indexes on a store.
type Ledger struct {
	store store.Store
	Config
	summaries summaries
	server    serverReplicas
}

// Open prepares a store for use as a ledger: a new one gets its epoch and keys. The caller keeps the store and closes it after the last call.
func Open(ctx context.Context, s store.Store, c Config) (*Ledger, error) {
	if c.Random == nil {
		c.Random = rand.Reader
	}
	l := &Ledger{store: s, Config: c}
	err := s.View(ctx, func(r store.Reader) error {
		_, err := readMeta(r)
		return err
	})
	if errors.Is(err, store.ErrNotFound) { // a full disk must not keep a store from being opened, so only a new one is written to
		err = s.Update(ctx, l.startEpoch)
	}
	if err != nil {
		return nil, fmt.Errorf("open ledger: %w", err)
	}
	return l, nil
}

// Caller is the device that speaks in an exchange and the person signed in on it.
type Caller struct {
	Org    record.ID
	Device record.ID
	// Owns reports an error when the replica belongs to another device. It is asked in the same transaction as what depends on it.
	Owns func(r store.Reader, replica causal.ReplicaID) error
	// Claim makes a replica this device's when it is nobody's yet, or reports why not.
	Claim func(w store.Writer, replica causal.ReplicaID) error
	// MayHold reports an error when the device may not hold a patient's records. Nil lets it hold every patient of the organisation.
	MayHold func(r store.Reader, patient record.ID) error
	// Opened is until when the caller may read a patient's records only because they were opened with a reason; the zero time when it is not so. Nil opens none.
	Opened func(r store.Reader, patient record.ID) (time.Time, error)
	// TreatedFor is how long the device holds a patient whose records it edited, from the latest edit on; 0 for until it gives her back.
	TreatedFor time.Duration
	// Booked is whom it holds without asking. It is asked at every exchange of a device that holds some patients only, so it must cost little. Nil, and a nil
	// answer, leaves the booked as they are.
	Booked func(r store.Reader) (*Booked, error)
	// Verify checks a signature of this device over a statement.
	Verify func(statement, signature []byte) error
}

// newID draws a random id.
func (l *Ledger) newID() (record.ID, error) {
	var id record.ID
	_, err := io.ReadFull(l.Random, id[:])
	return id, err
}
