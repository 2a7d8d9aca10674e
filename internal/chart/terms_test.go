package chart_test

import (
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// The numbers of fields that the index reads by are those of the schema.
func TestTerms_FieldNumbers(t *testing.T) {
	for _, f := range []struct {
		m      proto.Message
		name   string
		number int
	}{
		{&chartv1.Session{}, "injections", 40}, {&chartv1.Session{}, "syringes", 41}, {&chartv1.Session{}, "void", 71}, {&chartv1.Session{}, "patient_id", 2},
		{&chartv1.Session{}, "clinic_id", 3}, {&chartv1.Session{}, "on", 6}, {&chartv1.Session{}, "review", 61},
		{&chartv1.Injection{}, "givings", 20},
		{&chartv1.Giving{}, "given", 2}, {&chartv1.Giving{}, "void", 9}, {&chartv1.SessionSyringe{}, "filling", 2}, {&chartv1.SessionSyringe{}, "void", 7},
	} {
		fields := f.m.ProtoReflect().Descriptor().Fields()
		if fd := fields.ByNumber(protowire.Number(f.number)); fd == nil || string(fd.Name()) != f.name {
			t.Errorf("%T has no %s = %d", f.m, f.name, f.number)
		}
	}
}
