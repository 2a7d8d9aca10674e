package sim

import (
	"bytes"
	"maps"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

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
			case m.forged:
				w.found("conservation", "%v, %s: a signature in the name of another was taken", k, name)
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
	w.judgeSums(k, st, s.held[k])
	w.judgeGiven(k, st, s.held[k])
	w.judgeRefusals(k, s.held[k])
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

// judgeRevoked holds that a tablet that may not sync still has what it saved and the server never acknowledged.
func (w *world) judgeRevoked(t *tablet) {
	w.judgeSaved(t, func(at int64) bool { return !w.server.acked[at] && !w.everAcked[at] })
}

// lookAt holds, at any time, that a tablet shows everything that it saved. Between a fork and the end of the next sync it may lack what the server has
// under another dot, which comes back with the states.
func (w *world) lookAt(t *tablet) {
	w.judgeSaved(t, func(at int64) bool {
		if t.limited {
			return !w.everAcked[at] // what the server has may have left with its patient
		}
		return !t.catching || !w.server.acked[at]
	})
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
