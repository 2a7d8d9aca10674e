package sim

import (
	"cmp"
	"maps"
	"slices"

	"needlebook/internal/record"
)

// showing is a value that a tablet showed: of whose edit, in which register.
type showing struct {
	at int64
	place
}

// rememberShown notes, when the server is restored, what every tablet shows that holds everything: it may be all that is left of it.
func (w *world) rememberShown() {
	for _, t := range w.tablets {
		if t.gone || t.limited {
			continue
		}
		for _, k := range w.keys {
			for r, ats := range look(t.r.View(k)) {
				for _, at := range ats {
					t.showed[showing{at, place{k, r}}] = true
				}
			}
		}
	}
}

// judgeShown holds that nothing is lost which a tablet showed when the server was restored, whoever wrote it and wherever that tablet is now: it is there, or
// held, or superseded by one who saw it, or among the recovered values.
func (w *world) judgeShown(s *shown) {
	for _, t := range w.online() {
		for _, x := range slices.SortedFunc(maps.Keys(t.showed), func(a, b showing) int { return cmp.Compare(a.at, b.at) }) {
			m := w.book.edits[x.at]
			if m == nil || w.dealtWith(s, m, x.reg) {
				continue
			}
			w.found("conservation", "tablet %d showed edit %d of %v, %s, when the server was restored; it is neither there nor recovered",
				t.index, x.at, x.key, w.schemas.now.RegisterText(x.key.Kind, x.reg))
		}
	}
}

// dealtWith reports whether what an edit wrote into a register stands, or was superseded by one who saw it and whose edit does, be it one that is held or waits.
func (w *world) dealtWith(s *shown, m *made, r record.Register) bool {
	if w.stands(s, m, r) || w.sameThere(s, m, r) {
		return true
	}
	return slices.ContainsFunc(w.book.writers[place{m.key, r}], func(f *made) bool {
		return f.order > m.order && (f.saw.has(r, m.at) || f.told.has(r, m.at)) && w.dealtWith(s, f, r)
	})
}

// stands reports whether an edit's value in a register is there, or is known to have been dealt with by a person.
func (w *world) stands(s *shown, m *made, r record.Register) bool {
	return w.book.carried(m, r, s.visible(m.key)) || s.listed(m, r, true) || s.recovered(m, r) || w.leftOut(s, m, r)
}

// sameThere reports whether what an edit wrote into a register is there by another edit, is held, or was superseded by one who saw it so: equal values show as
// one, and who supersedes one of them has seen what they say.
func (w *world) sameThere(s *shown, m *made, r record.Register) bool {
	if st := s.states[m.key]; st != nil {
		for _, x := range st.Siblings(r) {
			if valueOf(x) == m.writes[r] {
				return true
			}
		}
	}
	for _, f := range w.book.writers[place{m.key, r}] {
		if f != m && f.writes[r] == m.writes[r] && w.stands(s, f, r) {
			return true
		}
	}
	return false
}
