package ledger

import (
	"context"
	"encoding/binary"
	"sort"
	"time"

	"needlebook/internal/causal"
	"needlebook/internal/store"
)

// NoteBackup records that a backup holding the log up to seq exists. Devices keep their edits until the oldest backup noted holds them.
func (l *Ledger) NoteBackup(ctx context.Context, seq uint64, at time.Time) error {
	return l.store.Update(ctx, func(w store.Writer) error {
		return w.Put(backupKey(seq), binary.BigEndian.AppendUint64(nil, uint64(at.UnixMilli())))
	})
}

// ForgetBackup records that the backup up to seq is no longer kept.
func (l *Ledger) ForgetBackup(ctx context.Context, seq uint64) error {
	return l.store.Update(ctx, func(w store.Writer) error { return w.Delete(backupKey(seq)) })
}

// Sequence is the end of the log.
func (l *Ledger) Sequence(ctx context.Context) (uint64, error) {
	var h head
	err := l.store.View(ctx, func(r store.Reader) (err error) {
		h, err = readHead(r)
		return err
	})
	return h.seq, err
}

// NewEpoch starts a new epoch, as after a restore.
func (l *Ledger) NewEpoch(ctx context.Context) error {
	return l.store.Update(ctx, func(w store.Writer) error {
		// The restored file believes in backups that were noted before it was made; they may be gone, so none is believed until the next.
		if err := w.Scan([]byte{tableBackups}, nil, func(key, _ []byte) error { return w.Delete(key) }); err != nil {
			return err
		}
		return l.startEpoch(w)
	})
}

// backups is the sequences of the oldest and the newest backup that are kept; 0 when there is none.
func backups(r store.Reader) (oldest, newest uint64, err error) {
	first := func(seq *uint64) func(key, _ []byte) error {
		return func(key, _ []byte) (err error) {
			if *seq, err = keySequence(key); err != nil {
				return err
			}
			return store.Stop
		}
	}
	if err = r.Scan([]byte{tableBackups}, nil, first(&oldest)); err != nil || oldest == 0 {
		return 0, 0, err
	}
	err = r.ScanDown([]byte{tableBackups + 1}, []byte{tableBackups}, first(&newest))
	return oldest, newest, err
}

// backedUp is the highest counters of a replica, of those up to counter, that the oldest and the newest backup kept hold; 0 when there is none.
func backedUp(r store.Reader, replica causal.ReplicaID, counter uint64) (inOldest, inNewest uint64, err error) {
	oldest, newest, err := backups(r)
	if err != nil || oldest == 0 {
		return 0, 0, err
	}
	if inNewest, err = heldBy(r, replica, counter, newest); err != nil || oldest == newest {
		return inNewest, inNewest, err
	}
	inOldest, err = heldBy(r, replica, inNewest, oldest)
	return inOldest, inNewest, err
}

// heldBy is the highest counter of a replica, of those up to counter, that the log up to seq holds.
func heldBy(r store.Reader, replica causal.ReplicaID, counter, seq uint64) (uint64, error) {
	if counter == 0 {
		return 0, nil
	}
	head, err := readLink(r, causal.Dot{Replica: replica, Counter: counter})
	if err != nil {
		return 0, err
	}
	if head.seq <= seq {
		return counter, nil
	}
	// Counters of a replica came in order, so their sequences ascend.
	n := sort.Search(int(counter), func(i int) bool {
		at, e := readLink(r, causal.Dot{Replica: replica, Counter: uint64(i) + 1})
		if e != nil {
			err = e
			return true
		}
		return at.seq > seq
	})
	return uint64(n), err
}
