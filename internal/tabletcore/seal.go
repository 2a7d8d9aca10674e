package tabletcore

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/wire"
)

// The host seals: keys and HPKE are the browser's. It asks to_seal, signs, hands the signatures to seal_texts, seals the texts, and stores what sealed gives
// together with what the edit itself stores.

// mostToSeal is how many edits are sealed in one go.
const mostToSeal = 100

// toSeal is the statements to sign, beside the answer, of the edits that lack a sealed copy, the oldest first.
func toSeal(c *Core, _ request) (answer, error) {
	all := c.replica.ToSeal(false)
	c.sealing = all[:min(mostToSeal, len(all))]
	out := make([][]byte, len(c.sealing))
	for i := range c.sealing {
		out[i] = c.sealing[i].Statement()
	}
	return answer{json: struct {
		Count int `json:"count"`
	}{len(out)}, bytes: out}, nil
}

// sealTexts takes the signatures beside the request, in the order of to_seal: {"organisation_id", "device_id"}. Beside the answer stand, for each edit, what
// its seal is bound to and the text to seal.
func sealTexts(c *Core, r request) (answer, error) {
	var m struct {
		OrganisationID string `json:"organisation_id"`
		DeviceID       string `json:"device_id"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	org, err := readID("organisation_id", m.OrganisationID)
	if err != nil {
		return answer{}, err
	}
	device, err := readID("device_id", m.DeviceID)
	if err != nil {
		return answer{}, err
	}
	if err := c.sealsFit(r); err != nil {
		return answer{}, err
	}
	var out [][]byte
	for i := range c.sealing {
		t := &c.sealing[i]
		if len(r.bytes[i]) != 64 {
			return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "signature", "", "64 bytes")
		}
		t.Signature = bytes.Clone(r.bytes[i])
		out = append(out, wire.SealInfo(org, device, t.Edit.Dot), t.AppendBinary(nil))
	}
	return answer{json: struct{}{}, bytes: out}, nil
}

// sealed takes the sealed copies beside the request, in the order of to_seal.
func sealed(c *Core, r request) (answer, error) {
	if err := c.sealsFit(r); err != nil {
		return answer{}, err
	}
	var all []replica.Changes
	for i, t := range c.sealing {
		if n := len(r.bytes[i]); n == 0 || n > wire.MaxSealedBytes {
			return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "sealed", "", "a sealed edit of at most 60000 bytes")
		}
		all = append(all, c.replica.Sealed(t.Edit.Dot, r.bytes[i], len(t.Signature) > 0))
	}
	c.sealing = nil
	return answer{json: struct{}{}, changes: joined(all...)}, nil
}

func (c *Core) sealsFit(r request) error {
	if len(r.bytes) == len(c.sealing) {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "sealed", "", "one for each edit of to_seal, which was asked just before")
}

// sealedEdit names a sealed edit; its bytes stand beside.
type sealedEdit struct {
	Replica []byte `json:"replica"`
	Counter uint64 `json:"counter"`
}

// wipe is what stays of a store whose device was revoked: the sealed edits of the blocks beside the request, {"edits"}, and their bytes beside the answer.
// It touches nothing of the core.
func wipe(_ *Core, r request) (answer, error) {
	rows, err := joinBlocks(r.bytes)
	if err != nil {
		return answer{}, err
	}
	left, err := replica.SealedRows(rows)
	if err != nil {
		return answer{}, err
	}
	edits, out := []sealedEdit{}, [][]byte{}
	for _, s := range left {
		edits = append(edits, sealedEdit{bytes.Clone(s.Dot.Replica[:]), s.Dot.Counter})
		out = append(out, bytes.Clone(s.Bytes))
	}
	return answer{json: map[string][]sealedEdit{"edits": edits}, bytes: out}, nil
}

// handIn is the statement that a revoked tablet signs to hand in sealed edits, beside the answer: {"device_id", "edits"}, and their bytes beside the request.
func handIn(_ *Core, r request) (answer, error) {
	var m struct {
		DeviceID string       `json:"device_id"`
		Edits    []sealedEdit `json:"edits"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	device, err := readID("device_id", m.DeviceID)
	if err != nil {
		return answer{}, err
	}
	if len(m.Edits) != len(r.bytes) {
		return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "edits", "", "one for each sealed edit beside the request")
	}
	all := make([]wire.Sealed, len(m.Edits))
	for i, e := range m.Edits {
		id, err := record.IDFromBytes(e.Replica)
		if err != nil {
			return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "edits.replica", "", "16 bytes")
		}
		all[i] = wire.Sealed{Dot: causal.Dot{Replica: causal.ReplicaID(id), Counter: e.Counter}, Bytes: r.bytes[i]}
	}
	return answer{json: struct{}{}, bytes: [][]byte{handInStatement(device, wire.HandInBytes(all))}}, nil
}

func handInStatement(device record.ID, of []byte) []byte {
	sum := sha256.Sum256(of)
	b := []byte("needlebook hand-in v1\x00")
	for _, p := range [][]byte{device[:], sum[:]} {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(p))), p...)
	}
	return b
}
