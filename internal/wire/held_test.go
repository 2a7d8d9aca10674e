package wire_test

import (
	"testing"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/wire"
)

// TestHeld_WhatANewerServerSaysIsKept: a status or a reason that this version does not know is stored and read again, and does not cost a tablet its store.
func TestHeld_WhatANewerServerSaysIsKept(t *testing.T) {
	m := answerOf()
	m.GetRows()[0].GetHeld()[0].Status, m.GetRows()[0].GetHeld()[0].Reason = 99, 999
	rd, err := wire.NewReader(m.GetReplicas(), m.GetAuthors())
	if err != nil {
		t.Fatal(err)
	}
	row, err := rd.Row(m.GetRows()[0])
	if err != nil {
		t.Fatal(err)
	}
	h, err := wire.ParseHeld(row.Held[0].AppendBinary(nil))
	if err != nil || h.Status != 99 || h.Reason != 999 {
		t.Errorf("%v (%v)", h, err)
	}
	for _, status := range []syncv1.HeldStatus{0, -1, 1<<16 + 1} {
		m.GetRows()[0].GetHeld()[0].Status = status
		if _, err := rd.Row(m.GetRows()[0]); err == nil {
			t.Errorf("status %d is taken", status)
		}
	}
}
