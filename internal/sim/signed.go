package sim

import (
	"slices"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

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
	for _, l := range w.seams.folds.late(w.schemas.now, st) {
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
