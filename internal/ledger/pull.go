package ledger

import (
	"context"
	"errors"
	"slices"

	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// Limits of an answer.
const (
	maxRows      = 1000
	maxPullBytes = 2 << 20
)

// Exchange takes the edits of a request and answers what became of them and what changed after the cursor. When it returns, everything acknowledged
// is on disk. Its errors carry RESUME_FROM, DOT_COLLISION, EPOCH_CHANGED and the others of docs/protocol.md; then nothing of the request took
// effect.
func (l *Ledger) Exchange(ctx context.Context, c Caller, m *syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error) {
	replica, err := readReplica(m.GetReplica())
	if err != nil {
		return nil, err
	}
	x := exchange{l: l, c: c, replica: replica, request: m}
	if err := l.changeScope(ctx, c, m.GetScope()); err != nil {
		return nil, err
	}
	if m.GetPage() != nil {
		p, err := l.readPage(c, replica, m.GetPage())
		if err == nil {
			err = p.checkHead(m)
		}
		if err != nil {
			return nil, err
		}
		if err := l.checkPlace(ctx, &x); err != nil {
			return nil, err
		}
		if x.verdicts, err = l.push(ctx, c, p); err != nil {
			return nil, err
		}
	}
	resp, err := x.pull(ctx)
	if errors.Is(err, errRolledBack) {
		return nil, l.rolledBack(ctx)
	}
	return resp, err
}

func readReplica(b []byte) (causal.ReplicaID, error) {
	if len(b) != len(causal.ReplicaID{}) || causal.ReplicaID(b).IsZero() {
		return causal.ReplicaID{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "replica", "", "16 bytes that are not all zero")
	}
	return causal.ReplicaID(b), nil
}

// exchange is one exchange under way.
type exchange struct {
	l        *Ledger
	c        Caller
	replica  causal.ReplicaID
	request  *syncv1.ExchangeRequest
	verdicts map[uint64]*verdict
}

// checkPlace makes sure, before edits are taken, that the device and the server speak of the same log. A device whose cursor is from before a
// restore must say Hello first, or the edits it sends would stand on edits that the server lost.
func (l *Ledger) checkPlace(ctx context.Context, x *exchange) error {
	err := l.store.View(ctx, func(r store.Reader) error {
		_, _, err := x.place(r)
		return err
	})
	if errors.Is(err, errRolledBack) {
		return l.rolledBack(ctx)
	}
	return err
}

func (x *exchange) place(r store.Reader) (meta, cursor, error) {
	m, err := readMeta(r)
	if err != nil {
		return meta{}, cursor{}, err
	}
	cur, err := openCursor(m, x.request.GetCursor(), x.c.Org, x.c.Device)
	if err != nil {
		return meta{}, cursor{}, err
	}
	return m, cur, cur.check(r, m)
}

// rolledBack starts a new epoch after the log was found to be behind what it once answered, and tells the device so.
func (l *Ledger) rolledBack(ctx context.Context) error {
	if err := l.store.Update(ctx, l.startEpoch); err != nil {
		return err
	}
	return fault.New(faultv1.Reason_REASON_EPOCH_CHANGED, "cursor", "", "")
}

// pull answers in one snapshot.
func (x *exchange) pull(ctx context.Context) (*syncv1.ExchangeResponse, error) {
	var resp *syncv1.ExchangeResponse
	err := x.l.store.View(ctx, func(r store.Reader) error {
		if err := x.c.Owns(r, x.replica); err != nil {
			return err
		}
		m, cur, err := x.place(r)
		if err != nil {
			return err
		}
		counter, err := x.checkHead(r)
		if err != nil {
			return err
		}
		if !x.compared(counter) {
			a := answer{r: r, x: x, resp: &syncv1.ExchangeResponse{AcknowledgedCounter: counter, More: true}}
			resp = a.finish()
			return x.nameEnd(r, m, cur, resp)
		}
		a, err := x.newAnswer(r, cur, counter)
		if err != nil {
			return err
		}
		if !x.request.GetPushOnly() {
			err = a.collect(m)
		}
		if err != nil {
			return err
		}
		if a.resp.BackedUpCounter, a.resp.NewestBackedUpCounter, err = backedUp(r, x.replica, counter); err != nil {
			return err
		}
		resp = a.finish()
		return x.nameEnd(r, m, cur, resp)
	})
	return resp, err
}

// nameEnd gives the answer to a page a cursor that names the end of the log, though its place stays where it was, when the answer has none. What it says of
// the page holds for this log: a log put back by hand would take the same edits anew, maybe with other verdicts, and nobody would find out.
func (x *exchange) nameEnd(r store.Reader, m meta, cur cursor, resp *syncv1.ExchangeResponse) error {
	if x.request.GetPage() == nil || len(x.request.GetCursor()) == 0 || len(resp.GetCursor()) > 0 {
		return nil
	}
	end, err := readHead(r)
	if err != nil || end.seq == cur.head {
		return err
	}
	cur.head, cur.commit = end.seq, end.commit
	resp.Cursor = cur.seal(m, x.c.Org, x.c.Device)
	return nil
}

// checkHead holds what the replica says it made against what the server holds of it. A server that holds more, or another edit at that counter, speaks
// to a tablet that was restored or cloned.
func (x *exchange) checkHead(r store.Reader) (uint64, error) {
	counter, have, err := chainHead(r, x.replica)
	if err != nil {
		return 0, err
	}
	claimed := x.request.GetHeadCounter()
	switch {
	case claimed < counter:
		return 0, collision(counter)
	case claimed > counter && x.request.GetPage() == nil:
		return 0, resumeFrom(counter + 1)
	case claimed == counter && counter > 0 && string(x.request.GetHeadHash()) != string(have.hash[:]):
		return 0, collision(counter)
	}
	return counter, nil
}

// compared reports whether the replica's chain is known to be the server's up to counter, and acknowledged so far. It is not when the page ends before
// that, as a page sent again may: then the replica may be a clone, and is told of no record until it shows the rest, or what the other copy wrote
// would count as its own, and its cursor would pass what it does not know the outcome of.
func (x *exchange) compared(counter uint64) bool {
	page := x.request.GetPage()
	return page == nil || page.GetFirstCounter()+uint64(len(page.GetEdits())) > counter
}

// answer is the answer of an exchange while it is put together.
type answer struct {
	r       store.Reader
	x       *exchange
	resp    *syncv1.ExchangeResponse
	tables  wire.Tables
	cur     cursor // where the device stands
	scope   *scope
	moves   []scopeMove // of the scope after the cursor, not yet answered, ascending
	told    map[record.ID]bool
	last    uint64 // the sequence up to which everything is in the answer
	limit   int
	bytes   int
	current head
}

// scopeMove is a patient entering or leaving a device's scope.
type scopeMove struct {
	seq     uint64
	patient record.ID
	enters  bool
}

func (x *exchange) newAnswer(r store.Reader, cur cursor, counter uint64) (*answer, error) {
	a := &answer{r: r, x: x, cur: cur, last: cur.seq, limit: maxRows, told: map[record.ID]bool{}}
	a.resp = &syncv1.ExchangeResponse{AcknowledgedCounter: counter}
	if n := int(x.request.GetMaxRows()); n > 0 {
		a.limit = min(n, maxRows)
	}
	if x.request.GetPushOnly() { // nothing is pulled
		return a, nil
	}
	var err error
	if a.current, err = readHead(r); err != nil {
		return nil, err
	}
	if a.scope, err = readScope(r, x.c.Device); err != nil || !a.scope.limited {
		return a, err
	}
	a.moves, err = readMoves(r, x.c.Device, cur.seq)
	return a, err
}

func readMoves(r store.Reader, device record.ID, from uint64) ([]scopeMove, error) {
	var out []scopeMove
	err := r.Scan(scopeLogKey(device, from+1), after(scopeKey(device, scopeLog)), func(key, v []byte) error {
		seq, err := keySequence(key)
		if err == nil && len(v) != 17 {
			err = errors.New("scope entry is not of its size")
		}
		if err == nil {
			out = append(out, scopeMove{seq, record.ID(v[:16]), v[16] == 1})
		}
		return err
	})
	return out, err
}

// collect adds the records that changed after the cursor or entered the scope, in the order of their latest change, until the answer is full. From the
// beginning on nothing is left out, also what this replica wrote itself: after a restore it replaces its states by what the server has.
func (a *answer) collect(m meta) error {
	org := a.x.c.Org
	err := a.r.Scan(changeKey(org, a.cur.seq+1), after(changeKey(org, 0)[:17]), func(key, value []byte) error {
		seq, err := keySequence(key)
		if err != nil {
			return err
		}
		c, err := decodeChange(value)
		if err != nil {
			return err
		}
		if err := a.moveUpTo(seq); err != nil {
			return err
		}
		if a.full() {
			return store.Stop
		}
		a.last = seq
		if a.cur.base > 0 && c.lastReplica == a.x.replica && c.other <= a.cur.base {
			return nil // only this replica changed it since; it knows
		}
		return a.change(c.key)
	})
	if err == nil && !a.resp.More {
		err = a.moveUpTo(a.current.seq + 1)
	}
	if err != nil {
		return err
	}
	a.place(m)
	return nil
}

// full notes that there is more when the answer takes nothing further.
func (a *answer) full() bool {
	a.resp.More = a.resp.More || len(a.resp.Rows)+len(a.resp.Safety) >= a.limit || a.bytes > maxPullBytes
	return a.resp.More
}

// place sets the cursor at which the answer ends.
func (a *answer) place(m meta) {
	seq, base := a.current.seq, a.current.seq
	if a.resp.More {
		seq, base = a.last, a.cur.base
	}
	if seq != a.cur.seq && (a.last != a.cur.seq || len(a.x.request.GetCursor()) == 0) {
		c := cursor{epoch: m.epoch, head: a.current.seq, commit: a.current.commit, seq: seq, base: base}
		a.resp.Cursor = c.seal(m, a.x.c.Org, a.x.c.Device)
	}
}

// moveUpTo answers what entered and left the scope before seq.
func (a *answer) moveUpTo(seq uint64) error {
	for len(a.moves) > 0 && a.moves[0].seq < seq && !a.full() {
		if err := a.move(a.moves[0]); err != nil {
			return err
		}
		a.last = a.moves[0].seq
		a.moves = a.moves[1:]
	}
	return nil
}

// move sends every record of a patient who entered, or takes them back when the patient left. A patient who has moved on since is told of there.
func (a *answer) move(m scopeMove) error {
	since, err := a.scope.since(m.patient)
	if err != nil || (since > 0) != m.enters || m.enters && since != m.seq {
		return err
	}
	keys, _, err := recordsOf(a.r, a.x.c.Org, m.patient)
	if err != nil {
		return err
	}
	for _, k := range keys {
		if err := a.change(k); err != nil {
			return err
		}
	}
	return nil
}

// change adds one record that changed or moved: it is sent when the device holds it, taken back when it no longer does, and what must be known of its
// patient is told when the patient is outside. Of a record that turned out to be another patient's, those whose it was before are told of, too.
func (a *answer) change(k record.Key) error {
	row, err := readRow(a.r, a.x.c.Org, k)
	if err != nil {
		return err
	}
	held, since, outside, err := a.scope.place(a.x.l.Schema.Subjects(row.state))
	if err != nil {
		return err
	}
	another := a.scope.limited && a.another(row)
	if another {
		if err := a.tellFormer(row); err != nil {
			return err
		}
	}
	for _, p := range outside {
		if err := a.tell(p); err != nil {
			return err
		}
	}
	if !held {
		if another || a.left(outside) { // also what came after the cursor: the device may have written it
			a.resp.Gone = append(a.resp.Gone, &syncv1.RecordRef{Kind: k.Kind, RecordId: append([]byte(nil), k.ID[:]...)})
		}
		return nil
	}
	return a.add(row, a.cur.base > 0 && row.first <= a.cur.base && since <= a.cur.base && !another)
}

// another reports whether a record that had been there came to concern others after the cursor's base. The device may hold it and no longer should, or lack
// what came before.
func (a *answer) another(row *row) bool {
	r, ok := a.x.l.Schema.SubjectRegister(row.state.Key.Kind)
	return ok && slices.ContainsFunc(row.state.Siblings(r), func(x causal.Sibling) bool { return row.dots[x.Dot] > max(a.cur.base, row.first) })
}

// tellFormer tells of every patient outside the scope whom the record ever concerned: what is known of them is without it now.
func (a *answer) tellFormer(row *row) error {
	log, err := events(a.r, row.last)
	if err != nil {
		return err
	}
	for i := range log {
		if !log[i].outcome.hasEdit() {
			continue
		}
		st := record.NewState(row.state.Key)
		st.Apply(&log[i].edit)
		_, _, outside, err := a.scope.place(a.x.l.Schema.Subjects(st))
		if err != nil {
			return err
		}
		for _, p := range outside {
			if err := a.tell(p); err != nil {
				return err
			}
		}
	}
	return nil
}

// left reports whether one of the patients left the scope after the cursor: only then can the device still hold their records.
func (a *answer) left(patients []record.ID) bool {
	for _, m := range a.moves {
		if !m.enters && slices.Contains(patients, m.patient) {
			return true
		}
	}
	return false
}

// tell adds what must be known of a patient outside the scope, once an answer.
func (a *answer) tell(patient record.ID) error {
	if a.told[patient] || a.x.l.Summarise == nil {
		return nil
	}
	a.told[patient] = true
	entry, err := a.x.l.summary(a.r, a.x.c.Org, patient)
	if err == nil && entry != nil {
		a.resp.Safety = append(a.resp.Safety, entry)
		a.bytes += proto.Size(entry)
	}
	return err
}

// add adds one record: whole, or what changed after the cursor's base when the replica has the rest.
func (a *answer) add(row *row, delta bool) error {
	k := row.state.Key
	out := wire.Row{Key: k, Seen: row.state.Seen, Delta: delta}
	if delta {
		out.Fragments, out.Infos = row.state.FragmentsSince(func(d causal.Dot) bool { return row.dots[d] > a.cur.base })
	} else {
		out.Fragments, out.Infos = row.state.Fragments(), row.state.Infos()
	}
	if row.held > a.cur.base || row.held > 0 && !delta {
		entries, err := readHeld(a.r, a.x.c.Org, k)
		if err != nil {
			return err
		}
		for i := range entries {
			if entries[i].seq > a.cur.base || !delta {
				out.Held = append(out.Held, entries[i].Held)
			}
		}
	}
	for i := range out.Fragments {
		a.bytes += len(out.Fragments[i].Set) + len(out.Fragments[i].Path) + 16
	}
	a.bytes += 64
	a.resp.Rows = append(a.resp.Rows, a.tables.EncodeRow(&out))
	return nil
}

// finish adds the verdicts on the page.
func (a *answer) finish() *syncv1.ExchangeResponse {
	page := a.x.request.GetPage()
	for i := range page.GetEdits() {
		counter := page.GetFirstCounter() + uint64(i)
		v := a.x.verdicts[counter]
		if v == nil {
			continue
		}
		m := &syncv1.Verdict{Counter: counter}
		if v.held != nil {
			m.Held = a.tables.EncodeHeld(v.held)
		} else {
			m.KnownReplica, m.KnownCounter = append([]byte(nil), v.known.Replica[:]...), v.known.Counter
		}
		a.resp.Verdicts = append(a.resp.Verdicts, m)
	}
	a.resp.Replicas, a.resp.Authors = a.tables.Replicas, a.tables.Authors
	return a.resp
}
