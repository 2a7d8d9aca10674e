package chart

import (
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// Change is what one edit is to do: the record, what its author had seen of it, and the writes. A replica or the ledger makes an edit of it, and
// checks the values. Context is never nil: one that has seen nothing is empty.
type Change struct {
	Key     record.Key
	Context causal.Vector
	Writes  []record.Write
}

// Edit is the change that a request asks for. An empty mask writes everything that the message holds. Text is normalised. Signatures are refused with
// OUTPUT_ONLY: Sign makes them. Other errors are faults of record, update_mask or context. The request is left as it is.
func (c *Chart) Edit(req *chartv1.EditRecordRequest) (Change, error) {
	context, err := ReadContext(req.GetContext())
	if err != nil {
		return Change{}, err
	}
	change, err := c.write(req.GetRecord(), req.GetUpdateMask())
	if err != nil {
		return Change{}, err
	}
	change.Context = context
	for i := range change.Writes {
		if c.schema.IsSignature(change.Key.Kind, change.Writes[i].Path) {
			return Change{}, fault.New(faultv1.Reason_REASON_OUTPUT_ONLY, c.schema.PathText(change.Key.Kind, change.Writes[i].Path), "", "")
		}
	}
	return change, nil
}

// write is the key and the writes of a record and a mask.
func (c *Chart) write(r *chartv1.Record, mask []string) (Change, error) {
	key, m, err := KeyOf(r)
	if err != nil {
		return Change{}, err
	}
	if c.names != nil {
		if err := c.names(m); err != nil {
			return Change{}, err
		}
	}
	b, err := encode(m)
	if err != nil {
		return Change{}, err
	}
	writes, err := c.schema.WritesFor(key.Kind, b, mask)
	return Change{Key: key, Writes: writes}, err
}

// encode is a message with its text normalised. The message is left as it is.
func encode(m proto.Message) ([]byte, error) {
	if err := checkTimes(m.ProtoReflect()); err != nil {
		return nil, err
	}
	m = proto.Clone(m)
	normalise(m.ProtoReflect())
	b, err := proto.Marshal(m)
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "record", "", "text in UTF-8")
	}
	return b, nil
}
