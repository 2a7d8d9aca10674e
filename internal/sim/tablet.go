package sim

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// tablet is one installation: a device, a disk that lasts, and a replica that lives in memory.
type tablet struct {
	w      *world
	index  int
	device record.ID
	schema *record.Schema
	r      *replica.Replica
	rows   map[string][]byte
	saved  map[int64]bool // the edits that it called saved
	gone   bool           // destroyed
	// catching is that it forked and has not come to the end of a sync since.
	catching bool
	kept     *kept
	opened   map[record.Key]opened
	late     []delayed
	showed   map[showing]bool            // when the server was restored
	limited  bool                        // it holds some patients only
	album    []picture                   // its photos, which last
	epoch    string                      // of the server, as it last said hello
	heads    map[causal.ReplicaID]uint64 // the newest counter of each of its replicas that it told the server
}

// kept is a snapshot of a tablet.
type kept struct {
	rows   map[string][]byte
	saved  map[int64]bool
	album  []picture
	epoch  string
	showed map[showing]bool
	at     int
}

// opened is a record as someone left it open on the screen.
type opened struct {
	by   causal.ReplicaID
	seen causal.Vector
	saw  sight
	told sight
	view *record.State
}

// delayed is an answer that is still on its way.
type delayed struct {
	to    *replica.Replica
	step  replica.Step
	hello *syncv1.HelloResponse
	rows  *syncv1.ExchangeResponse
}

func (w *world) newTablet(schema *record.Schema) *tablet {
	t := &tablet{w: w, index: len(w.tablets), schema: schema, rows: map[string][]byte{}, saved: map[int64]bool{}, opened: map[record.Key]opened{}, heads: map[causal.ReplicaID]uint64{}, showed: map[showing]bool{}}
	t.device = w.id("device")
	var ch replica.Changes
	t.r, ch = replica.New(schema, causal.ReplicaID(w.id("replica")))
	t.limit()
	t.store(ch)
	w.tablets = append(w.tablets, t)
	return t
}

// limit makes pages and answers small, so that they are cut often.
func (t *tablet) limit() {
	t.r.Limits = replica.Limits{PageEdits: 1 + t.w.draw(1_000_000+t.index).IntN(4), Rows: 1 + t.w.draw(2_000_000+t.index).Uint32N(4)}
}

// store puts changes on the tablet's disk, all or nothing.
func (t *tablet) store(ch replica.Changes) {
	if t.w.seams.persist != nil {
		t.w.seams.persist(t, ch)
		return
	}
	t.put(ch)
}

func (t *tablet) put(ch replica.Changes) {
	for _, k := range ch.Delete {
		delete(t.rows, string(k))
	}
	for _, row := range ch.Put {
		t.rows[string(row.Key)] = row.Value
	}
}

// restart loads the replica from the disk.
func (t *tablet) restart() {
	if t.w.seams.crash != nil {
		t.w.seams.crash(t)
	}
	rows := make([]replica.Row, 0, len(t.rows))
	for _, k := range slices.Sorted(maps.Keys(t.rows)) {
		rows = append(rows, replica.Row{Key: []byte(k), Value: t.rows[k]})
	}
	r, err := replica.Load(t.schema, rows)
	if err != nil {
		t.w.found("conservation", "tablet %d does not load: %v", t.index, err)
		return
	}
	t.r = r
	t.limit()
	t.opened = map[record.Key]opened{}
	t.offerAgain()
}

