package chart

import (
	"slices"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// Facts is what lists, searches and the table of rights want to know of a record. Where fields are in conflict every value stands.
type Facts struct {
	Key record.Key
	// Patients is whom the record is about; a patient's own id for a patient's record.
	Patients []record.ID
	// Clinics is where the record belongs; none means the organisation as a whole.
	Clinics []record.ID
	// Days is the day of a session or of a day's close. An appointment's depends on the zone that it was booked in: ask SlotsOf.
	Days []*recordv1.Date
	// Responsible is the injector in charge of a session.
	Responsible []record.ID
	// Name is a name to show: of a person of the staff, or a device's label. It is empty while it is in conflict.
	Name string
	// Signed and Disputed say that the record has a signature, and a field in conflict.
	Signed, Disputed bool

	// Words, Births and Identifiers are what a patient is found by.
	Words       []string
	Births      []*recordv1.Date
	Identifiers []string
	// Linked is the records of the same person.
	Linked []record.ID
	// Products is what a session gave.
	Products []string
	// Kinds, Parents and Reviews are of a session: what kind of visit it is, what it follows up, when its result is to be seen.
	Kinds   []chartv1.SessionKind
	Parents []record.ID
	Reviews []*chartv1.ReviewDate
	// Void and Practice say that the record surely does not count, and that it is for practice.
	Void, Practice bool
}

// FoldFacts folds a record of any kind.
func (c *Chart) FoldFacts(st *record.State) Facts {
	e := elementsOf(st)
	f := Facts{Key: st.Key, Disputed: len(st.Conflicts()) > 0, Signed: len(c.schema.Signatures(st)) > 0}
	f.Patients = append(f.Patients, e.ids("patient_id")...)
	_, f.Void = e.voided("")
	f.Practice = e.practice()
	switch st.Key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_PATIENT:
		f.Patients, f.Clinics = []record.ID{st.Key.ID}, e.ids("home_clinic_id")
		f.patient(e)
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		f.Clinics, f.Responsible, f.Days = e.ids("clinic_id"), e.ids("responsible_id"), e.dates("on")
		f.Products = FoldSession(st, nil).Products()
		f.session(e)
	case optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE:
		f.Clinics, f.Days = e.ids("clinic_id"), e.dates("day")
	case optionsv1.RecordKind_RECORD_KIND_STAFF:
		if names := messages[*recordv1.PersonName](e, "", "name"); len(names) == 1 {
			f.Name = names[0].GetFull()
		}
	case optionsv1.RecordKind_RECORD_KIND_DEVICE:
		if labels := e.texts("", deviceLabel()); len(labels) == 1 {
			f.Name = labels[0]
		}
	default:
		f.Clinics = e.ids("clinic_id")
	}
	return f
}

func (f *Facts) session(e elements) {
	for _, k := range e.options("", "kind") {
		if k.IsValid() {
			f.Kinds = append(f.Kinds, chartv1.SessionKind(k.Enum()))
		}
	}
	for _, p := range messages[*chartv1.SessionParent](e, "", "parent") {
		if id, err := record.ParseID(p.GetSessionId()); err == nil {
			f.Parents = append(f.Parents, id)
		}
	}
	for _, r := range messages[*chartv1.ReviewDate](e, "", "review") {
		if r != nil {
			f.Reviews = append(f.Reviews, r)
		}
	}
}

// practice reports whether the record is marked as one for practice.
func (e elements) practice() bool {
	if named(e.kind, "", "practice") == nil {
		return false
	}
	for _, m := range messages[*chartv1.PracticeMark](e, "", "practice") {
		if m != nil {
			return true
		}
	}
	return false
}

// SlotsOf is the times that an appointment is booked for; none for a record of another kind.
func SlotsOf(st *record.State) []*chartv1.Slot {
	if st.Key.Kind != optionsv1.RecordKind_RECORD_KIND_APPOINTMENT {
		return nil
	}
	return slices.DeleteFunc(messages[*chartv1.Slot](elementsOf(st), "", "slot"), func(s *chartv1.Slot) bool { return s == nil })
}

// deviceLabel is the name of the field that a device is known by.
func deviceLabel() string {
	return string((*accessv1.Device)(nil).ProtoReflect().Descriptor().Fields().ByNumber(2).Name())
}

func (f *Facts) patient(e elements) {
	for _, name := range messages[*recordv1.PersonName](e, "", "name") {
		for _, text := range []string{name.GetFull(), name.GetFamily(), name.GetGiven(), name.GetPreferred(), name.GetFormer()} {
			f.Words = append(f.Words, Tokens(text)...)
		}
	}
	slices.Sort(f.Words)
	f.Words = slices.Compact(f.Words)
	for _, birth := range messages[*chartv1.BirthDate](e, "", "birth") {
		if birth.GetDate() != nil {
			f.Births = append(f.Births, birth.GetDate())
		}
	}
	for _, p := range e.in("", "identifiers") {
		if _, voided := e.voided(p); voided {
			continue
		}
		for _, v := range messages[*chartv1.IdentifierValue](e, p, "value") {
			f.Identifiers = append(f.Identifiers, v.GetNumber())
		}
	}
	f.Linked = e.links()
}

// ids is the values of a register of the record itself that holds an id.
func (e elements) ids(name string) []record.ID {
	var out []record.ID
	for _, text := range e.texts("", name) {
		if id, err := record.ParseID(text); err == nil {
			out = append(out, id)
		}
	}
	return out
}

func (e elements) dates(name string) []*recordv1.Date {
	var out []*recordv1.Date
	for _, d := range messages[*recordv1.Date](e, "", name) {
		if d != nil {
			out = append(out, d)
		}
	}
	return out
}

// ValidDate reports whether d is a day of the calendar.
func ValidDate(d *recordv1.Date) bool {
	t := civil(d)
	return t.Year() == int(d.GetYear()) && int32(t.Month()) == d.GetMonth() && t.Day() == int(d.GetDay())
}
