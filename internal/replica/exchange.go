package replica

import (
	"bytes"
	"fmt"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// Step is what to send next: Hello, or Exchange, or neither when the replica is in step with the server.
type Step struct {
	Hello    *syncv1.HelloRequest
	Exchange *syncv1.ExchangeRequest
	// Statement is what the device signs for the exchange's page; nil when there is no page. The host puts the signature into Exchange.Page.Signature.
	Statement []byte

	inc *incarnation
}

func notCanonical(err error) *fault.Error {
	return fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "edit", "", err.Error())
}

// mostUnixMs is the last instant that a time of the schema may name, at the end of the year 9999. A device's clock may stand anywhere.
const mostUnixMs = 253402300799999

// pageBytes is how large a page grows before the next begins. Small enough to get through on a bad line, large enough that fsync does not count.
const pageBytes = 1 << 20

// Next is what to send now. Calling it again without an answer gives the same step: a repeated request is answered alike. After everything was
// exchanged it gives an empty step until the next edit; call Poll to ask the server for what is new.
func (r *Replica) Next() Step {
	inc, hello := r.speaker()
	switch {
	case inc == nil:
		return Step{}
	case hello:
		return r.helloStep(inc)
	}
	return r.exchangeStep(inc)
}

// InStep reports whether there is nothing to send: Next would give an empty step. It costs nothing.
func (r *Replica) InStep() bool {
	inc, _ := r.speaker()
	return inc == nil
}

// speaker is the incarnation that has something to send next, and whether that is a hello; nil when there is none.
func (r *Replica) speaker() (speaks *incarnation, hello bool) {
	for _, inc := range r.incarnations {
		if inc.hello {
			return inc, true
		}
	}
	for _, inc := range r.incarnations {
		if inc.acked < inc.counter {
			return inc, false
		}
	}
	if r.more || r.replacing || !r.started {
		return r.current(), false
	}
	return nil, false
}

// Poll makes Next ask the server for what is new even when there is nothing to send.
func (r *Replica) Poll() { r.started = false }

func (r *Replica) exchangeStep(inc *incarnation) Step {
	s := Step{inc: inc, Exchange: &syncv1.ExchangeRequest{
		Replica: bytes.Clone(inc.id[:]), Cursor: r.cursor, HeadCounter: inc.counter, MaxRows: r.Limits.Rows, Scope: r.scopeChange(),
		OldestUnsentUnixMs: min(max(0, r.oldestUnsent()), mostUnixMs),
	}}
	if inc.counter > 0 {
		s.Exchange.HeadHash = bytes.Clone(inc.head[:])
	}
	unsent := inc.unsent()
	if len(unsent) == 0 {
		return s
	}
	edits, size := []record.Edit{}, 0
	most := wire.MaxPageEdits
	if n := r.Limits.PageEdits; n > 0 {
		most = min(n, most)
	}
	for _, o := range unsent {
		size += o.size()
		if len(edits) == most || len(edits) > 0 && size > pageBytes {
			break
		}
		edits = append(edits, o.edit)
	}
	// While more pages wait, nothing is pulled: what a clinician made goes first. The first exchange of all pulls, so that the server knows from where on
	// this replica's own edits need not come back.
	s.Exchange.PushOnly = len(edits) < len(unsent) && len(r.cursor) > 0
	last := unsent[len(edits)-1]
	s.Exchange.Page = wire.EncodePage(edits)
	s.Statement = wire.Statement(inc.id, edits[0].Dot.Counter, last.edit.Dot.Counter, last.hash)
	return s
}

// unsent is the edits that the server did not acknowledge.
func (inc *incarnation) unsent() []*own {
	return inc.kept[len(inc.kept)-int(inc.counter-inc.acked):]
}

func (o *own) size() int {
	n := 80 + 20*len(o.edit.Context)
	for i := range o.edit.Writes {
		n += len(o.edit.Writes[i].Path) + len(o.edit.Writes[i].Set) + 5*len(o.edit.Writes[i].Clear)
	}
	return n
}

