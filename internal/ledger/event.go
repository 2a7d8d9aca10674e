package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// outcome is what became of an edit when it came.
type outcome byte

const (
	applied   outcome = 1 // took effect, in whole or in the part that was not held
	held      outcome = 2 // had no effect: refused with a reason
	waiting   outcome = 3 // waits for edits that its context names
	duplicate outcome = 4 // the same edit was there under another dot; only its counter counts
	judged    outcome = 5 // no edit came: one that was held or waited was judged, and had no effect by it
	resumed   outcome = 6 // no edit came: one that had waited took effect
	scoped    outcome = 7 // no edit came: a patient entered or left a device's scope
	givenUp   outcome = 8 // no edit came: as judged, by a person who gave the edit up; apart from a release, or two histories would have one chain
)

// commitHash is the chain over all events, shortened to 128 bits. A cursor carries the one at its sequence.
type commitHash [16]byte

// event is one entry of the log.
type event struct {
	seq      uint64
	commit   commitHash // after this event
	outcome  outcome
	org      record.ID
	previous uint64 // sequence of the event of the same record before it, 0 for none
	edit     record.Edit
	ref      causal.Dot // of judged, resumed and givenUp: the edit meant; of scoped: the device
	key      record.Key
	atMS     int64 // when the server took it, milliseconds since 1970 UTC by its clock; 0 in events from before times were kept
}

// Forms of an event: with no time, as they were written first, and with it.
const (
	eventForm      = 1
	eventFormTimed = 2
)

// hasEdit reports whether the event carries an edit that came in.
func (o outcome) hasEdit() bool { return o >= applied && o <= duplicate }

func (e *event) encode() []byte {
	b := make([]byte, 0, 512)
	b = append(b, e.form(), byte(e.outcome))
	b = append(b, e.commit[:]...)
	b = append(b, e.org[:]...)
	if e.atMS != 0 {
		b = binary.BigEndian.AppendUint64(b, uint64(e.atMS))
	}
	b = binary.AppendUvarint(b, e.previous)
	if e.outcome.hasEdit() {
		return e.edit.AppendBinary(b)
	}
	b = binary.AppendUvarint(b, uint64(e.key.Kind))
	b = append(b, e.key.ID[:]...)
	b = append(b, e.ref.Replica[:]...)
	return binary.AppendUvarint(b, e.ref.Counter)
}

func (e *event) form() byte {
	if e.atMS == 0 {
		return eventForm
	}
	return eventFormTimed
}

func decodeEvent(seq uint64, b []byte) (event, error) {
	e := event{seq: seq}
	if len(b) < 35 || b[0] != eventForm && b[0] != eventFormTimed || b[1] < byte(applied) || b[1] > byte(givenUp) {
		return event{}, fmt.Errorf("event %d: form is not known", seq)
	}
	e.outcome = outcome(b[1])
	e.commit = commitHash(b[2:18])
	e.org = record.ID(b[18:34])
	timed, err := b[0] == eventFormTimed, error(nil)
	if b = b[34:]; timed {
		if len(b) < 8 || binary.BigEndian.Uint64(b) == 0 {
			return event{}, fmt.Errorf("event %d: has no time", seq)
		}
		e.atMS, b = int64(binary.BigEndian.Uint64(b)), b[8:]
	}
	if e.previous, b, err = causal.Uvarint(b); err != nil {
		return event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	if e.outcome.hasEdit() {
		e.edit, err = record.ParseEdit(b)
		e.key = e.edit.Key
	} else {
		err = e.decodeRef(b)
	}
	if err != nil {
		return event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	return e, nil
}

func (e *event) decodeRef(b []byte) error {
	kind, b, err := causal.Uvarint(b)
	if err != nil || len(b) < 33 {
		return errors.New("ends early")
	}
	e.key = record.Key{Kind: record.Kind(kind), ID: record.ID(b[:16])}
	e.ref.Replica = causal.ReplicaID(b[16:32])
	var rest []byte
	if e.ref.Counter, rest, err = causal.Uvarint(b[32:]); err != nil || len(rest) > 0 {
		return errors.New("counter is not in its shortest form")
	}
	return nil
}

// nextCommit is the commit chain after e, which has everything but its commit hash, where head is the chain before it and chain the edit's chain
// hash, zero when no edit came.
func nextCommit(head commitHash, e *event, chain record.Hash) commitHash {
	if e.outcome == scoped { // by its device alone it would be as any other's
		copy(chain[:], e.key.ID[:])
	}
	b := make([]byte, 0, 160)
	if e.atMS == 0 {
		b = append(b, "needlebook commit 1\x00"...)
	} else {
		b = append(b, "needlebook commit 2\x00"...)
		b = binary.BigEndian.AppendUint64(b, uint64(e.atMS))
	}
	b = append(b, head[:]...)
	b = binary.BigEndian.AppendUint64(b, e.seq)
	b = append(b, byte(e.outcome))
	b = append(b, e.org[:]...)
	b = append(b, chain[:]...)
	b = append(b, e.ref.Replica[:]...)
	b = binary.BigEndian.AppendUint64(b, e.ref.Counter)
	sum := sha256.Sum256(b)
	return commitHash(sum[:16])
}

func readEvent(r store.Reader, seq uint64) (event, error) {
	b, err := r.Get(eventKey(seq))
	if err != nil {
		return event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	return decodeEvent(seq, b)
}

// link is what the chain index says of a dot.
type link struct {
	seq  uint64
	hash record.Hash
}

func (k link) encode() []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 40), k.seq)
	return append(b, k.hash[:]...)
}

func decodeLink(b []byte) (link, error) {
	if len(b) != 40 {
		return link{}, fmt.Errorf("chain entry of %d bytes", len(b))
	}
	return link{binary.BigEndian.Uint64(b), record.Hash(b[8:])}, nil
}

// readLink is the chain entry of a dot; store.ErrNotFound when the server does not hold it.
func readLink(r store.Reader, d causal.Dot) (link, error) {
	b, err := r.Get(chainKey(d.Replica, d.Counter))
	if err != nil {
		return link{}, err
	}
	return decodeLink(b)
}

// chainHead is the highest counter held of a replica and its chain entry; 0 when none is.
func chainHead(r store.Reader, replica causal.ReplicaID) (uint64, link, error) {
	var counter uint64
	var head link
	prefix := chainKey(replica, 0)[:17]
	err := r.ScanDown(after(prefix), prefix, func(key, value []byte) error {
		var err error
		if counter, err = keySequence(key); err != nil {
			return err
		}
		if head, err = decodeLink(value); err != nil {
			return err
		}
		return store.Stop
	})
	return counter, head, err
}
