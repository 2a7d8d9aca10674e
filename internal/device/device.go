package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/durable"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// Errors of a folder.
var (
	// ErrNone: the folder holds no replica.
	ErrNone = errors.New("there is no replica in this folder")
	// ErrExists: the folder holds an enrolled replica, which is never overwritten.
	ErrExists = errors.New("there is a replica in this folder already")
	// ErrWiped: the device was revoked. What it could read is gone; its sealed edits are here until they are handed in (OpenWiped).
	ErrWiped = errors.New("this tablet was revoked, and what it could read was removed from it")
	// ErrNotEnrolled: an enrolment began here and was not answered.
	ErrNotEnrolled = errors.New("the device was not enrolled yet")
)

// Config says where a device is and what it touches of its machine.
type Config struct {
	// Dir is the folder that holds everything of the device.
	Dir string
	// Passphrase opens the device's key, and seals it when Create makes one; empty when the key is not sealed.
	Passphrase string
	// Now is the machine's clock. Edits carry what it says; nothing is ordered by it.
	Now func() time.Time
	// Random makes ids, keys and signatures: crypto/rand.Reader.
	Random io.Reader
	// Tries is how often a call that may be repeated is tried before the server counts as away, and Pause how long to wait before the second try;
	// each later pause is twice as long. Zero stands for 3 and 300 ms.
	Tries int
	Pause time.Duration
	// Timeout bounds each try; zero stands for 2 minutes, which a page of 1 MiB needs on a bad line.
	Timeout time.Duration
	// LockWithin is how long to wait for another process that has the folder; zero stands for 5 seconds.
	LockWithin time.Duration
	// Limits bounds what one exchange carries; zero stands for as much as the protocol allows.
	Limits replica.Limits
	// Transport carries the calls; nil stands for one of the device's own, which trusts the certificate that it was enrolled with.
	Transport http.RoundTripper
}

func (c Config) withDefaults() Config {
	if c.Tries == 0 {
		c.Tries = 3
	}
	if c.Pause == 0 {
		c.Pause = 300 * time.Millisecond
	}
	if c.Timeout == 0 {
		c.Timeout = 2 * time.Minute
	}
	if c.LockWithin == 0 {
		c.LockWithin = 5 * time.Second
	}
	return c
}

// Identity is what a device knows of itself and of its server.
type Identity struct {
	// Server is the server's address, scheme and host.
	Server string `json:"server"`
	// Authority is the certificate in PEM that the server's is to be signed by; empty for those that the system trusts.
	Authority string `json:"authority,omitempty"`
	// Label is what people call the device.
	Label string `json:"label"`
	// Request is the id of the enrolment, stored before it was sent.
	Request uuid.UUID `json:"request_id"`
	// FirstReplica is the replica that the device was enrolled with.
	FirstReplica uuid.UUID `json:"first_replica_id"`
	// CodeHash is SHA-256 of the code while it is not known whether it was used; empty once the device is enrolled.
	CodeHash []byte `json:"code_sha256,omitempty"`
	// Device, Organisation and what follows come with the answer; Device is uuid.Nil before.
	Device           uuid.UUID `json:"device_id"`
	Organisation     uuid.UUID `json:"organisation_id"`
	OrganisationName string    `json:"organisation_name"`
	Clinic           string    `json:"clinic_id"`
	Fingerprint      string    `json:"key_fingerprint"`
	// SealingKey is the server's public key for sealing, given once.
	SealingKey []byte `json:"sealing_key"`
	// WipedMS is when the device learnt that it was revoked and removed what it could read, milliseconds since 1970 UTC; 0 for a device that works.
	WipedMS int64 `json:"wiped_unix_ms,omitempty"`
	// Rewritten is true once the file of the store, whose free pages held what was removed, was written anew.
	Rewritten bool `json:"rewritten,omitempty"`
}

// Enrolled reports whether the server knows the device.
func (i Identity) Enrolled() bool { return i.Device != uuid.Nil }

// Exchanges is what the device remembers of its exchanges. Times are milliseconds since 1970 UTC by its own clock, 0 for never.
type Exchanges struct {
	// LastMS is when an exchange last ended in step with the server.
	LastMS int64 `json:"last_unix_ms"`
	// CheckedMS is when the clock was last compared with the server's, and OffsetMS how far ahead of that it was.
	CheckedMS int64 `json:"clock_checked_unix_ms"`
	OffsetMS  int64 `json:"clock_offset_ms"`
}

// Device is an open device.
type Device struct {
	cfg       Config
	store     Store
	signer    *signer
	schema    *record.Schema
	chart     *chart.Chart
	replica   *replica.Replica
	identity  Identity
	person    Person
	exchanges Exchanges
	noted     int64           // the time of the last exchange as it is stored, milliseconds since 1970 UTC
	own       *http.Transport // to the server; nil before the first call, or when the configuration gives one
	// failed is why nothing more may be done: what is in memory is more than what is known to be on the disk.
	failed error
}

