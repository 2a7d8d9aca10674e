package chart

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// voidField is the field by which a record or an element says that it does not count, whatever it is called: void, ended, withdrawn. It is nil when
// there is none.
func voidField(shape protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	if shape == nil {
		return nil
	}
	void, fields := (*recordv1.Void)(nil).ProtoReflect().Descriptor().FullName(), shape.Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); fd.Message() != nil && fd.Message().FullName() == void && !fd.IsList() {
			return fd
		}
	}
	return nil
}

// Void is the change that voids st, or the element of it that path names; an empty path is the record itself. What is voided stays. What is not there
// is NOT_FOUND; what cannot be voided, or a void without a reason, is a fault of path or reason.
func (c *Chart) Void(st *record.State, path, reason string, by Act) (Change, error) {
	var r record.Register
	if path != "" {
		var err error
		if r, err = c.schema.ParseRegister(st.Key.Kind, path); err != nil {
			return Change{}, err
		}
	}
	fd := voidField(shapeAt(st.Key.Kind, r.Path))
	switch {
	case r.Field != record.WholeElement || fd == nil:
		return Change{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "path", path, "an element that can be voided")
	case !st.Has(r.Path):
		return Change{}, fault.New(faultv1.Reason_REASON_NOT_FOUND, "path", path, "")
	case reason == "":
		return Change{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "reason", "", "why, in words")
	}
	void := &recordv1.Void{Reason: reason, By: by.Staff.String(), At: timestamppb.New(by.At.Truncate(time.Millisecond))}
	m := holder(st.Key.Kind, r.Path)
	m.Set(fd, protoreflect.ValueOfMessage(void.ProtoReflect()))
	normalise(m)
	b, err := proto.Marshal(m.Interface())
	if err != nil {
		return Change{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "reason", fault.Withheld(reason), "text in UTF-8")
	}
	r.Field = uint32(fd.Number())
	return Change{Key: st.Key, Context: contextOf(st), Writes: []record.Write{{Path: r.Path, Set: c.schema.Canonical(st.Key.Kind, r, b)}}}, nil
}
