package record

import "strings"

// Partition splits the writes of e into those that may take effect and those into elements that only held edits created. The latter are held with
// them: applied alone they would leave an element without its beginning.
func Partition(st *State, held []Edit, e *Edit) (apply, hold []Write) {
	for _, w := range e.Writes {
		if w.Path != "" && bornHeld(st, held, w.Path) {
			hold = append(hold, w)
		} else {
			apply = append(apply, w)
		}
	}
	return apply, hold
}

// bornHeld reports whether p, or an element that it is in, is not in the state but in a held edit.
func bornHeld(st *State, held []Edit, p Path) bool {
	for ; p != ""; p = p.Parent() {
		if st.hasUnder(p) {
			return false
		}
		for i := range held {
			if held[i].touches(p) {
				return true
			}
		}
	}
	return false
}

// hasUnder reports whether the element at p, or one below it, is in the state.
func (s *State) hasUnder(p Path) bool {
	i, _ := s.findElement(p)
	return i < len(s.elements) && strings.HasPrefix(string(s.elements[i].path), string(p))
}

func (e *Edit) touches(p Path) bool {
	for i := range e.Writes {
		if strings.HasPrefix(string(e.Writes[i].Path), string(p)) {
			return true
		}
	}
	return false
}

// Release is the writes of a held edit that are still wanted, and the registers that are left out because someone rewrote them after seeing the held
// value: an edit of later whose context covered its dot. Those are shown to the person who releases, who may take them all the same.
func Release(held *Edit, later []Edit, take []Register) (writes []Write, leftOut []Register) {
	rewritten := map[Register]bool{}
	for i := range later {
		if later[i].Context.Covers(held.Dot) {
			later[i].eachRegister(func(r Register) { rewritten[r] = true })
		}
	}
	for _, r := range take {
		delete(rewritten, r)
	}
	for _, w := range held.Writes {
		kept := Write{Path: w.Path}
		w.each(func(field uint32, value []byte, cleared bool) {
			switch r := (Register{w.Path, field}); {
			case rewritten[r]:
				leftOut = append(leftOut, r)
			case cleared:
				kept.Clear = append(kept.Clear, field)
			default:
				kept.Set = append(kept.Set, value...)
			}
		})
		if len(kept.Set)+len(kept.Clear) > 0 {
			writes = append(writes, kept)
		}
	}
	return writes, leftOut
}

func (e *Edit) eachRegister(fn func(Register)) {
	for i := range e.Writes {
		w := &e.Writes[i]
		w.each(func(field uint32, _ []byte, _ bool) { fn(Register{w.Path, field}) })
	}
}
