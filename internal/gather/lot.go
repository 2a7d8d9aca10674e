package gather

import (
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
)

// lots gathers every record of a lot that a vial or its diluent names by id, and every other one that has a number like its own: two tablets may have made a
// record each, a number may have been mistyped, and a recall stands in only one of them.
func (g *gathering) lots() error {
	byID, byNumber := make(map[string]bool), make(map[string]bool)
	for _, v := range g.others {
		for _, id := range ids(v, "lot_id") {
			byID[id] = true
		}
		for _, number := range ids(v, "lot_number") {
			byNumber[chart.LotKey(number)] = true
		}
	}
	if len(byID)+len(byNumber) == 0 {
		return nil
	}
	list := g.lotsLike(byNumber)
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

// lotsLike lists the lots that may have one of the numbers: those that the host finds, else all.
func (g *gathering) lotsLike(keys map[string]bool) (list []string) {
	finder, ok := g.r.(LotFinder)
	if !ok {
		return slices.Clone(g.r.List(kindLot))
	}
	for key := range keys {
		found, ok := finder.Lots(key)
		if !ok {
			return slices.Clone(g.r.List(kindLot))
		}
		for _, id := range found {
			if !slices.Contains(list, id) {
				list = append(list, id)
			}
		}
	}
	return list
}

// isNumbered reports whether a lot has a number like one of these, by its identity or by an alias of it, in whatever value of a register in conflict.
func isNumbered(v *chartv1.RecordView, keys map[string]bool) bool {
	return slices.ContainsFunc(ids(v, "number"), func(n string) bool { return keys[chart.LotKey(n)] })
}
