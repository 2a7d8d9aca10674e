package sim

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// maxRounds bounds how often everyone syncs until nothing changes any more.
const maxRounds = 12

// end stops the faults, lets everyone sync until nothing changes, and judges: first with what waits still waiting, then after a lead gave that up.
func (w *world) end() record.Hash {
	w.server.store.Fail(NoFailure)
	if w.seams.schema == nil {
		w.server.schema = w.schemas.now
	}
	w.reboot()
	for _, t := range w.tablets {
		t.late = nil
	}
	w.quiet()
	w.judgeServer(false)
	for w.finding == nil && w.giveUpWaiting() {
		w.quiet()
	}
	w.quiet()
	digest := w.judgeServer(true)
	w.judgeTablets(digest)
	return digest
}

// online is the tablets that can speak to the server.
func (w *world) online() []*tablet {
	var out []*tablet
	for _, t := range w.tablets {
		if !t.gone && !w.server.revoked[t.device] {
			out = append(out, t)
		}
	}
	return out
}

// quiet lets everyone sync until the log grows no more and a whole round changed nothing.
func (w *world) quiet() {
	last := w.state()
	for range maxRounds {
		for _, t := range w.online() {
			if !t.sync() && w.finding == nil {
				w.found("convergence", "tablet %d cannot sync though nothing fails; %d edits unsent", t.index, t.r.Unsent())
			}
			if w.finding != nil {
				return
			}
		}
		now := w.state()
		if now == last {
			return
		}
		last = now
	}
	w.found("convergence", "the replicas are still changing after %d rounds", maxRounds)
}

// state is a digest of where everyone stands.
func (w *world) state() record.Hash {
	h := sha256.New()
	h.Write(binary.AppendUvarint(nil, w.server.end()))
	for _, t := range w.online() {
		d := t.r.Digest()
		h.Write(d[:])
		h.Write(binary.AppendUvarint(nil, uint64(t.r.Unsent())))
	}
	return record.Hash(h.Sum(nil))
}

func (w *world) giveUpWaiting() bool {
	held, err := w.server.ledger.ListHeld(context.Background(), w.org)
	if err != nil {
		w.found("convergence", "list held: %v", err)
	}
	i := slices.IndexFunc(held, func(h wire.Held) bool { return h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING })
	if i < 0 {
		return false
	}
	w.count("waiting given up")
	j := ledger.Judgement{Org: w.org, By: idOf("lead"), Key: held[i].Edit.Key, Dot: held[i].Edit.Dot, Reason: "its context is lost"}
	if err := w.server.ledger.GiveUp(context.Background(), j); err != nil {
		w.found("convergence", "give up %v: %v", held[i].Edit.Dot, err)
		return false
	}
	return true
}

// shown is what stands where: the values of every record somewhere, and the edits that are held there.
type shown struct {
	states map[record.Key]*record.State
	held   map[record.Key][]wire.Held
	lost   []replicaRecovered
}

type replicaRecovered struct {
	key record.Key
	reg record.Register
	at  int64
}

func (s *shown) visible(k record.Key) func(record.Register, int64) bool {
	saw := sight{}
	if st := s.states[k]; st != nil {
		saw = look(st)
	}
	return saw.has
}

// listed reports whether an edit's value in a register is in a held edit that a person can find.
func (s *shown) listed(m *made, r record.Register, judged bool) bool {
	for i := range s.held[m.key] {
		h := &s.held[m.key][i]
		switch h.Status {
		case syncv1.HeldStatus_HELD_STATUS_HELD, syncv1.HeldStatus_HELD_STATUS_WAITING:
		case syncv1.HeldStatus_HELD_STATUS_GIVEN_UP:
			if !judged {
				continue
			}
		default:
			continue
		}
		if h.Edit.AuthoredAt == m.at {
			if _, ok := registersOf(h.Edit.Writes)[r]; ok {
				return true
			}
		}
	}
	return false
}

// leftOut reports whether an edit was released without its value in a register, which the lead who released it was shown.
func (w *world) leftOut(s *shown, m *made, r record.Register) bool {
	return w.book.left[place{m.key, r}] && slices.ContainsFunc(s.held[m.key], func(h wire.Held) bool {
		return h.Edit.AuthoredAt == m.at && h.Status == syncv1.HeldStatus_HELD_STATUS_RELEASED
	})
}

// writtenIn is every register of a record that anyone wrote.
func (w *world) writtenIn(k record.Key) []record.Register {
	var out []record.Register
	for p := range w.book.writers {
		if p.key == k {
			out = append(out, p.reg)
		}
	}
	return out
}

func (s *shown) recovered(m *made, r record.Register) bool {
	return slices.Contains(s.lost, replicaRecovered{m.key, r, m.at})
}

