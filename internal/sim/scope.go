package sim

import (
	"context"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// limitScope makes a new tablet one that holds some patients only.
func (t *tablet) limitScope() {
	t.limited = true
	t.store(t.r.LimitScope())
}

// hold asks for a patient, unhold gives her back; the server hears of it at the next exchange. A tablet that holds everyone asks for nobody.
func (t *tablet) hold(patient record.ID) {
	if t.limited && !t.gone {
		t.store(t.r.Hold(patient))
		t.w.count("patients asked for")
	}
}

func (t *tablet) unhold(patient record.ID) {
	if !t.limited || t.gone {
		return
	}
	if t.w.seams.unhold != nil {
		t.w.seams.unhold(t, patient)
	}
	if t.r.Unsent() > 0 {
		t.w.count("patients given back with edits unsent")
	}
	t.store(t.r.Unhold(patient))
	t.w.count("patients given back")
}

// lastWishes lets every device ask, at the very end, for patients that the seed draws, so that the judge knows whom each holds without asking the server.
func (w *world) lastWishes() {
	asked := map[record.ID]bool{}
	for _, t := range w.online() {
		if !t.limited || asked[t.device] {
			continue
		}
		asked[t.device] = true
		rng := w.draw(4_000_000 + t.index)
		for _, p := range w.clinic.patients {
			at := heldBy{t.device, p}
			wanted := rng.IntN(2) == 0
			if wanted {
				_, err := w.server.ledger.Read(context.Background(), w.org, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p})
				wanted = err == nil // the server lets nobody hold a patient whom it does not know
			}
			if w.clinic.wanted[at] = wanted; wanted {
				t.hold(p)
			} else {
				t.unhold(p)
			}
		}
	}
}

// subjects is whom a record concerns, as the judge reads it: every patient whom one of its values names.
func subjects(st *record.State) []record.ID {
	switch st.Key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_PATIENT:
		return []record.ID{st.Key.ID}
	case optionsv1.RecordKind_RECORD_KIND_SESSION, optionsv1.RecordKind_RECORD_KIND_PHOTO:
		var out []record.ID
		for _, x := range st.Siblings(record.Register{Field: fieldPatient}) {
			if id, err := record.ParseID(string(x.Value[min(2, len(x.Value)):])); err == nil {
				out = append(out, id)
			}
		}
		return out
	}
	return nil
}

// holds reports whether a record belongs on a tablet at the end: everything does where all is held, and what concerns nobody, and what concerns one whom the
// device asked for.
func (w *world) holds(t *tablet, st *record.State) bool {
	who := subjects(st)
	return !t.limited || len(who) == 0 || slices.ContainsFunc(who, func(p record.ID) bool { return w.clinic.wanted[heldBy{t.device, p}] })
}

// scope is the patients in a device's scope, as the server's store has them (docs/format.md).
func (s *server) scope(device record.ID) map[record.ID]bool {
	out := map[record.ID]bool{}
	prefix := append(append([]byte{'d'}, device[:]...), 'p')
	must(s.store.View(context.Background(), func(r store.Reader) error {
		return r.Scan(prefix, append(slices.Clone(prefix[:len(prefix)-1]), 'p'+1), func(key, _ []byte) error {
			out[record.ID(key[len(prefix):])] = true
			return nil
		})
	}))
	return out
}

// mayHold lets a device hold every patient of whom the server has a record and who is not barred from it, as the service does.
func (s *server) mayHold(r store.Reader, at heldBy) error {
	_, err := s.ledger.ReadIn(r, s.w.org, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: at.patient})
	if f := fault.Of(err); f != nil && f.Reason == faultv1.Reason_REASON_NOT_FOUND {
		s.w.clinic.unknown[at.patient] = true
	}
	if err == nil && s.w.clinic.barred[at] {
		err = fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "scope.add", "", "")
	}
	if refusal := fault.Of(err); refusal != nil {
		s.w.count("wishes refused")
		return refusal.With("patient_id", at.patient.String())
	}
	return err
}
