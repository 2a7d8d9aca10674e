package audit

import (
	"encoding/binary"
	"errors"

	"github.com/google/uuid"

	"needlebook/internal/store"
)

// maxExamined bounds how many entries one List looks at.
const maxExamined = 10000

// Query chooses entries of one organisation. Conditions that are zero are not asked; those given are joined by and.
type Query struct {
	Org     uuid.UUID
	Patient uuid.UUID
	Staff   uuid.UUID
	Device  uuid.UUID
	// FromMS and UntilMS are times of the server, milliseconds since 1970 UTC: at or after, and before.
	FromMS, UntilMS int64
	// Before is where the page before ended; 0 for the newest.
	Before uint64
	// Limit is the most to answer, 1 to 1000.
	Limit int
}

// Listed is an entry as stored, with the hashes before and after it.
type Listed struct {
	Entry
	Previous, Hash Hash
}

// Page is an answer, newest first.
type Page struct {
	Entries []Listed
	// Next is the Before of the next page; 0 when this is the last. A page may be short, or empty, and still have a next one: List looks at
	// a bounded number of entries.
	Next uint64
}

// ErrLimit says that a query asks for fewer than 1 or more than 1000 entries.
var ErrLimit = errors.New("audit query: limit is not 1 to 1000")

// List reads a page of an organisation's log.
func List(r store.Reader, q Query) (Page, error) {
	if q.Limit < 1 || q.Limit > 1000 {
		return Page{}, ErrLimit
	}
	var p Page
	examined := 0
	hi := after(q.prefix())
	if q.Before != 0 {
		hi = q.key(q.Before)
	}
	err := r.ScanDown(hi, q.key(0), func(key, _ []byte) error {
		if len(p.Entries) >= q.Limit || examined >= maxExamined {
			p.Next = sequenceOf(key) + 1
			return store.Stop
		}
		examined++
		l, err := load(r, q.Org, sequenceOf(key))
		if err == nil && q.chooses(l.Entry) {
			p.Entries = append(p.Entries, l)
		}
		return err
	})
	return p, err
}

// prefix is of the narrowest keys that hold all that the query chooses.
func (q Query) prefix() []byte {
	switch {
	case q.Patient != uuid.Nil:
		return indexPrefix(keyPatient, q.Org, q.Patient)
	case q.Staff != uuid.Nil:
		return indexPrefix(keyStaff, q.Org, q.Staff)
	}
	return entryPrefix(q.Org)
}

func (q Query) key(sequence uint64) []byte {
	return binary.BigEndian.AppendUint64(q.prefix(), sequence)
}

func (q Query) chooses(e Entry) bool {
	return (q.Patient == uuid.Nil || e.Patient == q.Patient) && (q.Staff == uuid.Nil || e.Staff == q.Staff) &&
		(q.Device == uuid.Nil || e.Device == q.Device) && (q.FromMS == 0 || e.AtMS >= q.FromMS) && (q.UntilMS == 0 || e.AtMS < q.UntilMS)
}

// load reads an entry and the hash before it.
func load(r store.Reader, org uuid.UUID, sequence uint64) (Listed, error) {
	b, err := r.Get(entryKey(org, sequence))
	if errors.Is(err, store.ErrNotFound) {
		return Listed{}, &TamperedError{org, sequence, "missing"}
	} else if err != nil {
		return Listed{}, err
	}
	e, hash, body, err := decodeEntry(b)
	if err != nil {
		return Listed{}, &TamperedError{org, sequence, err.Error()}
	}
	l := Listed{Entry: e, Hash: hash}
	if sequence > 1 {
		before, err := r.Get(entryKey(org, sequence-1))
		if err != nil {
			return Listed{}, &TamperedError{org, sequence - 1, "missing"}
		}
		if _, l.Previous, _, err = decodeEntry(before); err != nil {
			return Listed{}, &TamperedError{org, sequence - 1, err.Error()}
		}
	}
	if chain(l.Previous, body) != hash || e.Sequence != sequence || e.Org != org {
		return Listed{}, &TamperedError{org, sequence, "its hash does not follow from it and the hash before"}
	}
	return l, nil
}
