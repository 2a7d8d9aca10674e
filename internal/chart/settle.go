package chart

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// Act is who does something and when, by the clock of the device or the server that it is done on.
type Act struct {
	Staff record.ID
	At    time.Time
}

// Settle is the change that settles a conflict of st: the value chosen, and beside it, in the same edit, why. The settlement's element has the id of
// the request. A field that is not in conflict any more, or an edit to keep that is no sibling any more, is STALE_READ; other errors are faults of
// the request's fields.
func (c *Chart) Settle(st *record.State, req *chartv1.SettleConflictRequest, by Act) (Change, error) {
	context, err := ReadContext(req.GetContext())
	if err != nil {
		return Change{}, err
	}
	r, err := c.schema.ParseRegister(st.Key.Kind, req.GetPath())
	if err != nil {
		return Change{}, err
	}
	siblings := st.Siblings(r)
	if !siblings.InConflict() {
		return Change{}, notInConflict(st, context, req.GetPath())
	}
	w, err := c.chosen(st.Key.Kind, r, siblings, req)
	if err != nil {
		return Change{}, err
	}
	why, err := c.settlement(st.Key, req, by)
	if err != nil {
		return Change{}, err
	}
	return Change{Key: st.Key, Context: context, Writes: merge(w, why)}, nil
}

func notInConflict(st *record.State, context causal.Vector, path string) error {
	if context.Compare(st.Seen) == causal.Equal {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "path", path, "a field in conflict")
	}
	return fault.New(faultv1.Reason_REASON_STALE_READ, "path", path, "")
}

// chosen is the write of the value that a request chooses.
func (c *Chart) chosen(kind record.Kind, r record.Register, siblings causal.Register, req *chartv1.SettleConflictRequest) (record.Write, error) {
	clear := record.Write{Path: r.Path, Clear: []uint32{r.Field}}
	switch choice := req.GetChoice().(type) {
	case *chartv1.SettleConflictRequest_Keep:
		dot, err := ReadDot("keep", choice.Keep)
		if err != nil {
			return record.Write{}, err
		}
		i := slices.IndexFunc(siblings, func(x causal.Sibling) bool { return x.Dot == dot })
		switch {
		case i < 0:
			return record.Write{}, fault.New(faultv1.Reason_REASON_STALE_READ, "keep", dot.String(), "")
		case siblings[i].Cleared:
			return clear, nil
		}
		return record.Write{Path: r.Path, Set: slices.Clone(siblings[i].Value)}, nil
	case *chartv1.SettleConflictRequest_ValueJson:
		return c.valueWrite(kind, r, choice.ValueJson)
	case *chartv1.SettleConflictRequest_Clear:
		if choice.Clear {
			return clear, nil
		}
	}
	return record.Write{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "choice", "", "keep, value_json or clear")
}

// valueWrite is the write of a value given as JSON.
func (c *Chart) valueWrite(kind record.Kind, r record.Register, text string) (record.Write, error) {
	m, err := readValue(kind, r, text)
	if err != nil {
		return record.Write{}, err
	}
	b, err := proto.Marshal(m)
	if err != nil {
		return record.Write{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "value_json", fault.Withheld(text), "text in UTF-8")
	}
	return record.Write{Path: r.Path, Set: c.schema.Canonical(kind, r, b)}, nil
}

// settlement is the element that keeps why.
func (c *Chart) settlement(key record.Key, req *chartv1.SettleConflictRequest, by Act) ([]record.Write, error) {
	if req.GetReason() == "" {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "reason", "", "why, in words")
	}
	return c.element(key, "settlements", req.GetRequestId(), &recordv1.Settlement{
		Id: req.GetRequestId(),
		Choice: &recordv1.SettledChoice{
			Path: req.GetPath(), Reason: req.GetReason(), By: by.Staff.String(), At: timestamppb.New(by.At.Truncate(time.Millisecond)),
		},
	})
}

// element is the writes that put a new element into a collection of the record.
func (c *Chart) element(key record.Key, collection, id string, element proto.Message) ([]record.Write, error) {
	if _, err := record.ParseID(id); err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request_id", id, "a UUID in lower case")
	}
	typed, m, err := newRecord(key.Kind)
	if err != nil {
		return nil, err
	}
	r := m.ProtoReflect()
	fd := r.Descriptor().Fields().ByName(protoreflect.Name(collection))
	if fd == nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "key", key.Kind.String(), "a kind of record that has "+collection)
	}
	r.Set(r.Descriptor().Fields().ByNumber(1), protoreflect.ValueOfString(key.ID.String()))
	r.Mutable(fd).List().Append(protoreflect.ValueOfMessage(element.ProtoReflect()))
	change, err := c.write(typed, []string{collection + "[" + id + "]"})
	return change.Writes, err
}

// merge is writes of different paths in the order that an edit has them.
func merge(w record.Write, more []record.Write) []record.Write {
	out := append([]record.Write{w}, more...)
	slices.SortFunc(out, func(a, b record.Write) int { return cmp.Compare(a.Path, b.Path) })
	return out
}
