package tabletcore

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// act is a request that makes an edit: who, when, the edit's id (a fresh UUIDv7), and what is asked for.
type act struct {
	StaffID  string          `json:"staff_id"`
	AtUnixMS int64           `json:"at_unix_ms"`
	EditID   string          `json:"edit_id"`
	Request  json.RawMessage `json:"request"`

	author, id record.ID
}

func readAct(r request) (a act, err error) {
	if err = r.read(&a); err != nil {
		return a, err
	}
	if a.author, err = readID("staff_id", a.StaffID); err != nil {
		return a, err
	}
	a.id, err = readID("edit_id", a.EditID)
	return a, err
}

func (a *act) by() chart.Act { return chart.Act{Staff: a.author, At: time.UnixMilli(a.AtUnixMS).UTC()} }

// make makes the edit of a change, and what it also changes beside it. The answer is the record after it with who made it.
func (c *Core) make(a act, ch chart.Change, also ...replica.Changes) (answer, error) {
	if err := c.replica.CheckWhole(ch.Key, ch.Context); err != nil {
		return answer{}, err
	}
	e, made, err := c.replica.Edit(replica.Draft{
		ID: a.id, Key: ch.Key, Context: ch.Context, Author: a.author, AuthoredAt: a.AtUnixMS, Writes: ch.Writes,
	})
	if err != nil {
		return answer{}, err
	}
	out := answer{changes: joined(append([]replica.Changes{made}, also...)...)}
	c.cache.forget(out.changes.Records)
	v, err := c.viewOf(ch.Key)
	if err != nil {
		return answer{}, fmt.Errorf("show the record after its edit: %w", err)
	}
	out.json, err = messageJSON(&chartv1.EditRecordResponse{View: v, Edit: c.chart.Authorship(&e)})
	return out, err
}

// edit makes one edit; the request is that of EditRecord, without its id.
func edit(c *Core, r request) (answer, error) {
	a, err := readAct(r)
	if err != nil {
		return answer{}, err
	}
	m := &chartv1.EditRecordRequest{}
	if err := reckon.UnmarshalJSON(a.Request, m); err != nil {
		return answer{}, err
	}
	m.RequestId = a.EditID
	change, err := c.chart.Edit(m)
	if err != nil {
		return answer{}, err
	}
	return c.make(a, change)
}

// settle settles a conflict; the request is that of SettleConflict, without its id.
func settle(c *Core, r request) (answer, error) {
	a, err := readAct(r)
	if err != nil {
		return answer{}, err
	}
	m := &chartv1.SettleConflictRequest{}
	if err := reckon.UnmarshalJSON(a.Request, m); err != nil {
		return answer{}, err
	}
	m.RequestId = a.EditID
	k, err := readKey("key", m.GetKey())
	if err != nil {
		return answer{}, err
	}
	change, err := c.chart.Settle(c.replica.View(k), m, a.by())
	if err != nil {
		return answer{}, err
	}
	return c.make(a, change)
}

// void voids a record or an element of it: {"key", "path", "reason"}.
func void(c *Core, r request) (answer, error) {
	a, err := readAct(r)
	if err != nil {
		return answer{}, err
	}
	var m struct {
		Key    json.RawMessage `json:"key"`
		Path   string          `json:"path"`
		Reason string          `json:"reason"`
	}
	if err := (request{json: a.Request}).read(&m); err != nil {
		return answer{}, err
	}
	named := &chartv1.RecordKey{}
	if err := reckon.UnmarshalJSON(m.Key, named); err != nil {
		return answer{}, err
	}
	k, err := readKey("key", named)
	if err != nil {
		return answer{}, err
	}
	change, err := c.chart.Void(c.replica.View(k), m.Path, m.Reason, a.by())
	if err != nil {
		return answer{}, err
	}
	return c.make(a, change)
}

// proofDevice says how the signer showed who she is: by the tablet that she unlocked.
const proofDevice = "unlocked_device"

