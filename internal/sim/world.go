package sim

import (
	"fmt"
	"math/rand/v2"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// Finding is a promise that was broken.
type Finding struct {
	Promise string // convergence or conservation
	Text    string
	Step    int // the step after which it was found, counted from 1; one more than there are when it was found at the end
}

func (f *Finding) Error() string {
	return fmt.Sprintf("%s: %s (after step %d)", f.Promise, f.Text, f.Step)
}

// world is one simulation under way.
type world struct {
	setting   Setting
	seed      uint64
	seams     seams
	clinic    clinicWorld
	schemas   *schemas
	org       record.ID
	keys      []record.Key
	book      *book
	server    *server
	tablets   []*tablet
	sent      []request
	ids       int
	at        int // the step under way, from 1
	finding   *Finding
	counts    map[string]int
	everAcked map[int64]bool // in any history
	lost      map[int64]bool // edits that a backup may not have had which was restored
	// copied is the replicas whose counters may be used twice; restoredAt is the step at which the server was last restored.
	copied     map[causal.ReplicaID]bool
	restoredAt int
}

// request is one that was sent before and may arrive again.
type request struct {
	device record.ID
	step   replica.Step
}

func newWorld(sch Schedule, s *schemas, plant seams) *world {
	plant.folds = plant.folds.orOurs()
	w := &world{
		setting: sch.Setting, seed: sch.Seed, seams: plant, schemas: s, org: idOf("organisation"), book: newBook(), counts: map[string]int{},
		everAcked: map[int64]bool{}, lost: map[int64]bool{}, copied: map[causal.ReplicaID]bool{}, restoredAt: -1,
	}
	rng := w.draw(0)
	if w.setting == Clinic {
		w.furnish()
	} else {
		w.keys = plainKeys()[:2+rng.IntN(4)]
	}
	serverSchema := s.now
	if rng.IntN(4) == 0 {
		serverSchema = s.old
	}
	if plant.schema != nil {
		serverSchema = plant.schema
	}
	w.server = newServer(w, serverSchema)
	for range 3 + rng.IntN(3) {
		schema := s.now
		if rng.IntN(4) == 0 {
			schema = s.old
		}
		t := w.newTablet(schema)
		if w.setting == Clinic && rng.IntN(4) > 0 {
			t.limitScope()
		}
	}
	return w
}

func plainKeys() []record.Key {
	var out []record.Key
	for i, kind := range []record.Kind{
		optionsv1.RecordKind_RECORD_KIND_SESSION, optionsv1.RecordKind_RECORD_KIND_VIAL, optionsv1.RecordKind_RECORD_KIND_SESSION,
		optionsv1.RecordKind_RECORD_KIND_PATIENT, optionsv1.RecordKind_RECORD_KIND_VIAL,
	} {
		out = append(out, record.Key{Kind: kind, ID: idOf(fmt.Sprint("record ", i))})
	}
	return out
}

// draw is the random numbers of one step, which do not depend on what other steps there are.
func (w *world) draw(serial int) *rand.Rand { return rand.New(rand.NewPCG(w.seed, uint64(serial)+100)) }

// id is a fresh id.
func (w *world) id(what string) record.ID {
	w.ids++
	return idOf(fmt.Sprintf("%s %d %d", what, w.seed, w.ids))
}

func (w *world) editID(serial int) record.ID { return idOf(fmt.Sprintf("edit %d %d", w.seed, serial)) }

// author is the staff member of an edit. There are three.
func (w *world) author(serial int) record.ID { return idOf(fmt.Sprint("author ", serial%3)) }

func (w *world) key(which int) record.Key { return w.keys[which%len(w.keys)] }

func (w *world) count(what string) { w.counts[what]++ }

// found notes the first promise that was broken; what follows from it is left aside.
func (w *world) found(promise, format string, args ...any) {
	if w.finding == nil {
		w.finding = &Finding{Promise: promise, Text: fmt.Sprintf(format, args...), Step: w.at}
	}
}

func (w *world) living() int {
	n := 0
	for _, t := range w.tablets {
		if !t.gone {
			n++
		}
	}
	return n
}

// remember keeps a request, so that it can arrive again.
func (w *world) remember(t *tablet, step replica.Step) {
	w.sent = append(w.sent, request{t.device, step})
}

// replay lets an old request arrive again. Nobody waits for the answer.
func (w *world) replay(which int) {
	if len(w.sent) == 0 {
		return
	}
	q := w.sent[which%len(w.sent)]
	if q.step.Hello != nil {
		_, _ = w.server.hello(q.device, q.step.Hello)
	} else {
		_, _ = w.server.exchange(q.device, q.step.Exchange)
	}
}

// Result is what came of a schedule.
type Result struct {
	Finding *Finding       // nil when every promise was kept
	Counts  map[string]int // how often the things happened that the promises are about
	Digest  record.Hash    // of what all replicas hold at the end
}

func run(sch Schedule, s *schemas, plant seams) Result {
	w := newWorld(sch, s, plant)
	defer w.server.blobs.remove()
	if err := w.server.boot(); err != nil {
		w.found("convergence", "the server does not start: %v", err)
	}
	for i, step := range sch.Steps {
		w.at = i + 1
		w.do(step)
		if w.finding != nil {
			return Result{Finding: w.finding, Counts: w.counts}
		}
	}
	w.at = len(sch.Steps) + 1
	digest := w.end()
	return Result{Finding: w.finding, Counts: w.counts, Digest: digest}
}

// do plays one step.
func (w *world) do(s Step) {
	t := w.tablets[s.Tablet%len(w.tablets)]
	k := w.key(s.Which)
	if t.gone {
		return
	}
	switch s.Op {
	case "edit":
		t.edit(k, s.Serial, s.How, (*scribe).draw)
	case "open":
		t.open(k)
	case "settle":
		if t.edit(k, s.Serial, "plain", (*scribe).settle) != nil {
			w.count("settled")
		}
	case "sign":
		t.sign(w.keys[0], s.Serial, s.How)
	case "take":
		t.take(s.Which, s.Serial)
	case "sync":
		t.sync()
	case "poll":
		t.r.Poll()
	case "send":
		t.send(s.How)
	case "late":
		if len(t.late) > 0 {
			d := t.late[0]
			t.late = t.late[1:]
			t.receive(d, true)
		}
	case "replay":
		w.replay(s.Which)
	case "restart":
		t.restart()
	case "look":
		w.lookAt(t)
	default:
		w.befall(s, t)
	}
}

// befall plays a step that happens to a tablet or the server.
func (w *world) befall(s Step, t *tablet) {
	switch s.Op {
	case "keep":
		t.keep()
	case "putback":
		t.putBack()
	case "clone":
		t.clone()
	case "destroy":
		if w.living() > 2 {
			t.gone = true
		}
	case "revoke":
		w.server.revoked[t.device] = true
	case "allow":
		delete(w.server.revoked, t.device)
	case "rights":
		a := w.author(s.Which)
		w.server.denied[a] = !w.server.denied[a]
	case "judge":
		w.server.judge(s.Which, s.How)
	case "api":
		w.server.api(w.key(s.Which), s.Serial)
	case "fail":
		w.server.store.Fail(map[string]Failure{
			"noroom": NoRoom, "lostcommit": LostCommit, "latecommit": LateCommit, "noread": NoRead, "lateread": LateRead,
		}[s.How])
	case "reboot":
		w.reboot()
	case "backup":
		w.server.backup()
	case "forget":
		w.server.forget()
	case "restore":
		w.server.restore(s.Which, s.How)
	case "upgrade":
		w.upgrade(s.How, t)
	default:
		w.doInClinic(s, t)
	}
}

func (w *world) reboot() {
	if err := w.server.boot(); err != nil {
		w.found("convergence", "the server does not start: %v", err)
	}
}

func (w *world) upgrade(what string, t *tablet) {
	if what == "tablet" {
		t.schema = w.schemas.now
		t.restart()
		return
	}
	if w.seams.schema == nil {
		w.server.schema = w.schemas.now
	}
	w.reboot()
}
