package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// admission is an edit with what is known of it before the transaction: its hashes, and whether its values are right.
type admission struct {
	edit    record.Edit
	chain   record.Hash // the chain hash after it
	body    record.Hash
	refusal *fault.Error // by the schema; nil when it is right
	// released is the dot under which the edit was held, when a person released it: whether its author might make it was that person's to say.
	released causal.Dot
	// handedIn is why the edit is held whatever it says; nil for one that came by an exchange.
	handedIn *fault.Error
}

// madeAs is the dot under which the author made the edit.
func (a *admission) madeAs() causal.Dot {
	if a.released.IsZero() {
		return a.edit.Dot
	}
	return a.released
}

// admission holds an edit against the schema; it needs no store, so that many can be made at once.
func (l *Ledger) admission(e record.Edit, chain record.Hash, from record.Origin) admission {
	return admission{edit: e, chain: chain, body: e.BodyHash(), refusal: l.Schema.Check(&e, from)}
}

// verdict is what became of an edit that did not take effect as it came.
type verdict struct {
	held  *wire.Held
	known causal.Dot // the dot under which the server holds the same edit
}

// admit takes one new edit of a replica whose chain ends just before it. The verdict is nil when it took effect as it came. What was made after edits
// that this server lacks waits; so does what the same replica did to the record after something that waits, since a counter that counts covers
// all below it.
func (b *batch) admit(a *admission) (*verdict, error) {
	row, err := b.row(a.edit.Key)
	if err != nil {
		return nil, err
	}
	known, err := b.knownID(a)
	if err != nil {
		return nil, err
	}
	if known == nil {
		if err := b.w.Put(idKey(b.org, a.edit.ID), encodeIDEntry(b.head.seq+1, a.body)); err != nil {
			return nil, err
		}
	}
	ready, err := b.ready(row, &a.edit)
	if err != nil {
		return nil, err
	}
	if !ready {
		return b.wait(row, a, fault.New(faultv1.Reason_REASON_UNKNOWN_CONTEXT, "context", "", ""))
	}
	d, err := b.decide(row, a, known)
	if err != nil {
		return nil, err
	}
	if err := b.logEdit(row, a, d.outcome()); err != nil {
		return nil, err
	}
	if err := b.takeEffect(row, d); err != nil {
		return nil, err
	}
	return d.verdict(), b.wake(row)
}

// wait lets an edit wait for what it was made after.
func (b *batch) wait(row *pendingRow, a *admission, why *fault.Error) (*verdict, error) {
	if err := b.logEdit(row, a, waiting); err != nil {
		return nil, err
	}
	h := wire.Held{Edit: a.edit, Status: syncv1.HeldStatus_HELD_STATUS_WAITING}
	h.Reason, h.Detail = reasonOf(why)
	return &verdict{held: &h}, b.keep(row, h)
}

// decision is what an edit that waits for nothing will do.
type decision struct {
	edit   record.Edit    // as it came
	apply  []record.Write // what takes effect
	hold   []record.Write // what is held
	reason *fault.Error   // of what is held
	known  causal.Dot     // the dot of the same edit, when there is one; nothing takes effect
}

func (d *decision) outcome() outcome {
	switch {
	case !d.known.IsZero():
		return duplicate
	case len(d.apply) == 0:
		return held
	}
	return applied
}

func (d *decision) verdict() *verdict {
	switch {
	case !d.known.IsZero():
		return &verdict{known: d.known}
	case len(d.hold) == 0:
		return nil
	}
	return &verdict{held: d.heldPart()}
}

func (d *decision) heldPart() *wire.Held {
	h := &wire.Held{Edit: d.edit, Status: syncv1.HeldStatus_HELD_STATUS_HELD, Partial: len(d.apply) > 0}
	h.Edit.Writes = d.hold
	h.Reason, h.Detail = reasonOf(d.reason)
	return h
}

func reasonOf(e *fault.Error) (faultv1.Reason, string) { return e.Reason, e.Error() }

