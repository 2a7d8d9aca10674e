package tabletcore

import (
	"encoding/json"
	"errors"
	"fmt"

	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
	"needlebook/internal/wire"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// Core is one tablet's core.
type Core struct {
	methods map[string]method
	schema  *record.Schema
	chart   *chart.Chart
	edition *formulary.Edition
	replica *replica.Replica // nil before begin or load
	host    host
	step    replica.Step      // the newest one that was given out
	sealing []wire.SealedText // what to_seal gave out
	cache   cache
	broken  bool // a panic left it in a state that nobody knows
}

// host is what the tablet told the core of itself.
type host struct {
	DeviceID   string `json:"device_id"`
	Label      string `json:"label"`
	ClinicID   string `json:"clinic_id"`
	PageEdits  int    `json:"page_edits"`
	AnswerRows uint32 `json:"answer_rows"`
	// People are those who signed in on the tablet: a name for an author whose record it does not hold.
	People []person `json:"people"`
}

type person struct {
	StaffID string `json:"staff_id"`
	Name    string `json:"name"`
}

// request is one call: its JSON, and bytes beside it.
type request struct {
	json  []byte
	bytes [][]byte
}

// read reads the request's JSON into to. What it does not know is refused.
func (r request) read(to any) error {
	if err := json.Unmarshal(r.json, to); err != nil {
		refused := fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request", "", "JSON as the method wants it")
		refused.Err = err
		return refused
	}
	return nil
}

// answer is what a call gives: its JSON, what is to be stored, and bytes beside it.
type answer struct {
	json    any // a json.RawMessage, or what encoding/json writes
	changes replica.Changes
	bytes   [][]byte
}

type method func(c *Core, r request) (answer, error)

// New is a core that holds nothing. It reads the formulary, which takes some milliseconds.
func New() (*Core, error) {
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		return nil, err
	}
	edition, err := formulary.Builtin()
	if err != nil {
		return nil, err
	}
	c := &Core{schema: sch, edition: edition, methods: methods()}
	c.chart = chart.New(sch, people{c}).Knowing(edition.CheckNames)
	return c, nil
}

// Call makes one call: a frame of the method's name, its JSON, and bytes beside it. The answer is a frame of JSON, the block to be stored, which is empty
// when nothing is, and bytes beside it; after a refusal it is JSON alone. The answer is the caller's own.
func (c *Core) Call(frame []byte) (out []byte) {
	defer func() {
		if p := recover(); p != nil {
			c.broken = true
			out = refusal(fmt.Errorf("panic: %v", p))
		}
	}()
	a, err := c.call(frame)
	if err != nil {
		return refusal(err)
	}
	raw, ok := a.json.(json.RawMessage)
	if !ok {
		if raw, err = json.Marshal(a.json); err != nil {
			return refusal(err)
		}
	}
	c.cache.forget(a.changes.Records)
	return AppendFrame(nil, append([][]byte{raw, blockOf(&a.changes)}, a.bytes...)...)
}

var (
	errBroken  = errors.New("the core must be loaded anew")
	errNothing = errors.New("the core holds no replica: begin or load comes first")
	errMethod  = errors.New("no method of that name")
)

func (c *Core) call(frame []byte) (answer, error) {
	parts, err := ParseFrame(frame)
	if err != nil || len(parts) < 2 {
		return answer{}, errFrame
	}
	m, ok := c.methods[string(parts[0])]
	switch {
	case !ok:
		return answer{}, errMethod
	case c.broken:
		return answer{}, errBroken
	}
	return m(c, request{json: parts[1], bytes: parts[2:]})
}

// methods lists what can be asked, by name.
func methods() map[string]method {
	all := map[string]method{
		"begin": begin, "load": load, "compact": compact, "statement": statement, "refusal": readServerRefusal,
		"wipe": wipe, "hand_in": handIn,
	}
	for name, m := range map[string]method{
		"next": next, "sign_page": signPage, "receive": receive, "receive_hello": receiveHello, "refused": refused, "poll": poll, "standing": standing,
		"host": setHost, "hold": hold, "unhold": unhold, "to_seal": toSeal, "seal_texts": sealTexts, "sealed": sealed,

		"view": view, "list": list, "sessions": sessions, "day": day, "patients": patients, "patient": patient, "conflicts": conflicts, "held": held,
		"recovered": recovered, "edit": edit, "settle": settle, "void": void, "sign": sign, "take": take, "dismiss": dismiss, "digest": digest,

		"check_session": checkSession, "toxin_history": toxinHistory, "asymmetry": asymmetry, "findings": findings,
	} {
		all[name] = needsReplica(m)
	}
	for name, m := range reckoning() {
		all[name] = m
	}
	return all
}

func needsReplica(m method) method {
	return func(c *Core, r request) (answer, error) {
		if c.replica == nil {
			return answer{}, errNothing
		}
		return m(c, r)
	}
}
