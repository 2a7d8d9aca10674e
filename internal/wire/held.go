package wire

import (
	"encoding/binary"
	"errors"
	"fmt"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// maxEnum bounds statuses and reasons. A later version may add some; what this one does not know it keeps.
const maxEnum = 1 << 16

// AppendBinary appends the form in which a held edit is stored, on the server and on tablets: status, reason, whether partial, detail, edit.
func (h *Held) AppendBinary(b []byte) []byte {
	b = binary.AppendUvarint(b, uint64(h.Status))
	b = binary.AppendUvarint(b, uint64(h.Reason))
	partial := byte(0)
	if h.Partial {
		partial = 1
	}
	b = append(b, partial)
	b = binary.AppendUvarint(b, uint64(len(h.Detail)))
	b = append(b, h.Detail...)
	return h.Edit.AppendBinary(b)
}

// ParseHeld is the inverse of AppendBinary. The edit's slices point into b.
func ParseHeld(b []byte) (Held, error) {
	status, b, err := causal.Uvarint(b)
	if err != nil || status == 0 || status > maxEnum {
		return Held{}, fmt.Errorf("held edit: status %d is none", status)
	}
	reason, b, err := causal.Uvarint(b)
	if err != nil || reason > maxEnum {
		return Held{}, fmt.Errorf("held edit: reason %d is none", reason)
	}
	if len(b) == 0 || b[0] > 1 {
		return Held{}, errors.New("held edit: partial is neither yes nor no")
	}
	h := Held{Status: syncv1.HeldStatus(status), Reason: faultv1.Reason(reason), Partial: b[0] == 1}
	n, b, err := causal.Uvarint(b[1:])
	if err != nil || n > uint64(len(b)) {
		return Held{}, errors.New("held edit: detail ends early")
	}
	h.Detail = string(b[:n])
	if h.Edit, err = record.ParseEdit(b[n:]); err != nil {
		return Held{}, fmt.Errorf("held edit: %w", err)
	}
	return h, nil
}