// edit makes an edit of what draw says over what the tablet shows, or over what it showed when the record was opened.
func (t *tablet) edit(k record.Key, serial int, how string, draw func(*scribe) []record.Write) *made {
	view := t.r.View(k)
	o, stale := t.opened[k]
	if stale = stale && how == "stale" && o.by == t.r.ID(); stale {
		view = o.view
	}
	sc := t.w.scribe(k, serial, view)
	writes := draw(sc)
	if len(writes) == 0 {
		return nil
	}
	years := map[string]int{"clockback": -10, "clockforward": 10}[how]
	d := replica.Draft{ID: t.w.editID(serial), Key: k, Author: sc.by, AuthoredAt: authoredAt(serial, years), Writes: writes}
	saw, told := look(view), heard(t.r.Held(k))
	if stale {
		d.Context, saw, told = o.seen, o.saw, maps.Clone(o.told)
		if d.Context == nil {
			d.Context = causal.Vector{}
		}
	}
	if t.w.seams.draft != nil {
		t.w.seams.draft(t, &d)
	}
	e, ch, err := t.r.Edit(d)
	if err != nil {
		return nil // the tablet's version does not know the field
	}
	if how == "unsaved" {
		t.restart()
		return nil
	}
	t.store(ch)
	m := t.w.book.note(&e, saw, told)
	t.w.book.tellOwn(m, e.Context)
	t.saved[m.at] = true
	return m
}

// send does one step of the sync. It reports whether there was one, and whether it went well.
func (t *tablet) send(how string) (more, well bool) {
	step := t.r.Next()
	switch {
	case step.Hello == nil && step.Exchange == nil:
		return false, true
	case step.Exchange != nil && step.Statement != nil:
		step.Exchange.Page.Signature = seal(t.device, step.Statement)
	}
	if how == "loserequest" {
		return true, true
	}
	if how == "tamper" {
		step = tampered(step)
	}
	t.w.remember(t, step)
	d, err := t.call(step)
	if how == "twice" && err == nil {
		d, err = t.call(step)
	}
	if err != nil {
		return true, t.refused(step, err)
	}
	switch how {
	case "loseanswer":
	case "delayanswer":
		t.late = append(t.late, d)
	case "crashbefore": // received, not stored
		t.receive(d, false)
	case "crashafter":
		t.receive(d, true)
		t.restart()
	default:
		t.receive(d, true)
	}
	return true, true
}

// tampered is a step whose page was changed on the way.
func tampered(step replica.Step) replica.Step {
	if page := step.Exchange.GetPage(); page != nil {
		step.Exchange = proto.CloneOf(step.Exchange)
		step.Exchange.Page.Edits[0].AuthoredAtUnixMs += 500_000_000
	}
	return step
}

func (t *tablet) call(step replica.Step) (delayed, error) {
	d := delayed{to: t.r, step: step}
	var err error
	if step.Hello != nil {
		d.hello, err = t.w.server.hello(t.device, step.Hello)
	} else {
		d.rows, err = t.w.server.exchange(t.device, step.Exchange)
	}
	return d, err
}

func (t *tablet) refused(step replica.Step, err error) bool {
	if t.w.seams.refused != nil && t.w.seams.refused(t, err) {
		return false
	}
	refusal := fault.Of(err)
	return refusal != nil && t.r.Refused(step, refusal) == nil
}

// receive takes an answer, if it came to the process that asked, and stores it.
func (t *tablet) receive(d delayed, storing bool) {
	if d.to != t.r {
		return
	}
	if t.w.seams.answer != nil {
		t.w.seams.answer(t, &d)
	}
	var ch replica.Changes
	before := t.r.ID()
	if d.hello != nil {
		ch = t.r.ReceiveHello(d.step, d.hello, causal.ReplicaID(t.w.id("replica")))
	} else {
		var err error
		if ch, err = t.r.Receive(d.step, d.rows); err != nil {
			t.w.found("convergence", "tablet %d cannot take an answer: %v", t.index, err)
			return
		}
	}
	if !storing {
		t.w.count("crashes before storing")
		if t.w.seams.half != nil {
			t.w.seams.half(t, ch)
		}
		t.restart()
		return
	}
	t.store(ch)
	t.tend(d)
	if t.r.ID() != before {
		t.w.count("forks")
		t.catching = true
		if t.w.seams.forked != nil {
			t.w.seams.forked(t, before)
		}
	}
}

