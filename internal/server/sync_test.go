package server_test

import (
	"slices"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

const (
	kindVial    = optionsv1.RecordKind_RECORD_KIND_VIAL
	kindPatient = optionsv1.RecordKind_RECORD_KIND_PATIENT
	kindStaff   = optionsv1.RecordKind_RECORD_KIND_STAFF
	kindDevice  = optionsv1.RecordKind_RECORD_KIND_DEVICE
)

func TestTwoTabletsAgreeOverTheWire(t *testing.T) {
	w := newWorld(t)
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	a, b := w.tablet(eve), w.tablet(eve)
	k := newRecord(kindVial)
	a.edit(k, vial("11"))
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if got := vials(b); !slices.Equal(got, []string{"11"}) {
		t.Errorf("vials %q, want 11", got)
	}
	a.edit(k, vial("12"))
	b.edit(k, vial("13"))
	a.sync()
	b.sync()
	a.sync()
	sameDigest(t, a, b)
	if n := len(a.r.View(k).Conflicts()); n != 1 {
		t.Errorf("%d conflicts, want 1", n)
	}
	if len(b.r.Keys(kindStaff)) != 2 || len(b.r.Keys(kindDevice)) != 2 {
		t.Errorf("%d staff and %d devices reached the tablet, want 2 and 2", len(b.r.Keys(kindStaff)), len(b.r.Keys(kindDevice)))
	}
}
