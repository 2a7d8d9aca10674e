package service

import (
	"errors"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/gather"
	"needlebook/internal/record"
)

// namedKinds are the kinds of records that go with a person's records when these name them. What is about somebody else never does.
func namedKinds() []record.Kind {
	return []record.Kind{
		optionsv1.RecordKind_RECORD_KIND_VIAL, optionsv1.RecordKind_RECORD_KIND_CLINIC, optionsv1.RecordKind_RECORD_KIND_STAFF,
		optionsv1.RecordKind_RECORD_KIND_LOT, optionsv1.RecordKind_RECORD_KIND_ORDER, optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT,
		optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE,
	}
}

// named reads what the person's records name, and what the vials among that name, cut down to what concerns her.
func (x *exporting) named(reader *desk) error {
	s := newShelf(x.ctx, reader)
	seen := map[record.Key]bool{}
	for _, v := range x.own {
		seen[keyOfView(v)] = true
	}
	pending := slices.Clone(x.own)
	for len(pending) > 0 {
		m := pending[0].GetRecord()
		pending = pending[1:]
		for _, id := range idsIn(m.ProtoReflect(), nil) {
			for _, kind := range namedKinds() {
				k := record.Key{Kind: kind, ID: id}
				if seen[k] || x.index.get(k) == nil {
					continue
				}
				seen[k] = true
				v, err := x.other(s, k)
				if err != nil {
					return err
				}
				if v != nil {
					x.others = append(x.others, v)
					pending = append(pending, v)
				}
			}
		}
	}
	return nil
}

// other is a record that is nobody's, without what it holds of other people; nil when it may not be read or is somebody else's.
func (x *exporting) other(s *shelf, k record.Key) (*chartv1.RecordView, error) {
	if f := x.index.get(k); len(f.Patients) > 0 && k.Kind != optionsv1.RecordKind_RECORD_KIND_VIAL {
		return nil, nil
	}
	v, err := s.View(k.Kind, k.ID.String())
	var withheld *gather.WithheldError
	if errors.Is(err, gather.ErrNone) || errors.As(err, &withheld) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	v = proto.CloneOf(v)
	v.HeldEdits, v.LateEntries = nil, nil
	switch r := v.GetRecord().GetKind().(type) {
	case *chartv1.Record_Vial:
		x.onlyHers(r.Vial)
	case *chartv1.Record_Staff:
		r.Staff = &accessv1.Staff{Id: r.Staff.GetId(), Name: r.Staff.GetName(), Profession: r.Staff.Profession, Registration: r.Staff.GetRegistration(),
			Suspended: r.Staff.GetSuspended()}
		v.Conflicts = nil
	case *chartv1.Record_Lot, *chartv1.Record_Clinic:
		v.Conflicts = nil
	}
	return v, nil
}

// onlyHers leaves out what was drawn from a vial, and how it was pierced, for anybody else.
func (x *exporting) onlyHers(v *chartv1.Vial) {
	hers := func(session string) bool {
		return slices.ContainsFunc(x.own, func(o *chartv1.RecordView) bool {
			return session != "" && o.GetRecord().GetSession().GetId() == session
		})
	}
	v.Draws = slices.DeleteFunc(v.Draws, func(d *chartv1.Draw) bool { return !hers(d.GetAmount().GetSessionId()) })
	v.Entries = slices.DeleteFunc(v.Entries, func(e *chartv1.VialEntry) bool { return !hers(e.GetPiercing().GetSessionId()) })
	v.Notes, v.Wastes = nil, nil
}

// idsIn is the ids in all text fields of a message.
func idsIn(m protoreflect.Message, out []record.ID) []record.ID {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.IsList():
			for i := range v.List().Len() {
				out = idsInValue(f, v.List().Get(i), out)
			}
		default:
			out = idsInValue(f, v, out)
		}
		return true
	})
	return out
}

func idsInValue(f protoreflect.FieldDescriptor, v protoreflect.Value, out []record.ID) []record.ID {
	switch f.Kind() {
	case protoreflect.MessageKind:
		return idsIn(v.Message(), out)
	case protoreflect.StringKind:
		if id, err := record.ParseID(v.String()); err == nil && !id.IsZero() {
			return append(out, id)
		}
	}
	return out
}

// keyOfView is the key of a view's record.
func keyOfView(v *chartv1.RecordView) (k record.Key) {
	m := v.GetRecord().ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if fd == nil {
		return k
	}
	k.Kind, _ = proto.GetExtension(fd.Message().Options(), optionsv1.E_Record).(optionsv1.RecordKind)
	inner := m.Get(fd).Message()
	k.ID, _ = record.ParseID(inner.Get(inner.Descriptor().Fields().ByNumber(1)).String())
	return k
}
