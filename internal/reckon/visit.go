package reckon

import (
	"strconv"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// The bounds of the schema, and one of ours: how many ways all givings in conflict together may have been.
const (
	mostSessions  = 1000
	mostReports   = 200
	mostConflicts = 500
	mostSiblings  = 64
	mostClinics   = 200
	mostDoubted   = 65_536
)

// visit is one treatment of a history beside what internal/dose reckons with.
type visit struct {
	session *chartv1.Session // nil for one reported from elsewhere
	report  *chartv1.PriorTreatmentReport
	// reportID is the element of the patient that the report is.
	reportID string
	// undated says that no day is known; the treatment may then have been on any.
	undated    bool
	inConflict bool
	parent     string
}

// visitReader turns the sessions and reports of a request into treatments.
type visitReader struct {
	*reader
	// on is the day that is reckoned from: what is not dated was at the latest then.
	on dose.Day
	// patient is whose sessions are read; nil where she is not known.
	patient    *chartv1.Patient
	conflicts  map[string]siblings
	treatments []dose.Treatment
	visits     []visit
	// doubtedWays counts the ways of givings in conflict, so that no request can ask for more than can be gone through.
	doubtedWays int
}

// read reads the facts of a request; field names are those of the request.
func (v *visitReader) read(facts *dosev1.HistoryFacts) {
	v.conflicts, v.patient = v.readConflicts(facts.GetConflicts()), facts.GetPatient()
	if len(facts.GetSessions()) > mostSessions {
		v.refuse(badField, "facts.sessions", strconv.Itoa(len(facts.GetSessions())), "at most 1000 sessions")
		return
	}
	if facts.GetPatient() == nil {
		v.refuse(badField, "facts.patient", "", "the patient, with what was reported from elsewhere")
		return
	}
	seen := make(map[string]bool, len(facts.GetSessions()))
	for i, s := range facts.GetSessions() {
		if s.GetId() == "" || seen[s.GetId()] {
			v.refuse(badField, "facts.sessions["+strconv.Itoa(i)+"].id", s.GetId(), "an id that no other session has")
		}
		seen[s.GetId()] = true
		v.session("facts.sessions["+strconv.Itoa(i)+"]", s)
	}
	of := v.conflicts[facts.GetPatient().GetId()]
	reports := of.allReports(facts.GetPatient())
	if len(reports) > mostReports {
		v.refuse(badField, "facts.patient.prior_treatments", strconv.Itoa(len(reports)), "at most 200 treatments")
		return
	}
	for i, p := range reports {
		v.elsewhere("facts.patient.prior_treatments["+strconv.Itoa(i)+"]", p, of)
	}
}

// voided says whether something counts: always, never, or nobody knows while its void is in conflict.
func (v *visitReader) voided(s siblings, path string, shown *recordv1.Void) (maybe, always bool) {
	if s == nil {
		return shown != nil, shown != nil
	}
	always = true
	for _, void := range optionsOf(v.reader, s, path, shown, parseMessage[*recordv1.Void]) {
		maybe = maybe || void != nil
		always = always && void != nil
	}
	return maybe, always
}

// forPractice reports whether a session treats nobody: as its patient says, where she is known, so that a mark on a session alone hides nobody's treatment.
func (v *visitReader) forPractice(s *chartv1.Session) bool {
	if v.patient != nil {
		return v.patient.GetPractice() != nil
	}
	return s.GetPractice() != nil
}

// session adds a session at which something may have been given. Sessions for practice treat nobody.
func (v *visitReader) session(field string, s *chartv1.Session) {
	of := v.conflicts[s.GetId()]
	maybeVoid, void := v.voided(of, "void", s.GetVoid())
	if void || v.forPractice(s) {
		return
	}
	t := dose.Treatment{ID: s.GetId(), Ways: v.ways(field, s, of, maybeVoid)}
	if len(t.Ways) == 0 {
		return
	}
	at := visit{session: s, inConflict: of.touches()}
	at.undated = v.dates(field+".on", &t, optionsOf(v.reader, of, "on", s.GetOn(), parseMessage[*recordv1.Date]))
	v.declared(&t, &at, s, of)
	v.treatments, v.visits = append(v.treatments, t), append(v.visits, at)
}

// touches says whether any register that a history rests on is in conflict.
func (s siblings) touches() bool {
	for path, c := range s {
		name, _, _ := cutAny(path, "[.")
		switch name {
		case "on", "kind", "parent", "clinic_id", "void", "injections", "prior_treatments":
			if len(c.values) > 1 {
				return true
			}
		}
	}
	return false
}

func cutAny(text, any string) (before, after string, found bool) {
	for i := range len(text) {
		for j := range len(any) {
			if text[i] == any[j] {
				return text[:i], text[i+1:], true
			}
		}
	}
	return text, "", false
}

// dates sets the days between which a treatment was; true says that nobody wrote one down.
func (v *visitReader) dates(field string, t *dose.Treatment, options []*recordv1.Date) (undated bool) {
	for i, date := range options {
		day := v.on
		if date == nil {
			undated = true
		} else {
			day = v.day(field, date)
		}
		if i == 0 {
			t.From, t.Until = day, day
		}
		t.From, t.Until = min(t.From, day), max(t.Until, day)
	}
	if undated {
		t.From = dose.FirstDay
	}
	return undated
}

// declared notes what the session was declared: a touch-up of which parent, or in doubt.
func (v *visitReader) declared(t *dose.Treatment, at *visit, s *chartv1.Session, of siblings) {
	parents := optionsOf(v.reader, of, "parent", s.GetParent(), parseMessage[*chartv1.SessionParent])
	kinds := optionsOf(v.reader, of, "kind", int32(s.GetKind()), parseEnum(chartv1.SessionKind_value))
	t.TouchUpOf = parents[0].GetSessionId()
	for _, kind := range kinds {
		t.TouchUp = t.TouchUp || kind == int32(chartv1.SessionKind_SESSION_KIND_TOUCH_UP)
		t.InDoubt = t.InDoubt || kind != kinds[0]
	}
	for _, p := range parents {
		t.InDoubt = t.InDoubt || p.GetSessionId() != t.TouchUpOf
	}
	if t.TouchUp {
		at.parent = t.TouchUpOf
	}
}

// elsewhere adds a treatment that was reported from elsewhere.
func (v *visitReader) elsewhere(field string, p *chartv1.PriorTreatment, of siblings) {
	path := "prior_treatments[" + p.GetId() + "]"
	maybeVoid, void := v.voided(of, path+".void", p.GetVoid())
	if void {
		return
	}
	var t dose.Treatment
	at := visit{reportID: p.GetId(), inConflict: of.doubtful(path+".report") || of.doubtful(path+".void")}
	for i, r := range optionsOf(v.reader, of, path+".report", p.GetReport(), parseMessage[*chartv1.PriorTreatmentReport]) {
		from, until := v.approximate(field+".report.on", r.GetOn())
		if i == 0 {
			t.From, t.Until, at.report = from, until, r
		}
		t.From, t.Until = min(t.From, from), max(t.Until, until)
		at.undated = at.undated || r.GetOn() == nil
		way := dose.Way{Product: v.reported(field+".report.product", r), Unknown: r == nil || r.DoseMilliunits == nil}
		if !way.Unknown {
			way.Most = v.milliunits(field+".report.dose_milliunits", r.GetDoseMilliunits())
			way.Least = way.Most
		}
		t.Ways = append(t.Ways, way)
	}
	if maybeVoid {
		t.Ways = append(t.Ways, dose.Way{NotGiven: true})
	}
	v.treatments, v.visits = append(v.treatments, t), append(v.visits, at)
}

// reported is the product of a report; empty when nobody knows.
func (v *visitReader) reported(field string, r *chartv1.PriorTreatmentReport) dose.Product {
	if r == nil || r.Product == nil {
		return ""
	}
	return v.productName(field, r.GetProduct())
}

// productName reads the name of a product in a record. The formulary need not know it: what was given was given.
func (v *visitReader) productName(field, name string) dose.Product {
	product, err := dose.ParseProduct(name)
	if err != nil {
		v.refuse(badField, field, name, "a nonproprietary name, such as onabotulinumtoxinA")
	}
	return product
}

func (v *visitReader) milliunits(field string, n int32) int64 {
	if n < 0 || int64(n) > dose.MaxMilliunits {
		v.refuse(badQuantity, field, strconv.Itoa(int(n)), "thousandths of a unit, 0 to 100000000")
		return 0
	}
	return int64(n)
}

// day reads a day of the calendar.
func (r *reader) day(field string, d *recordv1.Date) dose.Day {
	day, err := dose.NewDay(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	if err != nil {
		r.refuse(badField, field, dateText(d.GetYear(), d.GetMonth(), d.GetDay()), "a day of the calendar from 1850 to 2200, such as year 2026, month 3, day 1")
	}
	return day
}

func dateText(parts ...int32) string {
	text := ""
	for i, p := range parts {
		if i > 0 {
			text += "-"
		}
		text += strconv.Itoa(int(p))
	}
	return text
}

// approximate reads a day as far as it is known: a month or a year is any of its days, none later than the day that is reckoned from unless all are.
func (v *visitReader) approximate(field string, d *recordv1.ApproximateDate) (from, until dose.Day) {
	if d == nil {
		return dose.FirstDay, v.on
	}
	first := &recordv1.Date{Year: d.GetYear(), Month: 1, Day: 1}
	last := &recordv1.Date{Year: d.GetYear(), Month: 12, Day: 31}
	if d.Month != nil {
		first.Month, last.Month = d.GetMonth(), d.GetMonth()
		last.Day = int32(dose.DaysIn(int(d.GetYear()), int(d.GetMonth())))
		if d.Day != nil {
			first.Day, last.Day = d.GetDay(), d.GetDay()
		}
	}
	before := len(v.refused)
	from = v.day(field, first)
	if len(v.refused) > before {
		return v.on, v.on
	}
	until = v.day(field, last)
	if from <= v.on {
		until = min(until, v.on)
	}
	return from, until
}