// sign signs a session as it was on the screen; the request is that of SignSession, without its id and a password, with "role" beside it.
func sign(c *Core, r request) (answer, error) {
	a, err := readAct(r)
	if err != nil {
		return answer{}, err
	}
	var role struct {
		Role string `json:"role"`
	}
	if err := r.read(&role); err != nil {
		return answer{}, err
	}
	m := &chartv1.SignSessionRequest{}
	if err := reckon.UnmarshalJSON(a.Request, m); err != nil {
		return answer{}, err
	}
	id, err := readID("session_id", m.GetSessionId())
	if err != nil {
		return answer{}, err
	}
	st := c.replica.View(record.Key{Kind: kindSession, ID: id})
	if err := c.replica.CheckWhole(st.Key, st.Seen); err != nil {
		return answer{}, err
	}
	if err := seenAsIs(st, m); err != nil {
		return answer{}, err
	}
	change, err := c.chart.Sign(st, chart.Signing{
		ID: a.id, By: a.by(), Meaning: m.GetMeaning(), Statement: m.GetStatement(), Proof: proofDevice, Role: accessv1.Role(accessv1.Role_value[role.Role]),
	})
	if err != nil {
		return answer{}, err
	}
	out, err := c.make(a, change)
	if err != nil {
		return answer{}, err
	}
	return c.signed(out, id, a.EditID)
}

// seenAsIs refuses to sign a session that is not as the signer saw it.
func seenAsIs(st *record.State, m *chartv1.SignSessionRequest) error {
	seen, err := chart.ReadContext(m.GetContext())
	if err != nil {
		return err
	}
	if !bytes.Equal(chart.WriteContext(seen), chart.WriteContext(st.Seen)) {
		return fault.New(faultv1.Reason_REASON_STALE_READ, "context", "", "the context of the session as it is now")
	}
	if d := st.Digest(); !bytes.Equal(d[:], m.GetDigest()) {
		return fault.New(faultv1.Reason_REASON_SIGNED_VALUES_DIFFER, "digest", "", "")
	}
	return nil
}

// signed makes the answer of SignSession of the answer to the edit that signed.
func (c *Core) signed(out answer, session record.ID, signature string) (answer, error) {
	v, err := c.viewOf(record.Key{Kind: kindSession, ID: session})
	if err != nil {
		return answer{}, err
	}
	m := &chartv1.SignSessionResponse{View: v}
	all := v.GetRecord().GetSession().GetSignatures()
	if i := slices.IndexFunc(all, func(s *chartv1.Signature) bool { return s.GetId() == signature }); i >= 0 {
		m.Signature = all[i]
	}
	out.json, err = messageJSON(m)
	return out, err
}

func (c *Core) recoveredBy(ref string) (replica.Recovered, error) {
	for _, rec := range c.replica.Recovered() {
		if c.refOf(rec) == ref {
			return rec, nil
		}
	}
	return replica.Recovered{}, fault.New(faultv1.Reason_REASON_NOT_FOUND, "ref", ref, "")
}

type byRef struct {
	Ref string `json:"ref"`
}

// take writes a recovered value again, with an edit on what is there now: {"ref"}.
func take(c *Core, r request) (answer, error) {
	a, err := readAct(r)
	if err != nil {
		return answer{}, err
	}
	var m byRef
	if err := (request{json: a.Request}).read(&m); err != nil {
		return answer{}, err
	}
	rec, err := c.recoveredBy(m.Ref)
	if err != nil {
		return answer{}, err
	}
	w := record.Write{Path: rec.Register.Path, Set: slices.Clone(rec.Sibling.Value)}
	if rec.Sibling.Cleared {
		w = record.Write{Path: rec.Register.Path, Clear: []uint32{rec.Register.Field}}
	}
	change := chart.Change{Key: rec.Key, Context: c.replica.View(rec.Key).Seen, Writes: []record.Write{w}}
	out, err := c.make(a, change)
	if err != nil {
		return answer{}, err
	}
	out.changes = joined(out.changes, c.replica.Dismiss(rec))
	return out, nil
}

// dismiss forgets a recovered value that a person decided against: {"ref"}.
func dismiss(c *Core, r request) (answer, error) {
	var m byRef
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	rec, err := c.recoveredBy(m.Ref)
	if err != nil {
		return answer{}, err
	}
	return answer{json: struct{}{}, changes: c.replica.Dismiss(rec)}, nil
}