// Refused takes a refusal of a step. It returns nil when the next step mends it: the replica says hello and finds out where it stands. Otherwise it
// returns the refusal: nothing of the replica changed, and nothing is lost.
func (r *Replica) Refused(s Step, refusal *fault.Error) error {
	if r.unwish(refusal) {
		return nil
	}
	switch refusal.Reason {
	case faultv1.Reason_REASON_EPOCH_CHANGED, faultv1.Reason_REASON_BAD_CURSOR:
		for _, inc := range r.incarnations {
			inc.hello = true
		}
		return nil
	case faultv1.Reason_REASON_RESUME_FROM, faultv1.Reason_REASON_DOT_COLLISION:
		s.inc.hello = true
		return nil
	}
	return refusal
}

// Receive takes the answer to an exchange. An answer to a step that is no longer the current one is left aside, which loses nothing.
func (r *Replica) Receive(s Step, m *syncv1.ExchangeResponse) (Changes, error) {
	var ch Changes
	if !slices.Contains(r.incarnations, s.inc) || !bytes.Equal(s.Exchange.GetCursor(), r.cursor) {
		return ch, nil
	}
	rows, verdicts, err := readAnswer(m)
	if err != nil {
		return Changes{}, err
	}
	if page := s.Exchange.GetPage(); page != nil {
		r.acknowledge(s.inc, min(m.GetAcknowledgedCounter(), page.GetFirstCounter()+uint64(len(page.GetEdits()))-1), verdicts, &ch)
	}
	if err := r.takeRows(rows, &ch); err != nil {
		return Changes{}, err
	}
	for _, ref := range m.GetGone() {
		r.forget(ref, &ch)
	}
	if err := r.takeSafety(m.GetSafety(), &ch); err != nil {
		return Changes{}, err
	}
	r.granted(s.Exchange.GetScope(), &ch)
	if len(m.GetCursor()) > 0 {
		r.cursor = bytes.Clone(m.GetCursor())
	}
	if !s.Exchange.GetPushOnly() {
		r.more, r.started = m.GetMore(), true
	}
	if r.replacing && !r.more && !s.Exchange.GetPushOnly() {
		r.finishReplacing(&ch)
	}
	r.release(s.inc, m.GetBackedUpCounter(), &ch)
	r.dropReturned(&ch)
	s.inc.noteBackedUp(m.GetNewestBackedUpCounter(), &ch)
	r.putMeta(&ch)
	return ch, nil
}

// verdict is what the server said of an edit that did not take effect as it came.
type verdict struct {
	held  *wire.Held
	known bool
}

func readAnswer(m *syncv1.ExchangeResponse) ([]wire.Row, map[uint64]verdict, error) {
	rd, err := wire.NewReader(m.GetReplicas(), m.GetAuthors())
	if err != nil {
		return nil, nil, fmt.Errorf("answer: %w", err)
	}
	rows := make([]wire.Row, len(m.GetRows()))
	for i, row := range m.GetRows() {
		if rows[i], err = rd.Row(row); err != nil {
			return nil, nil, fmt.Errorf("answer, record %d: %w", i, err)
		}
	}
	verdicts := map[uint64]verdict{}
	for _, v := range m.GetVerdicts() {
		out := verdict{known: v.GetHeld() == nil}
		if v.GetHeld() != nil {
			h, err := rd.Held(v.GetHeld())
			if err != nil {
				return nil, nil, fmt.Errorf("answer, verdict on %d: %w", v.GetCounter(), err)
			}
			out.held = &h
		}
		verdicts[v.GetCounter()] = out
	}
	return rows, verdicts, nil
}

