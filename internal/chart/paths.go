package chart

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// PathsOf is the update mask that writes all that a record holds and nothing else: its registers by name and its elements by collection and id, in the order
// of the schema. It is what EditRecord wants with a part of a record, such as package visit answers. The error is a fault of record.
func PathsOf(r *chartv1.Record) ([]string, error) {
	_, m, err := KeyOf(r)
	if err != nil {
		return nil, err
	}
	var paths []string
	fields := m.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if fd.Number() == 1 || !m.ProtoReflect().Has(fd) {
			continue
		}
		if !isElements(fd) {
			paths = append(paths, string(fd.Name()))
			continue
		}
		list := m.ProtoReflect().Get(fd).List()
		for n := range list.Len() {
			element := list.Get(n).Message()
			id := element.Get(element.Descriptor().Fields().ByNumber(1)).String()
			paths = append(paths, string(fd.Name())+"["+id+"]")
		}
	}
	return paths, nil
}

// isElements reports whether a field is a collection whose entries merge by their ids.
func isElements(fd protoreflect.FieldDescriptor) bool {
	if !fd.IsList() || fd.Message() == nil {
		return false
	}
	element, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Element).(bool)
	return element
}

// RecordOf wraps a message of a record's kind, such as a Session, in a Record; nil when the message is of no kind.
func RecordOf(m proto.Message) *chartv1.Record {
	r := &chartv1.Record{}
	fields := r.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); fd.Message().FullName() == m.ProtoReflect().Descriptor().FullName() {
			r.ProtoReflect().Set(fd, protoreflect.ValueOfMessage(m.ProtoReflect()))
			return r
		}
	}
	return nil
}
