package dose

// Len is how many treatments there are.
func (h *History) Len() int { return len(h.treatments) }

// Days are the days between which treatment i was.
func (h *History) Days(i int) (from, until Day) { return h.treatments[i].from, h.treatments[i].until }

// Possible says whether something was or may have been given at treatment i.
func (h *History) Possible(i int) bool {
	for _, c := range h.treatments[i].sums {
		if c.span.Possible() {
			return true
		}
	}
	return false
}

// Sums is what was given at treatment i, by product; what nobody knows the product of comes last.
func (h *History) Sums(i int) []ProductSum { return h.products(h.treatments[i].sums) }

// products splits cells, which are ascending by key, by product.
func (h *History) products(cells []cell) []ProductSum {
	var sums []ProductSum
	targets := make([]TargetSum, 0, len(cells))
	for _, c := range cells {
		k := &h.keys[c.key]
		if k.whole {
			sums = append(sums, ProductSum{Given: c.span})
			continue
		}
		targets = append(targets, TargetSum{k.muscle, k.side, c.span})
	}
	at, n := 0, -1
	for _, c := range cells { // a product's whole stands before its targets
		if h.keys[c.key].whole {
			n++
			sums[n].Targets = targets[at:at:at]
			continue
		}
		at++
		sums[n].Targets = targets[at-len(sums[n].Targets)-1 : at : at]
	}
	return sums
}

// Totals is what was given from one day to another, both included, touch-ups and what was reported from elsewhere among it. What may have been on a day
// outside counts from nothing to all of it. Products are never added up.
func (h *History) Totals(from, until Day) []ProductSum {
	at, seen := make([]Span, len(h.keys)), make([]bool, len(h.keys))
	for i := range h.treatments {
		t := &h.treatments[i]
		if t.until < from || t.from > until {
			continue
		}
		inside := t.from >= from && t.until <= until
		for _, c := range t.sums {
			if !inside {
				c.span = c.span.maybe()
			}
			a := &at[c.key]
			*a = Span{c.span.product, a.least + c.span.least, a.most + c.span.most, a.open || c.span.open}
			seen[c.key] = true
		}
	}
	var cells []cell
	for k := range at {
		if seen[k] {
			cells = append(cells, cell{int32(k), at[k]})
		}
	}
	return h.products(cells)
}

// Window is what a limit of a product counts from one day to another: what was given of it, and what may have been: givings whose product nobody knows,
// on days that may be in the window. Where muscle is not empty only what was given there is sure.
func (h *History) Window(product Product, muscle string, from, until Day) Span {
	sum := Span{product: product}
	for i := range h.treatments {
		t := &h.treatments[i]
		if t.until < from || t.from > until {
			continue
		}
		inside := t.from >= from && t.until <= until
		for _, c := range t.sums {
			k := &h.keys[c.key]
			if k.product != product && k.product != "" {
				continue
			}
			switch sure := inside && k.product == product; {
			case k.whole:
				sum.most, sum.open = sum.most+c.span.most, sum.open || c.span.open
				if sure && muscle == "" {
					sum.least += c.span.least
				}
			case sure && muscle != "" && k.muscle == muscle:
				sum.least += c.span.least
			}
		}
	}
	return sum
}

// Which says which treatments Last looks at.
type Which struct {
	// Product is the product; AnyProduct looks at all, and Unknown also at those whose product nobody knows.
	Product             Product
	AnyProduct, Unknown bool
	// Full leaves out touch-ups.
	Full bool
}

// Last is the treatment that was last, by the latest day on which it can have been; of two on one day the later in the history. ok is false when there is
// none.
func (h *History) Last(w Which) (i int, ok bool) {
	i = -1
	for j := range h.treatments {
		t := &h.treatments[j]
		if w.Full && t.parent >= 0 || !h.matches(t, w) {
			continue
		}
		if i < 0 || t.until >= h.treatments[i].until {
			i = j
		}
	}
	return i, i >= 0
}

func (h *History) matches(t *judged, w Which) bool {
	for _, c := range t.sums {
		k := &h.keys[c.key]
		if k.whole && c.span.Possible() && (w.AnyProduct || k.product == w.Product || w.Unknown && k.product == "") {
			return true
		}
	}
	return false
}