// acknowledge takes over what the server said of the edits up to counter, in their order. An edit that took effect as it came stays where it is until the
// server's copy is written the next time (fold): it is part of what is shown either way, and nothing need be stored but the counter.
func (r *Replica) acknowledge(inc *incarnation, counter uint64, verdicts map[uint64]verdict, ch *Changes) {
	for _, o := range inc.unsent() {
		if o.edit.Dot.Counter > counter {
			break
		}
		inc.acked = o.edit.Dot.Counter
		v, ok := verdicts[inc.acked]
		switch {
		case r.local(o.edit.Key).waitsBefore(o):
			r.await(o, v, ch)
		case ok:
			o.fate = settled
			r.settle(o, v, ch)
		default:
			o.fate = settled
		}
		ch.changed(o.edit.Key)
	}
}

// waitsBefore reports whether an own edit that the same incarnation made before o waits on the server, as far as this replica was told. A state that
// has seen o has seen that too, so o may become part of the server's state only with the row that says what became of both.
func (l *local) waitsBefore(o *own) bool {
	return slices.ContainsFunc(l.own, func(x *own) bool {
		return x.fate == waiting && x.edit.Dot.Replica == o.edit.Dot.Replica && x.edit.Dot.Counter < o.edit.Dot.Counter
	})
}

// await leaves it to the record's row to bring what became of an edit.
func (r *Replica) await(o *own, v verdict, ch *Changes) {
	l := r.local(o.edit.Key)
	if v.held != nil {
		l.hold(*v.held)
	}
	if o.fate = waiting; len(l.settleSeen()) == 0 {
		ch.put(waitingKey(o.edit.Dot), []byte{storedForm})
	}
	r.putLocal(o.edit.Key, ch)
}

// settle takes over what the server said of an edit that did not take effect as it came. An edit that waited, or that had waited and took effect since,
// stays among the replica's own until the server's row has seen it.
func (r *Replica) settle(o *own, v verdict, ch *Changes) {
	l := r.local(o.edit.Key)
	switch {
	case v.known:
		l.drop(o)
		l.fold()
		l.skip(o.edit.Dot)
	case v.held.Status == syncv1.HeldStatus_HELD_STATUS_WAITING, v.held.Status == syncv1.HeldStatus_HELD_STATUS_APPLIED,
		v.held.Status == syncv1.HeldStatus_HELD_STATUS_RELEASED:
		// What took effect later, or again under the server's own dot, comes with the record's row, which may be some answers away.
		r.await(o, v, ch)
	default:
		l.hold(*v.held)
		l.drop(o)
		l.fold()
		l.takeEffect(o.edit, v.held)
	}
	r.putLocal(o.edit.Key, ch)
}

// fold makes the own edits that took effect as they came part of the copy of the server's state.
func (l *local) fold() {
	if !slices.ContainsFunc(l.own, func(o *own) bool { return o.fate == settled }) {
		return
	}
	l.server = l.server.Clone()
	l.own = slices.DeleteFunc(l.own, func(o *own) bool {
		if o.fate == settled {
			l.server.Apply(&o.edit)
		}
		return o.fate == settled
	})
}

// skip notes that an edit counts and had no effect.
func (l *local) skip(d causal.Dot) {
	l.server = l.server.Clone()
	l.server.Skip(d)
}

// takeEffect makes what was not held of an edit part of the server's state.
func (l *local) takeEffect(e record.Edit, h *wire.Held) {
	if !h.Partial {
		l.skip(e.Dot)
		return
	}
	e.Writes = slices.DeleteFunc(slices.Clone(e.Writes), func(w record.Write) bool {
		return slices.ContainsFunc(h.Edit.Writes, func(k record.Write) bool { return k.Path == w.Path })
	})
	l.server = l.server.Clone()
	l.server.Apply(&e)
}

func (l *local) drop(o *own) {
	l.own = slices.DeleteFunc(l.own, func(x *own) bool { return x == o })
}

// hold notes a held edit, new or changed.
func (l *local) hold(h wire.Held) {
	i, ok := slices.BinarySearchFunc(l.held, h.Edit.Dot, func(x wire.Held, d causal.Dot) int { return x.Edit.Dot.Compare(d) })
	if ok {
		l.held[i] = h
	} else {
		l.held = slices.Insert(l.held, i, h)
	}
}