// sync exchanges until there is nothing more, or something fails, and sends photos after that. It reports whether the records came to their end.
func (t *tablet) sync() bool {
	t.r.Poll()
	if t.w.seams.album.first && !t.sendPhotos() {
		return true
	}
	for range 400 {
		more, well := t.send("plain")
		if !more {
			t.catching = false
			t.sendPhotos()
			return true
		}
		if !well {
			return false
		}
	}
	t.w.found("convergence", "the sync of tablet %d does not come to an end; %d edits unsent", t.index, t.r.Unsent())
	return false
}

// keep takes a snapshot; putBack goes back to it, unless both sides would then have lost the same counters.
func (t *tablet) keep() {
	t.kept = &kept{rows: maps.Clone(t.rows), saved: maps.Clone(t.saved), album: slices.Clone(t.album), epoch: t.epoch, showed: maps.Clone(t.showed), at: t.w.at}
}

func (t *tablet) putBack() {
	if t.kept == nil || t.kept.at < t.w.restoredAt {
		return
	}
	t.w.count("tablets put back")
	t.taint()
	t.rows, t.saved = maps.Clone(t.kept.rows), maps.Clone(t.kept.saved)
	t.album, t.epoch, t.showed = slices.Clone(t.kept.album), t.kept.epoch, maps.Clone(t.kept.showed)
	t.late, t.catching = nil, true
	t.restart()
	t.taint()
}

// taint notes that the tablet's counters may be used twice.
func (t *tablet) taint() { t.w.copied[t.r.ID()] = true }

// clone is a second tablet that was copied from t, key and all.
func (t *tablet) clone() {
	if t.w.living() >= 8 {
		return
	}
	t.w.count("clones")
	t.taint()
	c := &tablet{
		w: t.w, index: len(t.w.tablets), device: t.device, schema: t.schema, catching: t.catching, rows: maps.Clone(t.rows), saved: maps.Clone(t.saved),
		opened: map[record.Key]opened{}, limited: t.limited, album: slices.Clone(t.album), epoch: t.epoch, heads: maps.Clone(t.heads), showed: maps.Clone(t.showed),
	}
	t.w.tablets = append(t.w.tablets, c)
	c.restart()
}

func (t *tablet) open(k record.Key) {
	v := t.r.View(k)
	t.opened[k] = opened{by: t.r.ID(), seen: v.Seen, saw: look(v), told: heard(t.r.Held(k)), view: v}
}

// take takes a recovered value with an edit of its own.
func (t *tablet) take(which, serial int) {
	lost := t.r.Recovered()
	if len(lost) == 0 {
		return
	}
	rec := lost[which%len(lost)]
	m := t.edit(rec.Key, serial, "plain", func(*scribe) []record.Write {
		w := record.Write{Path: rec.Register.Path, Set: rec.Sibling.Value}
		if rec.Sibling.Cleared {
			w.Clear = []uint32{rec.Register.Field}
		}
		return []record.Write{w}
	})
	if m == nil {
		return
	}
	t.w.count("recovered values taken")
	m.took = true
	m.told[rec.Register] = append(m.told[rec.Register], rec.Info.AuthoredAt)
	t.store(t.r.Dismiss(rec))
}

// sign signs what the tablet shows of a session, or says falsely that it showed something else.
func (t *tablet) sign(k record.Key, serial int, how string) {
	content, err := t.schema.ToSign(t.r.View(k))
	if err != nil || len(content.GetVector()) < 2 {
		return // a conflict, or nothing to sign
	}
	by := t.w.author(serial)
	content.SignerId, content.Meaning, content.SignedAtUnixMs = by.String(), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, int64(serial)
	if how == "altered" {
		content.Values = append(slices.Clone(content.GetValues()), text(fieldResponsible, by.String())...)
	}
	tagged := message(fieldSignedContent, content)
	m := t.edit(k, serial, "plain", func(sc *scribe) []record.Write {
		return []record.Write{{Path: record.Path("").Child(fieldSignatures, sc.id("signature")), Set: tagged}}
	})
	if m != nil {
		m.signed, m.altered = tagged, how == "altered"
		t.w.count("signed")
	}
}
