package calendar

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-ical"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/visit"
)

// MostBytes is the most that is read of a file, and MostInstances the most appointments that one series makes within the window.
const (
	MostBytes     = 8 << 20
	MostInstances = 1000
)

// ErrNotCalendar: the file is not an iCalendar, or is cut off; nothing of it is taken.
var ErrNotCalendar = errors.New("is not an iCalendar file (RFC 5545)")

// Source is how a calendar's entries are read.
type Source struct {
	// ClinicID is the clinic whose calendar it is; Zone is its zone, for times without one.
	ClinicID, Zone string
	// From and Until bound what is taken: entries that begin in [From, Until).
	From, Until time.Time
	// Staff is staff ids by the mail address that an attendee or the organiser has, in lower case.
	Staff map[string]string
	// Aliases are zones by names that are not those of the time zone database.
	Aliases map[string]string
	// Patient finds the patient by the name in an entry; empty where none or more than one has it. It may be nil.
	Patient func(name string) string
}

// Misfit is something in the file that did not become an appointment.
type Misfit struct {
	// UID is the event's; empty where it has none. Number is its place among the events of the file, from 1.
	UID    string `json:"uid"`
	Number int    `json:"number"`
	// Reason is a sentence.
	Reason string `json:"reason"`
}

// Plan is what a file would change.
type Plan struct {
	// Made are new appointments, whole; Changed and Cancelled are parts of those that are here.
	Made      []*chartv1.Appointment
	Changed   []*chartv1.Appointment
	Cancelled []*chartv1.Appointment
	// Unchanged counts appointments of the file that are here as they are; Older those of which a later SEQUENCE is here; Outside those that begin outside
	// the window; CancelledHere those that the clinic cancelled by hand and that stay so; NeverHere cancelled ones that were never here.
	Unchanged, Older, Outside, CancelledHere, NeverHere int
	Misfits                                             []Misfit
	// Events counts the events in the file.
	Events int
}

// Read plans what a file changes.
func Read(h visit.Hand, file []byte, known []*chartv1.Appointment, s Source) (Plan, error) {
	if len(file) > MostBytes {
		return Plan{}, fmt.Errorf("%w: it has more than %d bytes", ErrNotCalendar, MostBytes)
	}
	r := reader{hand: h, source: s, known: map[string]*chartv1.Appointment{}, seen: map[string]int{}}
	for _, a := range known {
		if uid := a.GetImported().GetUid(); uid != "" && a.GetClinicId() == s.ClinicID {
			r.known[uid] = a
		}
	}
	var ok bool
	if r.zone, ok = r.load(s.Zone); !ok {
		return Plan{}, fmt.Errorf("zone: read %q, want a name of the time zone database", s.Zone)
	}
	calendars, err := decode(file)
	if err != nil {
		return Plan{}, err
	}
	for _, c := range calendars {
		r.calendar(c)
	}
	r.finish()
	return r.plan, nil
}

// mostDepth bounds how deep components stand within each other; an alarm in an event in a calendar is three.
const mostDepth = 8

// decode reads the calendars of a file. The library gives up in a panic on some lines that are none, and goes as deep as a file says; both are refused.
func decode(file []byte) (calendars []*ical.Calendar, err error) {
	defer func() {
		if recover() != nil {
			calendars, err = nil, fmt.Errorf("%w: a line of it cannot be read", ErrNotCalendar)
		}
	}()
	if depthOf(file) > mostDepth {
		return nil, fmt.Errorf("%w: its parts stand more than %d deep within each other", ErrNotCalendar, mostDepth)
	}
	for decoder := ical.NewDecoder(bytes.NewReader(file)); ; {
		c, err := decoder.Decode()
		switch {
		case errors.Is(err, io.EOF) && len(calendars) > 0:
			return calendars, nil
		case err != nil:
			return nil, fmt.Errorf("%w: %w", ErrNotCalendar, err)
		}
		calendars = append(calendars, c)
	}
}

// depthOf is how many parts of a file are begun and not ended, at the most.
func depthOf(file []byte) (most int) {
	depth := 0
	for line := range bytes.Lines(file) {
		name, _, _ := bytes.Cut(line, []byte(":"))
		name, _, _ = bytes.Cut(name, []byte(";"))
		switch {
		case bytes.EqualFold(bytes.TrimSpace(name), []byte("BEGIN")):
			depth++
		case bytes.EqualFold(bytes.TrimSpace(name), []byte("END")):
			depth = max(0, depth-1)
		}
		most = max(most, depth)
	}
	return most
}

// reader goes through a file.
type reader struct {
	hand   visit.Hand
	source Source
	zone   *time.Location
	known  map[string]*chartv1.Appointment
	// seen are the entries of the file by their UID, with the sequence that counts; wanted are those entries.
	seen    map[string]int
	wanted  []entry
	vanish  []series
	aliases map[string]string
	plan    Plan
}

// series is the events of one UID that recur, whose instances that are here and not among the keys are gone.
type series struct {
	uid      string
	sequence int
	keys     map[string]bool
}

// entry is one appointment as the file has it.
type entry struct {
	key       string
	sequence  int
	number    int
	cancelled bool
	begins    time.Time
	minutes   int
	zone      string
	event     ical.Event
}

func (r *reader) misfit(number int, uid, reason string) {
	r.plan.Misfits = append(r.plan.Misfits, Misfit{UID: uid, Number: number, Reason: reason})
}

