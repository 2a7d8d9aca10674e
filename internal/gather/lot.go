package gather

import (
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// lots gathers every record of a lot that a vial or its diluent names by id, and every other one that has the number of one: two tablets may have made a
// record each, and a recall stands in only one of them.
func (g *gathering) lots() error {
	byID, byNumber := make(map[string]bool), make(map[string]bool)
	for _, v := range g.others {
		for _, id := range ids(v, "lot_id") {
			byID[id] = true
		}
		for _, number := range ids(v, "lot_number") {
			byNumber[number] = true
		}
	}
	if len(byID)+len(byNumber) == 0 {
		return nil
	}
	list := slices.Clone(g.r.List(kindLot))
	for id := range byID {
		if !slices.Contains(list, id) {
			list = append(list, id)
		}
	}
	slices.SortFunc(list, func(a, b string) int {
		if byID[a] != byID[b] {
			return map[bool]int{true: -1, false: 1}[byID[a]]
		}
		return strings.Compare(a, b)
	})
	for _, id := range list {
		v, _, err := view(g.r, kindLot, id)
		if err != nil {
			return err
		}
		if v == nil || !byID[id] && !isNumbered(v, byNumber) || len(g.facts.Lots) == mostLots {
			continue
		}
		g.facts.Lots = append(g.facts.Lots, v.GetRecord().GetLot())
		g.facts.Conflicts = append(g.facts.Conflicts, siblingsOf(v)...)
		g.facts.Held = append(g.facts.Held, heldOf(v)...)
	}
	return nil
}

// isNumbered reports whether a lot has one of the numbers, by its identity or by an alias of it, in whatever value of a register in conflict.
func isNumbered(v *chartv1.RecordView, numbers map[string]bool) bool {
	return slices.ContainsFunc(ids(v, "number"), func(n string) bool { return numbers[n] })
}
