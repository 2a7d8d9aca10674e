package record

import "strings"

// Join is the state after the edits of both a and b, which are states of one record. It changes neither.
func Join(a, b *State) *State {
	out := &State{Key: a.Key, Seen: a.Seen.Join(b.Seen)}
	eachPair(a.elements, b.elements, func(x, y *element) {
		el := joinElements(a, x, b, y)
		if len(el.registers) > 0 {
			out.elements = append(out.elements, el)
		}
	})
	out.infos = append(out.infos, a.infos...)
	for _, n := range b.infos {
		out.noteInfo(n)
	}
	out.dropDeadInfos()
	return out
}

// eachPair walks two lists of elements in step and calls fn with what stands at each path; nil where one side has nothing.
func eachPair(a, b []element, fn func(x, y *element)) {
	for i, j := 0, 0; i < len(a) || j < len(b); {
		switch c := compareElements(a, i, b, j); {
		case c < 0:
			fn(&a[i], nil)
			i++
		case c > 0:
			fn(nil, &b[j])
			j++
		default:
			fn(&a[i], &b[j])
			i, j = i+1, j+1
		}
	}
}

func compareElements(a []element, i int, b []element, j int) int {
	switch {
	case i == len(a):
		return 1
	case j == len(b):
		return -1
	}
	return strings.Compare(string(a[i].path), string(b[j].path))
}

func joinElements(a *State, x *element, b *State, y *element) element {
	var out element
	var xr, yr []register
	if x != nil {
		out.path, xr = x.path, x.registers
	}
	if y != nil {
		out.path, yr = y.path, y.registers
	}
	for i, j := 0, 0; i < len(xr) || j < len(yr); {
		r := register{}
		switch {
		case j == len(yr) || i < len(xr) && xr[i].field < yr[j].field:
			r.field, r.siblings = xr[i].field, xr[i].siblings.Join(a.Seen, nil, b.Seen)
			i++
		case i == len(xr) || yr[j].field < xr[i].field:
			r.field, r.siblings = yr[j].field, yr[j].siblings.Join(b.Seen, nil, a.Seen)
			j++
		default:
			r.field, r.siblings = xr[i].field, xr[i].siblings.Join(a.Seen, yr[j].siblings, b.Seen)
			i, j = i+1, j+1
		}
		if len(r.siblings) > 0 {
			out.registers = append(out.registers, r)
		}
	}
	return out
}

// JoinDelta is s with what changed: delta holds only some registers, each whole, and says nothing of the others. Both are left as they are.
func JoinDelta(s, delta *State) *State {
	out := &State{Key: s.Key, Seen: s.Seen.Join(delta.Seen)}
	eachPair(s.elements, delta.elements, func(x, y *element) {
		switch {
		case y == nil:
			out.elements = append(out.elements, *x)
		case x == nil:
			if el := joinElements(s, nil, delta, y); len(el.registers) > 0 {
				out.elements = append(out.elements, el)
			}
		default:
			out.elements = append(out.elements, joinChanged(s, x, delta, y))
		}
	})
	out.infos = append(out.infos, s.infos...)
	for _, n := range delta.infos {
		out.noteInfo(n)
	}
	out.dropDeadInfos()
	return out
}

// joinChanged joins the registers of y into x and keeps those that y does not have.
func joinChanged(s *State, x *element, delta *State, y *element) element {
	out := element{path: x.path, registers: append([]register(nil), x.registers...)}
	for i := range y.registers {
		changed := &y.registers[i]
		r := out.registerAt(changed.field)
		r.siblings = r.siblings.Join(s.Seen, changed.siblings, delta.Seen)
	}
	return out
}
