package chart

import (
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// HappenedWithin reports whether something happened to a vial in [from, until), by the moments that people's devices claim.
func HappenedWithin(st *record.State, from, until time.Time) bool {
	for _, at := range eventDays(elementsOf(st)) {
		if !at.Before(from) && at.Before(until) {
			return true
		}
	}
	return false
}

// VialsOf is the vials that a session gave from or drew up from.
func VialsOf(st *record.State) []record.ID {
	var out []record.ID
	for _, term := range Terms(st) {
		if len(term) == len(TermVial)+16 && term[:len(TermVial)] == TermVial {
			out = append(out, record.ID([]byte(term[len(TermVial):])))
		}
	}
	return out
}

// Waiting counts the held edits that wait for a person or for other edits.
func Waiting(held []wire.Held) int {
	n := 0
	for i := range held {
		if waits(held[i].Status) {
			n++
		}
	}
	return n
}

// LiftedHolds is the holds of a session that were lifted and not taken back.
func LiftedHolds(st *record.State) []*chartv1.FindingDecision {
	e := elementsOf(st)
	var out []*chartv1.FindingDecision
	for _, p := range e.in("", "finding_answers") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, m := range messages[*chartv1.FindingDecision](e, p, "answer") {
			if m.GetDecision() == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED && m.GetLevel() == formularyv1.Level_LEVEL_HOLD {
				out = append(out, m)
			}
		}
	}
	return out
}

// VialAccount is what became of a vial's content, in milliunits.
type VialAccount struct {
	VialLedger
	// Given is what reached muscles from it, by the sessions that were looked at; WastedUnits what was thrown away.
	Given, WastedUnits Range
	// Left is what should be left in the vial; Unaccounted was drawn, and neither given nor thrown away.
	Left, Unaccounted Range
}

// FoldAccount folds a vial with the sessions that gave from it.
func FoldAccount(vial *record.State, held []wire.Held, sessions []*record.State) VialAccount {
	a := VialAccount{VialLedger: FoldVial(vial, held)}
	for _, s := range sessions {
		for _, g := range GivingsFrom(s, vial.Key.ID, nil) {
			a.Given = a.Given.plus(g.Dose)
		}
	}
	e := elementsOf(vial)
	for _, p := range e.in("", "wastes") {
		maybe, never := e.voided(p)
		if never {
			continue
		}
		var units spread
		for _, w := range messages[*chartv1.WasteAmount](e, p, "amount") {
			a.WasteUnknown = a.WasteUnknown || w != nil && w.DoseMilliunits == nil
			units.see(int64(w.GetDoseMilliunits()))
		}
		if maybe {
			units.see(0)
		}
		a.WastedUnits = a.WastedUnits.plus(units.Range)
	}
	// What was given was drawn, whether that was charted or not.
	a.Left = a.Content.minus(Range{max(a.Drawn.Least, a.Given.Least), max(a.Drawn.Most, a.Given.Most)})
	a.Unaccounted = a.Drawn.minus(a.Given.plus(a.WastedUnits))
	return a
}

// minus is the range of differences, none below nothing.
func (r Range) minus(o Range) Range { return Range{max(0, r.Least-o.Most), max(0, r.Most-o.Least)} }