// decide judges an edit by the record and the staff as they are now. What fails is held; it counts all the same.
func (b *batch) decide(row *pendingRow, a *admission, known *knownEdit) (*decision, error) {
	d := &decision{edit: a.edit}
	switch {
	case known != nil && known.same:
		d.known = known.dot
		return d, nil
	case known != nil:
		d.reason = fault.New(faultv1.Reason_REASON_ID_REUSED, "edit_id", a.edit.ID.String(), "")
	case a.handedIn != nil:
		d.reason = a.handedIn
	case a.refusal != nil:
		d.reason = a.refusal
	default:
		var err error
		if d.reason, err = b.refuse(row, a); err != nil {
			return nil, err
		}
	}
	if d.reason != nil {
		d.hold = a.edit.Writes
		return d, nil
	}
	blocking := row.blocking(&a.edit, a.madeAs())
	if len(blocking) == 0 {
		d.apply = a.edit.Writes
		return d, nil
	}
	if d.apply, d.hold = record.Partition(row.state, blocking, &a.edit); len(d.hold) > 0 {
		d.reason = fault.New(faultv1.Reason_REASON_ELEMENT_HELD, "", "", "")
	}
	return d, nil
}

// takeEffect does what was decided; the log's newest event is the edit's.
func (b *batch) takeEffect(row *pendingRow, d *decision) error {
	seq := b.head.seq
	if len(d.apply) > 0 {
		part := d.edit
		part.Writes = d.apply
		row.state.Apply(&part)
		row.dots[part.Dot] = seq
		row.bound += editSize(&part)
	} else {
		row.state.Skip(d.edit.Dot)
		row.seen = seq
	}
	if len(d.hold) > 0 {
		return b.keep(row, *d.heldPart())
	}
	return nil
}

// refuse is the checks that need the record and the staff as they are now.
func (b *batch) refuse(row *pendingRow, a *admission) (*fault.Error, error) {
	e := &a.edit
	if a.released.IsZero() {
		if refusal := b.l.Authorise(b.w, b.org, e); refusal != nil {
			return refusal, nil
		}
	}
	if row.crowdedBy(e) {
		return fault.New(faultv1.Reason_REASON_TOO_MANY_SIBLINGS, "", "", ""), nil
	}
	if row.full(e) {
		return fault.New(faultv1.Reason_REASON_RECORD_FULL, "", "", ""), nil
	}
	signatures, err := b.l.Schema.SignaturesIn(e)
	if err != nil {
		return fault.Of(err), nil
	}
	for _, sig := range signatures {
		if sig.Content.GetSignerId() != e.Author.String() { // nobody signs for another
			return fault.New(faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED, "signatures", sig.Content.GetSignerId(), "the author's own id as signer"), nil
		}
		at, err := b.foldAt(row, sig.Vector)
		if err != nil {
			return nil, err
		}
		if err := b.l.Schema.CheckSignature(at, sig.Content); err != nil {
			return fault.Of(err), nil
		}
	}
	return nil, nil
}

// crowdedBy reports whether e would give a register more siblings than it may have. A register's siblings are of different edits, so a record of few edits
// is not looked into.
func (r *row) crowdedBy(e *record.Edit) bool {
	return len(r.dots) >= record.MaxSiblings && r.state.CrowdedBy(e)
}

// full reports whether e would make the row larger than a record may be. Only a row that may be near its limit is measured.
func (r *row) full(e *record.Edit) bool {
	if r.bound+editSize(e) > record.MaxStateBytes {
		r.bound = len(r.encodeWhole())
	}
	return r.bound+editSize(e) > record.MaxStateBytes
}

// editSize bounds what an edit adds to a row.
func editSize(e *record.Edit) int {
	n := 128
	for i := range e.Writes {
		n += 16 + len(e.Writes[i].Path) + len(e.Writes[i].Set) + 5*len(e.Writes[i].Clear)
	}
	return n
}

