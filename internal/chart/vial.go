package chart

import (
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// PreparationLedger is what a preparation held and what left it, in nanolitres. The zero id is a ready liquid, or draws that name no preparation.
type PreparationLedger struct {
	ID record.ID
	// Content is the volume that it was made with; Known is false when that is not recorded, and then Content is nothing.
	Content Range
	Known   bool
	// Drawn is the volume of all draws that are not voided; Draws is how many may count.
	Drawn Range
	Draws int
}

// Overdrawn says whether more left it than was in it: surely, or by what fields in conflict allow.
func (p PreparationLedger) Overdrawn() (maybe, surely bool) {
	if !p.Known {
		return false, false
	}
	return p.Drawn.Most > p.Content.Least, p.Drawn.Least > p.Content.Most
}

// VialLedger is what a vial held and what was drawn from it and thrown away.
type VialLedger struct {
	Vial record.Key
	// Products is the product, or those in conflict, ascending.
	Products []string
	// Content is what the vial holds, in milliunits; nothing when that is not recorded.
	Content Range
	// Preparations is its preparations by id, voided ones that were drawn from included.
	Preparations []PreparationLedger
	// Drawn is what was drawn in all, in milliunits.
	Drawn Range
	// Wasted is what was thrown away, in nanolitres. WasteUnknown is true when some of it was never measured; it is not in the sum.
	Wasted       Range
	WasteUnknown bool
	// Held is how many held edits would change draws; the sums are without them.
	Held int
}

// FoldVial folds the draws of one vial's record. Voided draws do not count; where values are in conflict a sum is a range.
func FoldVial(st *record.State, held []wire.Held) VialLedger {
	e := elementsOf(st)
	l := VialLedger{Vial: st.Key, Held: heldWithin(st.Key.Kind, "draws", held)}
	contents := map[record.ID]*PreparationLedger{}
	l.presentation(e, contents)
	for _, p := range e.in("", "preparations") {
		l.preparation(e, p, contents)
	}
	for _, p := range e.in("", "draws") {
		l.draw(e, p, contents)
	}
	for _, p := range e.in("", "wastes") {
		l.waste(e, p)
	}
	for _, p := range contents {
		l.Preparations = append(l.Preparations, *p)
	}
	slices.SortFunc(l.Preparations, func(a, b PreparationLedger) int { return slices.Compare(a.ID[:], b.ID[:]) })
	return l
}

// presentation notes what the vial is, and what a ready liquid holds.
func (l *VialLedger) presentation(e elements, contents map[record.ID]*PreparationLedger) {
	var units, liquid spread
	for _, p := range messages[*chartv1.VialPresentation](e, "", "presentation") {
		units.see(int64(p.GetContentMilliunits()))
		if p != nil && !slices.Contains(l.Products, p.GetProduct()) {
			l.Products = append(l.Products, p.GetProduct())
		}
		if p.GetLiquidNanoliters() > 0 {
			liquid.see(p.GetLiquidNanoliters())
		}
	}
	slices.Sort(l.Products)
	l.Content = units.Range
	if liquid.any {
		contents[record.ID{}] = &PreparationLedger{Content: liquid.Range, Known: true}
	}
}

func (l *VialLedger) preparation(e elements, p record.Path, contents map[record.ID]*PreparationLedger) {
	if _, voided := e.voided(p); voided {
		return
	}
	out := &PreparationLedger{ID: last(p)}
	var volume spread
	for _, d := range messages[*chartv1.Diluent](e, p, "diluent") {
		if d != nil {
			volume.see(d.GetVolumeNanoliters())
		}
	}
	out.Content, out.Known = volume.Range, volume.any
	contents[out.ID] = out
}

// draw adds a draw to the preparations that it may be from.
func (l *VialLedger) draw(e elements, p record.Path, contents map[record.ID]*PreparationLedger) {
	maybe, always := e.voided(p)
	if always {
		return
	}
	amounts := messages[*chartv1.DrawAmount](e, p, "amount")
	var units spread
	volumes := map[record.ID]*spread{}
	for _, a := range amounts {
		units.see(int64(a.GetDoseMilliunits()))
		id, _ := record.ParseID(a.GetPreparationId())
		volumes[id] = &spread{}
	}
	for id, v := range volumes {
		for _, a := range amounts {
			from, _ := record.ParseID(a.GetPreparationId())
			if from == id {
				v.see(a.GetVolumeNanoliters())
			} else {
				v.see(0)
			}
		}
		if maybe {
			v.see(0)
		}
		if contents[id] == nil {
			contents[id] = &PreparationLedger{ID: id}
		}
		contents[id].Drawn = contents[id].Drawn.plus(v.Range)
		contents[id].Draws++
	}
	if maybe {
		units.see(0)
	}
	l.Drawn = l.Drawn.plus(units.Range)
}

func (l *VialLedger) waste(e elements, p record.Path) {
	maybe, always := e.voided(p)
	if always {
		return
	}
	var volume spread
	for _, w := range messages[*chartv1.WasteAmount](e, p, "amount") {
		l.WasteUnknown = l.WasteUnknown || w == nil || w.VolumeNanoliters == nil
		volume.see(w.GetVolumeNanoliters())
	}
	if maybe {
		volume.see(0)
	}
	l.Wasted = l.Wasted.plus(volume.Range)
}

// spread grows to the range of what it sees.
type spread struct {
	Range
	any bool
}

func (s *spread) see(x int64) {
	if !s.any {
		s.Range, s.any = Range{x, x}, true
		return
	}
	s.Least, s.Most = min(s.Least, x), max(s.Most, x)
}
