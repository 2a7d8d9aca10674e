package boltstore

import "testing"

// TestSum_Vector is RFC 3720, appendix B.4: the CRC-32C of 32 bytes of zeros is aa 36 91 8a on the wire, least
// significant byte first (cited from memory), however the bytes are split between key and value.
func TestSum_Vector(t *testing.T) {
	zeros := make([]byte, 32)
	for split := range zeros {
		if got := sum(zeros[:split], zeros[split:]); got != 0x8a9136aa {
			t.Errorf("split at %d: %08x", split, got)
		}
	}
}
