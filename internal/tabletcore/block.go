package tabletcore

import (
	"bytes"
	"encoding/binary"
	"errors"
	"maps"
	"slices"

	"needlebook/internal/causal"
	"needlebook/internal/replica"
)

// A block is what one call stores: a byte for its form, how many keys are deleted, these, then rows to the end; each key and value behind its length as a
// varint. Deletions come first.
const blockForm = 1

var errBlock = errors.New("block: is not of a form that is known, or ends early")

// appendBlock appends changes as a block.
func appendBlock(b []byte, ch *replica.Changes) []byte {
	b = append(b, blockForm)
	b = binary.AppendUvarint(b, uint64(len(ch.Delete)))
	for _, key := range ch.Delete {
		b = appendPiece(b, key)
	}
	for _, row := range ch.Put {
		b = appendPiece(appendPiece(b, row.Key), row.Value)
	}
	return b
}

func appendPiece(b, piece []byte) []byte {
	return append(binary.AppendUvarint(b, uint64(len(piece))), piece...)
}

// blockOf is changes as a block; nil when there is nothing to store.
func blockOf(ch *replica.Changes) []byte {
	if ch.Empty() {
		return nil
	}
	return appendBlock(nil, ch)
}

func readPiece(b []byte) (piece, rest []byte, err error) {
	n, b, err := causal.Uvarint(b)
	if err != nil || n > uint64(len(b)) {
		return nil, nil, errBlock
	}
	return b[:n:n], b[n:], nil
}

// parseBlock is the inverse of appendBlock. The rows are slices of b.
func parseBlock(b []byte) (replica.Changes, error) {
	var ch replica.Changes
	if len(b) == 0 || b[0] != blockForm {
		return ch, errBlock
	}
	n, b, err := causal.Uvarint(b[1:])
	if err != nil || n > uint64(len(b)) {
		return ch, errBlock
	}
	for range n {
		var key []byte
		if key, b, err = readPiece(b); err != nil {
			return ch, err
		}
		ch.Delete = append(ch.Delete, key)
	}
	for len(b) > 0 {
		var row replica.Row
		if row.Key, b, err = readPiece(b); err != nil {
			return ch, err
		}
		if row.Value, b, err = readPiece(b); err != nil {
			return ch, err
		}
		ch.Put = append(ch.Put, row)
	}
	return ch, nil
}

// joinBlocks is the rows that blocks leave, ascending by key. The rows are slices of the blocks.
func joinBlocks(blocks [][]byte) ([]replica.Row, error) {
	rows := map[string][]byte{}
	for _, b := range blocks {
		ch, err := parseBlock(b)
		if err != nil {
			return nil, err
		}
		for _, key := range ch.Delete {
			delete(rows, string(key))
		}
		for _, row := range ch.Put {
			rows[string(row.Key)] = row.Value
		}
	}
	out := make([]replica.Row, 0, len(rows))
	for key, value := range rows {
		out = append(out, replica.Row{Key: []byte(key), Value: value})
	}
	slices.SortFunc(out, func(a, b replica.Row) int { return bytes.Compare(a.Key, b.Key) })
	return out, nil
}

// cutBlocks is rows as blocks of about most bytes each.
func cutBlocks(rows []replica.Row, most int) [][]byte {
	var out [][]byte
	var ch replica.Changes
	size := 0
	for _, row := range rows {
		if size > 0 && size+len(row.Value) > most {
			out = append(out, appendBlock(nil, &ch))
			ch, size = replica.Changes{}, 0
		}
		ch.Put = append(ch.Put, row)
		size += len(row.Key) + len(row.Value) + 4
	}
	if len(ch.Put) > 0 {
		out = append(out, appendBlock(nil, &ch))
	}
	return out
}

// joined is several changes as one, to be stored together: what a later one puts is not deleted by an earlier one, and the other way round.
func joined(all ...replica.Changes) replica.Changes {
	puts, deletes := map[string]replica.Row{}, map[string]bool{}
	var out replica.Changes
	for _, ch := range all {
		for _, key := range ch.Delete {
			delete(puts, string(key))
			deletes[string(key)] = true
		}
		for _, row := range ch.Put {
			puts[string(row.Key)] = row
		}
		out.Records = append(out.Records, ch.Records...)
	}
	for _, key := range slices.Sorted(maps.Keys(deletes)) {
		out.Delete = append(out.Delete, []byte(key))
	}
	for _, key := range slices.Sorted(maps.Keys(puts)) {
		out.Put = append(out.Put, puts[key])
	}
	return out
}
