package document

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// MediaType is the media type of what Write writes.
const MediaType = "application/pdf"

// Input is what a document is made of.
type Input struct {
	// Organisation is who writes it.
	Organisation string
	// At is when; it stands on every page, and nothing else in the document depends on a clock.
	At time.Time
	// Patients is the ids of the person's records, the one asked for first.
	Patients []string
	// Views are the person's records, and the vials, clinics, staff, orders and consent texts that these name.
	Views []*chartv1.RecordView
}

// Caution stands at the foot of every page.
const Caution = "The licensed prescriber decides, and local rules come first. Units of one product are not units of another."

// Write writes the treatment record of one person. The slices stay the caller's.
func Write(in Input) ([]byte, error) {
	b := &book{in: in, vials: map[string]*chartv1.Vial{}, clinics: map[string]*chartv1.Clinic{}, staff: map[string]*accessv1.Staff{}, orders: map[string]*chartv1.RecordView{},
		texts: map[string]*chartv1.ConsentText{}, views: map[string]*chartv1.RecordView{}}
	b.sort()
	foot := fmt.Sprintf("Written by %s on %s from the record as it was then. Times are as the devices claimed, in UTC.", in.Organisation, in.At.UTC().Format("2006-01-02 15:04 UTC"))
	var err error
	if b.paper, err = newPaper(in.At, b.topLine(), []string{Caution, foot}); err != nil {
		return nil, err
	}
	b.title("Treatment record")
	for _, v := range b.patients {
		b.patient(v)
	}
	b.summary()
	for _, v := range b.sessions {
		if err := b.session(v); err != nil {
			return nil, err
		}
	}
	for _, v := range b.events {
		b.event(v)
	}
	return b.bytes()
}

// book is a document with the records that it is made of.
type book struct {
	*paper
	in                         Input
	patients, sessions, events []*chartv1.RecordView
	vials                      map[string]*chartv1.Vial
	clinics                    map[string]*chartv1.Clinic
	staff                      map[string]*accessv1.Staff
	orders                     map[string]*chartv1.RecordView
	texts                      map[string]*chartv1.ConsentText
	views                      map[string]*chartv1.RecordView // by id
}

// sort puts the views where they are found. Sessions are in the order of their days.
func (b *book) sort() {
	for _, v := range b.in.Views {
		switch r := v.GetRecord().GetKind().(type) {
		case *chartv1.Record_Patient:
			if slices.Contains(b.in.Patients, r.Patient.GetId()) {
				b.patients = append(b.patients, v)
			}
		case *chartv1.Record_Session:
			b.sessions = append(b.sessions, v)
		case *chartv1.Record_AdverseEvent:
			b.events = append(b.events, v)
		case *chartv1.Record_Vial:
			b.vials[r.Vial.GetId()], b.views[r.Vial.GetId()] = r.Vial, v
		case *chartv1.Record_Clinic:
			b.clinics[r.Clinic.GetId()] = r.Clinic
		case *chartv1.Record_Staff:
			b.staff[r.Staff.GetId()] = r.Staff
		case *chartv1.Record_Order:
			b.orders[r.Order.GetId()] = v
		case *chartv1.Record_ConsentText:
			b.texts[r.ConsentText.GetId()] = r.ConsentText
		}
	}
	slices.SortFunc(b.patients, func(x, y *chartv1.RecordView) int {
		return cmp.Compare(slices.Index(b.in.Patients, x.GetRecord().GetPatient().GetId()), slices.Index(b.in.Patients, y.GetRecord().GetPatient().GetId()))
	})
	slices.SortFunc(b.sessions, func(x, y *chartv1.RecordView) int {
		s, t := x.GetRecord().GetSession(), y.GetRecord().GetSession()
		return cmp.Or(strings.Compare(dateText(s.GetOn()), dateText(t.GetOn())), strings.Compare(s.GetId(), t.GetId()))
	})
	slices.SortFunc(b.events, func(x, y *chartv1.RecordView) int {
		return strings.Compare(x.GetRecord().GetAdverseEvent().GetId(), y.GetRecord().GetAdverseEvent().GetId())
	})
}

