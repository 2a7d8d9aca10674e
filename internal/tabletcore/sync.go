package tabletcore

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// stand is how the replica stands with the server.
type stand struct {
	ReplicaID string `json:"replica_id"`
	Unsent    int    `json:"unsent"`
	Held      int    `json:"held"`
	Conflicts int    `json:"conflicts"`
	Recovered int    `json:"recovered"`
	Records   int    `json:"records"`
	Safety    int    `json:"safety"`
	InStep    bool   `json:"in_step"` // nothing is to be sent now
}

func (c *Core) standing() stand {
	s := c.replica.Next()
	out := stand{
		ReplicaID: c.replica.ID().String(), Unsent: c.replica.Unsent(), Recovered: len(c.replica.Recovered()),
		InStep: s.Hello == nil && s.Exchange == nil,
	}
	for _, k := range c.replica.HeldKeys() {
		for _, h := range c.replica.Held(k) {
			if waits(h.Status) {
				out.Held++
			}
		}
	}
	return out
}

// standing says how the replica stands with the server, conflicts counted, which looks at every record.
func standing(c *Core, _ request) (answer, error) {
	out := c.standing()
	for _, k := range c.replica.Keys(0) {
		out.Records++
		out.Conflicts += c.conflictCount(k)
	}
	out.Safety = len(c.safety().all)
	return answer{json: out}, nil
}

// poll makes next ask the server for what is new.
func poll(c *Core, _ request) (answer, error) {
	c.replica.Poll()
	return answer{json: struct{}{}}, nil
}

// nextStep is what to send: "hello", "exchange", or "" for nothing. Beside it stand the body, in binary protobuf, and the statement to sign, which is empty
// when there is none; a body with a statement is not to be sent, but what sign_page makes of it.
type nextStep struct {
	Kind string `json:"kind"`
}

func next(c *Core, _ request) (answer, error) {
	c.step = c.replica.Next()
	switch {
	case c.step.Hello != nil:
		return c.body(nextStep{"hello"}, c.step.Hello, nil)
	case c.step.Exchange != nil:
		return c.body(nextStep{"exchange"}, c.step.Exchange, c.step.Statement)
	}
	return answer{json: nextStep{}}, nil
}

func (c *Core) body(kind any, m proto.Message, statement []byte) (answer, error) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	return answer{json: kind, bytes: [][]byte{b, statement}}, err
}

// signPage puts the signature beside the request, r and s of 32 bytes each, into the page of the newest step. The body to send stands beside the answer.
func signPage(c *Core, r request) (answer, error) {
	page := c.step.Exchange.GetPage()
	if page == nil || len(r.bytes) != 1 || len(r.bytes[0]) != 64 {
		return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "signature", "", "64 bytes, for a step that has a page")
	}
	page.Signature = bytes.Clone(r.bytes[0])
	return c.body(nextStep{"exchange"}, c.step.Exchange, nil)
}

// received is what an answer of the server did.
type received struct {
	stand
	Up          int `json:"up"`
	Down        int `json:"down"`
	Gone        int `json:"gone"`
	SafetyCount int `json:"safety_down"`
	Refused     int `json:"refused"` // edits of the page that did not take effect as they came
	// BackedUp: the oldest backup kept holds every edit that this replica had made when it asked.
	BackedUp bool `json:"backed_up"`
}

// receive takes the server's answer to the newest exchange, in binary protobuf beside the request.
func receive(c *Core, r request) (answer, error) {
	m := &syncv1.ExchangeResponse{}
	if err := c.readBody(r, m); err != nil {
		return answer{}, err
	}
	before := c.replica.Unsent()
	ch, err := c.replica.Receive(c.step, m)
	if err != nil {
		c.broken = true // part of the answer may have been taken
		return answer{}, err
	}
	out := received{
		stand: c.standing(), Up: max(0, before-c.replica.Unsent()), Down: len(m.GetRows()), Gone: len(m.GetGone()), SafetyCount: len(m.GetSafety()),
		BackedUp: m.GetBackedUpCounter() >= c.step.Exchange.GetHeadCounter(),
	}
	for _, v := range m.GetVerdicts() {
		if v.GetHeld() != nil {
			out.Refused++
		}
	}
	return answer{json: out, changes: ch}, nil
}

func (c *Core) readBody(r request, m proto.Message) error {
	if len(r.bytes) == 1 && proto.Unmarshal(r.bytes[0], m) == nil {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "body", "", "the server's answer in binary protobuf")
}

// receiveHello takes the server's answer to the newest hello: {"fresh_id"}, a random id for a replica that may have to go on from here.
func receiveHello(c *Core, r request) (answer, error) {
	var in struct {
		FreshID string `json:"fresh_id"`
	}
	if err := r.read(&in); err != nil {
		return answer{}, err
	}
	fresh, err := readID("fresh_id", in.FreshID)
	if err != nil {
		return answer{}, err
	}
	m := &syncv1.HelloResponse{}
	if err := c.readBody(r, m); err != nil {
		return answer{}, err
	}
	before := c.replica.ID()
	ch := c.replica.ReceiveHello(c.step, m, causal.ReplicaID(fresh))
	return answer{changes: ch, json: struct {
		stand
		Forked           bool  `json:"forked"`
		ServerTimeUnixMS int64 `json:"server_time_unix_ms"`
	}{c.standing(), c.replica.ID() != before, m.GetServerTimeUnixMs()}}, nil
}

