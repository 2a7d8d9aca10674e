package device

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"

	"needlebook/internal/replica"
	"needlebook/internal/store"
)

// Store is what a device asks of a store; every store.Store is one.
type Store interface {
	View(ctx context.Context, fn func(store.Reader) error) error
	Update(ctx context.Context, fn func(store.Writer) error) error
	Close() error
}

// Tables of the store: the first byte of a key.
const (
	tableHost   = 'h'
	tablePieces = 'p'
	tableRows   = 'r'
)

// A row of a replica may be larger than a value of the store: a record with many held edits. Its first piece begins with the number of further ones.
const (
	pieceBytes    = store.MaxValueBytes - 1
	mostPieces    = 255
	identityName  = "identity"
	personName    = "person"
	exchangesName = "exchanges"
)

func rowKey(key []byte) []byte { return append([]byte{tableRows}, key...) }

// pieceKey is where the n-th further piece is, from 1. Keys of one length cannot meet those of another, since the number has a fixed size.
func pieceKey(key []byte, n int) []byte {
	return binary.BigEndian.AppendUint16(append([]byte{tablePieces}, key...), uint16(n))
}

func hostKey(name string) []byte { return append([]byte{tableHost}, name...) }

// putRow stores a row, in pieces when it is large.
func putRow(w store.Writer, row replica.Row) error {
	if err := deleteRow(w, row.Key); err != nil {
		return err
	}
	more := (len(row.Value) - 1) / pieceBytes
	if more > mostPieces {
		return fmt.Errorf("row of %d bytes: %w", len(row.Value), store.ErrTooLarge)
	}
	rest := row.Value
	for n := 0; n <= more; n++ {
		piece := rest[:min(len(rest), pieceBytes)]
		rest = rest[len(piece):]
		var err error
		if n == 0 {
			err = w.Put(rowKey(row.Key), append([]byte{byte(more)}, piece...))
		} else {
			err = w.Put(pieceKey(row.Key, n), piece)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// deleteRow removes a row with its pieces; a row that is absent is no error.
func deleteRow(w store.Writer, key []byte) error {
	old, err := w.Get(rowKey(key))
	if errors.Is(err, store.ErrNotFound) {
		return nil
	} else if err != nil {
		return err
	}
	for n := 1; n <= int(old[0]); n++ {
		if err := w.Delete(pieceKey(key, n)); err != nil {
			return err
		}
	}
	return w.Delete(rowKey(key))
}

// readRows is every row of the replica, ascending by key.
func readRows(r store.Reader) ([]replica.Row, error) {
	var rows []replica.Row
	err := r.Scan([]byte{tableRows}, nil, func(key, value []byte) error {
		row := replica.Row{Key: key[1:], Value: value[1:]}
		for n := 1; n <= int(value[0]); n++ {
			piece, err := r.Get(pieceKey(row.Key, n))
			if err != nil {
				return fmt.Errorf("piece %d of a row: %w", n, err)
			}
			row.Value = append(row.Value, piece...)
		}
		rows = append(rows, row)
		return nil
	})
	return rows, err
}

// rows is every row of the replica as the store has it.
func (d *Device) rows(ctx context.Context) (rows []replica.Row, err error) {
	err = d.store.View(ctx, func(r store.Reader) error {
		rows, err = readRows(r)
		return err
	})
	return rows, err
}

// note is something of this package's own, to be stored with the replica's rows.
type note struct {
	name  string
	value any
}

// save stores changes and notes in one durable transaction.
func save(ctx context.Context, st Store, ch replica.Changes, notes ...note) error {
	return st.Update(ctx, func(w store.Writer) error {
		for _, key := range ch.Delete {
			if err := deleteRow(w, key); err != nil {
				return err
			}
		}
		for _, row := range ch.Put {
			if err := putRow(w, row); err != nil {
				return err
			}
		}
		for _, n := range notes {
			b, err := json.Marshal(n.value)
			if err != nil {
				return fmt.Errorf("write %s: %w", n.name, err)
			}
			if err := w.Put(hostKey(n.name), b); err != nil {
				return err
			}
		}
		return nil
	})
}

// readNote reads a note into to, and reports whether there is one.
func readNote(r store.Reader, name string, to any) (bool, error) {
	b, err := r.Get(hostKey(name))
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	} else if err != nil {
		return false, err
	}
	if err := json.Unmarshal(b, to); err != nil {
		return false, fmt.Errorf("read %s: %w", name, err)
	}
	return true, nil
}
