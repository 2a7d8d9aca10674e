package tabletcore

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
)

// line is what a list shows of a patient: the fields of PatientSummary, and whether her whole record is here.
type line struct {
	summary    *chartv1.PatientSummary
	whole      bool
	inConflict bool
}

// MarshalJSON writes the summary's fields with the two others beside them.
func (l line) MarshalJSON() ([]byte, error) {
	raw, err := messageJSON(l.summary)
	if err != nil {
		return nil, err
	}
	also, err := json.Marshal(map[string]bool{"whole": l.whole, "in_conflict": l.inConflict})
	if err != nil {
		return nil, err
	}
	return slices.Concat(bytes.TrimSuffix(raw, []byte("}")), []byte(","), also[1:]), nil // her id is always there, so there is something before the comma
}

// lineOf is a patient's line; false when this tablet has never heard of her.
func (c *Core) lineOf(id record.ID) (line, bool, error) {
	k := record.Key{Kind: kindPatient, ID: id}
	st := c.replica.View(k)
	if st.Empty() {
		e := c.safety().of[id]
		return thinLine(e), e != nil, nil
	}
	typed, err := chart.Typed(st)
	if err != nil {
		return line{}, false, err
	}
	p, f := typed.GetPatient(), c.factsOf(k)
	out := &chartv1.PatientSummary{
		PatientId: id.String(), Name: p.GetName(), Birth: p.GetBirth(), HomeClinicId: p.GetHomeClinicId(), LastTreatments: c.lastTreatments(id),
	}
	for _, a := range p.GetAlerts() {
		if a.GetEnded() == nil && a.GetContent() != nil {
			out.Alerts = append(out.Alerts, a.GetContent())
		}
	}
	for _, l := range f.Linked {
		out.LinkedPatientIds = append(out.LinkedPatientIds, l.String())
	}
	return line{out, true, f.Disputed}, true, nil
}

// thinLine is the line of a patient of the safety index.
func thinLine(e *syncv1.SafetyEntry) line {
	if e == nil {
		return line{}
	}
	out := &chartv1.PatientSummary{PatientId: record.ID(e.GetPatientId()).String(), Name: e.GetName()}
	if e.GetDateOfBirth() != nil {
		out.Birth = &chartv1.BirthDate{Date: e.GetDateOfBirth()}
	}
	for _, text := range e.GetAlerts() {
		out.Alerts = append(out.Alerts, &chartv1.AlertContent{Text: text})
	}
	for _, t := range e.GetTreatments() {
		last := &chartv1.LastTreatment{Product: t.GetProduct(), On: t.GetOn()}
		if id, err := record.IDFromBytes(t.GetClinicId()); err == nil {
			last.ClinicId = id.String()
		}
		out.LastTreatments = append(out.LastTreatments, last)
	}
	return line{out, false, e.GetInConflict()}
}

// onePerson is a patient with the records linked to hers, whichever of the two the link stands in, and those linked to these.
func (c *Core) onePerson(patient record.ID) []record.ID {
	if patient.IsZero() {
		return nil
	}
	out := []record.ID{patient}
	all := c.replica.Keys(kindPatient)
	for i := 0; i < len(out); i++ {
		for _, k := range all {
			linked := c.factsOf(k).Linked
			if !slices.Contains(out, k.ID) && slices.Contains(linked, out[i]) {
				out = append(out, k.ID)
			}
			if k.ID == out[i] {
				for _, id := range linked {
					if !slices.Contains(out, id) {
						out = append(out, id)
					}
				}
			}
		}
	}
	return out
}

// sessionsOf is the sessions of one person, ascending by key.
func (c *Core) sessionsOf(one []record.ID) (out []record.Key) {
	for _, k := range c.replica.Keys(kindSession) {
		if overlap(c.factsOf(k).Patients, one) {
			out = append(out, k)
		}
	}
	return out
}

