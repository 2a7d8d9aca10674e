package replica

import (
	"encoding/binary"
	"errors"
	"fmt"

	"needlebook/internal/causal"
)

// Standing is where the edits that this installation made are, in the words that people read. Each edit is in one of the three.
type Standing struct {
	// Saved is those on this tablet alone.
	Saved int
	// OnServer is those on the clinic server's disk and in no backup yet.
	OnServer int
	// BackedUp is those that the server's newest good backup holds.
	BackedUp int
	// OldestUnsentMS is when the oldest edit of Saved was made, as its author's device claims, milliseconds since 1970 UTC; 0 when there is none.
	OldestUnsentMS int64
}

// Standing says where the edits made here are. What it says of backups is as new as the last exchange.
func (r *Replica) Standing() Standing {
	s := Standing{OldestUnsentMS: r.oldestUnsent()}
	covered := false // by a backup that holds an edit of a later incarnation, and so all of the earlier ones
	for i := len(r.incarnations) - 1; i >= 0; i-- {
		inc := r.incarnations[i]
		base, _ := inc.base()
		backed := min(inc.acked, max(inc.backedUp, base))
		if covered {
			backed = inc.acked
		}
		covered = covered || inc.backedUp > 0
		s.Saved += int(inc.counter - inc.acked)
		s.OnServer += int(inc.acked - backed)
		s.BackedUp += int(backed)
	}
	return s
}

func (r *Replica) oldestUnsent() int64 {
	for _, inc := range r.incarnations {
		if unsent := inc.unsent(); len(unsent) > 0 {
			return unsent[0].edit.AuthoredAt
		}
	}
	return 0
}

const tableBackedUp = 'b'

func backedUpKey(id causal.ReplicaID) []byte { return append([]byte{tableBackedUp}, id[:]...) }

// noteBackedUp takes over up to which counter the server's newest good backup holds the edits of inc.
func (inc *incarnation) noteBackedUp(counter uint64, ch *Changes) {
	if inc.backedUp == counter {
		return
	}
	inc.backedUp = counter
	ch.put(backedUpKey(inc.id), binary.BigEndian.AppendUint64([]byte{storedForm}, counter))
}

// backupsUnknown forgets what was known of backups: a server that was restored has none that it can speak for.
func (r *Replica) backupsUnknown(ch *Changes) {
	for _, inc := range r.incarnations {
		inc.noteBackedUp(0, ch)
	}
}

func (ld *loading) backedUpRow(row Row) error {
	if len(row.Key) != 17 || len(row.Value) != 9 || row.Value[0] != storedForm {
		return errors.New("backed-up counter: form is not known")
	}
	ld.backedUp[causal.ReplicaID(row.Key[1:])] = binary.BigEndian.Uint64(row.Value[1:])
	return nil
}

// takeBackedUp gives each incarnation its counter; one of another replica is refused.
func (ld *loading) takeBackedUp() error {
	for _, inc := range ld.r.incarnations {
		inc.backedUp = ld.backedUp[inc.id]
		delete(ld.backedUp, inc.id)
	}
	for id := range ld.backedUp {
		return fmt.Errorf("backed-up counter of replica %v, which it is not", id)
	}
	return nil
}