// onServer is what the server shows.
func (w *world) onServer() *shown {
	s := &shown{states: map[record.Key]*record.State{}, held: map[record.Key][]wire.Held{}}
	for _, k := range w.keys {
		rec, err := w.server.ledger.Read(context.Background(), w.org, k)
		if err == nil {
			s.states[k], s.held[k] = rec.State, rec.Held
		}
	}
	return s
}

// on is what a tablet shows.
func (w *world) on(t *tablet) *shown {
	s := &shown{states: map[record.Key]*record.State{}, held: map[record.Key][]wire.Held{}}
	for _, k := range w.keys {
		s.states[k], s.held[k] = t.r.View(k), t.r.Held(k)
	}
	for _, rec := range t.r.Recovered() {
		s.lost = append(s.lost, replicaRecovered{rec.Key, rec.Register, rec.Info.AuthoredAt})
	}
	return s
}

// judgeServer holds what the server shows against the book, and returns the digest that every replica must come to.
func (w *world) judgeServer(last bool) record.Hash {
	if w.finding != nil {
		return record.Hash{}
	}
	if _, err := w.server.ledger.Check(context.Background(), nil); err != nil {
		w.found("convergence", "the ledger does not prove itself: %v", err)
	}
	s := w.onServer()
	for _, t := range w.online() {
		s.lost = append(s.lost, w.on(t).lost...)
	}
	w.counts["recovered values"] += len(s.lost)
	w.judgeOwed(s)
	for _, k := range w.keys {
		if st := s.states[k]; st != nil {
			w.judgeRecord(k, st, s)
			w.judgeFold(k, st, s.held[k])
		}
	}
	if !last {
		return record.Hash{}
	}
	return w.digest(s)
}

// digest is what a replica's digest must be.
func (w *world) digest(s *shown) record.Hash {
	h := sha256.New()
	h.Write([]byte("needlebook replica 1\x00"))
	for _, k := range slices.SortedFunc(maps.Keys(s.states), record.Key.Compare) {
		if s.states[k].Empty() {
			continue
		}
		h.Write(binary.AppendUvarint(nil, uint64(k.Kind)))
		h.Write(k.ID[:])
		d := s.states[k].Digest()
		h.Write(d[:])
	}
	return record.Hash(h.Sum(nil))
}

// owed is the edits that must not be lost: those that living tablets saved, and those that the server acknowledged in its present history.
func (w *world) owed() map[int64]bool {
	out := map[int64]bool{}
	for at := range w.server.acked {
		if w.server.acked[at] && w.book.edits[at] != nil {
			out[at] = true
		}
	}
	for _, t := range w.online() {
		maps.Copy(out, t.saved)
	}
	return out
}

// judgeOwed is the first half of conservation: nothing is lost.
func (w *world) judgeOwed(s *shown) {
	owed := w.owed()
	for _, at := range slices.Sorted(maps.Keys(owed)) {
		m := w.book.edits[at]
		for _, r := range sortedRegisters(m.writes) {
			switch {
			case w.book.carried(m, r, s.visible(m.key)):
			case s.listed(m, r, true):
				w.count("held values")
			case s.recovered(m, r):
			case w.leftOut(s, m, r):
			default:
				w.found("conservation", "edit %d of %v, %s: not visible, not superseded by one who saw it, not held, not recovered",
					at, m.key, w.schemas.now.RegisterText(m.key.Kind, r))
			}
		}
	}
}

func sortedRegisters(m map[record.Register]value) []record.Register {
	return slices.SortedFunc(maps.Keys(m), func(a, b record.Register) int {
		if c := bytes.Compare([]byte(a.Path), []byte(b.Path)); c != 0 {
			return c
		}
		return int(a.Field) - int(b.Field)
	})
}

// judgeRecord is the second half: nothing is there twice, nothing that nobody wrote, and nothing that was seen and superseded is back.
func (w *world) judgeRecord(k record.Key, st *record.State, s *shown) {
	strict := w.counts["forks"] == 0 // a fork may leave honest conflicts
	for _, c := range st.Values() {
		name := w.schemas.now.RegisterText(k.Kind, c.Register)
		there := map[int64]bool{}
		for _, x := range c.Siblings {
			at := st.Info(x.Dot).AuthoredAt
			m := w.book.edits[at]
			switch {
			case m == nil:
				w.found("conservation", "%v, %s: a value by an edit that nobody made (%d)", k, name, at)
				return
			case m.writes[c.Register] != valueOf(x):
				w.found("conservation", "%v, %s: edit %d wrote another value", k, name, at)
			case there[at]:
				w.found("conservation", "%v, %s: edit %d took effect twice", k, name, at)
			case m.altered:
				w.found("conservation", "%v, %s: a signature over altered values was taken", k, name)
			}
			there[at] = true
		}
		if len(there) > 1 {
			w.count("registers with siblings")
		}
		for at := range there {
			for seen := range there {
				if m := w.book.edits[at]; strict && m.saw.has(c.Register, seen) && !w.wasHeld(k, s, at, seen) {
					w.found("conservation", "%v, %s: edit %d superseded edit %d, and both are there", k, name, at, seen)
				}
			}
		}
		w.judgeBirth(k, c.Register.Path, s)
	}
	w.judgeSums(k, st)
	w.judgeSignatures(k, st, s)
}

