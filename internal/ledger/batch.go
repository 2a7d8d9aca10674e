package ledger

import (
	"maps"
	"slices"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// batch is one transaction that takes edits into the ledger. It keeps the rows it touched, so that several edits of one record are written once.
type batch struct {
	l    *Ledger
	w    store.Writer
	org  record.ID
	head head
	atMS int64 // of everything that it appends
	rows map[record.Key]*pendingRow
}

// pendingRow is a row with what this batch changed of it and did not write yet.
type pendingRow struct {
	*row
	stored uint64 // its sequence in the index of changes before this batch; 0 for none
	// concerned is the patients that it concerned before this batch.
	concerned []record.ID
	terms     []string    // that it was found by before this batch, ascending
	held      []heldEntry // ascending by dot
}

func (l *Ledger) newBatch(w store.Writer, org record.ID) (*batch, error) {
	h, err := readHead(w)
	return &batch{l: l, w: w, org: org, head: h, atMS: l.Now().UnixMilli(), rows: map[record.Key]*pendingRow{}}, err
}

// flush writes the rows that changed and the head of the log. It is the last call of a batch.
func (b *batch) flush() error {
	for _, k := range slices.SortedFunc(maps.Keys(b.rows), record.Key.Compare) {
		p := b.rows[k]
		if p.last == p.stored {
			continue
		}
		if err := p.write(b.w, b.org, p.stored); err != nil {
			return err
		}
		if err := p.indexSubjects(b.w, b.l, b.org); err != nil {
			return err
		}
		if err := p.indexTerms(b.w, b.l, b.org); err != nil {
			return err
		}
	}
	if err := b.l.markTerms(b.w, b.head); err != nil {
		return err
	}
	return b.head.write(b.w)
}

// row is a record as this batch has it, with its held edits.
func (b *batch) row(k record.Key) (*pendingRow, error) {
	if r := b.rows[k]; r != nil {
		return r, nil
	}
	r, err := readRow(b.w, b.org, k)
	if err != nil {
		return nil, err
	}
	p := &pendingRow{row: r, stored: r.last, concerned: b.l.Schema.Subjects(r.state), terms: b.l.termsOf(r.state)}
	if r.held > 0 {
		if p.held, err = readHeld(b.w, b.org, k); err != nil {
			return nil, err
		}
	}
	b.rows[k] = p
	return p, nil
}

// append gives e the next sequence and writes it. replica is who changed the record by it, zero when every device must be told.
func (b *batch) append(row *pendingRow, e *event, chain record.Hash, replica causal.ReplicaID) error {
	e.seq, e.org, e.previous, e.atMS = b.head.seq+1, b.org, row.last, b.atMS
	e.commit = nextCommit(b.head.commit, e, chain)
	b.head = head{e.seq, e.commit}
	row.touch(e.seq, replica)
	return b.w.Put(eventKey(e.seq), e.encode())
}

// logEdit appends an edit that came in to the log and to the chain of its replica.
func (b *batch) logEdit(row *pendingRow, a *admission, o outcome) error {
	if err := b.append(row, &event{outcome: o, edit: a.edit, key: a.edit.Key}, a.chain, a.edit.Dot.Replica); err != nil {
		return err
	}
	return b.w.Put(chainKey(a.edit.Dot.Replica, a.edit.Dot.Counter), link{b.head.seq, a.chain}.encode())
}

// logRef appends an event about an edit that came before. Every device is told.
func (b *batch) logRef(row *pendingRow, o outcome, d causal.Dot) error {
	return b.append(row, &event{outcome: o, key: row.state.Key, ref: d}, record.Hash{}, causal.ReplicaID{})
}
