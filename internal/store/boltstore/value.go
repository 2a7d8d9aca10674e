package boltstore

import (
	"encoding/binary"
	"hash/crc32"

	"needlebook/internal/store"
)

// A stored value is the value and then a CRC-32C (Castagnoli, RFC 3720 appendix B.4) of key and value, big-endian.
const sumBytes = 4

// seal copies key and value into one new entry that holds the stored value.
func seal(key, value []byte) entry {
	n := len(key)
	b := make([]byte, 0, n+len(value)+sumBytes)
	b = append(append(b, key...), value...)
	b = binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli()))
	return entry{key: b[:n:n], stored: b[n:]}
}

// castagnoli is the polynomial's table, made once by the library.
func castagnoli() *crc32.Table { return crc32.MakeTable(crc32.Castagnoli) }

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
	return crc32.Update(crc32.Checksum(key, castagnoli()), castagnoli(), value)
}