// wasHeld reports whether one of some edits was held and then released: it has another place in the order now.
func (w *world) wasHeld(k record.Key, s *shown, ats ...int64) bool {
	return slices.ContainsFunc(s.held[k], func(h wire.Held) bool {
		return slices.Contains(ats, h.Edit.AuthoredAt) && h.Status == syncv1.HeldStatus_HELD_STATUS_RELEASED
	})
}

// judgeBirth holds that no element is there whose beginning is held back, unless someone took it from the recovered values.
func (w *world) judgeBirth(k record.Key, p record.Path, s *shown) {
	for ; p != ""; p = p.Parent() {
		m := w.book.born[pathOf{k, p}]
		if m == nil {
			continue
		}
		held := 0
		for r := range m.writes {
			if r.Path == p && !s.visible(k)(r, m.at) && s.listed(m, r, true) {
				held++
			}
		}
		if held > 0 && !w.book.tookAt(k, p) {
			w.found("conservation", "%v, %s: is there though its beginning (edit %d) is held", k, w.schemas.now.PathText(k.Kind, p), m.at)
		}
	}
}

// judgeSums holds what is drawn from a vial, as its message says, against the book.
func (w *world) judgeSums(k record.Key, st *record.State) {
	if k.Kind != optionsv1.RecordKind_RECORD_KIND_VIAL {
		return
	}
	var vial chartv1.Vial
	if err := proto.Unmarshal(st.Message(), &vial); err != nil {
		w.found("convergence", "%v: is no vial: %v", k, err)
		return
	}
	var got, want int64
	for _, d := range vial.GetDraws() {
		got += d.GetAmount().GetVolumeNanoliters()
	}
	for r, ats := range look(st) {
		values := map[value]bool{}
		for _, at := range ats {
			values[w.book.edits[at].writes[r]] = true
		}
		if r.Path == "" || r.Field != fieldAmount || len(values) != 1 {
			continue // not a draw's amount, or one that is in conflict and a range
		}
		var d chartv1.Draw
		if err := proto.Unmarshal([]byte(w.book.edits[ats[0]].writes[r].bytes), &d); err == nil {
			want += d.GetAmount().GetVolumeNanoliters()
		}
	}
	if got != want {
		w.found("conservation", "%v: %d nanolitres drawn, the edits in it say %d", k, got, want)
	}
}

// judgeSignatures holds that what was signed stands as it was signed, and that late entries are what no signer was looking at.
func (w *world) judgeSignatures(k record.Key, st *record.State, s *shown) {
	signers := []*made{}
	for r, ats := range look(st) {
		if !w.schemas.now.IsSignature(k.Kind, r.Path) {
			continue
		}
		for _, at := range ats {
			m := w.book.signer(k, r, w.book.edits[at].writes[r])
			if m == nil {
				w.found("conservation", "%v: the signature of edit %d changed", k, at)
				return
			}
			signers = append(signers, m)
		}
	}
	if len(signers) == 0 {
		return
	}
	w.count("signatures taken")
	late := map[place]map[causal.Dot]bool{}
	for _, l := range w.schemas.now.LateEntries(st) {
		p := place{k, l.Register}
		if late[p] == nil {
			late[p] = map[causal.Dot]bool{}
		}
		late[p][l.Sibling.Dot] = true
		w.count("late entries")
	}
	for _, c := range st.Values() {
		if w.schemas.now.IsSignature(k.Kind, c.Register.Path) {
			continue
		}
		for _, x := range c.Siblings {
			if w.wasHeld(k, s, st.Info(x.Dot).AuthoredAt) {
				continue // released, it may be late to one who saw it before it was held
			}
			late := late[place{k, c.Register}][x.Dot]
			knew := slices.ContainsFunc(signers, func(m *made) bool { return w.book.knew(m, c.Register, st.Info(x.Dot).AuthoredAt) })
			same := slices.ContainsFunc(signers, func(m *made) bool { return w.book.sawValue(m, c.Register, valueOf(x)) })
			// After a fork a signature may be by dots that now are other edits', as long as they leave the same values; then more is late.
			if late && knew && w.counts["forks"] == 0 || !late && !knew && !same {
				w.found("conservation", "%v, %s: known to a signer %v, a late entry %v", k, w.schemas.now.RegisterText(k.Kind, c.Register), knew, late)
			}
		}
	}
}

