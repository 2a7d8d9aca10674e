package ledger

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"sync"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// meta is what the whole ledger has one of.
type meta struct {
	epoch [16]byte // anew after every restore
	key   [32]byte // authenticates cursors
}

func (m meta) encode() []byte { return append(m.epoch[:], m.key[:]...) }

func readMeta(r store.Reader) (meta, error) {
	b, err := r.Get(metaKey("epoch"))
	if err != nil {
		return meta{}, err
	}
	if len(b) != 48 {
		return meta{}, fmt.Errorf("ledger meta of %d bytes", len(b))
	}
	return meta{[16]byte(b[:16]), [32]byte(b[16:])}, nil
}

// startEpoch gives the ledger a new epoch, and the server new replicas in every organisation: counters of the old ones may have been used by what was
// lost. Cursors of the old epoch stay readable, so that they are told apart from forged ones.
func (l *Ledger) startEpoch(w store.Writer) error {
	m, err := readMeta(w)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if err != nil {
		if _, err := io.ReadFull(l.Random, m.key[:]); err != nil {
			return err
		}
	}
	if _, err := io.ReadFull(l.Random, m.epoch[:]); err != nil {
		return err
	}
	if err := w.Put(metaKey("epoch"), m.encode()); err != nil {
		return err
	}
	l.forgetReplicas()
	return w.Scan([]byte{tableServer}, nil, func(key, _ []byte) error { return w.Delete(key) })
}

// head is the end of the log.
type head struct {
	seq    uint64
	commit commitHash
}

func readHead(r store.Reader) (head, error) {
	b, err := r.Get(metaKey("head"))
	if errors.Is(err, store.ErrNotFound) {
		return head{}, nil
	}
	if err != nil {
		return head{}, err
	}
	if len(b) != 24 {
		return head{}, fmt.Errorf("ledger head of %d bytes", len(b))
	}
	return head{binary.BigEndian.Uint64(b), commitHash(b[8:])}, nil
}

func (h head) write(w store.Writer) error {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 24), h.seq)
	return w.Put(metaKey("head"), append(b, h.commit[:]...))
}

// cursor is a place in the log as a device holds it. Its form: 1, epoch, sequence, commit hash, place, base, and 16 bytes of HMAC-SHA256 over
// these, the organisation and the device.
type cursor struct {
	epoch [16]byte
	// head and commit are the end of the log when the cursor was made. A log that no longer has them was put back; then the device may lack what was
	// left out of its answers because it changed later, in what the log has lost.
	head   uint64
	commit commitHash
	// seq is the sequence up to which changes were answered, at most head.
	seq uint64
	// base is the sequence up to which the device holds every record. It is behind seq while a pull takes more than one answer: a record whose latest
	// change is past seq was left out of the answers so far, whatever of it changed before seq.
	base uint64
}

const (
	cursorForm  = 1
	cursorBytes = 1 + 16 + 8 + 16 + 8 + 8 + 16
)

func (c cursor) seal(m meta, org, device record.ID) []byte {
	b := append(make([]byte, 0, cursorBytes), cursorForm)
	b = append(b, c.epoch[:]...)
	b = binary.BigEndian.AppendUint64(b, c.head)
	b = append(b, c.commit[:]...)
	b = binary.BigEndian.AppendUint64(b, c.seq)
	b = binary.BigEndian.AppendUint64(b, c.base)
	return append(b, cursorTag(m, b, org, device)...)
}

func cursorTag(m meta, b []byte, org, device record.ID) []byte {
	h := hmac.New(sha256.New, m.key[:])
	h.Write([]byte("needlebook cursor 1\x00"))
	h.Write(b)
	h.Write(org[:])
	h.Write(device[:])
	return h.Sum(nil)[:16]
}

// openCursor reads a cursor that this server made for this device. An empty one is the beginning.
func openCursor(m meta, b []byte, org, device record.ID) (cursor, error) {
	if len(b) == 0 {
		return cursor{epoch: m.epoch}, nil
	}
	if len(b) != cursorBytes || b[0] != cursorForm || !hmac.Equal(b[cursorBytes-16:], cursorTag(m, b[:cursorBytes-16], org, device)) {
		return cursor{}, fault.New(faultv1.Reason_REASON_BAD_CURSOR, "cursor", "", "")
	}
	return cursor{
		epoch: [16]byte(b[1:17]), head: binary.BigEndian.Uint64(b[17:25]), commit: commitHash(b[25:41]),
		seq: binary.BigEndian.Uint64(b[41:49]), base: binary.BigEndian.Uint64(b[49:57]),
	}, nil
}

// errRolledBack says that a cursor of this epoch names a place that the log does not have: the file was put back by hand.
var errRolledBack = errors.New("the log is behind a cursor that this server made")

// check reports whether the log still is the one that the cursor was made in.
func (c cursor) check(r store.Reader, m meta) error {
	if c.epoch != m.epoch {
		return fault.New(faultv1.Reason_REASON_EPOCH_CHANGED, "cursor", "", "")
	}
	if c.head == 0 {
		return nil
	}
	h, err := readHead(r)
	if err != nil {
		return err
	}
	if c.head == h.seq {
		if c.commit != h.commit {
			return errRolledBack
		}
		return nil
	}
	if c.head > h.seq {
		return errRolledBack
	}
	e, err := readEvent(r, c.head)
	if err != nil {
		return err
	}
	if e.commit != c.commit {
		return errRolledBack
	}
	return nil
}

// serverReplicas is the server's own replicas in this process, by organisation.
type serverReplicas struct {
	mu sync.Mutex // guards of
	of map[record.ID]causal.ReplicaID
}

// serverReplica is the server's own replica in an organisation: one for each process and epoch. A file that was put back by hand is found out only when a
// device comes that knows better; until then the counters of the process before must not be used again.
func (l *Ledger) serverReplica(w store.Writer, org record.ID) (causal.ReplicaID, error) {
	l.server.mu.Lock()
	defer l.server.mu.Unlock()
	if id, ok := l.server.of[org]; ok {
		return id, nil
	}
	id, err := l.newID()
	if err != nil {
		return causal.ReplicaID{}, err
	}
	if l.server.of == nil {
		l.server.of = map[record.ID]causal.ReplicaID{}
	}
	l.server.of[org] = causal.ReplicaID(id)
	return causal.ReplicaID(id), w.Put(serverKey(org), id[:])
}

// forgetReplicas makes the server go on as other replicas.
func (l *Ledger) forgetReplicas() {
	l.server.mu.Lock()
	defer l.server.mu.Unlock()
	l.server.of = nil
}