// calendar reads one calendar of the file: its zones first, then its events, overrides of a series behind the series.
func (r *reader) calendar(c *ical.Calendar) {
	r.aliases = map[string]string{}
	for _, child := range c.Children {
		if child.Name == ical.CompTimezone {
			r.alias(child)
		}
	}
	method, _ := c.Props.Text(ical.PropMethod)
	overrides := map[string][]numbered{}
	var events []numbered
	for _, e := range c.Events() {
		r.plan.Events++
		uid, _ := e.Props.Text(ical.PropUID)
		n := numbered{r.plan.Events, strings.TrimSpace(uid), e}
		switch {
		case n.uid == "":
			r.misfit(n.number, "", "It has no UID, so it could not be known again.")
		case e.Props.Get(ical.PropRecurrenceID) != nil:
			overrides[n.uid] = append(overrides[n.uid], n)
		default:
			events = append(events, n)
		}
	}
	for _, n := range events {
		r.event(n, overrides[n.uid], strings.EqualFold(method, "CANCEL"))
		delete(overrides, n.uid)
	}
	for _, uid := range slices.Sorted(mapKeys(overrides)) {
		for _, n := range overrides[uid] {
			r.single(n, uid, strings.EqualFold(method, "CANCEL"))
		}
	}
}

// numbered is an event with its place in the file.
type numbered struct {
	number int
	uid    string
	event  ical.Event
}

func mapKeys[V any](m map[string]V) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// event reads an event that overrides nothing: one appointment, or a series with its overrides.
func (r *reader) event(n numbered, overrides []numbered, cancel bool) {
	if n.event.Props.Get(ical.PropRecurrenceRule) == nil && n.event.Props.Get(ical.PropRecurrenceDates) == nil {
		r.single(n, n.uid, cancel)
		for _, o := range overrides {
			r.single(o, n.uid, cancel)
		}
		return
	}
	r.series(n, overrides, cancel)
}

// single reads one appointment. One that overrides an instance of a series has a key of its own.
func (r *reader) single(n numbered, uid string, cancel bool) {
	e, reason := r.entry(n, uid, cancel)
	if reason == "" && n.event.Props.Get(ical.PropRecurrenceID) != nil {
		at, why := r.moment(n.event.Props.Get(ical.PropRecurrenceID))
		e.key, reason = instanceKey(uid, at), why
	}
	if reason != "" {
		r.misfit(n.number, uid, reason)
		return
	}
	r.want(e)
}

// instanceKey names an instance of a series by when it was first meant to begin.
func instanceKey(uid string, at time.Time) string {
	return uid + "/" + at.UTC().Format("20060102T150405Z")
}

// want keeps an entry, or the one of a later sequence where the file has two of one key.
func (r *reader) want(e entry) {
	if len(e.key) > 255 {
		r.misfit(e.number, e.key[:64]+"...", "Its UID is longer than 255 bytes.")
		return
	}
	i, twice := r.seen[e.key]
	if !twice {
		r.seen[e.key] = len(r.wanted)
		r.wanted = append(r.wanted, e)
		return
	}
	older := e
	if e.sequence > r.wanted[i].sequence {
		older, r.wanted[i] = r.wanted[i], e
	}
	r.misfit(older.number, older.key, "The file has it twice; the one with the later SEQUENCE, or the first, counts.")
}

// entry reads what an event says of its time.
func (r *reader) entry(n numbered, uid string, cancel bool) (entry, string) {
	e := entry{key: uid, number: n.number, event: n.event}
	begins := n.event.Props.Get(ical.PropDateTimeStart)
	if begins == nil {
		return e, "It has no beginning (DTSTART)."
	}
	var reason string
	if e.begins, reason = r.moment(begins); reason != "" {
		return e, reason
	}
	e.zone = e.begins.Location().String()
	if e.minutes, reason = r.minutes(n.event, e.begins); reason != "" {
		return e, reason
	}
	if p := n.event.Props.Get(ical.PropSequence); p != nil {
		seq, err := p.Int()
		if err != nil || seq < 0 || seq > 1<<31-1 {
			return e, "Its SEQUENCE is no number."
		}
		e.sequence = seq
	}
	status, err := n.event.Status()
	if err != nil {
		return e, "Its STATUS is none that an event has."
	}
	e.cancelled = cancel || status == ical.EventCancelled
	return e, ""
}

// minutes is how long an event lasts.
func (r *reader) minutes(event ical.Event, begins time.Time) (int, string) {
	var lasts time.Duration
	switch end := event.Props.Get(ical.PropDateTimeEnd); {
	case end != nil:
		at, reason := r.moment(end)
		if reason != "" {
			return 0, reason
		}
		lasts = at.Sub(begins)
	case event.Props.Get(ical.PropDuration) != nil:
		d, err := event.Props.Get(ical.PropDuration).Duration()
		if err != nil {
			return 0, "Its DURATION cannot be read."
		}
		lasts = d
	default:
		return 0, "It has neither an end nor a duration."
	}
	switch {
	case lasts < time.Minute:
		return 0, "It ends before a minute is over."
	case lasts > 24*time.Hour:
		return 0, "It lasts longer than a day."
	}
	return int((lasts + time.Minute - 1) / time.Minute), ""
}

// finish compares what the file wants with what is here.
func (r *reader) finish() {
	for _, e := range r.wanted {
		r.decide(e)
	}
	for _, s := range r.vanish {
		r.gone(s)
	}
	slices.SortStableFunc(r.plan.Misfits, func(a, b Misfit) int {
		return cmp.Or(cmp.Compare(a.Number, b.Number), strings.Compare(a.Reason, b.Reason))
	})
}