// judgeFold folds the history plainly, where nothing of it waited or was held in part, and holds the state against it.
func (w *world) judgeFold(k record.Key, st *record.State, held []wire.Held) {
	history, err := w.server.ledger.History(context.Background(), w.org, k)
	if err != nil {
		w.found("convergence", "%v: history: %v", k, err)
		return
	}
	took := map[record.ID]int{}
	plain := !slices.ContainsFunc(held, func(h wire.Held) bool { return h.Partial })
	folded := record.NewState(k)
	for i := range history {
		switch history[i].Effect {
		case "applied":
			took[history[i].Edit.ID]++
			folded.Apply(&history[i].Edit)
		case "waiting":
			plain = false
		default:
			folded.Skip(history[i].Edit.Dot)
		}
		if took[history[i].Edit.ID] > 1 {
			w.found("conservation", "%v: edit %s took effect twice", k, history[i].Edit.ID)
		}
	}
	if plain && folded.Digest() != st.Digest() {
		w.found("convergence", "%v: the state is not what its %d edits fold to", k, len(history))
	}
}

// judgeTablets holds every replica that can sync against the server, and those that cannot against what they saved.
func (w *world) judgeTablets(digest record.Hash) {
	server := w.onServer()
	for _, t := range w.tablets {
		switch {
		case t.gone || w.finding != nil:
		case w.server.revoked[t.device]:
			w.judgeRevoked(t)
		case t.r.Unsent() > 0:
			w.found("convergence", "tablet %d has %d edits that it cannot send", t.index, t.r.Unsent())
		case t.r.Digest() != digest:
			w.found("convergence", "tablet %d shows something else than the server: %s", t.index, w.difference(t, server))
		default:
			w.judgeHeldLists(t, server)
		}
	}
}

func (w *world) difference(t *tablet, server *shown) string {
	for _, k := range w.keys {
		have, want := t.r.View(k), server.states[k]
		if want == nil {
			want = record.NewState(k)
		}
		if have.Digest() == want.Digest() {
			continue
		}
		if have.Seen.Compare(want.Seen) != causal.Equal {
			return k.String() + " has seen " + have.Seen.String() + ", the server " + want.Seen.String()
		}
		return k.String() + " holds other values"
	}
	return "it holds other records"
}

// judgeHeldLists holds that every tablet lists the held edits that the server does.
func (w *world) judgeHeldLists(t *tablet, server *shown) {
	for _, k := range w.keys {
		have := map[causal.Dot]syncv1.HeldStatus{}
		for _, h := range t.r.Held(k) {
			have[h.Edit.Dot] = h.Status
		}
		for _, h := range server.held[k] {
			if have[h.Edit.Dot] != h.Status {
				w.found("convergence", "tablet %d, %v: edit %v is %v, on the server %v", t.index, k, h.Edit.Dot, have[h.Edit.Dot], h.Status)
			}
			delete(have, h.Edit.Dot)
		}
		for d := range have {
			w.found("convergence", "tablet %d, %v: lists %v, which the server does not", t.index, k, d)
		}
	}
}

// judgeRevoked holds that a tablet that may not sync still has what it saved and the server never acknowledged.
func (w *world) judgeRevoked(t *tablet) {
	w.judgeSaved(t, func(at int64) bool { return !w.server.acked[at] && !w.everAcked[at] })
}

// lookAt holds, at any time, that a tablet shows everything that it saved. Between a fork and the end of the next sync it may lack what the server has
// under another dot, which comes back with the states.
func (w *world) lookAt(t *tablet) {
	w.judgeSaved(t, func(at int64) bool { return !t.catching || !w.server.acked[at] })
}

func (w *world) judgeSaved(t *tablet, judged func(at int64) bool) {
	s := w.on(t)
	for _, at := range slices.Sorted(maps.Keys(t.saved)) {
		m := w.book.edits[at]
		for _, r := range sortedRegisters(m.writes) {
			if !judged(at) || w.book.carried(m, r, s.visible(m.key)) || s.listed(m, r, true) || s.recovered(m, r) || w.leftOut(s, m, r) {
				continue
			}
			w.found("conservation", "tablet %d no longer shows its edit %d of %v, %s", t.index, at, m.key, w.schemas.now.RegisterText(m.key.Kind, r))
		}
	}
}
