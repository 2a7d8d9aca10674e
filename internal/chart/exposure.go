package chart

import (
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/record"
)

// GivenFrom is a giving that came from a vial, or may have.
type GivenFrom struct {
	Injection, Giving record.ID
	// Targets is what was given of and where; more than one while fields are in conflict.
	Targets []Target
	// Dose is how much reached the muscle, in milliunits.
	Dose Range
	// InConflict is true when the vial, the dose, the muscle, the side or whether it counts is in conflict.
	InConflict bool
}

// GivingsFrom is the givings of a session that came from a vial, in the order of their ids. With preparations named it is those that came from one of
// them, or from none that is recorded. What surely does not count is left out.
func GivingsFrom(st *record.State, vial record.ID, preparations []record.ID) []GivenFrom {
	e := elementsOf(st)
	sessionMaybe, never := e.voided("")
	if never {
		return nil
	}
	var out []GivenFrom
	for _, injection := range e.in("", "injections") {
		for _, giving := range e.in(injection, "givings") {
			maybe, never := e.voided(giving)
			if never {
				continue
			}
			if g, ok := e.givenFrom(injection, giving, vial, preparations, maybe || sessionMaybe); ok {
				out = append(out, g)
			}
		}
	}
	return out
}

func (e elements) givenFrom(injection, giving record.Path, vial record.ID, preparations []record.ID, maybeVoid bool) (GivenFrom, bool) {
	g := GivenFrom{Injection: last(injection), Giving: last(giving), InConflict: maybeVoid}
	matches := 0
	options := messages[*chartv1.GivenDose](e, giving, "given")
	for _, given := range options {
		if cameFrom(given, vial, preparations) {
			matches++
		}
	}
	if matches == 0 {
		return g, false
	}
	var amount spread
	for _, w := range e.giving(injection, giving, maybeVoid) {
		amount.see(w.least)
		amount.see(w.most)
		if w.target.Product != "" && !contains(g.Targets, w.target) {
			g.Targets = append(g.Targets, w.target)
		}
	}
	g.Dose = amount.Range
	g.InConflict = g.InConflict || len(options) > 1 || len(g.Targets) > 1
	return g, true
}

func contains(all []Target, t Target) bool {
	for _, o := range all {
		if o == t {
			return true
		}
	}
	return false
}

func cameFrom(given *chartv1.GivenDose, vial record.ID, preparations []record.ID) bool {
	id, err := record.ParseID(given.GetVialId())
	if err != nil || id != vial {
		return false
	}
	if len(preparations) == 0 || given.PreparationId == nil {
		return true
	}
	of, err := record.ParseID(given.GetPreparationId())
	if err != nil {
		return true
	}
	for _, p := range preparations {
		if p == of {
			return true
		}
	}
	return false
}

// VialUse is that a session drew from a vial or pierced it.
type VialUse struct {
	Session record.ID
	// Preparation is the one that was drawn from; zero when it is not recorded, as for a piercing.
	Preparation record.ID
}

// UsesOf is the sessions that a vial's own record names in its draws and piercings. What surely does not count is left out.
func UsesOf(st *record.State) []VialUse {
	e := elementsOf(st)
	var out []VialUse
	add := func(session, preparation string) {
		id, err := record.ParseID(session)
		if err != nil {
			return
		}
		of, _ := record.ParseID(preparation)
		out = append(out, VialUse{id, of})
	}
	for _, p := range e.in("", "draws") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, a := range messages[*chartv1.DrawAmount](e, p, "amount") {
			add(a.GetSessionId(), a.GetPreparationId())
		}
	}
	for _, p := range e.in("", "entries") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, a := range messages[*chartv1.Piercing](e, p, "piercing") {
			add(a.GetSessionId(), "")
		}
	}
	return out
}

// VialLots is what a vial's record says of lots. Where fields are in conflict every value stands.
type VialLots struct {
	Products  []string
	Labelling []*chartv1.VialLabelling
	// Diluents is by preparation; those that surely do not count are left out.
	Diluents map[record.ID][]*chartv1.Diluent
	// Void and Practice say that the record surely does not count, and that the vial holds no drug.
	Void, Practice bool
}

// LotsOf reads the lots of a vial.
func LotsOf(st *record.State) VialLots {
	e := elementsOf(st)
	out := VialLots{Diluents: map[record.ID][]*chartv1.Diluent{}, Practice: e.practice()}
	_, out.Void = e.voided("")
	for _, p := range messages[*chartv1.VialPresentation](e, "", "presentation") {
		if p.GetProduct() != "" {
			out.Products = append(out.Products, p.GetProduct())
		}
	}
	for _, l := range messages[*chartv1.VialLabelling](e, "", "labelling") {
		if l != nil {
			out.Labelling = append(out.Labelling, l)
		}
	}
	for _, p := range e.in("", "preparations") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, d := range messages[*chartv1.Diluent](e, p, "diluent") {
			if d != nil {
				out.Diluents[last(p)] = append(out.Diluents[last(p)], d)
			}
		}
	}
	return out
}

// LotNumbers is what a lot's record says of its number. Where fields are in conflict every value stands; aliases that were undone are left out.
type LotNumbers struct {
	Identities []*chartv1.LotIdentity
	Aliases    []string
}

// NumbersOf reads the numbers of a lot.
func NumbersOf(st *record.State) LotNumbers {
	e := elementsOf(st)
	var out LotNumbers
	for _, m := range messages[*chartv1.LotIdentity](e, "", "identity") {
		if m != nil {
			out.Identities = append(out.Identities, m)
		}
	}
	for _, p := range e.in("", "aliases") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, m := range messages[*chartv1.LotAliasClaim](e, p, "alias") {
			if m.GetNumber() != "" {
				out.Aliases = append(out.Aliases, m.GetNumber())
			}
		}
	}
	return out
}

// Givings is how many givings count, or may.
func (g Given) Givings() int { return len(g.givings) }
