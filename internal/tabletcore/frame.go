package tabletcore

import (
	"encoding/binary"
	"errors"
)

// errFrame says that bytes are no frame.
var errFrame = errors.New("frame: its parts do not end where it ends")

// maxParts bounds the parts of a frame: the blocks of a store that was not compacted for years are fewer.
const maxParts = 1 << 20

// AppendFrame appends parts as a frame: each behind its length as 4 bytes, little-endian.
func AppendFrame(b []byte, parts ...[]byte) []byte {
	for _, p := range parts {
		b = binary.LittleEndian.AppendUint32(b, uint32(len(p)))
		b = append(b, p...)
	}
	return b
}

// ParseFrame is the inverse of AppendFrame. The parts are slices of b.
func ParseFrame(b []byte) ([][]byte, error) {
	var parts [][]byte
	for len(b) > 0 {
		if len(b) < 4 || len(parts) == maxParts {
			return nil, errFrame
		}
		n := binary.LittleEndian.Uint32(b)
		if b = b[4:]; uint64(n) > uint64(len(b)) {
			return nil, errFrame
		}
		parts = append(parts, b[:n:n])
		b = b[n:]
	}
	return parts, nil
}
