// Package audit is the log of who did what to whose record: append-only, one hash chain for each organisation.
//
// Use: in the transaction that does the thing, Append an Entry; List reads pages, newest first; Verify walks a chain and names what was
// edited, deleted, reordered or cut off. Copy Head off the machine from time to time (its text form is one line): who can write the whole
// store can also forge a whole chain, and only a head kept elsewhere shows it.
//
// Promise: sequences run from 1 without gaps; an entry's hash covers the entry and the hash before it; entries are never changed. An entry
// holds ids, and the reason that a person gave, and no other patient data. Times are the server's and order nothing. All lives under the
// table byte 'u' of a store.
package audit

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"unicode/utf8"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/store"
)

// Relation is how the record stood to who touched it.
type Relation uint8

// Relations. Numbers are hashed and never reused.
const (
	NoRecord Relation = iota
	OwnClinic
	SharedClinic      // another clinic of the organisation
	BreakGlass        // the same, opened with a reason
	OtherOrganisation // or missing
)

// Entry is one act. Ids are uuid.Nil where there is none.
type Entry struct {
	// Sequence is the place in the organisation's log, from 1; Append sets it.
	Sequence uint64 `json:"sequence"`
	// AtMS is the server's time, milliseconds since 1970 UTC.
	AtMS int64 `json:"at_unix_ms"`
	// Org is whose log it is; uuid.Nil for acts of nobody known, such as a sign-in under a name that nobody has.
	Org    uuid.UUID `json:"org"`
	Staff  uuid.UUID `json:"staff"`
	Device uuid.UUID `json:"device"`
	// Role is the one by which it was allowed; unspecified when refused.
	Role   accessv1.Role    `json:"role"`
	Action optionsv1.Action `json:"action"`
	// Procedure is the RPC as package.Service/Method, or the command of the server's console; at most 128 bytes.
	Procedure string               `json:"procedure"`
	Kind      optionsv1.RecordKind `json:"kind"`
	Record    uuid.UUID            `json:"record"`
	Patient   uuid.UUID            `json:"patient"`
	Clinic    uuid.UUID            `json:"clinic"`
	Relation  Relation             `json:"relation"`
	// Outcome and, when it was refused or held, why.
	Outcome accessv1.AuditOutcome `json:"outcome"`
	Reason  faultv1.Reason        `json:"reason"`
	// Remark is the reason that a person gave, for break-glass and the like; at most 500 characters.
	Remark string `json:"remark"`
	// Request is the request id that the server's log has, too; at most 64 bytes.
	Request string `json:"request"`
}

// Bounds of an entry's texts.
const (
	maxProcedureBytes = 128
	maxRemark         = 500
	maxRequestBytes   = 64
)

// Hash is a place in a chain.
type Hash [sha256.Size]byte

// ErrEntry says that an entry is not such as may be appended.
var ErrEntry = errors.New("not an audit entry")

func (e Entry) valid() error {
	switch {
	case len(e.Procedure) > maxProcedureBytes, len(e.Request) > maxRequestBytes:
		return fmt.Errorf("%w: procedure of %d bytes (at most %d), request id of %d (at most %d)",
			ErrEntry, len(e.Procedure), maxProcedureBytes, len(e.Request), maxRequestBytes)
	case utf8.RuneCountInString(e.Remark) > maxRemark:
		return fmt.Errorf("%w: remark of %d characters, at most %d", ErrEntry, utf8.RuneCountInString(e.Remark), maxRemark)
	case !utf8.ValidString(e.Procedure + e.Remark + e.Request):
		return fmt.Errorf("%w: text is not UTF-8", ErrEntry)
	case e.Outcome == accessv1.AuditOutcome_AUDIT_OUTCOME_UNSPECIFIED:
		return fmt.Errorf("%w: no outcome", ErrEntry)
	}
	return nil
}

// valueVersion is the first byte of an entry's value; then its hash (32 bytes), then JSON with the fields in the order of Entry.
const valueVersion = 1

// chain is the hash after an entry: SHA-256 over a name, the hash before, and the entry's JSON.
func chain(before Hash, body []byte) Hash {
	h := sha256.New()
	h.Write([]byte("needlebook audit v1\x00"))
	h.Write(before[:])
	h.Write(body)
	return Hash(h.Sum(nil))
}

