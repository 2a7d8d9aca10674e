package dose

// judgeTouchUp says whether treatment i, which was declared a touch-up, belongs to its parent: a known treatment of its own, with the same product in the same
// muscles, inside the window. Whatever is in doubt counts against it, since a treatment of its own asks for the longer wait.
func judgeTouchUp(treatments []Treatment, i int, byID map[string]int, rules []TouchUpRule) (parent int, not NotTouchUp) {
	t := &treatments[i]
	if t.InDoubt {
		return -1, TouchUpInDoubt
	}
	parent, known := byID[t.TouchUpOf]
	if !known || t.TouchUpOf == "" {
		return -1, TouchUpParentUnknown
	}
	p := &treatments[parent]
	if p.TouchUp || parent == i || !p.surely(nil) {
		return -1, TouchUpParentIsNone
	}
	for j := range t.Ways {
		w := &t.Ways[j]
		if w.NotGiven {
			continue
		}
		if w.Product == "" || !p.surely(func(o *Way) bool { return o.Product == w.Product }) {
			return -1, TouchUpOtherProduct
		}
		if w.Muscle == "" || !p.surely(func(o *Way) bool { return o.Product == w.Product && o.Muscle == w.Muscle }) {
			return -1, TouchUpOtherArea
		}
	}
	return parent, windowOf(t, p, rules)
}

// surely says whether at least one giving was something that matches, whichever of its ways is true; nil asks whether anything was given at all.
func (t *Treatment) surely(match func(*Way) bool) bool {
	for from := 0; from < len(t.Ways); {
		all, to := true, from
		for ; to < len(t.Ways) && t.Ways[to].Giving == t.Ways[from].Giving; to++ {
			w := &t.Ways[to]
			all = all && !w.NotGiven && (match == nil || match(w))
		}
		if all {
			return true
		}
		from = to
	}
	return false
}

// windowOf says whether the touch-up is inside the window of each product it gave, on whichever days both were.
func windowOf(t, parent *Treatment, rules []TouchUpRule) NotTouchUp {
	for i := range t.Ways {
		if t.Ways[i].NotGiven || i > 0 && t.Ways[i].Product == t.Ways[i-1].Product {
			continue
		}
		found := rulesFor(rules, t.Ways[i].Product)
		if len(found) == 0 {
			return TouchUpNoWindow
		}
		for _, r := range found {
			if t.From < r.Earliest.After(parent.Until) || t.Until > r.Latest.After(parent.From) {
				return TouchUpOutsideWindow
			}
		}
	}
	return TouchUpHolds
}

// rulesFor are the rules of the product, or those for any where it has none.
func rulesFor(rules []TouchUpRule, product Product) []TouchUpRule {
	var own, any []TouchUpRule
	for _, r := range rules {
		switch r.Product {
		case product:
			own = append(own, r)
		case "":
			any = append(any, r)
		}
	}
	if len(own) > 0 {
		return own
	}
	return any
}

// Parent is the index of the treatment that treatment i belongs to as a touch-up; -1 for a treatment of its own. not says why one that was declared a
// touch-up is none; TouchUpHolds when it is one, and when none was declared.
func (h *History) Parent(i int) (parent int, not NotTouchUp) {
	return h.treatments[i].parent, h.treatments[i].not
}
