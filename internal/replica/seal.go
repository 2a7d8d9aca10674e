package replica

import (
	"encoding/binary"
	"errors"
	"fmt"

	"needlebook/internal/causal"
	"needlebook/internal/wire"
)

// Beside each edit that the server does not have, a replica stores the same edit sealed to the server's key, so that neither a lost key nor a revoked device
// loses the work. The host seals: after every change it asks ToSeal what lacks a seal, and stores what Sealed gives in the same transaction. A sealed edit
// goes when the edit itself goes: once the server has it and the oldest backup kept holds it.

// sealing is whether a sealed copy of an edit is stored, and whether the device's signature is in it.
type sealing byte

const (
	notSealed      sealing = 0
	sealedUnsigned sealing = 1
	sealedSigned   sealing = 2
)

const tableSealed = 'z'

func sealedKey(d causal.Dot) []byte { return dotKey(tableSealed, d) }

// ToSeal is the edits that the server does not have and of which no sealed copy is stored, in the order in which they were made; with signed, also those whose
// copy has no signature. The host signs each one's Statement where the device's key is open.
func (r *Replica) ToSeal(signed bool) []wire.SealedText {
	var out []wire.SealedText
	for _, inc := range r.incarnations {
		for _, o := range inc.unsent() {
			if o.sealed == notSealed || signed && o.sealed == sealedUnsigned {
				out = append(out, wire.SealedText{Edit: o.edit})
			}
		}
	}
	return out
}

// Sealed stores the sealed copy of an edit that ToSeal gave; signed says whether a signature is in it. Of an edit that is not kept it stores nothing.
func (r *Replica) Sealed(d causal.Dot, sealed []byte, signed bool) Changes {
	var ch Changes
	for _, inc := range r.incarnations {
		base, _ := inc.base()
		if inc.id != d.Replica || d.Counter <= base || d.Counter > inc.counter {
			continue
		}
		o := inc.kept[d.Counter-base-1]
		if o.sealed = sealedUnsigned; signed {
			o.sealed = sealedSigned
		}
		ch.put(sealedKey(d), append([]byte{storedForm, flag(signed)}, sealed...))
	}
	return ch
}

// dropOwn forgets an own edit and its sealed copy.
func (o *own) dropOwn(ch *Changes) {
	ch.delete(ownKey(o.edit.Dot))
	if o.sealed != notSealed {
		ch.delete(sealedKey(o.edit.Dot))
	}
}

// Wipe is what to store when the device was revoked: of the rows that a replica stored, only the sealed edits stay. Afterwards there is no Replica any
// more; SealedRows reads what is left.
func Wipe(rows []Row) Changes {
	var ch Changes
	for _, row := range rows {
		if len(row.Key) == 0 || row.Key[0] != tableSealed {
			ch.delete(row.Key)
		}
	}
	return ch
}

// SealedRows is the sealed edits among the rows that a replica stored, in the order of their dots.
func SealedRows(rows []Row) ([]wire.Sealed, error) {
	var out []wire.Sealed
	for _, row := range rows {
		if len(row.Key) == 0 || row.Key[0] != tableSealed {
			continue
		}
		if _, err := readSealed(row); err != nil {
			return nil, err
		}
		out = append(out, wire.Sealed{Dot: sealedDot(row.Key), Bytes: row.Value[2:]})
	}
	return out, nil
}

// ForgetSealed is what to store once the server has sealed edits of a replica that was wiped.
func ForgetSealed(dots []causal.Dot) Changes {
	var ch Changes
	for _, d := range dots {
		ch.delete(sealedKey(d))
	}
	return ch
}

func sealedDot(key []byte) causal.Dot {
	return causal.Dot{Replica: causal.ReplicaID(key[1:17]), Counter: binary.BigEndian.Uint64(key[17:])}
}

func readSealed(row Row) (sealing, error) {
	if len(row.Key) != 25 || len(row.Value) < 3 || row.Value[0] != storedForm || row.Value[1] > 1 {
		return notSealed, errors.New("sealed edit: form is not known")
	}
	if row.Value[1] == 1 {
		return sealedSigned, nil
	}
	return sealedUnsigned, nil
}

// sealedRow notes that a sealed copy is there; adopt gives it to its edit.
func (ld *loading) sealedRow(row Row) error {
	s, err := readSealed(row)
	if err == nil {
		ld.sealed[sealedDot(row.Key)] = s
	}
	return err
}

// sealsTaken reports sealed copies of edits that are not kept: they would never go.
func (ld *loading) sealsTaken() error {
	for d := range ld.sealed {
		return fmt.Errorf("sealed copy of edit %v, which is not kept", d)
	}
	return nil
}
