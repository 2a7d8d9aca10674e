package formulary

import (
	"bytes"
	"fmt"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Find is the record of an edition by its id; nil when it is not at hand.
type Find func(id string) *formularyv1.FormularyEdition

// mostBases bounds how many editions stand between one and the one that is shipped, so that a ring of records ends.
const mostBases = 16

// Resolve lays the edition that a reference names over all that it derives from, e being the one that is shipped and find giving the records. A reference
// with a hash is only of the content that has this hash, so a record that was changed since names nothing. The error is an *EntryError.
func (e *Edition) Resolve(ref *formularyv1.EditionReference, find Find) (*Edition, error) {
	return e.resolve(ref, find, mostBases)
}

func (e *Edition) resolve(ref *formularyv1.EditionReference, find Find, left int) (*Edition, error) {
	if ref.GetEditionId() == "" {
		if ref != nil && !names(ref, e) {
			return nil, &EntryError{"editions", ref.GetVersion(), "is not the edition that is shipped with this program, which is " + e.Version()}
		}
		return e, nil
	}
	if left == 0 {
		return nil, &EntryError{"editions", ref.GetVersion(), fmt.Sprintf("has more than %d editions between it and the one that is shipped", mostBases)}
	}
	m := find(ref.GetEditionId())
	if m == nil {
		return nil, &EntryError{"editions", ref.GetVersion(), "is not known here"}
	}
	base, err := e.resolve(m.GetBase(), find, left-1)
	if err != nil {
		return nil, err
	}
	derived, err := Derive(base, m)
	if err != nil {
		return nil, err
	}
	if len(ref.GetHash()) > 0 && !bytes.Equal(ref.GetHash(), derived.hash[:]) {
		return nil, &EntryError{"editions", ref.GetVersion(), "has another content than the one that was chosen"}
	}
	return derived, nil
}
