package ledger

import (
	"context"
	"errors"

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
			return nil
		}
		a := answer{r: r, x: x, resp: &syncv1.ExchangeResponse{AcknowledgedCounter: counter}}
		if err := a.collect(m, cur); err != nil {
			return err
		}
		if a.resp.BackedUpCounter, err = backedUp(r, x.replica, counter); err != nil {
			return err
		}
		resp = a.finish()
		return nil
	})
	return resp, err
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

// compared reports whether the replica's chain is known to be the server's up to counter. It is not when the page ends before that, as a page sent again
// may: then the replica may be a clone, and is told of no record until it shows the rest, or what the other copy wrote would count as its own.
func (x *exchange) compared(counter uint64) bool {
	page := x.request.GetPage()
	return page == nil || page.GetFirstCounter()+uint64(len(page.GetEdits())) > counter || x.request.GetHeadCounter() == counter
}

// answer is the answer of an exchange while it is put together.
type answer struct {
	r      store.Reader
	x      *exchange
	resp   *syncv1.ExchangeResponse
	tables wire.Tables
	bytes  int
}

// collect adds the records that changed after the cursor, in the order of their latest change, until the answer is full. From the beginning on nothing
// is left out, also what this replica wrote itself: after a restore it replaces its states by what the server has.
func (a *answer) collect(m meta, cur cursor) error {
	h, err := readHead(a.r)
	if err != nil {
		return err
	}
	end := h
	org := a.x.c.Org
	limit := maxRows
	if n := int(a.x.request.GetMaxRows()); n > 0 {
		limit = min(n, maxRows)
	}
	last := cur.seq
	err = a.r.Scan(changeKey(org, cur.seq+1), after(changeKey(org, 0)[:17]), func(key, value []byte) error {
		seq, err := keySequence(key)
		if err != nil {
			return err
		}
		c, err := decodeChange(value)
		if err != nil {
			return err
		}
		if len(a.resp.Rows) == limit || a.bytes > maxPullBytes {
			a.resp.More = true
			return store.Stop
		}
		last = seq
		if cur.base > 0 && c.lastReplica == a.x.replica && c.other <= cur.base {
			return nil // only this replica changed it since; it knows
		}
		return a.add(c.key, cur)
	})
	if err != nil {
		return err
	}
	base := end.seq
	if a.resp.More {
		e, err := readEvent(a.r, last)
		if err != nil {
			return err
		}
		end, base = head{last, e.commit}, cur.base
	}
	if end.seq != cur.seq && (last != cur.seq || len(a.x.request.GetCursor()) == 0) {
		a.resp.Cursor = cursor{m.epoch, end.seq, end.commit, base}.seal(m, org, a.x.c.Device)
	}
	return nil
}

// add adds one record: whole, or what changed after the cursor's base when the replica has the rest.
func (a *answer) add(k record.Key, cur cursor) error {
	row, err := readRow(a.r, a.x.c.Org, k)
	if err != nil {
		return err
	}
	out := wire.Row{Key: k, Seen: row.state.Seen, Delta: cur.base > 0 && row.first <= cur.base}
	if out.Delta {
		out.Fragments, out.Infos = row.state.FragmentsSince(func(d causal.Dot) bool { return row.dots[d] > cur.base })
	} else {
		out.Fragments, out.Infos = row.state.Fragments(), row.state.Infos()
	}
	if row.held > cur.base || row.held > 0 && !out.Delta {
		entries, err := readHeld(a.r, a.x.c.Org, k)
		if err != nil {
			return err
		}
		for i := range entries {
			if entries[i].seq > cur.base || !out.Delta {
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
