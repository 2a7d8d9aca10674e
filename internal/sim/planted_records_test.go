package sim

import (
	"bytes"
	"context"
	"encoding/binary"
	"maps"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// mistakes is the mistakes of the setting Records.
func mistakes(t *testing.T) []mistake {
	unsigned := unsignedSchema(t)
	return []mistake{
		{name: "the server acknowledges before the commit is on the disk", plant: func() seams { return seams{lag: 1} }},
		{name: "the cursor is stored apart from the data", plant: func() seams { return seams{half: storeMetaOnly} }},
		{name: "a tablet sends before it stores", plant: storeLate},
		{name: "a dot that was used is taken for its edit", plant: func() seams { return seams{exchange: acknowledgeCollisions} }},
		{name: "no new epoch after a restore", plant: func() seams { return seams{exchange: forgiveEpochs, answer: forgiveCursor} }},
		{name: "states are joined after a restore, not replaced", plant: func() seams { return seams{persist: joinStale} }},
		{name: "the last writer wins", plant: func() seams { return seams{draft: coverEverything} }},
		{name: "a refused edit blocks those behind it", plant: func() seams { return seams{answer: blockBehindRefused} }},
		{name: "an acknowledged edit is in neither half", plant: func() seams { return seams{answer: sayKnown} }},
		{name: "a release is made with the context of today", plant: func() seams { return seams{release: releaseToday} }},
		{name: "a fork keeps its old contexts", near: 2300, plant: forkWith(true)},
		{name: "a fork leaves its edits behind", plant: forkWith(false)},
		{name: "edits are told apart by dot, not by id", plant: func() seams { return seams{store: hideIDs} }},
		{name: "a repeated page is applied again", plant: applyAgain},
		{name: "held writes are dropped", plant: func() seams { return seams{store: dropHeld} }},
		{name: "followers take effect without their element", plant: func() seams { return seams{store: hideHeld} }},
		{name: "waiting edits take effect early", near: 1170, plant: func() seams { return seams{exchange: applyEarly} }},
		{name: "what a replica wrote is not echoed though it was resumed or judged", plant: func() seams { return seams{store: echoForgets} }},
		{name: "a delta drops old siblings", plant: func() seams { return seams{answer: dropSibling} }},
		{name: "signed values are not checked", plant: func() seams { return seams{schema: unsigned} }},
		{name: "signatures of pages are not checked", plant: func() seams { return seams{anySignature: true} }},
		{name: "unknown fields are dropped", plant: func() seams { return seams{answer: dropUnknown} }},
		{name: "a refusal empties the outbox", plant: func() seams { return seams{refused: emptyOutbox} }},
		{name: "vectors are pruned", plant: func() seams { return seams{answer: pruneVector} }},
		{name: "edits are let go before the oldest backup holds them", plant: func() seams { return seams{answer: letGoEarly} }},
		{name: "an answer that is cut loses its last record", plant: func() seams { return seams{answer: loseLastRow} }},
		{name: "a tablet is not told of a refusal", plant: func() seams { return seams{answer: hideRefusals} }},
		{name: "a crash loses the newest edit, and its counter is used again", plant: reuseCounters},
	}
}

func storeMetaOnly(t *tablet, ch replica.Changes) {
	for _, row := range ch.Put {
		if row.Key[0] == 'm' {
			t.rows[string(row.Key)] = row.Value
		}
	}
}

// storeLate stores each change only when the next one comes.
func storeLate() seams {
	waiting := map[*tablet]replica.Changes{}
	return seams{
		persist: func(t *tablet, ch replica.Changes) {
			if late, ok := waiting[t]; ok {
				t.put(late)
			}
			waiting[t] = ch
			if len(t.rows) == 0 {
				t.put(ch) // the first start
			}
		},
		crash: func(t *tablet) { delete(waiting, t) },
	}
}

// reuseCounters loses the newest edit in a crash, unless that was acknowledged, but not the screen that said it was saved.
func reuseCounters() seams {
	before := map[*tablet]map[string][]byte{}
	return seams{
		persist: func(t *tablet, ch replica.Changes) {
			if slices.ContainsFunc(ch.Put, func(row replica.Row) bool { return row.Key[0] == 'e' }) {
				before[t] = maps.Clone(t.rows)
			} else {
				delete(before, t)
			}
			t.put(ch)
		},
		crash: func(t *tablet) {
			if rows := before[t]; len(rows) > 0 {
				t.rows = rows
			}
			delete(before, t)
		},
	}
}

func acknowledgeCollisions(_ *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
	resp, err := take(m)
	if fault.Has(err, faultv1.Reason_REASON_DOT_COLLISION) && m.GetPage() != nil {
		return &syncv1.ExchangeResponse{AcknowledgedCounter: m.GetHeadCounter()}, nil
	}
	return resp, err
}

// forgiveEpochs puts a cursor of another history in its place in this one: at the end.
func forgiveEpochs(w *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
	resp, err := take(m)
	if !fault.Has(err, faultv1.Reason_REASON_EPOCH_CHANGED) {
		return resp, err
	}
	stranger := w.id("stranger")
	probe := &syncv1.ExchangeRequest{Replica: stranger[:]}
	for {
		now, err := take(probe)
		if err != nil {
			return nil, err
		}
		if len(now.GetCursor()) > 0 {
			probe.Cursor = now.GetCursor()
		}
		if !now.GetMore() {
			break
		}
	}
	m = proto.CloneOf(m)
	m.Cursor = probe.Cursor
	return take(m)
}

func forgiveCursor(_ *tablet, d *delayed) {
	if d.hello != nil {
		d.hello.CursorValid = true
	}
}

// joinStale takes the marks off that say that states are to be replaced.
func joinStale(t *tablet, ch replica.Changes) {
	t.put(ch)
	meta := t.rows["m"]
	if len(meta) < 2 || meta[1] == 0 {
		return
	}
	for key, value := range t.rows {
		if key[0] == 's' || key[0] == 'm' {
			value = bytes.Clone(value)
			value[1] = 0
			t.rows[key] = value
		}
	}
	t.restart()
}

// coverEverything lets an edit supersede what its author never saw.
func coverEverything(t *tablet, d *replica.Draft) {
	rec, err := t.w.server.ledger.Read(context.Background(), t.w.org, d.Key)
	if err == nil {
		d.Context = t.r.View(d.Key).Seen.Join(rec.State.Seen)
	}
}

func blockBehindRefused(_ *tablet, d *delayed) {
	for i, v := range d.rows.GetVerdicts() {
		if v.GetHeld().GetStatus() == syncv1.HeldStatus_HELD_STATUS_HELD {
			d.rows.AcknowledgedCounter, d.rows.Verdicts = v.GetCounter()-1, d.rows.GetVerdicts()[:i]
			return
		}
	}
}

func sayKnown(_ *tablet, d *delayed) {
	page := d.step.Exchange.GetPage()
	for i := range page.GetEdits() {
		counter := page.GetFirstCounter() + uint64(i)
		if !slices.ContainsFunc(d.rows.GetVerdicts(), func(v *syncv1.Verdict) bool { return v.GetCounter() == counter }) {
			d.rows.Verdicts = append(d.rows.Verdicts, &syncv1.Verdict{Counter: counter, KnownReplica: d.step.Exchange.GetReplica(), KnownCounter: counter})
		}
	}
}

func releaseToday(ctx context.Context, s *server, j ledger.Judgement) ([]record.Register, error) {
	rec, err := s.ledger.Read(ctx, j.Org, j.Key)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(rec.Held, func(h wire.Held) bool { return h.Edit.Dot == j.Dot })
	if i < 0 || rec.Held[i].Status != syncv1.HeldStatus_HELD_STATUS_HELD {
		return s.ledger.Release(ctx, j)
	}
	e := rec.Held[i].Edit
	denied := s.denied
	s.denied = map[record.ID]bool{}
	defer func() { s.denied = denied }()
	_, err = s.ledger.Edit(ctx, j.Org, ledger.Draft{
		ID: s.w.id("release"), Key: j.Key, Context: rec.State.Seen, Author: e.Author, AuthoredAt: e.AuthoredAt, Writes: e.Writes,
	})
	if err == nil {
		err = s.ledger.GiveUp(ctx, j)
	}
	return nil, err
}

// forkWith makes a forked tablet begin anew, with what it had not sent under its old contexts, or without it.
func forkWith(edits bool) func() seams {
	return func() seams {
		drafts := map[int64]replica.Draft{}
		return seams{
			draft: func(t *tablet, d *replica.Draft) {
				if d.Context == nil {
					d.Context = slices.Clone(t.r.View(d.Key).Seen)
				}
				drafts[d.AuthoredAt] = *d
			},
			forked: func(t *tablet, _ causal.ReplicaID) {
				begin(t)
				for _, at := range slices.SortedFunc(maps.Keys(t.saved), func(a, b int64) int { return t.w.book.edits[a].order - t.w.book.edits[b].order }) {
					if t.w.server.acked[at] || !edits {
						continue
					}
					if _, ch, err := t.r.Edit(drafts[at]); err == nil {
						t.put(ch)
					}
				}
			},
		}
	}
}

// begin makes a tablet new, with nothing in it.
func begin(t *tablet) {
	r, ch := replica.New(t.schema, causal.ReplicaID(t.w.id("replica")))
	t.r, t.rows = r, map[string][]byte{}
	t.limit()
	t.put(ch)
}

func hideIDs(_ *world, s store.Store) store.Store {
	return hooked{Store: s, get: func(key []byte) error {
		if key[0] == 'i' {
			return store.ErrNotFound
		}
		return nil
	}}
}

func dropHeld(_ *world, s store.Store) store.Store {
	return hooked{Store: s, put: func(key, value []byte) (bool, []byte) { return key[0] == 'h', value }}
}

// hideHeld keeps the edits that are held from whoever admits others.
func hideHeld(_ *world, s store.Store) store.Store {
	return hooked{Store: s, scan: func(key, value []byte) bool {
		if key[0] != 'h' {
			return false
		}
		_, n := binary.Uvarint(value)
		return value[n] == byte(syncv1.HeldStatus_HELD_STATUS_HELD)
	}}
}

// echoForgets says of changes that every device must be told of that the replica which wrote the record last made them.
func echoForgets(_ *world, s store.Store) store.Store {
	last := map[string][]byte{}
	return hooked{Store: s, put: func(key, value []byte) (bool, []byte) {
		if key[0] != 'x' {
			return false, value
		}
		rec, by := string(value[:18]), value[18:34]
		if !bytes.Equal(by, make([]byte, 16)) {
			last[rec] = bytes.Clone(by)
		} else if last[rec] != nil {
			value = append(append([]byte(rec), last[rec]...), 0)
		}
		return false, value
	}}
}

// applyAgain lets the edits of a page that comes again take effect again.
func applyAgain() seams {
	seen := map[string]bool{}
	return seams{exchange: func(w *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
		resp, err := take(m)
		if m.GetPage() == nil || err != nil {
			return resp, err
		}
		id := string(m.GetPage().GetEdits()[0].GetEditId())
		if seen[id] {
			edits, _ := wire.DecodePage(causal.ReplicaID(m.GetReplica()), m.GetPage())
			for _, c := range edits {
				_, _ = w.server.ledger.Edit(context.Background(), w.org, ledger.Draft{
					ID: w.id("again"), Key: c.Edit.Key, Context: c.Edit.Context, Author: c.Edit.Author, AuthoredAt: c.Edit.AuthoredAt, Writes: c.Edit.Writes,
				})
			}
		}
		seen[id] = true
		return resp, err
	}}
}

// applyEarly lets edits that wait take effect with as much of their context as there is.
func applyEarly(w *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
	resp, err := take(m)
	held, _ := w.server.ledger.ListHeld(context.Background(), w.org)
	for _, h := range held {
		if h.Status != syncv1.HeldStatus_HELD_STATUS_WAITING {
			continue
		}
		rec, readErr := w.server.ledger.Read(context.Background(), w.org, h.Edit.Key)
		if readErr != nil {
			continue
		}
		e := h.Edit
		known := slices.DeleteFunc(slices.Clone(e.Context), func(d causal.Dot) bool { return !rec.State.Seen.Covers(d) })
		if w.server.ledger.GiveUp(context.Background(), ledger.Judgement{Org: w.org, By: e.Author, Key: e.Key, Dot: e.Dot, Reason: "early"}) != nil {
			continue
		}
		_, _ = w.server.ledger.Edit(context.Background(), w.org, ledger.Draft{
			ID: w.id("early"), Key: e.Key, Context: known, Author: e.Author, AuthoredAt: e.AuthoredAt, Writes: e.Writes,
		})
	}
	return resp, err
}

func dropSibling(_ *tablet, d *delayed) {
	for _, row := range d.rows.GetRows() {
		for i := 1; row.GetDelta() && i < len(row.GetFragments()); i++ {
			if bytes.Equal(row.GetFragments()[i].GetPath(), row.GetFragments()[i-1].GetPath()) {
				dropFragment(row, i-1)
				break
			}
		}
	}
}

// dropFragment takes a fragment out of a row, and what described its edit when nothing else of it is there.
func dropFragment(row *syncv1.RecordRow, i int) {
	dot := row.GetFragments()[i].GetDot()
	row.Fragments = slices.Delete(row.GetFragments(), i, i+1)
	if slices.ContainsFunc(row.GetFragments(), func(f *syncv1.Fragment) bool { return f.GetDot() == dot }) {
		return
	}
	row.Dots = slices.Delete(row.GetDots(), int(dot), int(dot)+1)
	for _, f := range row.GetFragments() {
		if f.GetDot() > dot {
			f.Dot--
		}
	}
}

// dropUnknown takes from an answer the elements that an older tablet does not know.
func dropUnknown(t *tablet, d *delayed) {
	if t.schema != t.w.schemas.old {
		return
	}
	for _, row := range d.rows.GetRows() {
		for i := len(row.GetFragments()) - 1; i >= 0; i-- {
			if p := row.GetFragments()[i].GetPath(); len(p) > 0 && p[0] == fieldRatings {
				dropFragment(row, i)
			}
		}
	}
}

func emptyOutbox(t *tablet, err error) bool {
	if r := fault.Of(err); r == nil || r.Reason != faultv1.Reason_REASON_DEVICE_REVOKED && r.Reason != faultv1.Reason_REASON_BAD_SIGNATURE {
		return false
	}
	begin(t)
	return true
}

// pruneVector forgets, in large vectors, a replica of which nothing is current.
func pruneVector(_ *tablet, d *delayed) {
	for _, row := range d.rows.GetRows() {
		for i := 0; 2*i < len(row.GetVector()) && len(row.GetVector()) > 4; i++ {
			if slices.ContainsFunc(row.GetDots(), func(n *syncv1.DotInfo) bool { return int(n.GetReplica()) == i }) {
				continue
			}
			row.Vector = slices.Delete(row.GetVector(), 2*i, 2*i+2)
			for _, n := range row.GetDots() {
				if int(n.GetReplica()) > i {
					n.Replica--
				}
			}
			break
		}
	}
}

func letGoEarly(_ *tablet, d *delayed) {
	if d.rows != nil {
		d.rows.BackedUpCounter = d.rows.GetAcknowledgedCounter()
	}
}

func loseLastRow(_ *tablet, d *delayed) {
	if n := len(d.rows.GetRows()); n > 0 && d.rows.GetMore() {
		d.rows.Rows = d.rows.GetRows()[:n-1]
	}
}

func hideRefusals(_ *tablet, d *delayed) {
	if d.rows != nil {
		d.rows.Verdicts = slices.DeleteFunc(d.rows.GetVerdicts(), func(v *syncv1.Verdict) bool {
			return v.GetHeld().GetStatus() == syncv1.HeldStatus_HELD_STATUS_HELD
		})
	}
}

// unsignedSchema is the schema of a program that does not know which collections are signatures.
func unsignedSchema(t *testing.T) *record.Schema {
	t.Helper()
	s, err := edited(descriptorBuilder{edit: func(f *descriptorpb.FieldDescriptorProto) {
		if proto.HasExtension(f.GetOptions(), optionsv1.E_Signatures) {
			proto.ClearExtension(f.GetOptions(), optionsv1.E_Signatures)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}
