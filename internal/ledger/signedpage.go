package ledger

import (
	"encoding/binary"
	"errors"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// signedPage is what is kept of a page beside its edits: who can be held to it.
type signedPage struct {
	replica     causal.ReplicaID
	first, last uint64
	signature   []byte
}

func (p signedPage) encode() []byte {
	return append(binary.BigEndian.AppendUint64(make([]byte, 0, 72), p.first), p.signature...)
}

func decodePage(key, v []byte) (signedPage, error) {
	if len(key) != 25 || len(v) != 72 {
		return signedPage{}, errors.New("signed page: not of its size")
	}
	return signedPage{
		replica: causal.ReplicaID(key[1:17]), last: binary.BigEndian.Uint64(key[17:]),
		first: binary.BigEndian.Uint64(v), signature: v[8:],
	}, nil
}

// statement is what the device signed.
func (p signedPage) statement(head record.Hash) []byte {
	return wire.Statement(p.replica, p.first, p.last, head)
}
