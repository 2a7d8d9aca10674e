package ledger

import (
	"encoding/binary"
	"fmt"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// Tables of the ledger: the first byte of a key. docs/format.md lists them with who writes each and what can be rebuilt.
const (
	tableMeta     = 'g' // name -> value
	tableEvents   = 'e' // sequence -> event
	tableChain    = 'c' // replica, counter -> sequence, chain hash
	tableIDs      = 'i' // organisation, edit id -> sequence, body hash
	tableStates   = 's' // organisation, kind, record id -> row
	tableChanges  = 'x' // organisation, sequence -> record, for the latest change of each record
	tableHeld     = 'h' // organisation, kind, record id, dot -> sequence, held edit
	tableWaiting  = 'w' // organisation, kind, record id, dot -> 1, for each edit that waits
	tableServer   = 'v' // organisation -> the server's own replica
	tableBackups  = 'k' // sequence at a backup that is kept -> time
	tableScope    = 'd' // device, part -> what scope.go says
	tableSubjects = 'p' // organisation, patient, kind, record id -> sequence of its latest change, for each record that concerns the patient
	tableTerms    = 't' // organisation, term, kind, record id -> 1, for each term that a record is found by
	tableKept     = 'z' // organisation, device, dot -> time, reason, who, sealed bytes: a sealed edit that is not in the log
	tablePages    = 'q' // replica, counter of a page's last edit -> its first counter, signature
)

// AppendOnlyTables is the tables whose keys only grow, for a store that can pack them tighter.
func AppendOnlyTables() []byte { return []byte{tableEvents} }

func metaKey(name string) []byte { return append([]byte{tableMeta}, name...) }

func eventKey(seq uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{tableEvents}, seq)
}

func chainKey(r causal.ReplicaID, counter uint64) []byte {
	b := append(make([]byte, 0, 25), tableChain)
	b = append(b, r[:]...)
	return binary.BigEndian.AppendUint64(b, counter)
}

func pageKey(r causal.ReplicaID, last uint64) []byte {
	b := append(make([]byte, 0, 25), tablePages)
	b = append(b, r[:]...)
	return binary.BigEndian.AppendUint64(b, last)
}

func idKey(org, edit record.ID) []byte {
	b := append(make([]byte, 0, 33), tableIDs)
	b = append(b, org[:]...)
	return append(b, edit[:]...)
}

func recordKey(table byte, org record.ID, k record.Key) []byte {
	b := append(make([]byte, 0, 64), table)
	b = append(b, org[:]...)
	b = binary.BigEndian.AppendUint16(b, uint16(k.Kind))
	return append(b, k.ID[:]...)
}

func stateKey(org record.ID, k record.Key) []byte { return recordKey(tableStates, org, k) }

func heldKey(org record.ID, k record.Key, d causal.Dot) []byte {
	return dotKey(recordKey(tableHeld, org, k), d)
}

func waitingKey(org record.ID, k record.Key, d causal.Dot) []byte {
	return dotKey(recordKey(tableWaiting, org, k), d)
}

func dotKey(b []byte, d causal.Dot) []byte {
	b = append(b, d.Replica[:]...)
	return binary.BigEndian.AppendUint64(b, d.Counter)
}

func changeKey(org record.ID, seq uint64) []byte {
	b := append(make([]byte, 0, 25), tableChanges)
	b = append(b, org[:]...)
	return binary.BigEndian.AppendUint64(b, seq)
}

func serverKey(org record.ID) []byte { return append([]byte{tableServer}, org[:]...) }

func backupKey(seq uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{tableBackups}, seq)
}

// after is the first key behind all that begin with prefix.
func after(prefix []byte) []byte {
	out := append([]byte(nil), prefix...)
	for i := len(out) - 1; i >= 0; i-- {
		if out[i]++; out[i] != 0 {
			return out[:i+1]
		}
	}
	return nil
}

// keySequence is the sequence at the end of an event's, a change's or a backup's key.
func keySequence(key []byte) (uint64, error) {
	if len(key) < 9 {
		return 0, fmt.Errorf("key of %d bytes has no sequence", len(key))
	}
	return binary.BigEndian.Uint64(key[len(key)-8:]), nil
}

// keyRecord is the record that a state's key names.
func keyRecord(key []byte) (record.ID, record.Key, error) {
	if len(key) < 35 {
		return record.ID{}, record.Key{}, fmt.Errorf("key of %d bytes names no record", len(key))
	}
	return record.ID(key[1:17]), record.Key{Kind: record.Kind(binary.BigEndian.Uint16(key[17:19])), ID: record.ID(key[19:35])}, nil
}