// takeRows takes the records that changed on the server.
func (r *Replica) takeRows(rows []wire.Row, ch *Changes) error {
	for i := range rows {
		if err := r.takeRow(&rows[i], ch); err != nil {
			return err
		}
	}
	return nil
}

func (r *Replica) takeRow(row *wire.Row, ch *Changes) error {
	state, err := row.State()
	if err != nil {
		return fmt.Errorf("%v: %w", row.Key, err)
	}
	l := r.local(row.Key)
	l.fold()
	switch {
	case l.stale && !row.Delta: // a delta is for those who hold the rest of the record
		old, held := l.server, l.held
		l.server, l.stale, l.held = state, false, nil
		r.recover(old, l, ch)
		r.recoverHeld(held, l, ch)
	case len(l.server.Seen) == 0:
		l.server = state
	case row.Delta:
		l.server, l.stale = record.JoinDelta(l.server, state), false
	default:
		l.server = record.Join(l.server, state)
	}
	for _, h := range row.Held {
		l.hold(h)
	}
	for _, o := range l.settleSeen() {
		ch.deleteNew(waitingKey(o.edit.Dot))
	}
	r.dropRecovered(l, ch)
	r.putLocal(row.Key, ch)
	ch.changed(row.Key)
	return nil
}

// settleSeen drops own edits that had waited on the server and that its state has seen since: they took effect or were judged. It returns them.
func (l *local) settleSeen() []*own {
	if l.stale {
		return nil // what was seen before a restore says nothing
	}
	var out []*own
	for _, o := range slices.Clone(l.own) {
		if o.fate == waiting && l.server.Seen.Covers(o.edit.Dot) {
			o.fate = settled
			l.drop(o)
			out = append(out, o)
		}
	}
	return out
}

// forget removes a record that left the replica's scope. Of what the server has, only which edits it has seen stays, so that own edits which are still kept
// are not taken for new ones; a row replaces it when the record comes back. Own edits that the server does not have stay, and are accepted later; those that
// wait there, or of which only the record's row would say what became of them, are the server's to tell.
func (r *Replica) forget(ref *syncv1.RecordRef, ch *Changes) {
	id, err := record.IDFromBytes(ref.GetRecordId())
	k := record.Key{Kind: ref.GetKind(), ID: id}
	l := r.locals[k]
	if err != nil || l == nil {
		return
	}
	l.fold()
	gone := record.NewState(k)
	gone.Seen = l.server.Seen
	for _, o := range slices.Clone(l.own) {
		if o.fate == waiting {
			o.fate = settled
			l.drop(o)
			gone.Skip(o.edit.Dot)
			ch.deleteNew(waitingKey(o.edit.Dot))
		}
	}
	l.server, l.held, l.stale = gone, nil, true
	r.putLocal(k, ch)
	ch.changed(k)
}

// release forgets own edits that the server has and the oldest backup kept holds. A backup that holds an edit of one incarnation holds all that the
// server took of the earlier ones, since those came before.
func (r *Replica) release(inc *incarnation, backedUp uint64, ch *Changes) {
	if backedUp == 0 {
		return
	}
	for _, earlier := range r.incarnations[:slices.Index(r.incarnations, inc)] {
		r.releaseUpTo(earlier, earlier.acked, ch)
	}
	r.releaseUpTo(inc, min(backedUp, inc.acked), ch)
}

func (r *Replica) releaseUpTo(inc *incarnation, counter uint64, ch *Changes) {
	for len(inc.kept) > 0 && inc.kept[0].edit.Dot.Counter <= counter && inc.kept[0].fate == settled {
		o := inc.kept[0]
		if l := r.local(o.edit.Key); slices.Contains(l.own, o) || !l.letGo {
			l.fold()
			l.letGo = true
			r.putLocal(o.edit.Key, ch)
		}
		o.dropOwn(ch)
		inc.kept = inc.kept[1:]
	}
}
