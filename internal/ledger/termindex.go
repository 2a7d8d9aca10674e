package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"needlebook/internal/record"
	"needlebook/internal/store"
)

// Terms says under which terms a record is found, such as the number of its lot. It must be a function of the state only. A term is 1 to MaxTermBytes
// bytes; others are left out. Version names what Of gives: a ledger whose index was made by another makes it anew (MakeTerms).
type Terms struct {
	Version uint64
	Of      func(*record.State) []string
	// Clinic is the clinic whose devices hold the patient at the end of a term; false for any other term. Nil lets no term hold anybody.
	Clinic func(term string) (record.ID, bool)
}

// MaxTermBytes bounds a term.
const MaxTermBytes = 256

// termRecordBytes is what follows the term in a key: kind and id of the record.
const termRecordBytes = 18

// ErrNoTerms says that the index of terms is not there: the disk was full when it was to be made.
var ErrNoTerms = errors.New("the index of terms was not made")

func termKey(org record.ID, term string, k record.Key) []byte {
	b := append(make([]byte, 0, 64), tableTerms)
	b = append(b, org[:]...)
	b = append(b, term...)
	b = binary.BigEndian.AppendUint16(b, uint16(k.Kind))
	return append(b, k.ID[:]...)
}

// termPrefix is what the keys of the terms begin with that begin with prefix.
func termPrefix(org record.ID, prefix string) []byte {
	return termKey(org, prefix, record.Key{})[:17+len(prefix)]
}

func readTerm(key []byte) (term string, k record.Key, err error) {
	if len(key) <= 17+termRecordBytes {
		return "", k, fmt.Errorf("term key of %d bytes", len(key))
	}
	end := key[len(key)-termRecordBytes:]
	return string(key[17 : len(key)-termRecordBytes]), record.Key{Kind: record.Kind(binary.BigEndian.Uint16(end)), ID: record.ID(end[2:])}, nil
}

// termsOf is the terms of a state, ascending, each once; none where the ledger keeps no such index.
func (l *Ledger) termsOf(st *record.State) []string {
	if l.Terms.Of == nil {
		return nil
	}
	out := slices.DeleteFunc(l.Terms.Of(st), func(t string) bool { return t == "" || len(t) > MaxTermBytes })
	slices.Sort(out)
	return slices.Compact(out)
}

// indexTerms moves a record from the terms that it had before this batch to those that it has now.
func (p *pendingRow) indexTerms(w store.Writer, l *Ledger, org record.ID) error {
	now := l.termsOf(p.state)
	for _, t := range p.terms {
		if _, stays := slices.BinarySearch(now, t); !stays {
			if err := errors.Join(w.Delete(termKey(org, t, p.state.Key)), p.noteBooked(w, l, t)); err != nil {
				return err
			}
		}
	}
	for _, t := range now {
		if _, there := slices.BinarySearch(p.terms, t); !there {
			if err := errors.Join(w.Put(termKey(org, t, p.state.Key), []byte{1}), p.noteBooked(w, l, t)); err != nil {
				return err
			}
		}
	}
	return nil
}

// markTerms notes up to which sequence the index was kept, and by which version. A ledger that was written by a program without the index is found out so.
func (l *Ledger) markTerms(w store.Writer, h head) error {
	if l.Terms.Of == nil {
		return nil
	}
	return w.Put(metaKey("terms"), l.termsMark(h))
}

func (l *Ledger) termsMark(h head) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, l.Terms.Version), h.seq)
}

// termsKept reports whether the index is of this version and stands where the log does.
func (l *Ledger) termsKept(r store.Reader) (bool, error) {
	h, err := readHead(r)
	if err != nil {
		return false, err
	}
	mark, err := r.Get(metaKey("terms"))
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	return string(mark) == string(l.termsMark(h)), err
}

// termBatch is how many records, or keys of the index, one transaction of MakeTerms is about.
const termBatch = 2000

// MakeTerms makes the index of terms anew from the states when it is not there, is of another version, or is behind the log. Nothing else may write to the
// ledger meanwhile. made is false when there was nothing to do. It can be cut off anywhere and begun again.
func (l *Ledger) MakeTerms(ctx context.Context) (made bool, err error) {
	if l.Terms.Of == nil {
		return false, nil
	}
	kept := false
	err = l.store.View(ctx, func(r store.Reader) (err error) {
		kept, err = l.termsKept(r)
		return err
	})
	if err != nil || kept {
		return false, err
	}
	for _, step := range []func(context.Context) error{l.dropTerms, l.writeTerms} {
		if err := step(ctx); err != nil {
			return false, fmt.Errorf("make the index of terms: %w", err)
		}
	}
	return true, l.store.Update(ctx, func(w store.Writer) error {
		h, err := readHead(w)
		if err != nil {
			return err
		}
		return l.markTerms(w, h)
	})
}