// lastTreatments is the last session with each product that reached this tablet.
func (c *Core) lastTreatments(patient record.ID) []*chartv1.LastTreatment {
	last := map[string]*chartv1.LastTreatment{}
	for _, k := range c.sessionsOf(c.onePerson(patient)) {
		f := c.factsOf(k)
		for _, product := range f.Products {
			for _, on := range f.Days {
				if have := last[product]; have == nil || dayNumber(have.GetOn()) < dayNumber(on) {
					last[product] = &chartv1.LastTreatment{Product: product, On: on}
					if len(f.Clinics) == 1 {
						last[product].ClinicId = f.Clinics[0].String()
					}
				}
			}
		}
	}
	var out []*chartv1.LastTreatment
	for _, t := range last {
		out = append(out, t)
	}
	slices.SortFunc(out, func(a, b *chartv1.LastTreatment) int { return cmp.Compare(a.GetProduct(), b.GetProduct()) })
	return out
}

// patient is one patient's line: {"patient_id"}; null when this tablet has never heard of her.
func patient(c *Core, r request) (answer, error) {
	var m struct {
		PatientID string `json:"patient_id"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	id, err := readID("patient_id", m.PatientID)
	if err != nil {
		return answer{}, err
	}
	l, ok, err := c.lineOf(id)
	if err != nil || !ok {
		return answer{json: json.RawMessage("null")}, err
	}
	return answer{json: l}, nil
}

// defaultPatients is how many patients a search answers when the request does not say.
const defaultPatients = 20

// match is a patient who is meant by a search.
type match struct {
	id    record.ID
	whole int // how many of the words are whole words of the name
	name  string
}

// patients finds patients, those held whole and those of the safety index, as SearchPatients of ChartService does: the request is its request, without
// anything to look for it lists all.
func patients(c *Core, r request) (answer, error) {
	m := &chartv1.SearchPatientsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	found := c.matches(m)
	most := int(m.GetPageSize())
	if most == 0 {
		most = defaultPatients
	}
	out := []line{}
	for _, x := range found[:min(most, len(found))] {
		l, ok, err := c.lineOf(x.id)
		if err != nil {
			return answer{}, err
		}
		if ok {
			out = append(out, l)
		}
	}
	return answer{json: out}, nil
}

func (c *Core) matches(m *chartv1.SearchPatientsRequest) (out []match) {
	words := chart.Tokens(m.GetText())
	if m.GetText() != "" && len(words) == 0 {
		return nil
	}
	for _, k := range c.replica.Keys(kindPatient) {
		f := c.factsOf(k)
		if named(f.Words, words) && born(f.Births, m.GetBornOn()) && (m.GetIdentifier() == "" || slices.Contains(f.Identifiers, m.GetIdentifier())) {
			out = append(out, newMatch(k.ID, f.Words, words))
		}
	}
	if m.GetIdentifier() == "" { // the safety index has none
		for _, e := range c.safety().all {
			id := record.ID(e.GetPatientId())
			if of := c.wordsOf(e); named(of, words) && born([]*recordv1.Date{e.GetDateOfBirth()}, m.GetBornOn()) {
				out = append(out, newMatch(id, of, words))
			}
		}
	}
	slices.SortFunc(out, func(a, b match) int {
		return cmp.Or(b.whole-a.whole, cmp.Compare(a.name, b.name), bytes.Compare(a.id[:], b.id[:]))
	})
	return out
}

func newMatch(id record.ID, of, words []string) match {
	m := match{id: id, name: strings.Join(of, " ")}
	for _, w := range words {
		if slices.Contains(of, w) {
			m.whole++
		}
	}
	return m
}

// named reports whether each word begins a word of the name.
func named(of, words []string) bool {
	for _, w := range words {
		if !slices.ContainsFunc(of, func(x string) bool { return strings.HasPrefix(x, w) }) {
			return false
		}
	}
	return true
}

func born(births []*recordv1.Date, on *recordv1.Date) bool {
	return on == nil || slices.ContainsFunc(births, func(d *recordv1.Date) bool { return dayNumber(d) == dayNumber(on) })
}

// wordsOf is the words of a name in the safety index, made once until the entry changes.
func (c *Core) wordsOf(e *syncv1.SafetyEntry) []string {
	id := record.ID(e.GetPatientId())
	if w, ok := c.cache.words[id]; ok {
		return w
	}
	if c.cache.words == nil {
		c.cache.words = map[record.ID][]string{}
	}
	w := chart.Tokens(e.GetName().GetFull() + " " + e.GetName().GetPreferred())
	c.cache.words[id] = w
	return w
}

// dayLine is one line of a day's list. The host knows the zones of the calendar: an appointment stands here when its time may be on the day in some zone,
// with its time and zone, and the host leaves out those that are not.
type dayLine struct {
	Patient     any             `json:"patient"`
	Appointment json.RawMessage `json:"appointment,omitempty"`
	Session     json.RawMessage `json:"session,omitempty"`
	BeginsAt    string          `json:"begins_at,omitempty"`
	TimeZone    string          `json:"time_zone,omitempty"`
}

// widestZone is further than any zone of the world is from UTC.
const widestZone = 15 * time.Hour

// day lists a day: appointments by time, then sessions of the day without one: {"on", "clinic_id"}, as ListRecords asks.
func day(c *Core, r request) (answer, error) {
	m := &chartv1.ListRecordsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return answer{}, err
	}
	at := func(k record.Key) bool { return clinic.IsZero() || slices.Contains(c.factsOf(k).Clinics, clinic) }
	sessions := c.sessionsOn(m.GetOn(), at)
	lines := []dayLine{}
	for _, b := range c.booked(m.GetOn(), at) {
		l, err := c.bookedLine(b, sessions)
		if err != nil {
			return answer{}, err
		}
		lines = append(lines, l)
	}
	for _, k := range c.sortedSessions(sessions) {
		l := dayLine{}
		if err := c.fill(&l, record.Key{}, k); err != nil {
			return answer{}, err
		}
		lines = append(lines, l)
	}
	return answer{json: lines}, nil
}

// booking is an appointment at one of its times.
type booking struct {
	key  record.Key
	slot *chartv1.Slot
}

// booked is the appointments that may be on a day, by time.
func (c *Core) booked(on *recordv1.Date, at func(record.Key) bool) (out []booking) {
	noon := time.Date(int(on.GetYear()), time.Month(on.GetMonth()), int(on.GetDay()), 12, 0, 0, 0, time.UTC)
	for _, k := range c.replica.Keys(kindAppointment) {
		if !at(k) {
			continue
		}
		for _, slot := range chart.SlotsOf(c.replica.View(k)) {
			if slot.GetBeginsAt().AsTime().Sub(noon).Abs() <= 12*time.Hour+widestZone {
				out = append(out, booking{k, slot})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b booking) int { return a.slot.GetBeginsAt().AsTime().Compare(b.slot.GetBeginsAt().AsTime()) })
	return out
}

// sessionsOn is the sessions of a day; true for each stands for not yet listed beside its appointment.
func (c *Core) sessionsOn(on *recordv1.Date, at func(record.Key) bool) map[record.Key]bool {
	out := map[record.Key]bool{}
	for _, k := range c.replica.Keys(kindSession) {
		if hasDay(c.factsOf(k), on) && at(k) {
			out[k] = true
		}
	}
	return out
}

func (c *Core) sortedSessions(of map[record.Key]bool) (out []record.Key) {
	for k, left := range of {
		if left {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, record.Key.Compare)
	return out
}

func (c *Core) bookedLine(b booking, sessions map[record.Key]bool) (dayLine, error) {
	l := dayLine{BeginsAt: b.slot.GetBeginsAt().AsTime().Format(time.RFC3339), TimeZone: b.slot.GetTimeZone()}
	var of record.Key
	for k := range sessions {
		typed, err := chart.Typed(c.replica.View(k))
		if err != nil {
			return l, err
		}
		if typed.GetSession().GetAppointmentId() == b.key.ID.String() && (of == (record.Key{}) || k.Compare(of) < 0) {
			of = k
		}
	}
	if of != (record.Key{}) {
		sessions[of] = false
	}
	return l, c.fill(&l, b.key, of)
}

// fill puts the views of a line's records into it, and the patient's own line.
func (c *Core) fill(l *dayLine, appointment, session record.Key) error {
	var patients []record.ID
	for _, x := range []struct {
		key record.Key
		to  *json.RawMessage
	}{{appointment, &l.Appointment}, {session, &l.Session}} {
		if x.key == (record.Key{}) {
			continue
		}
		raw, err := c.viewJSON(x.key)
		if err != nil {
			return err
		}
		*x.to = raw
		patients = append(patients, c.factsOf(x.key).Patients...)
	}
	l.Patient = struct{}{}
	if len(patients) > 0 {
		p, ok, err := c.lineOf(patients[0])
		if err != nil {
			return err
		}
		if ok {
			l.Patient = p
		}
	}
	return nil
}
