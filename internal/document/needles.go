package document

import (
	"cmp"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// numbered is a visit's injections in the order in which they were meant, which gives them their numbers.
func numbered(s *chartv1.Session) []*chartv1.Injection {
	out := slices.Clone(s.GetInjections())
	slices.SortStableFunc(out, func(x, y *chartv1.Injection) int {
		if (x.Position == nil) != (y.Position == nil) {
			if x.Position == nil {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(x.GetPosition(), y.GetPosition()), strings.Compare(x.GetId(), y.GetId()))
	})
	return out
}

// injections prints each injection, planned beside given, and where they are.
func (b *book) injections(v *chartv1.RecordView) error {
	s := v.GetRecord().GetSession()
	b.heading("Injections")
	if len(s.GetInjections()) == 0 {
		b.text("Nothing was planned and nothing given.")
		return nil
	}
	var rows [][]string
	var marks []mark
	var unplaced []string
	for i, in := range numbered(s) {
		n := &needle{b: b, v: v, in: in, path: "injections[" + in.GetId() + "]", number: itoa(i + 1)}
		rows = append(rows, n.rows()...)
		if m, ok := n.mark(); ok {
			marks = append(marks, m)
		} else {
			unplaced = append(unplaced, n.number)
		}
	}
	if err := b.drawing(marks, unplaced); err != nil {
		return err
	}
	b.table([]column{{"no.", 0.8}, {"muscle, side", 2.7}, {"place in mm", 2.3}, {"planned, units", 2.9}, {"given, units", 2.9}, {"mark in mL", 1.8}, {"error", 1.5}, {"given by, when", 2.7}}, rows)
	b.small("Mark: where the plunger stood before and after. Error: what left the syringe between the marks less the dose recorded as given, in units and per cent, rounded to 4 decimals; only where marks and preparation are recorded.")
	return nil
}

// drawing shows the places on the face; without any it says so, and there is no empty face to be taken for a record.
func (b *book) drawing(marks []mark, unplaced []string) error {
	if len(marks) == 0 {
		b.small("No place is recorded and settled, so nothing is drawn.")
		return nil
	}
	if err := b.face(marks); err != nil {
		return err
	}
	b.small("Filled: given. Open: planned and not given. Crossed: voided. Places are in millimetres from the origin of the frame named, x toward the patient's left, y up. The drawing is " +
		"of a generic face; where a frame was scaled by a measured distance the place is brought to it.")
	if len(unplaced) > 0 {
		b.small("Not on the drawing, since no place is recorded or settled: " + strings.Join(unplaced, ", ") + ".")
	}
	b.gap(1)
	return nil
}

// needle is one injection while it is printed.
type needle struct {
	b            *book
	v            *chartv1.RecordView
	in           *chartv1.Injection
	path, number string
}

func (n *needle) rows() [][]string {
	in := n.in
	where := joined(", ", n.b.orAbsent(n.v, muscleText(in.GetMuscle()), n.path+".muscle"), n.b.orAbsent(n.v, sideText(in.Side), n.path+".side"))
	planned := doseText(in.GetPlanned())
	if planned == "" || n.b.absent(n.v, n.path+".planned") == inConflict {
		planned = n.b.absent(n.v, n.path+".planned")
		if planned == blank {
			planned = "not planned"
		}
	}
	if in.GetVoid() != nil {
		planned += "\nVOIDED: " + in.GetVoid().GetReason()
	}
	if in.GetUnevenReason() != "" {
		planned += "\nuneven on purpose: " + in.GetUnevenReason()
	}
	if len(in.GetGivings()) == 0 {
		return [][]string{{n.number, where, n.place(in.GetPlace(), in.GetDepth(), n.path), planned, "nothing", "", "", ""}}
	}
	var out [][]string
	for i, g := range in.GetGivings() {
		number := n.number
		if i > 0 {
			number += string(rune('a' + i))
		}
		out = append(out, n.giving(number, where, planned, g))
	}
	return out
}

func (n *needle) giving(number, where, planned string, g *chartv1.Giving) []string {
	path := n.path + ".givings[" + g.GetId() + "]"
	if g.Side != nil || n.b.absent(n.v, path+".side") == inConflict {
		where += "\ngiven " + n.b.orAbsent(n.v, sideText(g.Side), path+".side")
	}
	place := n.place(n.in.GetPlace(), n.in.GetDepth(), n.path)
	if g.GetPlace() != nil || g.GetDepth() != nil || n.b.absent(n.v, path+".place", path+".depth") == inConflict {
		place += "\ngiven at " + n.place(g.GetPlace(), g.GetDepth(), path)
	}
	given := n.b.orAbsent(n.v, doseText(g.GetGiven().GetDose()), path+".given")
	if g.GetSpill() != nil {
		lost := "how much is not known"
		if g.GetSpill().LostNanoliters != nil {
			lost = millilitres(g.GetSpill().GetLostNanoliters()) + " mL lost"
		}
		given += "\nspill: " + joined(", ", lost, g.GetSpill().GetText())
	}
	if g.GetVoid() != nil {
		given += "\nVOIDED: " + g.GetVoid().GetReason()
	}
	if n.b.absent(n.v, path+".void") == inConflict {
		given += "\nvoid " + inConflict
	}
	by := n.b.orAbsent(n.v, n.b.act(g.GetDone()), path+".done")
	if g.GetRecordedBy() != "" {
		by += "\nrecorded by " + n.b.name(g.GetRecordedBy())
	}
	return []string{number, where, place, planned, given, markText(g.GetGiven()), n.b.errorText(g.GetGiven()), by}
}

func doseText(d *chartv1.Dose) string {
	if d == nil {
		return ""
	}
	return units(int64(d.GetDoseMilliunits())) + " " + d.GetProduct()
}

func (n *needle) place(p *chartv1.Place, d *chartv1.Depth, path string) string {
	text := ""
	if p != nil {
		text = fmt.Sprintf("%s %s, %s", p.GetFrame(), millimetres(int64(p.GetXMicrometers())), millimetres(int64(p.GetYMicrometers())))
		if s := p.GetScale(); s != nil {
			text += fmt.Sprintf(" (%s %s)", codeText(s.GetMeasure()), millimetres(int64(s.GetMeasuredMicrometers())))
		}
	}
	text = n.b.orAbsent(n.v, text, path+".place")
	depth := enumText(d.GetLayer().String(), "DEPTH_LAYER_")
	if d != nil && d.Micrometers != nil {
		depth = joined(" ", depth, millimetres(int64(d.GetMicrometers()))+" mm deep")
	}
	if n.b.absent(n.v, path+".depth") == inConflict {
		depth = "depth " + inConflict
	}
	return joined("\n", text, depth)
}

func markText(g *chartv1.GivenDose) string {
	if g == nil || g.MarkBeforeNanoliters == nil && g.MarkAfterNanoliters == nil {
		return blank
	}
	before, after := blank, blank
	if g.MarkBeforeNanoliters != nil {
		before = millilitres(g.GetMarkBeforeNanoliters())
	}
	if g.MarkAfterNanoliters != nil {
		after = millilitres(g.GetMarkAfterNanoliters())
	}
	return before + " to " + after
}

// errorText is what left the syringe between the marks less the dose recorded; empty when that cannot be said.
func (b *book) errorText(g *chartv1.GivenDose) string {
	if g == nil || g.MarkBeforeNanoliters == nil || g.MarkAfterNanoliters == nil || g.GetDose().GetDoseMilliunits() == 0 {
		return ""
	}
	volume := b.dilution(g)
	content := b.vials[g.GetVialId()].GetPresentation().GetContentMilliunits()
	if volume == 0 || content == 0 {
		return ""
	}
	left := new(big.Rat).Mul(big.NewRat(g.GetMarkBeforeNanoliters()-g.GetMarkAfterNanoliters(), volume), big.NewRat(int64(content), 1000))
	dose := big.NewRat(int64(g.GetDose().GetDoseMilliunits()), 1000)
	off := new(big.Rat).Sub(left, dose)
	per := new(big.Rat).Mul(new(big.Rat).Quo(off, dose), big.NewRat(100, 1))
	return rounded(off, 4) + " units\n" + rounded(per, 4) + " %"
}

// dilution is the volume that a vial's content is in; 0 when it is not recorded, voided or in conflict.
func (b *book) dilution(g *chartv1.GivenDose) int64 {
	vial := b.vials[g.GetVialId()]
	if g.GetPreparationId() == "" {
		return vial.GetPresentation().GetLiquidNanoliters()
	}
	for _, p := range vial.GetPreparations() {
		if p.GetId() == g.GetPreparationId() && p.GetVoid() == nil {
			return p.GetDiluent().GetVolumeNanoliters()
		}
	}
	return 0
}

// mark is where the injection is on the drawing: where it was given, else where it was planned.
func (n *needle) mark() (m mark, ok bool) {
	m.label = n.number
	place, side := n.in.GetPlace(), n.in.Side
	m.void = n.in.GetVoid() != nil
	for _, g := range n.in.GetGivings() {
		if g.GetVoid() != nil {
			continue
		}
		m.given, m.void = true, false
		if g.GetPlace() != nil {
			place = g.GetPlace()
		}
		if g.Side != nil {
			side = g.Side
		}
		break
	}
	if !m.given && len(n.in.GetGivings()) > 0 {
		m.void = true
	}
	m.at, ok = onFace(place, side)
	return m, ok
}

// sum is what one product has on one side.
type sum struct {
	planned, given int64
	unsettled      int // givings whose dose, side or void is in conflict; not in given
}

// sums folds a visit by product and side. A giving without a dose that is settled is counted apart and is not a zero.
func (b *book) sums(v *chartv1.RecordView) map[[2]string]*sum {
	out := map[[2]string]*sum{}
	at := func(product string, side *chartv1.Side) *sum {
		k := [2]string{product, cmp.Or(sideText(side), "no side")}
		if out[k] == nil {
			out[k] = &sum{}
		}
		return out[k]
	}
	for _, in := range v.GetRecord().GetSession().GetInjections() {
		path := "injections[" + in.GetId() + "]"
		if p := in.GetPlanned(); p != nil && in.GetVoid() == nil {
			at(p.GetProduct(), in.Side).planned += int64(p.GetDoseMilliunits())
		}
		for _, g := range in.GetGivings() {
			gp := path + ".givings[" + g.GetId() + "]"
			side := g.Side
			if side == nil {
				side = in.Side
			}
			switch {
			case b.absent(v, gp+".given", gp+".void", gp+".side") == inConflict || g.Side == nil && b.absent(v, path+".side") == inConflict:
				at(cmp.Or(g.GetGiven().GetDose().GetProduct(), in.GetPlanned().GetProduct(), "product "+inConflict), side).unsettled++
			case g.GetVoid() != nil || g.GetGiven().GetDose() == nil:
			default:
				at(g.GetGiven().GetDose().GetProduct(), side).given += int64(g.GetGiven().GetDose().GetDoseMilliunits())
			}
		}
	}
	return out
}

func sortedKeys(m map[[2]string]*sum) [][2]string {
	return slices.SortedFunc(maps.Keys(m), func(x, y [2]string) int {
		order := func(side string) int { return slices.Index([]string{"right", "left", "midline", "no side"}, side) }
		return cmp.Or(strings.Compare(x[0], y[0]), cmp.Compare(order(x[1]), order(y[1])))
	})
}

func (s *sum) givenText() string {
	text := units(s.given)
	if s.unsettled > 0 {
		text = fmt.Sprintf("%s and %d that %s", text, s.unsettled, map[bool]string{true: "is ", false: "are "}[s.unsettled == 1]+inConflict)
	}
	return text
}

func (b *book) totalsText(v *chartv1.RecordView) string {
	sums := b.sums(v)
	var out []string
	for _, k := range sortedKeys(sums) {
		if sums[k].given > 0 || sums[k].unsettled > 0 {
			out = append(out, k[0]+" "+k[1]+" "+sums[k].givenText())
		}
	}
	return strings.Join(out, "\n")
}

func (b *book) totals(v *chartv1.RecordView) {
	sums := b.sums(v)
	if len(sums) == 0 {
		return
	}
	b.heading("Totals by product and side")
	var rows [][]string
	for _, k := range sortedKeys(sums) {
		rows = append(rows, []string{k[0], k[1], units(sums[k].planned), sums[k].givenText()})
	}
	b.table([]column{{"product", 4}, {"side", 2}, {"planned, units", 2}, {"given, units", 3}}, rows)
}
