package chart

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// People says who is behind ids. Both answer blanks for what they do not know.
type People interface {
	// StaffName is a person's name as it is now.
	StaffName(id record.ID) string
	// Device is the device that a replica is on and its label; the zero id when the server made the edit.
	Device(replica causal.ReplicaID) (id record.ID, label string)
}

// Chart makes views and writes of records of one schema.
type Chart struct {
	schema *record.Schema
	people People
	names  Names
}

// Names refuses a record that names a product or a muscle that nobody knows. A mistyped product is the one mistake that no later check can tell from a
// right one, so it is refused where it is typed. The formulary has one; nil refuses nothing.
type Names func(record proto.Message) error

// New returns a chart. People may be nil: then names are blank.
func New(schema *record.Schema, people People) *Chart { return &Chart{schema: schema, people: people} }

// With is the same chart with other people, such as those of one organisation.
func (c *Chart) With(people People) *Chart { return &Chart{c.schema, people, c.names} }

// Knowing is the same chart, whose edits may hold only names that these know.
func (c *Chart) Knowing(names Names) *Chart { return &Chart{c.schema, c.people, names} }

// Schema is the schema that the chart is of.
func (c *Chart) Schema() *record.Schema { return c.schema }

// kindField is the field of Record that holds records of a kind; nil when this version has none. Its number is the kind's; a test holds the schema to
// that.
func kindField(kind record.Kind) protoreflect.FieldDescriptor {
	return (*chartv1.Record)(nil).ProtoReflect().Descriptor().Fields().ByNumber(protoreflect.FieldNumber(kind))
}

// newRecord is an empty typed record of a kind, and the message in it.
func newRecord(kind record.Kind) (*chartv1.Record, proto.Message, error) {
	fd := kindField(kind)
	if fd == nil {
		return nil, nil, fault.New(faultv1.Reason_REASON_SCHEMA_TOO_NEW, "kind", kind.String(), "")
	}
	r := &chartv1.Record{}
	return r, r.ProtoReflect().Mutable(fd).Message().Interface(), nil
}

// Typed is a record as its typed message: every register that holds one value. A register in conflict is left out; what this version does not know is
// kept as unknown fields.
func Typed(st *record.State) (*chartv1.Record, error) {
	r, m, err := newRecord(st.Key.Kind)
	if err != nil {
		return nil, err
	}
	if err := proto.Unmarshal(st.Message(), m); err != nil {
		return nil, fmt.Errorf("read %v: %w", st.Key, err)
	}
	clampTimes(m.ProtoReflect())
	return r, nil
}

// KeyOf is the key of a typed record, and the message in it. The error is a fault of record.
func KeyOf(r *chartv1.Record) (record.Key, proto.Message, error) {
	m := r.ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if fd == nil {
		return record.Key{}, nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "record", "", "a record of one kind")
	}
	kind, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Record).(record.Kind)
	inner := m.Get(fd).Message()
	text := inner.Get(inner.Descriptor().Fields().ByNumber(1)).String()
	id, err := record.ParseID(text)
	if err != nil {
		return record.Key{}, nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "record."+string(fd.Name())+".id", text, "a UUID in lower case")
	}
	return record.Key{Kind: kind, ID: id}, inner.Interface(), nil
}

// ReadKey reads the key of a message; ok is false when it is none.
func ReadKey(k *chartv1.RecordKey) (key record.Key, ok bool) {
	id, err := record.ParseID(k.GetRecordId())
	return record.Key{Kind: k.GetKind(), ID: id}, err == nil && kindField(k.GetKind()) != nil
}

// WriteKey is a key as a message.
func WriteKey(k record.Key) *chartv1.RecordKey {
	return &chartv1.RecordKey{Kind: k.Kind, RecordId: k.ID.String()}
}

// ReadDot reads a dot; the error is a fault of the field named.
func ReadDot(field string, d *chartv1.Dot) (causal.Dot, error) {
	id, err := record.ParseID(d.GetReplicaId())
	if err != nil {
		return causal.Dot{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field+".replica_id", d.GetReplicaId(), "a UUID in lower case")
	}
	if d.GetCounter() == 0 {
		return causal.Dot{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field+".counter", "0", "1 or more")
	}
	return causal.Dot{Replica: causal.ReplicaID(id), Counter: d.GetCounter()}, nil
}

// WriteDot is a dot as a message.
func WriteDot(d causal.Dot) *chartv1.Dot {
	return &chartv1.Dot{ReplicaId: record.ID(d.Replica).String(), Counter: d.Counter}
}

// WriteContext is a version vector as the opaque bytes that a view carries.
func WriteContext(v causal.Vector) []byte { return v.AppendBinary(nil) }

// ReadContext is the inverse of WriteContext. Empty bytes are a vector that has seen nothing; it is not nil.
func ReadContext(b []byte) (causal.Vector, error) {
	if len(b) == 0 {
		return causal.Vector{}, nil
	}
	v, rest, err := causal.CutVector(b)
	if err != nil || len(rest) > 0 {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "context", fmt.Sprintf("%d bytes", len(b)), "the context of a view, unchanged")
	}
	if v == nil {
		v = causal.Vector{}
	}
	return v, nil
}

// contextOf is what a state has seen, never nil.
func contextOf(st *record.State) causal.Vector {
	if st.Seen == nil {
		return causal.Vector{}
	}
	return st.Seen
}
