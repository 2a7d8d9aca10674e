package service

import (
	"crypto/sha256"
	"sync"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// mostKept bounds the editions that are kept; an organisation has a handful.
const mostKept = 64

// kept is editions that were laid over what they derive from, which takes milliseconds, by what was asked for and by the state of every edition's record.
// It may be used concurrently.
type kept struct {
	mu   sync.Mutex
	made map[[sha256.Size]byte]*formulary.Edition
}

func (k *kept) get(key [sha256.Size]byte) *formulary.Edition {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.made[key]
}

func (k *kept) put(key [sha256.Size]byte, e *formulary.Edition) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.made == nil || len(k.made) == mostKept {
		k.made = make(map[[sha256.Size]byte]*formulary.Edition, mostKept)
	}
	k.made[key] = e
}

// Resolve implements gather.Resolver. A change of any edition's record makes it anew.
func (s *shelf) Resolve(builtin *formulary.Edition, ref *formularyv1.EditionReference, find formulary.Find) (*formulary.Edition, error) {
	if ref.GetEditionId() == "" {
		return builtin.Resolve(ref, find)
	}
	h := sha256.New()
	h.Write([]byte(s.org.String() + ref.GetEditionId() + "\x00" + ref.GetVersion() + "\x00"))
	h.Write(ref.GetHash())
	for _, id := range s.List(optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION) {
		if v, err := s.View(optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION, id); err == nil {
			h.Write(v.GetDigest())
		}
	}
	key := [sha256.Size]byte(h.Sum(nil))
	if e := s.kept.get(key); e != nil {
		return e, nil
	}
	e, err := builtin.Resolve(ref, find)
	if err == nil {
		s.kept.put(key, e)
	}
	return e, err
}

// editionAt is the edition that a clinic chose, looked up once a call.
func (s *shelf) editionAt(builtin *formulary.Edition, clinic string) *formulary.Edition {
	e, made := s.chosen[clinic]
	if !made {
		e, _ = gather.Chosen(s, builtin, clinic)
		s.chosen[clinic] = e
	}
	return e
}

// Fields of an edition's record that may be written while a clinic uses it: that it was withdrawn, notes, settlements.
const (
	editionWithdrawn, editionNotes, editionSettlements = 7, 90, 91
)

// unchanged refuses to change an edition that a clinic uses: what was chosen stays as it was chosen, and what changes is a new version. It may be withdrawn.
// Which clinics there are is asked of the index, which knows all but those of the last moment; what they chose is read in the transaction.
func (s *Service) unchanged(r store.Reader, org record.ID, e *record.Edit) *fault.Error {
	if e.Key.Kind != optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION || s.charting == nil || onlyWithdraws(e) {
		return nil
	}
	for _, k := range s.charting.index.known(org, optionsv1.RecordKind_RECORD_KIND_CLINIC) {
		found, err := s.ledger.ReadIn(r, org, k)
		if err != nil {
			return fault.Wrap(faultv1.Reason_REASON_INTERNAL, err)
		}
		for _, chosen := range chart.ChosenEditions(found.State) {
			if chosen == e.Key.ID {
				return fault.New(faultv1.Reason_REASON_OUTPUT_ONLY, "formulary_edition", "", "a new version: a clinic uses this one, which never changes")
			}
		}
	}
	return nil
}

// onlyWithdraws reports whether an edit writes nothing that an edition's hash is over.
func onlyWithdraws(e *record.Edit) bool {
	for i := range e.Writes {
		kept := true
		e.Writes[i].Each(func(reg record.Register, _ []byte, _ bool) {
			field := reg.Field
			if reg.Path != "" {
				step, _ := reg.Path.Cut()
				field = step.Field
			}
			kept = kept && (field == editionWithdrawn || field == editionNotes || field == editionSettlements)
		})
		if !kept {
			return false
		}
	}
	return true
}
