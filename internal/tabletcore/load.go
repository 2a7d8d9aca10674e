package tabletcore

import (
	"bytes"
	"encoding/json"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// snapshotBlock is about how large a block of compact is: few enough for a fast start, small enough that one is no burden.
const snapshotBlock = 256 << 10

// begin makes the replica of a tablet that was just enrolled: {"replica_id", "limit_scope", "host"}.
func begin(c *Core, r request) (answer, error) {
	var m struct {
		ReplicaID  string `json:"replica_id"`
		LimitScope bool   `json:"limit_scope"`
		Host       host   `json:"host"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	id, err := readID("replica_id", m.ReplicaID)
	if err != nil {
		return answer{}, err
	}
	made, ch := replica.New(c.schema, causal.ReplicaID(id))
	if m.LimitScope {
		ch = joined(ch, made.LimitScope())
	}
	c.adopt(made, m.Host)
	return answer{json: c.standing(), changes: ch}, nil
}

// load makes the replica that stored blocks leave; the blocks stand beside the request, in the order in which they were stored: {"host"}.
func load(c *Core, r request) (answer, error) {
	var m struct {
		Host host `json:"host"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	blocks := make([][]byte, len(r.bytes)) // a replica keeps the rows' slices, and the caller's buffer is the caller's
	for i := range blocks {
		blocks[i] = bytes.Clone(r.bytes[i])
	}
	rows, err := joinBlocks(blocks)
	if err != nil {
		return answer{}, err
	}
	loaded, err := replica.Load(c.schema, rows)
	if err != nil {
		return answer{}, err
	}
	c.adopt(loaded, m.Host)
	return answer{json: c.standing()}, nil
}

func (c *Core) adopt(r *replica.Replica, h host) {
	c.replica, c.step, c.sealing, c.cache = r, replica.Step{}, nil, cache{}
	c.setHost(h)
}

func (c *Core) setHost(h host) {
	c.host = h
	c.replica.Limits = replica.Limits{PageEdits: h.PageEdits, Rows: h.AnswerRows}
}

// setHost says anew what the tablet knows of itself: {"host"}.
func setHost(c *Core, r request) (answer, error) {
	var m struct {
		Host host `json:"host"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	c.setHost(m.Host)
	return answer{json: c.standing()}, nil
}

// compact makes few blocks of many, which leave the same rows; they stand beside the answer. It touches nothing of the core.
func compact(_ *Core, r request) (answer, error) {
	rows, err := joinBlocks(r.bytes)
	if err != nil {
		return answer{}, err
	}
	return answer{json: json.RawMessage("{}"), bytes: cutBlocks(rows, snapshotBlock)}, nil
}

// readID reads a UUID of a request.
func readID(field, text string) (record.ID, error) {
	id, err := record.ParseID(text)
	if err != nil {
		return id, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, fault.Withheld(text), "a UUID in lower case")
	}
	return id, nil
}