func encodeEntry(before Hash, e Entry) ([]byte, Hash, error) {
	body, err := json.Marshal(e)
	if err != nil {
		return nil, Hash{}, fmt.Errorf("encode audit entry: %w", err)
	}
	hash := chain(before, body)
	return append(append([]byte{valueVersion}, hash[:]...), body...), hash, nil
}

// ErrStored says that stored bytes are not such as this package writes.
var ErrStored = errors.New("stored audit value is not as written")

// decodeEntry reads what encodeEntry writes and nothing else. The hash is the stored one; Verify compares it with the one before.
func decodeEntry(b []byte) (e Entry, hash Hash, body []byte, err error) {
	if len(b) < 1+len(hash) || b[0] != valueVersion {
		return Entry{}, Hash{}, nil, fmt.Errorf("%w: version or length", ErrStored)
	}
	copy(hash[:], b[1:])
	body = b[1+len(hash):]
	if err := json.Unmarshal(body, &e); err != nil {
		return Entry{}, Hash{}, nil, fmt.Errorf("%w: not JSON of an entry", ErrStored)
	}
	if again, err := json.Marshal(e); err != nil || !bytes.Equal(again, body) {
		return Entry{}, Hash{}, nil, fmt.Errorf("%w: not in its one form", ErrStored)
	}
	return e, hash, body, nil
}

// Append adds an entry to its organisation's log and returns it with its sequence, and the head after it. Everything of a call that is worth
// an entry is appended in the transaction of that call; when it fails the call is refused.
func Append(w store.Writer, e Entry) (Entry, Head, error) {
	if err := e.valid(); err != nil {
		return Entry{}, Head{}, err
	}
	head, err := HeadOf(w, e.Org)
	if err != nil {
		return Entry{}, Head{}, err
	}
	e.Sequence = head.Sequence + 1
	if _, err := w.Get(entryKey(e.Org, e.Sequence)); err == nil {
		return Entry{}, Head{}, &TamperedError{Org: e.Org, Sequence: e.Sequence, What: "an entry behind the head"}
	} else if !errors.Is(err, store.ErrNotFound) {
		return Entry{}, Head{}, err
	}
	value, hash, err := encodeEntry(head.Hash, e)
	if err != nil {
		return Entry{}, Head{}, err
	}
	head = Head{Org: e.Org, Sequence: e.Sequence, Hash: hash}
	if err := w.Put(entryKey(e.Org, e.Sequence), value); err != nil {
		return Entry{}, Head{}, err
	}
	for _, k := range indexKeys(e) {
		if err := w.Put(k, []byte{1}); err != nil {
			return Entry{}, Head{}, err
		}
	}
	return e, head, w.Put(headKey(e.Org), []byte(head.String()))
}

// Keys, all under the table 'u'. docs/format.md has the same table.
//
//	'u' 'e' org(16) sequence(8)                      an entry
//	'u' 'h' org(16)                                  the head of the organisation's chain, as Head.String
//	'u' 'p' org(16) patient(16) sequence(8)          an entry that touched a patient (value: 1)
//	'u' 's' org(16) staff(16) sequence(8)            an entry of a person (value: 1)
const (
	table      = 'u'
	keyEntry   = 'e'
	keyHead    = 'h'
	keyPatient = 'p'
	keyStaff   = 's'
)

func entryKey(org uuid.UUID, sequence uint64) []byte {
	return binary.BigEndian.AppendUint64(entryPrefix(org), sequence)
}

func entryPrefix(org uuid.UUID) []byte { return append([]byte{table, keyEntry}, org[:]...) }

func headKey(org uuid.UUID) []byte { return append([]byte{table, keyHead}, org[:]...) }

func indexPrefix(kind byte, org, id uuid.UUID) []byte {
	return append(append([]byte{table, kind}, org[:]...), id[:]...)
}

// indexKeys are the keys under which an entry is found besides its own.
func indexKeys(e Entry) (keys [][]byte) {
	if e.Patient != uuid.Nil {
		keys = append(keys, binary.BigEndian.AppendUint64(indexPrefix(keyPatient, e.Org, e.Patient), e.Sequence))
	}
	if e.Staff != uuid.Nil {
		keys = append(keys, binary.BigEndian.AppendUint64(indexPrefix(keyStaff, e.Org, e.Staff), e.Sequence))
	}
	return keys
}

// sequenceOf is the sequence at the end of a key of an entry or an index.
func sequenceOf(key []byte) uint64 {
	if len(key) < 8 {
		return 0
	}
	return binary.BigEndian.Uint64(key[len(key)-8:])
}
