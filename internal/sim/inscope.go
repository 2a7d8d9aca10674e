package sim

import (
	"slices"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// scopeOf is what a tablet must show at the end: of what the server shows, the records that it holds.
func (w *world) scopeOf(t *tablet, server *shown) *shown {
	s := &shown{states: map[record.Key]*record.State{}, held: server.held}
	for k, st := range server.states {
		if w.holds(t, st) {
			s.states[k] = st
		}
	}
	return s
}

// compare lets a tablet sync in the middle of things and holds what it shows against the server's states of those patients who are in the device's scope now,
// as the server's table of scopes has them. Where an edit waits the two may differ until its wait is over.
func (w *world) compare(t *tablet) {
	if !t.sync() || w.finding != nil {
		return
	}
	armed := w.server.store.fail
	w.server.store.fail = NoFailure
	defer func() { w.server.store.fail = armed }()
	server, now := w.onServer(), w.server.scope(t.device)
	w.count("comparisons")
	for _, k := range w.keys {
		want := server.states[k]
		waits := slices.ContainsFunc(server.held[k], func(h wire.Held) bool { return h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING })
		if waits {
			continue
		}
		if want == nil || t.limited && !concerns(want, now) {
			want = record.NewState(k)
		}
		if have := t.r.View(k); have.Digest() != want.Digest() && !(have.Empty() && want.Empty()) {
			w.found("convergence", "tablet %d is in step and shows %v as %v, the server as %v", t.index, k, have.Seen, want.Seen)
		}
	}
}

// concerns reports whether a record concerns nobody or one of some patients.
func concerns(st *record.State, patients map[record.ID]bool) bool {
	who := subjects(st)
	return len(who) == 0 || slices.ContainsFunc(who, func(p record.ID) bool { return patients[p] })
}

// judgeIndex holds that a tablet names every patient of whom the server has something and whom it does not hold, with what must be known of her.
func (w *world) judgeIndex(t *tablet, server *shown) {
	if !t.limited {
		return
	}
	named := map[record.ID]*syncv1.SafetyEntry{}
	for _, e := range t.r.Safety() {
		named[record.ID(e.GetPatientId())] = e
	}
	for _, p := range w.clinic.patients {
		of := w.concerning(p, server)
		if len(of) == 0 || w.clinic.wanted[heldBy{t.device, p}] {
			continue
		}
		w.count("patients in the safety index")
		switch e := named[p]; {
		case e == nil:
			w.found("conservation", "tablet %d neither holds patient %v nor knows of her", t.index, p)
		case !proto.Equal(e, chart.Safety(p, of)):
			w.found("convergence", "tablet %d knows of patient %v what no longer is: %v, want %v", t.index, p, e, chart.Safety(p, of))
		default:
			w.judgeEntry(t, e, of)
		}
	}
}

// concerning is the records that concern a patient, ascending.
func (w *world) concerning(p record.ID, server *shown) []*record.State {
	var out []*record.State
	for _, st := range server.states {
		if !st.Empty() && slices.Contains(subjects(st), p) {
			out = append(out, st)
		}
	}
	slices.SortFunc(out, func(a, b *record.State) int { return a.Key.Compare(b.Key) })
	return out
}

// judgeEntry reads from the records themselves what no entry may leave out: alerts that stand, and products that were given.
func (w *world) judgeEntry(t *tablet, e *syncv1.SafetyEntry, of []*record.State) {
	for _, st := range of {
		switch st.Key.Kind {
		case optionsv1.RecordKind_RECORD_KIND_PATIENT:
			var m chartv1.Patient
			if proto.Unmarshal(st.Message(), &m) != nil {
				continue
			}
			for _, a := range m.GetAlerts() {
				if text := a.GetContent().GetText(); text != "" && a.GetEnded() == nil && !slices.Contains(e.GetAlerts(), text) {
					w.found("conservation", "tablet %d does not know of the alert %q", t.index, text)
				}
			}
		case optionsv1.RecordKind_RECORD_KIND_SESSION:
			var m chartv1.Session
			if proto.Unmarshal(st.Message(), &m) != nil || m.GetVoid() != nil || len(st.Conflicts()) > 0 {
				continue
			}
			for _, product := range givenIn(&m) {
				w.count("treatments in the safety index")
				if !slices.ContainsFunc(e.GetTreatments(), func(l *syncv1.LastTreatment) bool { return l.GetProduct() == product }) {
					w.found("conservation", "tablet %d does not know that %v was given %s", t.index, record.ID(e.GetPatientId()), product)
				}
			}
		}
	}
}

// givenIn is the products that a session gave, as its message says.
func givenIn(m *chartv1.Session) []string {
	var out []string
	for _, i := range m.GetInjections() {
		for _, g := range i.GetGivings() {
			if product := g.GetGiven().GetDose().GetProduct(); product != "" && g.GetVoid() == nil && !slices.Contains(out, product) {
				out = append(out, product)
			}
		}
	}
	return out
}

// judgeRecovered holds that nothing is called lost that the server has, and never lost where the tablet no longer holds the record.
func (w *world) judgeRecovered(t *tablet, server *shown) {
	for _, rec := range t.r.Recovered() {
		st := server.states[rec.Key]
		if st == nil || !w.holds(t, st) && (w.lost[rec.Info.AuthoredAt] || w.moved(rec.Key) || w.forgot(st, server)) {
			continue
		}
		for _, x := range st.Siblings(rec.Register) {
			if x.Dot == rec.Sibling.Dot {
				w.found("convergence", "tablet %d calls a value of %v lost that the server has: %s", t.index, rec.Key,
					w.schemas.now.RegisterText(rec.Key.Kind, rec.Register))
			}
		}
	}
}

// moved reports whether a record was ever made another patient's. A restore may undo that, and a tablet that held only the other patient cannot tell that the
// record went back to the first from that it was lost.
func (w *world) moved(k record.Key) bool {
	r := record.Register{Field: fieldPatient}
	of := map[value]bool{}
	for _, m := range w.book.writers[place{k, r}] {
		of[m.writes[r]] = true
	}
	return len(of) > 1
}

// forgot reports whether the server has, or once had, no record of a patient whom a record concerns: by a restore, since it was refused or since it came late. It lets nobody hold
// her then, and a tablet that did cannot tell what else it lost.
func (w *world) forgot(st *record.State, server *shown) bool {
	who := subjects(st)
	for _, p := range who {
		of := server.states[record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p}]
		if of == nil || of.Empty() || w.clinic.unknown[p] {
			return true
		}
	}
	for _, m := range w.book.edits {
		if m.key.Kind == optionsv1.RecordKind_RECORD_KIND_PATIENT && w.lost[m.at] && slices.Contains(who, m.key.ID) {
			return true
		}
	}
	return false
}