// topLine names the patient on every page.
func (b *book) topLine() string {
	if len(b.patients) == 0 {
		return "Treatment record"
	}
	p := b.patients[0].GetRecord().GetPatient()
	name := p.GetName().GetFull()
	if name == "" {
		name = "(name " + b.absent(b.patients[0], "name") + ")"
	}
	birth := dateText(p.GetBirth().GetDate())
	if birth == "" {
		birth = b.absent(b.patients[0], "birth")
	}
	if runes := []rune(name); len(runes) > 80 {
		name = string(runes[:80]) + "..." // whole on the first page
	}
	return name + "   born " + birth + "   record " + p.GetId()
}

// inConflict stands where a field has more than one current value.
const inConflict = "IN CONFLICT"

// absent is what to say of a field that has no value.
func (b *book) absent(v *chartv1.RecordView, paths ...string) string {
	for _, c := range v.GetConflicts() {
		if slices.Contains(paths, c.GetPath()) {
			return inConflict
		}
	}
	return blank
}

// orAbsent is a value, or what to say when there is none. A field in conflict never shows a value.
func (b *book) orAbsent(v *chartv1.RecordView, value string, paths ...string) string {
	if said := b.absent(v, paths...); said == inConflict || value == "" {
		return said
	}
	return value
}

// who is a person of the staff by name.
func (b *book) who(id string) string {
	if id == "" {
		return ""
	}
	if s := b.staff[id]; s.GetName().GetFull() != "" {
		return joined(", ", s.GetName().GetFull(), codeText(s.GetProfession()), joined(" ", s.GetRegistration().GetBody(), s.GetRegistration().GetNumber()))
	}
	return "staff " + id
}

// name is a person of the staff by name alone.
func (b *book) name(id string) string {
	if s := b.staff[id]; s.GetName().GetFull() != "" {
		return s.GetName().GetFull()
	}
	return b.who(id)
}

func (b *book) clinic(id string) string {
	if c := b.clinics[id]; c.GetName() != "" {
		return joined(", ", c.GetName(), strings.ReplaceAll(c.GetContact().GetStreet(), "\n", ", "), joined(" ", c.GetContact().GetPostalCode(), c.GetContact().GetCity()))
	}
	if id == "" {
		return ""
	}
	return "clinic " + id
}

// doubts prints what is not settled in a record: fields in conflict with all their values, edits that wait, entries after a signature.
func (b *book) doubts(v *chartv1.RecordView) {
	if cs := v.GetConflicts(); len(cs) > 0 {
		b.heading("In conflict: not settled")
		b.text("Each of these fields has more than one current value. None of them counts until a person settles it.")
		for _, c := range cs {
			b.conflict(c)
		}
	}
	if hs := v.GetHeldEdits(); len(hs) > 0 {
		b.heading("Edits that wait for a person")
		for _, h := range hs {
			b.text(fmt.Sprintf("By %s at %s, %s: %s", author(h.GetAuthorship()), timeText(h.GetAuthorship().GetAuthoredAt()),
				enumText(h.GetReason().String(), "REASON_"), written(h.GetWrites())))
		}
	}
	if ls := v.GetLateEntries(); len(ls) > 0 {
		b.heading("Entries after the signature, not countersigned")
		for _, l := range ls {
			b.text(fmt.Sprintf("By %s at %s, after signature %s: %s", author(l.GetAuthorship()), timeText(l.GetAuthorship().GetAuthoredAt()), l.GetSignatureId(), written(l.GetWrites())))
		}
	}
}

func (b *book) conflict(c *chartv1.Conflict) {
	rows := [][]string{}
	for _, s := range c.GetSiblings() {
		var by []string
		for _, a := range s.GetAuthors() {
			by = append(by, author(a)+" at "+timeText(a.GetAuthoredAt()))
		}
		value := s.GetValueJson()
		if s.GetCleared() {
			value = "(emptied)"
		}
		rows = append(rows, []string{c.GetPath(), value, strings.Join(by, "\n")})
	}
	b.table([]column{{"field", 3}, {"value", 4}, {"written by", 3}}, rows)
}

func author(a *chartv1.Authorship) string { return cmp.Or(a.GetStaffName(), "staff "+a.GetStaffId()) }

func written(ws []*chartv1.PathValue) string {
	var out []string
	for _, w := range ws {
		value := w.GetValueJson()
		if w.GetCleared() {
			value = "(emptied)"
		}
		out = append(out, w.GetPath()+" = "+value)
	}
	return strings.Join(out, "; ")
}
