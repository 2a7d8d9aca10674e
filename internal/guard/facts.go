package guard

import (
	"time"

	"needlebook/internal/chart"
	"needlebook/internal/dose"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// Facts is a session with what it is judged by. It is only read. What is missing counts as unknown, never as clear.
type Facts struct {
	// At is the moment that dates are judged at, by the caller's clock, and Clock what is known of that clock; unspecified counts as unchecked.
	At    time.Time
	Clock dosev1.ClockState
	// Market is whose labels count, such as US or EU; empty means every market's.
	Market string

	Session *chartv1.Session
	Patient *chartv1.Patient
	// Earlier are other sessions of the patient, at any clinic, those that gave nothing among them.
	Earlier []*chartv1.Session
	// History is the patient's treatments, summed, with this session's as the one at Self, which is -1 where it gave and plans nothing. Treatments names
	// each treatment of History: the session's id, or the path of a report. History is nil where nothing is known; then so it is said. It may leave out
	// treatments of more than LongestLookBack before the session.
	History    *dose.History
	Treatments []string
	Self       int
	Vials      []*chartv1.Vial
	Lots       []*chartv1.Lot
	Order      *chartv1.Order
	Clinic     *chartv1.Clinic
	Staff      []*accessv1.Staff
	// ConsentTexts and Questionnaires are the texts that were explained and the questions that were asked.
	ConsentTexts   []*chartv1.ConsentText
	Questionnaires []*chartv1.Questionnaire
	// Knowledge is how old what is known of each clinic is.
	Knowledge []*dosev1.ClinicKnowledgeFact
	// Conflicts are the registers with more than one value, as RECORD_KIND_SESSION/id path. Unread is true when there were too many to judge each reading.
	Conflicts []string
	Unread    bool
	// Held are the records of which an edit waits for a person, as RECORD_KIND_SESSION/id: what it says is not in these facts.
	Held []string
}

// lotsOf finds every record of a lot: by its id, and by product and number or an alias of it. Two tablets may have made one each, and only one of them says
// that the lot was recalled.
func (f *Facts) lotsOf(id, product, number string) []*chartv1.Lot {
	var all []*chartv1.Lot
	for _, l := range f.Lots {
		if id != "" && l.GetId() == id || number != "" && l.GetIdentity().GetProduct() == product && isNumbered(l, number) {
			all = append(all, l)
		}
	}
	return all
}

// alike finds the lots of a product whose number or an alias of it only looks like a vial's, as chart.LotKey has it.
func (f *Facts) alike(product, number string) (all []*chartv1.Lot) {
	key := chart.LotKey(number)
	for _, l := range f.Lots {
		if number == "" || l.GetIdentity().GetProduct() != product || isNumbered(l, number) {
			continue
		}
		like := chart.LotKey(l.GetIdentity().GetNumber()) == key
		for _, a := range l.GetAliases() {
			like = like || a.GetUndone() == nil && a.GetAlias() != nil && chart.LotKey(a.GetAlias().GetNumber()) == key
		}
		if like {
			all = append(all, l)
		}
	}
	return all
}

func isNumbered(l *chartv1.Lot, number string) bool {
	if l.GetIdentity().GetNumber() == number {
		return true
	}
	for _, a := range l.GetAliases() {
		if a.GetUndone() == nil && a.GetAlias().GetNumber() == number {
			return true
		}
	}
	return false
}

func (f *Facts) person(id string) *accessv1.Staff {
	for _, s := range f.Staff {
		if id != "" && s.GetId() == id {
			return s
		}
	}
	return nil
}

func (f *Facts) vial(id string) *chartv1.Vial {
	for _, v := range f.Vials {
		if id != "" && v.GetId() == id {
			return v
		}
	}
	return nil
}

// ofPatient reports whether a session is one of this patient's.
func (f *Facts) ofPatient(session string) bool {
	if session == f.Session.GetId() {
		return true
	}
	for _, s := range f.Earlier {
		if s.GetId() == session {
			return true
		}
	}
	return false
}