func (l *Ledger) dropTerms(ctx context.Context) error {
	for more := true; more; {
		err := l.store.Update(ctx, func(w store.Writer) error {
			n := 0
			more = false
			if err := w.Delete(metaKey("terms")); err != nil {
				return err
			}
			return w.Scan([]byte{tableTerms}, nil, func(key, _ []byte) error {
				if n == termBatch {
					more = true
					return store.Stop
				}
				n++
				return w.Delete(key)
			})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (l *Ledger) writeTerms(ctx context.Context) error {
	from := []byte{tableStates}
	for from != nil {
		err := l.store.Update(ctx, func(w store.Writer) (err error) {
			from, err = l.writeTermsFrom(w, from)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// writeTermsFrom writes the terms of the states from a key on, and returns where to go on; nil at the end.
func (l *Ledger) writeTermsFrom(w store.Writer, from []byte) (next []byte, err error) {
	n := 0
	err = w.Scan(from, nil, func(key, v []byte) error {
		if n == termBatch {
			next = key
			return store.Stop
		}
		n++
		org, k, err := keyRecord(key)
		if err != nil {
			return err
		}
		row, err := decodeRow(w, k, v)
		if err != nil {
			return fmt.Errorf("%v: %w", k, err)
		}
		for _, t := range l.termsOf(row.state) {
			if err := w.Put(termKey(org, t, k), []byte{1}); err != nil {
				return err
			}
		}
		return nil
	})
	return next, err
}

// FindIn calls fn with each record of the organisation that has a term beginning with prefix, as r has them, ascending by term. fn may return store.Stop.
// The error is ErrNoTerms where the index is not there.
func (l *Ledger) FindIn(r store.Reader, org record.ID, prefix string, fn func(term string, k record.Key) error) error {
	if kept, err := l.termsKept(r); err != nil || !kept {
		return errors.Join(ErrNoTerms, err)
	}
	lo := termPrefix(org, prefix)
	return r.Scan(lo, after(lo), func(key, _ []byte) error {
		term, k, err := readTerm(key)
		if err != nil {
			return err
		}
		return fn(term, k)
	})
}

// DistinctIn calls fn with each term of the organisation that begins with prefix, once however many records have it, ascending. It costs what there are
// terms, not records. The error is ErrNoTerms where the index is not there.
func (l *Ledger) DistinctIn(r store.Reader, org record.ID, prefix string, fn func(term string) error) error {
	if kept, err := l.termsKept(r); err != nil || !kept {
		return errors.Join(ErrNoTerms, err)
	}
	lo, hi := termPrefix(org, prefix), after(termPrefix(org, prefix))
	for lo != nil {
		from := lo
		lo = nil
		err := r.Scan(from, hi, func(key, _ []byte) error {
			term, _, err := readTerm(key)
			if err != nil {
				return err
			}
			lo = after(key[:len(key)-termRecordBytes])
			if err := fn(term); err != nil {
				lo = nil
				return err
			}
			return store.Stop
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// terms holds the index of terms against the states: every term of every record, and no other. An index of another version, or none, is not held: it is
// made anew before it is used.
func (c *checker) terms(l *Ledger) error {
	kept, err := l.termsKept(c.r)
	if err != nil || !kept || l.Terms.Of == nil {
		return err
	}
	stored := 0
	err = c.r.Scan([]byte{tableTerms}, nil, func(_, _ []byte) error {
		stored++
		return nil
	})
	if err != nil {
		return err
	}
	wanted := 0
	err = c.r.Scan([]byte{tableStates}, nil, func(key, v []byte) error {
		org, k, err := keyRecord(key)
		if err != nil {
			return err
		}
		row, err := decodeRow(c.r, k, v)
		if err != nil {
			return nil // rows says so
		}
		for _, t := range l.termsOf(row.state) {
			wanted++
			if _, err := c.r.Get(termKey(org, t, k)); errors.Is(err, store.ErrNotFound) {
				c.fail("%v: is not in the index of terms under one of its own", k)
			} else if err != nil {
				return err
			}
		}
		return nil
	})
	if stored != wanted {
		c.fail("%d entries in the index of terms, want %d", stored, wanted)
	}
	return err
}
