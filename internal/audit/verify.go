package audit

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"needlebook/internal/store"
)

// TamperedError is evidence that a log was changed other than by Append.
type TamperedError struct {
	Org uuid.UUID
	// Sequence is the first place where it shows; 0 when it is not at an entry.
	Sequence uint64
	// What was found.
	What string
}

func (e *TamperedError) Error() string {
	return fmt.Sprintf("audit log of %s, entry %d: %s", e.Org, e.Sequence, e.What)
}

// Verify walks an organisation's chain from its first entry and returns its head, or a TamperedError for the first thing that is not as
// Append left it: an entry edited, deleted, moved or added, the end cut off, the head changed, an index entry missing or too many. The heads
// kept elsewhere must lie on the chain; those of other organisations are passed over. Without such a head a log whose end and stored head
// were both set back, or which was forged whole, looks sound.
func Verify(r store.Reader, org uuid.UUID, kept ...Head) (Head, error) {
	at := Head{Org: org}
	keptAt := map[uint64]Hash{}
	for _, h := range kept {
		if other, twice := keptAt[h.Sequence]; h.Org == org && twice && other != h.Hash {
			return Head{}, &TamperedError{org, h.Sequence, "two heads kept elsewhere differ"}
		} else if h.Org == org {
			keptAt[h.Sequence] = h.Hash
		}
	}
	indexed := 0
	prefix := entryPrefix(org)
	err := r.Scan(prefix, after(prefix), func(key, value []byte) error {
		n, err := at.step(r, key, value)
		indexed += n
		if want, ok := keptAt[at.Sequence]; err == nil && ok && want != at.Hash {
			return &TamperedError{org, at.Sequence, "differs from the head kept elsewhere"}
		}
		return err
	})
	if err != nil {
		return Head{}, err
	}
	return at, errors.Join(at.ends(r, keptAt), at.countIndex(r, indexed))
}

// step checks one entry and moves on to it. It returns how many index keys the entry has.
func (h *Head) step(r store.Reader, key, value []byte) (int, error) {
	want := h.Sequence + 1
	e, hash, body, err := decodeEntry(value)
	switch {
	case len(key) != len(entryKey(h.Org, want)):
		return 0, &TamperedError{h.Org, want, "a key that Append does not make"}
	case sequenceOf(key) != want:
		return 0, &TamperedError{h.Org, want, fmt.Sprintf("missing; the next is entry %d", sequenceOf(key))}
	case err != nil:
		return 0, &TamperedError{h.Org, want, err.Error()}
	case e.Sequence != want || e.Org != h.Org:
		return 0, &TamperedError{h.Org, want, fmt.Sprintf("holds entry %d of %s", e.Sequence, e.Org)}
	case chain(h.Hash, body) != hash:
		return 0, &TamperedError{h.Org, want, "its hash does not follow from it and the hash before"}
	}
	h.Sequence, h.Hash = want, hash
	keys := indexKeys(e)
	for _, k := range keys {
		if _, err := r.Get(k); errors.Is(err, store.ErrNotFound) {
			return 0, &TamperedError{h.Org, want, "is not found by its patient or person"}
		} else if err != nil {
			return 0, err
		}
	}
	return len(keys), nil
}

// ends compares the end of the chain with the stored head and with heads kept elsewhere.
func (h Head) ends(r store.Reader, kept map[uint64]Hash) error {
	stored, err := HeadOf(r, h.Org)
	switch {
	case err != nil:
		return err
	case stored.Sequence > h.Sequence:
		return &TamperedError{h.Org, h.Sequence + 1, fmt.Sprintf("cut off; the head stands at %d", stored.Sequence)}
	case stored != h:
		return &TamperedError{h.Org, stored.Sequence, "the head is not where the chain ends"}
	}
	for sequence := range kept {
		if sequence > h.Sequence {
			return &TamperedError{h.Org, h.Sequence + 1, fmt.Sprintf("cut off; a head kept elsewhere stands at %d", sequence)}
		}
	}
	return nil
}

// countIndex finds index keys that no entry made.
func (h Head) countIndex(r store.Reader, want int) error {
	got := 0
	for _, kind := range []byte{keyPatient, keyStaff} {
		prefix := append([]byte{table, kind}, h.Org[:]...)
		if err := r.Scan(prefix, after(prefix), func(_, _ []byte) error { got++; return nil }); err != nil {
			return err
		}
	}
	if got != want {
		return &TamperedError{h.Org, 0, fmt.Sprintf("%d index entries, want %d", got, want)}
	}
	return nil
}

// VerifyAll verifies every organisation's chain and returns their heads; errors are joined. A head kept elsewhere of an organisation that is
// gone is an error, too.
func VerifyAll(r store.Reader, kept ...Head) ([]Head, error) {
	orgs, err := Organisations(r)
	if err != nil {
		return nil, err
	}
	for _, h := range kept {
		orgs = append(orgs, h.Org)
	}
	var heads []Head
	var errs []error
	for _, org := range unique(orgs) {
		h, err := Verify(r, org, kept...)
		heads, errs = append(heads, h), append(errs, err)
	}
	return heads, errors.Join(errs...)
}

func unique(orgs []uuid.UUID) []uuid.UUID {
	slices.SortFunc(orgs, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) })
	return slices.Compact(orgs)
}

// after is the least key behind all that begin with prefix.
func after(prefix []byte) []byte {
	end := bytes.Clone(prefix)
	for i := len(end) - 1; i >= 0; i-- {
		if end[i]++; end[i] != 0 {
			return end[:i+1]
		}
	}
	return nil
}