// refused takes the JSON of an error of the server's, as the request: {"code", "message", "details"}. The answer says whether the next step mends it.
func refused(c *Core, r request) (answer, error) {
	f, err := readRefusal(r)
	if err != nil {
		return answer{}, err
	}
	return answer{json: struct {
		Mended bool       `json:"mended"`
		Fault  shownFault `json:"fault"`
	}{c.replica.Refused(c.step, f.Error) == nil, f.show()}}, nil
}

// readServerRefusal says what an error of the server's to any other call means; the request is as that of refused.
func readServerRefusal(_ *Core, r request) (answer, error) {
	f, err := readRefusal(r)
	if err != nil {
		return answer{}, err
	}
	return answer{json: map[string]shownFault{"fault": f.show()}}, nil
}

// serverFault is a refusal of the server's, with its own sentence.
type serverFault struct {
	*fault.Error
	text string
}

func (f serverFault) show() shownFault {
	out := show(f.Error)
	out.Text = f.text
	return out
}

// readRefusal reads an error of the Connect protocol with the detail that carries the reason.
func readRefusal(r request) (serverFault, error) {
	var m struct {
		Code    string `json:"code"`
		Message string `json:"message"`
		Details []struct {
			Type  string `json:"type"`
			Value string `json:"value"`
		} `json:"details"`
	}
	if err := json.Unmarshal(r.json, &m); err != nil {
		return serverFault{fault.New(faultv1.Reason_REASON_UNAVAILABLE, "", "", ""), "what answered is not the clinic server"}, nil
	}
	for _, d := range m.Details {
		if d.Type != "google.rpc.ErrorInfo" {
			continue
		}
		b, err := base64.RawStdEncoding.DecodeString(strings.TrimRight(d.Value, "="))
		if err != nil {
			continue
		}
		if f := readErrorInfo(b); f != nil {
			return serverFault{f, fault.Show(m.Message)}, nil
		}
	}
	reason := faultv1.Reason_REASON_UNAVAILABLE
	if m.Code == "unauthenticated" {
		reason = faultv1.Reason_REASON_UNAUTHENTICATED
	}
	return serverFault{fault.New(reason, "", "", ""), "the server answered " + fault.Show(m.Code)}, nil
}

// Field numbers of google.rpc.ErrorInfo and of an entry of its map.
const (
	infoReason, infoDomain, infoMetadata = 1, 2, 3
	entryKey, entryValue                 = 1, 2
)

// readErrorInfo reads the one detail that our errors carry; nil when it is another's.
func readErrorInfo(b []byte) *fault.Error {
	texts := textFields(b, func(number protowire.Number, value []byte) {})
	meta := map[string]string{}
	textFields(b, func(number protowire.Number, value []byte) {
		if number == infoMetadata {
			entry := textFields(value, func(protowire.Number, []byte) {})
			meta[entry[entryKey]] = entry[entryValue]
		}
	})
	reason := faultv1.Reason(faultv1.Reason_value["REASON_"+texts[infoReason]])
	if texts[infoDomain] != "needlebook" || reason == faultv1.Reason_REASON_UNSPECIFIED {
		return nil
	}
	f := fault.New(reason, meta["field"], "", "")
	for k, v := range meta {
		f = f.With(k, v)
	}
	return f
}

// textFields is the fields of a message that are text, and hands each to also.
func textFields(b []byte, also func(protowire.Number, []byte)) map[protowire.Number]string {
	out := map[protowire.Number]string{}
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return out
		}
		b = b[n:]
		if kind != protowire.BytesType {
			if n = protowire.ConsumeFieldValue(number, kind, b); n < 0 {
				return out
			}
			b = b[n:]
			continue
		}
		value, n := protowire.ConsumeBytes(b)
		if n < 0 {
			return out
		}
		out[number] = string(value)
		also(number, value)
		b = b[n:]
	}
	return out
}

// hold asks for a patient's whole records at the next exchange, unhold to hold them no longer: {"patient_id"}.
func hold(c *Core, r request) (answer, error) { return c.wish(r, (*replica.Replica).Hold) }

func unhold(c *Core, r request) (answer, error) { return c.wish(r, (*replica.Replica).Unhold) }

func (c *Core) wish(r request, by func(*replica.Replica, record.ID) replica.Changes) (answer, error) {
	var m struct {
		PatientID string `json:"patient_id"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	id, err := readID("patient_id", m.PatientID)
	if err != nil {
		return answer{}, err
	}
	return answer{json: struct{}{}, changes: by(c.replica, id)}, nil
}