const storeFile = "replica.db"

// Open opens the device in cfg.Dir. ErrNone when there is none; boltstore.LockedError when another process has it.
func Open(ctx context.Context, cfg Config) (*Device, error) {
	path := filepath.Join(cfg.Dir, storeFile)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: %w", cfg.Dir, ErrNone)
	}
	d, err := openFolder(ctx, cfg)
	if err != nil {
		return nil, err
	}
	switch {
	case !d.identity.Enrolled():
		return nil, errors.Join(fmt.Errorf("%s: %w", cfg.Dir, ErrNotEnrolled), d.Close())
	case d.identity.WipedMS != 0:
		return nil, errors.Join(fmt.Errorf("%s: %w", cfg.Dir, ErrWiped), d.finishWipe(ctx), d.Close())
	}
	return d, nil
}

// openFolder opens the store, or makes it, and reads what it holds. A new one has no replica yet.
func openFolder(ctx context.Context, cfg Config) (*Device, error) {
	cfg = cfg.withDefaults()
	if err := durable.MkdirAll(cfg.Dir, 0o700); err != nil {
		return nil, err
	}
	st, err := boltstore.Open(boltstore.Config{Path: filepath.Join(cfg.Dir, storeFile), Now: cfg.Now, LockTimeout: cfg.LockWithin})
	if err != nil {
		return nil, err
	}
	d, err := openStore(ctx, cfg, st)
	if err != nil {
		return nil, errors.Join(err, st.Close())
	}
	return d, nil
}

// openStore is the device whose rows st holds.
func openStore(ctx context.Context, cfg Config, st Store) (*Device, error) {
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		return nil, err
	}
	d := &Device{cfg: cfg, store: st, schema: sch, signer: &signer{path: keyPath(cfg.Dir), passphrase: cfg.Passphrase, random: cfg.Random}}
	edition, err := formulary.Builtin()
	if err != nil {
		return nil, err
	}
	d.chart = chart.New(sch, people{d}).Knowing(d.checkNames(edition))
	return d, d.load(ctx)
}

// load reads everything anew.
func (d *Device) load(ctx context.Context) error {
	return d.store.View(ctx, func(r store.Reader) error {
		if _, err := readNote(r, identityName, &d.identity); err != nil {
			return err
		}
		if _, err := readNote(r, personName, &d.person); err != nil {
			return err
		}
		if _, err := readNote(r, exchangesName, &d.exchanges); err != nil {
			return err
		}
		d.noted = d.exchanges.LastMS
		rows, err := readRows(r)
		if err != nil || len(rows) == 0 || d.identity.WipedMS != 0 {
			return err // a device that was wiped has sealed edits and no replica
		}
		if d.replica, err = replica.Load(d.schema, rows); err == nil {
			d.replica.Limits = d.cfg.Limits
		}
		return err
	})
}

// commit stores what changed in one transaction. When that fails the replica in memory says more than the disk, so it is thrown away.
func (d *Device) commit(ctx context.Context, ch replica.Changes, notes ...note) error {
	if ch.Empty() && len(notes) == 0 {
		return nil
	}
	if d.failed != nil {
		return d.failed
	}
	err := save(ctx, d.store, ch, notes...)
	if err != nil {
		err = fmt.Errorf("store on this device: %w", err)
		if again := d.load(context.WithoutCancel(ctx)); again != nil {
			d.failed = errors.Join(err, again)
			return d.failed
		}
	}
	return err
}

// joined is two changes as one: those of a replica's two methods, to be stored together.
func joined(a, b replica.Changes) replica.Changes {
	a.Put, a.Delete, a.Records = append(a.Put, b.Put...), append(a.Delete, b.Delete...), append(a.Records, b.Records...)
	return a
}

// Close releases the folder.
func (d *Device) Close() error {
	if d.own != nil {
		d.own.CloseIdleConnections()
	}
	return d.store.Close()
}

// Identity says who the device is.
func (d *Device) Identity() Identity { return d.identity }

// Exchanges says when the device last exchanged, and how its clock stands.
func (d *Device) Exchanges() Exchanges { return d.exchanges }

// ReplicaID is the replica that makes new edits.
func (d *Device) ReplicaID() causal.ReplicaID { return d.replica.ID() }

// Unsent counts the edits that are not on the server.
func (d *Device) Unsent() int { return d.replica.Unsent() }

// Standing says where the edits made here are: on this device alone, on the server, backed up.
func (d *Device) Standing() replica.Standing { return d.replica.Standing() }

// newID makes a random UUID.
func (d *Device) newID() (uuid.UUID, error) { return uuid.NewRandomFromReader(d.cfg.Random) }
