package sim

import (
	"fmt"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
)

// clinicWorld is what a world of the setting Clinic has besides: who the patients are, and what is asked for of them.
type clinicWorld struct {
	patients  []record.ID
	visits    []record.Key
	vials     []record.Key
	patientOf map[record.Key]record.ID // who a session or photo was made for
	barred    map[heldBy]bool          // the device may not ask for the patient
	unknown   map[record.ID]bool       // patients of whom the server said, once, that it has no record
	wanted    map[heldBy]bool          // what devices ask for at the very end
	taken     []picture                // every photo ever taken
	pieces    int                      // of photos, that were sent
}

// heldBy is a patient on a device.
type heldBy struct{ device, patient record.ID }

// furnish gives a clinic two patients or three, up to four sessions, and a vial or two. Photos come as they are taken.
func (w *world) furnish() {
	c := clinicWorld{patientOf: map[record.Key]record.ID{}, barred: map[heldBy]bool{}, unknown: map[record.ID]bool{}, wanted: map[heldBy]bool{}}
	rng := w.draw(6_000_000)
	for i := range 2 + rng.IntN(2) {
		c.patients = append(c.patients, idOf(fmt.Sprint("patient ", i)))
		w.keys = append(w.keys, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: c.patients[i]})
	}
	for i := range 2 + rng.IntN(3) {
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: idOf(fmt.Sprint("visit ", i))}
		c.visits, w.keys = append(c.visits, k), append(w.keys, k)
		c.patientOf[k] = c.patients[i%len(c.patients)]
	}
	for i := range 1 + rng.IntN(2) {
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: idOf(fmt.Sprint("vial ", i))}
		c.vials, w.keys = append(c.vials, k), append(w.keys, k)
	}
	w.clinic = c
}

// charted is the record that a step of charting means: sessions and vials more often than others.
func (w *world) charted(which int) record.Key {
	at := which / 8
	switch which % 8 {
	case 0:
		return w.keys[at%len(w.keys)]
	case 1:
		return w.keys[at%len(w.clinic.patients)]
	case 2, 3, 4, 5:
		return w.clinic.vials[at%len(w.clinic.vials)]
	}
	return w.visit(at)
}

// among is one of the records that a tablet shows, as a person picks from a list; ok is false when it shows none that will do.
func (t *tablet) among(keys []record.Key, which int, will func(*record.State) bool) (k record.Key, ok bool) {
	var shown []record.Key
	for _, k := range keys {
		if st := t.r.View(k); !st.Empty() && will(st) {
			shown = append(shown, k)
		}
	}
	if len(shown) == 0 {
		return record.Key{}, false
	}
	return shown[which%len(shown)], true
}

func whatever(*record.State) bool { return true }

func inConflict(st *record.State) bool { return len(st.Conflicts()) > 0 }

func (w *world) patient(which int) record.ID { return w.clinic.patients[which%len(w.clinic.patients)] }

func (w *world) visit(which int) record.Key { return w.clinic.visits[which%len(w.clinic.visits)] }

// doInClinic plays a step of the setting Clinic; in another it is nothing.
func (w *world) doInClinic(s Step, t *tablet) {
	if w.setting != Clinic {
		return
	}
	switch s.Op {
	case "chart":
		t.edit(w.charted(s.Which), s.Serial, s.How, (*scribe).chart)
	case "agree":
		if k, ok := t.among(w.keys, s.Which, inConflict); ok && t.edit(k, s.Serial, "plain", (*scribe).settle) != nil {
			w.count("settled")
		}
	case "move":
		if k, ok := t.among(w.clinic.visits, s.Which, whatever); ok && t.edit(k, s.Serial, "plain", (*scribe).move) != nil {
			w.count("sessions moved to another patient")
		}
	case "void":
		if k, ok := t.among(w.clinic.visits, s.Which, whatever); ok && t.edit(k, s.Serial, "plain", (*scribe).voidSession) != nil {
			w.count("sessions voided")
		}
	case "witness":
		if k, ok := t.among(w.clinic.visits, s.Which, whatever); ok {
			t.witness(k, s.Serial, s.How)
		}
	case "hold":
		t.hold(w.patient(s.Which))
	case "unhold":
		t.unhold(w.patient(s.Which))
	case "handover":
		t.unhold(w.patient(s.Which))
		w.tablets[(t.index+1)%len(w.tablets)].hold(w.patient(s.Which))
	case "bar":
		at := heldBy{t.device, w.patient(s.Which)}
		w.clinic.barred[at] = !w.clinic.barred[at]
	case "photo":
		t.photo(w.patient(s.Which), s.Serial, s.How)
	case "picture":
		t.sendPiece(s.How, s.Serial)
	case "compare":
		w.compare(t)
	case "sweep":
		w.server.blobs.sweep()
	}
}
