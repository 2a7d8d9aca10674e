package chart

import (
	"slices"
	"strings"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/record"
)

// Safety is what a device must know of a patient whose records it does not hold, folded from the patient's record and the sessions and others that
// concern her. It is no all-clear: a treatment that counts in one reading of a conflict is listed, and a conflict in what the entry is made of is said.
func Safety(patient record.ID, states []*record.State) *syncv1.SafetyEntry {
	out := &syncv1.SafetyEntry{PatientId: slices.Clone(patient[:])}
	latest := map[string]*syncv1.LastTreatment{}
	for _, st := range states {
		switch st.Key.Kind {
		case optionsv1.RecordKind_RECORD_KIND_PATIENT:
			if st.Key.ID == patient {
				safetyOfPatient(st, out)
			}
		case optionsv1.RecordKind_RECORD_KIND_SESSION:
			out.InConflict = out.InConflict || len(st.Conflicts()) > 0
			addTreatment(latest, FoldTreatment(st))
		}
	}
	for _, t := range latest {
		out.Treatments = append(out.Treatments, t)
	}
	slices.SortFunc(out.Treatments, func(a, b *syncv1.LastTreatment) int { return strings.Compare(a.GetProduct(), b.GetProduct()) })
	return out
}

func safetyOfPatient(st *record.State, out *syncv1.SafetyEntry) {
	e := elementsOf(st)
	out.InConflict = out.InConflict || len(st.Conflicts()) > 0
	if names := messages[*recordv1.PersonName](e, "", "name"); len(names) == 1 {
		out.Name = names[0]
	}
	if births := messages[*chartv1.BirthDate](e, "", "birth"); len(births) == 1 {
		out.DateOfBirth = births[0].GetDate()
	}
	for _, alert := range e.in("", "alerts") {
		if ended := messages[*recordv1.Void](e, alert, "ended"); len(ended) == 1 && ended[0] != nil {
			continue
		}
		for _, c := range messages[*chartv1.AlertContent](e, alert, "content") {
			if c != nil {
				out.Alerts = append(out.Alerts, c.GetText())
			}
		}
	}
}

// addTreatment takes a session into the latest treatment of each product that it gave. A session whose day is not known is listed without one: something
// was given, and nobody knows when.
func addTreatment(latest map[string]*syncv1.LastTreatment, t Treatment) {
	var day time.Time
	for _, d := range t.Days {
		if d.After(day) {
			day = d
		}
	}
	for _, product := range t.Given.Products() {
		have := latest[product]
		if have != nil && !day.IsZero() && (have.GetOn() == nil || !day.After(civil(have.GetOn()))) {
			continue
		}
		entry := &syncv1.LastTreatment{Product: product}
		if !day.IsZero() {
			entry.On = &recordv1.Date{Year: int32(day.Year()), Month: int32(day.Month()), Day: int32(day.Day())}
		}
		if len(t.Clinics) == 1 {
			if id, err := record.ParseID(t.Clinics[0]); err == nil {
				entry.ClinicId = slices.Clone(id[:])
			}
		}
		latest[product] = entry
	}
}
