package boltstore

import (
	"encoding/binary"
	"hash/crc32"

	"needlebook/internal/store"
)

// A stored value is the value and then a CRC-32C (Castagnoli, RFC 3720 appendix B.4) of key and value, big-endian.
const sumBytes = 4

// seal returns a new stored value of key and value.
func seal(key, value []byte) []byte {
	b := make([]byte, 0, len(value)+sumBytes)
	b = append(b, value...)
	return binary.BigEndian.AppendUint32(b, sum(key, value))
}

// unseal returns the value inside stored, without a copy, if it is what was written under key.
func unseal(key, stored []byte) ([]byte, error) {
	n := len(stored) - sumBytes
	if n < 1 || n > store.MaxValueBytes {
		return nil, &store.CorruptError{Table: key[0], What: "value has an impossible length"}
	}
	value := stored[:n:n]
	if binary.BigEndian.Uint32(stored[n:]) != sum(key, value) {
		return nil, &store.CorruptError{Table: key[0], What: "value fails its checksum"}
	}
	return value, nil
}

func sum(key, value []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli) // made once by the library
	return crc32.Update(crc32.Update(0, table, key), table, value)
}
