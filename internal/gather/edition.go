package gather

import (
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
)

// EditionOf is the edition with an id. Its error is a *formulary.EntryError where the record is not here, or does not stand on what it derives from.
func EditionOf(r Records, builtin *formulary.Edition, id string) (*formulary.Edition, error) {
	return resolve(r, builtin, &formularyv1.EditionReference{EditionId: &id})
}

// Resolver is a host that keeps editions: it answers as builtin.Resolve does.
type Resolver interface {
	Resolve(builtin *formulary.Edition, ref *formularyv1.EditionReference, find formulary.Find) (*formulary.Edition, error)
}

func resolve(r Records, builtin *formulary.Edition, ref *formularyv1.EditionReference) (*formulary.Edition, error) {
	if host, ok := r.(Resolver); ok {
		return host.Resolve(builtin, ref, find(r))
	}
	return builtin.Resolve(ref, find(r))
}

func find(r Records) formulary.Find {
	return func(id string) *formularyv1.FormularyEdition {
		v, err := r.View(kindEdition, id)
		if err != nil {
			return nil
		}
		return v.GetRecord().GetFormularyEdition()
	}
}

// Chosen is the edition that a clinic uses: the one that its record names, by content and not by name alone. It is the one that is shipped where the clinic
// chose none, where the choice is in conflict, or where the one chosen was withdrawn, is not here, or was changed since; ok is then false if one was chosen.
// With it come the dilutions that the clinic's lead adopted, and the syringes that the clinic stocks.
func Chosen(r Records, builtin *formulary.Edition, clinic string) (e *formulary.Edition, ok bool) {
	v, _, err := view(r, kindClinic, clinic)
	if err != nil || v == nil {
		return builtin, true
	}
	here := v.GetRecord().GetClinic()
	ref := here.GetFormulary().GetEdition()
	if ref == nil {
		return builtin.At(here), !isDoubted(v, "formulary")
	}
	e, err = resolve(r, builtin, ref)
	if err != nil || e.Withdrawn() {
		return builtin.At(here), false
	}
	return e.At(here), true
}

// At is an edition as a clinic works with it, as far as the clinic's record is here.
func At(r Records, e *formulary.Edition, clinic string) *formulary.Edition {
	v, _, err := view(r, kindClinic, clinic)
	if err != nil || v == nil {
		return e
	}
	return e.At(v.GetRecord().GetClinic())
}

// ForSession is the edition that a session is judged by: the one that it began with, else its clinic's, else the one that is shipped. Where the one that it
// began with is not here any more the clinic's stands in, and guardrails say that it is another.
func ForSession(r Records, builtin *formulary.Edition, s *chartv1.Session) *formulary.Edition {
	if ref := s.GetBasis().GetEdition(); ref != nil {
		if e, err := resolve(r, builtin, ref); err == nil {
			return e
		}
	}
	e, _ := Chosen(r, builtin, s.GetClinicId())
	return e
}

func isDoubted(v *chartv1.RecordView, path string) bool {
	for _, c := range v.GetConflicts() {
		if c.GetPath() == path {
			return true
		}
	}
	return false
}

// Editions are the one that is shipped and those that clinics chose and that stand, each once.
func Editions(r Records, builtin *formulary.Edition) []*formulary.Edition {
	all := []*formulary.Edition{builtin}
	seen := map[string]bool{builtin.Hash(): true}
	for _, clinic := range r.List(kindClinic) {
		if e, ok := Chosen(r, builtin, clinic); ok && !seen[e.Hash()] {
			all, seen[e.Hash()] = append(all, e), true
		}
	}
	return all
}

// CheckNames refuses a record that names a muscle that the anatomy does not have, or a product that neither the shipped edition has nor one that a clinic
// chose. The refusal is the shipped edition's.
func CheckNames(r Records, builtin *formulary.Edition, m proto.Message) error {
	refusal := builtin.CheckNames(m)
	if !fault.Has(refusal, faultv1.Reason_REASON_UNKNOWN_PRODUCT) {
		return refusal
	}
	for _, e := range Editions(r, builtin)[1:] {
		if err := e.CheckNames(m); !fault.Has(err, faultv1.Reason_REASON_UNKNOWN_PRODUCT) {
			return err
		}
	}
	return refusal
}
