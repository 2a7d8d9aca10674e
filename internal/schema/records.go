// Package schema is the door to the generated messages as data: which messages are records. Whoever builds a record.Schema takes the list from here, so
// that a server, a tablet and a test know the same kinds.
//
//	s, err := record.NewSchema(schema.Records()...)
//
// The tests of this package hold every message to the rules that the merge rests on: what is a register, what is a collection, and that each value that
// comes from outside is bounded. A new kind of record is added to Records and to RecordKind; a test names what was forgotten.
package schema

import (
	"google.golang.org/protobuf/reflect/protoreflect"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Records is the message of every kind of record, in the order of RecordKind. The slice is the caller's.
func Records() []protoreflect.MessageDescriptor {
	return []protoreflect.MessageDescriptor{
		(*chartv1.Patient)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Appointment)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Order)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Session)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Vial)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Photo)(nil).ProtoReflect().Descriptor(),
		(*chartv1.ConsentText)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Questionnaire)(nil).ProtoReflect().Descriptor(),
		(*formularyv1.FormularyEdition)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Protocol)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Clinic)(nil).ProtoReflect().Descriptor(),
		(*accessv1.Staff)(nil).ProtoReflect().Descriptor(),
		(*accessv1.Device)(nil).ProtoReflect().Descriptor(),
		(*chartv1.Lot)(nil).ProtoReflect().Descriptor(),
		(*chartv1.AdverseEvent)(nil).ProtoReflect().Descriptor(),
		(*chartv1.DayClose)(nil).ProtoReflect().Descriptor(),
	}
}
