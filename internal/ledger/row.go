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
}

const rowForm = 1

func (r *row) encode() []byte {
	b := make([]byte, 0, 4096)
	b = append(b, rowForm)
	for _, seq := range []uint64{r.first, r.last, r.other, r.seen, r.held} {
		b = binary.AppendUvarint(b, seq)
	}
	b = append(b, r.lastReplica[:]...)
	infos := r.state.Infos()
	b = binary.AppendUvarint(b, uint64(len(infos)))
	for _, n := range infos {
		b = binary.AppendUvarint(b, r.dots[n.Dot])
	}
	return r.state.AppendBinary(b)
}

func decodeRow(b []byte) (*row, error) {
	if len(b) == 0 || b[0] != rowForm {
		return nil, errors.New("record: form is not known")
	}
	r := &row{}
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
	n, b, err := causal.Uvarint(b[16:])
	if err != nil || n > uint64(len(b)) {
		return nil, errors.New("record: ends early")
	}
	seqs := make([]uint64, n)
	for i := range seqs {
		if seqs[i], b, err = causal.Uvarint(b); err != nil {
			return nil, fmt.Errorf("record: %w", err)
		}
	}
	if r.state, err = record.ParseState(b); err != nil {
		return nil, err
	}
	infos := r.state.Infos()
	if len(infos) != len(seqs) {
		return nil, fmt.Errorf("record: %d edits are current, %d have a sequence", len(infos), len(seqs))
	}
	r.dots = make(map[causal.Dot]uint64, n)
	for i, info := range infos {
		r.dots[info.Dot] = seqs[i]
	}
	return r, nil
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
	out, err := decodeRow(b)
	if err != nil {
		return nil, fmt.Errorf("%v: %w", k, err)
	}
	if out.state.Key != k {
		return nil, fmt.Errorf("%v: holds %v", k, out.state.Key)
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
