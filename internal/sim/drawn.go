package sim

import (
	"slices"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// judgeSums holds what is drawn from a vial, as its message says, against the book.
func (w *world) judgeSums(k record.Key, st *record.State, held []wire.Held) {
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
		if !within(r.Path, fieldDraws) || r.Field != fieldAmount || len(values) != 1 {
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
	w.judgeVial(k, st, held)
}

// within reports whether a path leads into a collection.
func within(p record.Path, field uint32) bool {
	if p == "" {
		return false
	}
	step, _ := p.Cut()
	return step.Field == field
}

// span is the least and the most that something may be.
type span struct{ least, most int64 }

func (a span) plus(b span) span { return span{a.least + b.least, a.most + b.most} }

func spanOf(r chart.Range) span { return span{r.Least, r.Most} }

// contents is a vial's ledger as the judge adds it up, register by register: what it held, what was drawn of each preparation and what was thrown away.
type contents struct {
	of            map[string]span // by preparation, volumes in nanolitres; the ready liquid is "", what is not recorded is missing
	drawn         map[string]span
	units, wasted span
}

// judgeVial holds the program's ledger of a vial, and what it finds overdrawn, against a plain count over the registers. What is left of a preparation is
// its content less what was drawn; where elements are in conflict that is a range, and what may be less than nothing must be said.
func (w *world) judgeVial(k record.Key, st *record.State, held []wire.Held) {
	want, got := count(st), w.seams.folds.vial(st, held)
	if spanOf(got.Drawn) != want.units || spanOf(got.Wasted) != want.wasted {
		w.found("conservation", "%v: %v milliunits drawn, %v nanolitres wasted; its elements say %v, %v", k, got.Drawn, got.Wasted, want.units, want.wasted)
	}
	overdrawn := 0
	for _, p := range got.Preparations {
		id := ""
		if !p.ID.IsZero() {
			id = p.ID.String()
		}
		content, known := want.of[id]
		if spanOf(p.Drawn) != want.drawn[id] || p.Known != known || known && spanOf(p.Content) != content {
			w.found("conservation", "%v, preparation %s: %v of %v; its elements say %v of %v", k, id, p.Drawn, p.Content, want.drawn[id], content)
		}
		delete(want.drawn, id)
		if left := content.least - p.Drawn.Most; known && left < 0 {
			overdrawn++
		}
	}
	for id, drawn := range want.drawn {
		if drawn.most > 0 {
			w.found("conservation", "%v: %v drawn of preparation %q are not in its sums", k, drawn, id)
		}
	}
	if found := w.seams.folds.overdrawn(got); len(found) != overdrawn {
		w.found("conservation", "%v: %d overdrawn, %d found", k, overdrawn, len(found))
	}
	w.counts["vials overdrawn"] += overdrawn
}

// count adds up a vial's elements.
func count(st *record.State) contents {
	out := contents{of: map[string]span{}, drawn: map[string]span{}}
	if liquids := possible(st.Siblings(record.Register{Field: fieldPresentation}), func(v *chartv1.Vial) int64 {
		return v.GetPresentation().GetLiquidNanoliters()
	}); slices.Max(append(liquids, 0)) > 0 {
		out.of[""] = spread(slices.DeleteFunc(liquids, func(x int64) bool { return x == 0 }))
	}
	for _, p := range elementsOf(st, fieldPreparations) {
		if _, always := voided(st, p, fieldPreparationVoid); always {
			continue
		}
		volumes := possible(st.Siblings(record.Register{Path: p, Field: fieldDiluent}), func(m *chartv1.Preparation) int64 {
			return m.GetDiluent().GetVolumeNanoliters()
		})
		if volumes = slices.DeleteFunc(volumes, func(x int64) bool { return x == 0 }); len(volumes) > 0 {
			out.of[elementID(p)] = spread(volumes)
		}
	}
	for _, p := range elementsOf(st, fieldDraws) {
		out.draw(st, p)
	}
	for _, p := range elementsOf(st, fieldWastes) {
		out.wasted = out.wasted.plus(amountOf(st, p, fieldWaste, fieldWasteVoid, func(m *chartv1.Waste) int64 {
			return m.GetAmount().GetVolumeNanoliters()
		}))
	}
	return out
}

func (c *contents) draw(st *record.State, p record.Path) {
	c.units = c.units.plus(amountOf(st, p, fieldAmount, fieldDrawVoid, func(m *chartv1.Draw) int64 { return int64(m.GetAmount().GetDoseMilliunits()) }))
	from := map[string]bool{}
	possible(st.Siblings(record.Register{Path: p, Field: fieldAmount}), func(m *chartv1.Draw) int64 {
		from[m.GetAmount().GetPreparationId()] = true
		return 0
	})
	for id := range from {
		c.drawn[id] = c.drawn[id].plus(amountOf(st, p, fieldAmount, fieldDrawVoid, func(m *chartv1.Draw) int64 {
			if m.GetAmount().GetPreparationId() != id {
				return 0
			}
			return m.GetAmount().GetVolumeNanoliters()
		}))
	}
}

// amountOf is what one element adds to a sum: nothing when it is voided, perhaps nothing when that is in conflict.
func amountOf[M any, P messageOf[M]](st *record.State, p record.Path, field, void uint32, read func(P) int64) span {
	maybe, always := voided(st, p, void)
	if always {
		return span{}
	}
	amounts := possible(st.Siblings(record.Register{Path: p, Field: field}), read)
	if maybe || len(amounts) == 0 {
		amounts = append(amounts, 0)
	}
	return spread(amounts)
}

// voided reports whether an element may count for nothing, and whether it surely does.
func voided(st *record.State, p record.Path, field uint32) (maybe, always bool) {
	voids := st.Siblings(record.Register{Path: p, Field: field})
	set := 0
	for _, x := range voids {
		if !x.Cleared {
			set++
		}
	}
	return set > 0, set > 0 && set == len(voids)
}

type messageOf[M any] interface {
	*M
	proto.Message
}

// possible is what a register may say, one figure for each of its values. A register is on its own a message of its record or element with one field.
func possible[M any, P messageOf[M]](siblings []causal.Sibling, read func(P) int64) []int64 {
	var out []int64
	for _, x := range siblings {
		m := P(new(M))
		if err := proto.Unmarshal(x.Value, m); err == nil {
			out = append(out, read(m))
		}
	}
	return out
}

func spread(of []int64) span { return span{slices.Min(of), slices.Max(of)} }

// elementsOf is the elements of a collection of the record itself.
func elementsOf(st *record.State, field uint32) []record.Path {
	var out []record.Path
	for _, c := range st.Values() {
		if p := c.Register.Path; within(p, field) && !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

func elementID(p record.Path) string {
	step, _ := p.Cut()
	return record.ID(step.Element).String()
}
