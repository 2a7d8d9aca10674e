package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// row is a record as the server stores it: its state, and when what of it changed.
type row struct {
	state *record.State
	first uint64 // sequence at which the record came to be
	last  uint64 // sequence of its latest change of any sort
	other uint64 // sequence of its latest change that was not made by lastReplica
	seen  uint64 // sequence at which the vector changed without a value: an edit was held or was a duplicate
	held  uint64 // sequence of the latest change among its held edits, 0 when there never was one
	// lastReplica made the change at last.
	lastReplica causal.ReplicaID
	// dots is the sequence at which each edit that is still current was committed.
	dots map[causal.Dot]uint64
	// bound is no less than the size of the row's whole form.
	bound int
}

// A row is stored whole, or, while one edit is all that there is of the record, as a reference to that edit's event: most records of a day are made
// by one edit and never touched again, and their content is in the log already.
const (
	rowWhole = 1
	rowSole  = 2
)

// sole reports whether the record is exactly what its first event leaves.
func (r *row) sole() bool { return r.first == r.last && r.seen == 0 && r.held == 0 }

func (r *row) encode() []byte {
	if r.sole() {
		return r.appendHead(make([]byte, 0, 32), rowSole)
	}
	return r.encodeWhole()
}

func (r *row) appendHead(b []byte, form byte) []byte {
	b = append(b, form)
	for _, seq := range []uint64{r.first, r.last, r.other, r.seen, r.held} {
		b = binary.AppendUvarint(b, seq)
	}
	return append(b, r.lastReplica[:]...)
}

func (r *row) encodeWhole() []byte {
	b := r.appendHead(make([]byte, 0, 4096), rowWhole)
	infos := r.state.Infos()
	b = binary.AppendUvarint(b, uint64(len(infos)))
	for _, n := range infos {
		b = binary.AppendUvarint(b, r.dots[n.Dot])
	}
	return r.state.AppendBinary(b)
}

// decodeRow reads the row of a record; from is where the log is.
func decodeRow(from store.Reader, k record.Key, b []byte) (*row, error) {
	if len(b) == 0 || b[0] != rowWhole && b[0] != rowSole {
		return nil, errors.New("record: form is not known")
	}
	form := b[0]
	r := &row{bound: len(b)}
	b = b[1:]
	var err error
	for _, seq := range []*uint64{&r.first, &r.last, &r.other, &r.seen, &r.held} {
		if *seq, b, err = causal.Uvarint(b); err != nil {
			return nil, fmt.Errorf("record: %w", err)
		}
	}
	if len(b) < 16 {
		return nil, errors.New("record: ends early")
	}
	r.lastReplica = causal.ReplicaID(b[:16])
	switch b = b[16:]; {
	case form == rowSole && len(b) == 0 && r.sole():
		err = r.readSole(from)
	case form == rowWhole && !r.sole():
		err = r.readWhole(b)
	default:
		err = errors.New("record: its form is not that of what it holds")
	}
	if err == nil && r.state.Key != k {
		err = fmt.Errorf("record: holds %v", r.state.Key)
	}
	return r, err
}

// readSole takes the state from the one event of the record.
func (r *row) readSole(from store.Reader) error {
	e, err := readEvent(from, r.first)
	if err != nil {
		return err
	}
	if e.outcome != applied {
		return fmt.Errorf("record: event %d is not an edit that took effect", r.first)
	}
	r.state = record.NewState(e.key)
	r.state.Apply(&e.edit)
	r.bound += editSize(&e.edit)
	r.dots = map[causal.Dot]uint64{e.edit.Dot: e.seq}
	return nil
}

func (r *row) readWhole(b []byte) error {
	n, b, err := causal.Uvarint(b)
	if err != nil || n > uint64(len(b)) {
		return errors.New("record: ends early")
	}
	seqs := make([]uint64, n)
	for i := range seqs {
		if seqs[i], b, err = causal.Uvarint(b); err != nil {
			return fmt.Errorf("record: %w", err)
		}
	}
	if r.state, err = record.ParseState(b); err != nil {
		return err
	}
	infos := r.state.Infos()
	if len(infos) != len(seqs) {
		return fmt.Errorf("record: %d edits are current, %d have a sequence", len(infos), len(seqs))
	}
	r.dots = make(map[causal.Dot]uint64, n)
	for i, info := range infos {
		r.dots[info.Dot] = seqs[i]
	}
	return nil
}

// readRow is a record; a new empty one, with first 0, when the organisation has none under this key.
func readRow(r store.Reader, org record.ID, k record.Key) (*row, error) {
	b, err := r.Get(stateKey(org, k))
	if errors.Is(err, store.ErrNotFound) {
		return &row{state: record.NewState(k), dots: map[causal.Dot]uint64{}}, nil
	}
	if err != nil {
		return nil, err
	}
	out, err := decodeRow(r, k, b)
	if err != nil {
		return nil, fmt.Errorf("%v: %w", k, err)
	}
	return out, nil
}

// change is the entry of the index of changes: which record, and whether one replica alone changed it lately.
type change struct {
	key         record.Key
	lastReplica causal.ReplicaID
	other       uint64
}

func (c change) encode() []byte {
	b := binary.BigEndian.AppendUint16(make([]byte, 0, 44), uint16(c.key.Kind))
	b = append(b, c.key.ID[:]...)
	b = append(b, c.lastReplica[:]...)
	return binary.AppendUvarint(b, c.other)
}

func decodeChange(b []byte) (change, error) {
	if len(b) < 35 {
		return change{}, errors.New("change: ends early")
	}
	c := change{key: record.Key{Kind: record.Kind(binary.BigEndian.Uint16(b)), ID: record.ID(b[2:18])}, lastReplica: causal.ReplicaID(b[18:34])}
	var rest []byte
	var err error
	if c.other, rest, err = causal.Uvarint(b[34:]); err != nil || len(rest) > 0 {
		return change{}, errors.New("change: sequence is not in its shortest form")
	}
	return c, nil
}

// touch notes that replica changed the record at seq; the zero replica stands for a change that every device must be told of.
func (r *row) touch(seq uint64, replica causal.ReplicaID) {
	if r.first == 0 {
		r.first = seq
	}
	if r.lastReplica != replica {
		r.other = r.last
	}
	r.last, r.lastReplica = seq, replica
}

// write stores the row and moves the record's place in the index of changes from stored, where it was before.
func (r *row) write(w store.Writer, org record.ID, stored uint64) error {
	if stored > 0 {
		if err := w.Delete(changeKey(org, stored)); err != nil {
			return err
		}
	}
	if err := w.Put(changeKey(org, r.last), change{r.state.Key, r.lastReplica, r.other}.encode()); err != nil {
		return err
	}
	return w.Put(stateKey(org, r.state.Key), r.encode())
}
