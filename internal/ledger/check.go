package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// VerifyPage checks a device's signature over a page of one of its replicas; nil skips that proof.
type VerifyPage func(r store.Reader, replica causal.ReplicaID, statement, signature []byte) error

// Report is what Check went through.
type Report struct {
	Events  int
	Records int
	Held    int // edits that are held or wait now; those that were judged or took effect since do not count
	Pages   int
}

// Check proves the ledger: that the commit chain and every replica's chain recompute, that every record's state is what its events fold to, that
// the indexes say what the log says, and that every page's signature verifies. It returns everything that is wrong, joined.
func (l *Ledger) Check(ctx context.Context, verify VerifyPage) (Report, error) {
	var c checker
	err := l.store.View(ctx, func(r store.Reader) error {
		c = checker{r: r, chains: map[causal.ReplicaID][]record.Hash{}, records: map[recordAt]*found{}, moved: map[record.ID]*movedScope{}}
		for _, step := range []func() error{c.log, c.rows, c.changes, func() error { return c.pages(verify) }, func() error { return c.terms(l) }, func() error { return c.scopes(l) }} {
			if err := step(); err != nil {
				return err
			}
		}
		return nil
	})
	return c.report, errors.Join(append(c.wrong, err)...)
}

type recordAt struct {
	org record.ID
	key record.Key
}

type found struct {
	events []event
	row    bool
}

type checker struct {
	r       store.Reader
	report  Report
	wrong   []error
	chains  map[causal.ReplicaID][]record.Hash
	records map[recordAt]*found
	moved   map[record.ID]*movedScope // by device
}

func (c *checker) fail(format string, args ...any) {
	c.wrong = append(c.wrong, fmt.Errorf(format, args...))
}

// log walks all events in order: commit chain, replica chains, links between the events of a record, the index of ids.
func (c *checker) log() error {
	h := head{}
	err := c.r.Scan([]byte{tableEvents}, nil, func(key, v []byte) error {
		seq, err := keySequence(key)
		if err != nil {
			return err
		}
		e, err := decodeEvent(seq, v)
		if err != nil {
			c.fail("%w", err)
			return nil
		}
		chain := c.chain(&e)
		if seq != h.seq+1 || nextCommit(h.commit, &e, chain) != e.commit {
			c.fail("event %d does not follow event %d", seq, h.seq)
		}
		h = head{seq, e.commit}
		if e.outcome != scoped {
			c.link(&e)
		} else {
			c.moveOf(&e)
		}
		c.report.Events++
		return nil
	})
	if err != nil {
		return err
	}
	if stored, err := readHead(c.r); err != nil || stored != h {
		c.fail("the log ends at %d, its head says %d (%v)", h.seq, stored.seq, err)
	}
	return nil
}

// chain recomputes the chain hash after an event's edit and holds it against the index.
func (c *checker) chain(e *event) record.Hash {
	if !e.outcome.hasEdit() {
		return record.Hash{}
	}
	d := e.edit.Dot
	chain := c.chains[d.Replica]
	if uint64(len(chain))+1 != d.Counter {
		c.fail("event %d: edit %v follows counter %d", e.seq, d, len(chain))
		return record.Hash{}
	}
	if len(chain) > 0 {
		e.edit.Previous = chain[len(chain)-1]
	}
	hash := e.edit.Hash()
	c.chains[d.Replica] = append(chain, hash)
	if at, err := readLink(c.r, d); err != nil || at != (link{e.seq, hash}) {
		c.fail("event %d: the chain index of %v differs (%v)", e.seq, d, err)
	}
	return hash
}

func (c *checker) link(e *event) {
	at := recordAt{e.org, e.key}
	f := c.records[at]
	if f == nil {
		f = &found{}
		c.records[at] = f
	}
	last := uint64(0)
	if n := len(f.events); n > 0 {
		last = f.events[n-1].seq
	}
	if e.previous != last {
		c.fail("event %d: the record's event before it is %d, not %d", e.seq, last, e.previous)
	}
	f.events = append(f.events, *e)
}

// rows holds every stored state against the fold of its events.
func (c *checker) rows() error {
	err := c.r.Scan([]byte{tableStates}, nil, func(key, v []byte) error {
		org, k, err := keyRecord(key)
		if err != nil {
			return err
		}
		f := c.records[recordAt{org, k}]
		if f == nil {
			c.fail("%v: has a state and no event", k)
			return nil
		}
		f.row = true
		c.report.Records++
		return c.row(org, k, v, f)
	})
	for at, f := range c.records {
		if !f.row {
			c.fail("%v: has %d events and no state", at.key, len(f.events))
		}
	}
	return err
}

func (c *checker) row(org record.ID, k record.Key, v []byte, f *found) error {
	row, err := decodeRow(c.r, k, v)
	if err != nil {
		c.fail("%v: %w", k, err)
		return nil
	}
	entries, err := readHeld(c.r, org, k)
	if err != nil {
		return err
	}
	for i := range entries {
		if s := entries[i].Status; s == syncv1.HeldStatus_HELD_STATUS_HELD || s == syncv1.HeldStatus_HELD_STATUS_WAITING {
			c.report.Held++
		}
	}
	p := pendingRow{row: row, held: entries}
	want := replay(k, f.events, p.partialWrites(), func(causal.Dot) bool { return true })
	if !bytes.Equal(want.AppendBinary(nil), row.state.AppendBinary(nil)) {
		c.fail("%v: the state is not what its %d events fold to", k, len(f.events))
	}
	if last := f.events[len(f.events)-1].seq; row.last != last || row.first != f.events[0].seq {
		c.fail("%v: changed from %d to %d, the log says %d to %d", k, row.first, row.last, f.events[0].seq, last)
	}
	return nil
}

// changes holds the index of changes against the log: one entry for every record, at its latest event.
func (c *checker) changes() error {
	n := 0
	err := c.r.Scan([]byte{tableChanges}, nil, func(key, v []byte) error {
		n++
		seq, err := keySequence(key)
		if err != nil {
			return err
		}
		ch, err := decodeChange(v)
		if err != nil {
			c.fail("change %d: %w", seq, err)
			return nil
		}
		f := c.records[recordAt{record.ID(key[1:17]), ch.key}]
		if f == nil || f.events[len(f.events)-1].seq != seq {
			c.fail("change %d: %v changed at another sequence", seq, ch.key)
		}
		return nil
	})
	if n != len(c.records) {
		c.fail("%d records, %d entries in the index of changes", len(c.records), n)
	}
	return err
}

// pages verifies the signatures of the pages that devices sent.
func (c *checker) pages(verify VerifyPage) error {
	return c.r.Scan([]byte{tablePages}, nil, func(key, v []byte) error {
		c.report.Pages++
		p, err := decodePage(key, v)
		chain := c.chains[p.replica]
		if err != nil || p.last > uint64(len(chain)) {
			c.fail("page of %v up to %d: is not in the log", p.replica, p.last)
			return nil
		}
		if verify == nil {
			return nil
		}
		if err := verify(c.r, p.replica, p.statement(chain[p.last-1]), p.signature); err != nil {
			c.fail("page of %v up to %d: %w", p.replica, p.last, err)
		}
		return nil
	})
}