// ready reports whether everything that e was made after has come: every edit of this record that its context covers, and the same replica's earlier
// ones. A context may name a counter that was used on another record; what counts is that the replica's chain is here up to it, and that nothing
// of this record in it still waits.
func (b *batch) ready(row *pendingRow, e *record.Edit) (bool, error) {
	if row.waits(causal.Dot{Replica: e.Dot.Replica, Counter: e.Dot.Counter - 1}) {
		return false, nil
	}
	for _, d := range e.Context {
		if row.state.Seen.Covers(d) {
			continue
		}
		counter, _, err := chainHead(b.w, d.Replica)
		if err != nil {
			return false, err
		}
		if counter < d.Counter || row.waits(d) {
			return false, nil
		}
	}
	return true, nil
}

// waits reports whether an edit of d's replica up to d's counter still waits.
func (p *pendingRow) waits(d causal.Dot) bool {
	for i := range p.held {
		h := &p.held[i]
		if h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING && h.Edit.Dot.Replica == d.Replica && h.Edit.Dot.Counter <= d.Counter {
			return true
		}
	}
	return false
}

// blocking is the edits whose elements may not exist because they had no effect, as far as e, which its author made under the dot madeAs, may have been
// made after them. Edits that were made after e cannot have begun what e writes into; those that are held for an element had not begun it.
func (p *pendingRow) blocking(e *record.Edit, madeAs causal.Dot) []record.Edit {
	var out []record.Edit
	later := p.madeAfter(madeAs)
	for i := range p.held {
		h := &p.held[i]
		switch h.Status {
		case syncv1.HeldStatus_HELD_STATUS_HELD, syncv1.HeldStatus_HELD_STATUS_WAITING, syncv1.HeldStatus_HELD_STATUS_GIVEN_UP:
		default:
			continue
		}
		if h.Edit.ID == e.ID || later.covers(h.Edit.Dot) || h.Reason == faultv1.Reason_REASON_ELEMENT_HELD {
			continue
		}
		out = append(out, h.Edit)
	}
	return out
}

// madeAfter is the held edits that were made after the edit d: those whose context covers it, what their replicas made later, and what was made after
// either. It is given as the lowest such counter of each replica.
func (p *pendingRow) madeAfter(d causal.Dot) fromCounters {
	from := fromCounters{}
	for grown := true; grown; {
		grown = false
		for i := range p.held {
			if h := &p.held[i].Edit; !from.covers(h.Dot) && (h.Context.Covers(d) || slices.ContainsFunc(h.Context, from.covers)) {
				from[h.Dot.Replica], grown = h.Dot.Counter, true
			}
		}
	}
	return from
}

// fromCounters is, by replica, the counter from which on its edits are meant.
type fromCounters map[causal.ReplicaID]uint64

// covers reports whether an edit is among those meant.
func (f fromCounters) covers(d causal.Dot) bool {
	from, ok := f[d.Replica]
	return ok && d.Counter >= from
}

// knownEdit is what the index of edit ids says of an edit.
type knownEdit struct {
	dot  causal.Dot
	same bool // the same body
}

// knownID finds an edit by its id, unless it is a itself, which is so when it waited.
func (b *batch) knownID(a *admission) (*knownEdit, error) {
	v, err := b.w.Get(idKey(b.org, a.edit.ID))
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	seq, body, err := decodeIDEntry(v)
	if err != nil {
		return nil, err
	}
	e, err := readEvent(b.w, seq)
	if err != nil {
		return nil, err
	}
	if e.edit.Dot == a.edit.Dot {
		return nil, nil
	}
	return &knownEdit{dot: e.edit.Dot, same: body == a.body}, nil
}

func encodeIDEntry(seq uint64, body record.Hash) []byte {
	return append(binary.BigEndian.AppendUint64(make([]byte, 0, 40), seq), body[:]...)
}

func decodeIDEntry(v []byte) (uint64, record.Hash, error) {
	if len(v) != 40 {
		return 0, record.Hash{}, fmt.Errorf("edit id entry of %d bytes", len(v))
	}
	return binary.BigEndian.Uint64(v), record.Hash(v[8:]), nil
}
