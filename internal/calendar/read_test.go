package calendar_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/calendar"
	"needlebook/internal/visit"
)

const clinicID = "0b9d6f5e-4c1a-4f0e-9a55-0000000000c1"

func hand() visit.Hand {
	return visit.Hand{By: "0b9d6f5e-4c1a-4f0e-9a55-0000000000a1", Roles: []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}, At: day(2026, 2, 1)}
}

func day(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

func source() calendar.Source {
	return calendar.Source{
		ClinicID: clinicID, Zone: "Europe/Athens", From: day(2026, 3, 1), Until: day(2026, 4, 1), Staff: map[string]string{"mia@harbour.example": hand().By},
		Patient: func(name string) string {
			return map[string]string{"Anna Vale": "0b9d6f5e-4c1a-4f0e-9a55-0000000000b1"}[name]
		},
	}
}

// file is an iCalendar of some lines.
func file(lines ...string) []byte {
	all := append([]string{"BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//test//EN"}, lines...)
	return []byte(strings.Join(append(all, "END:VCALENDAR", ""), "\r\n"))
}

// event is one event of half an hour.
func event(uid, start string, more ...string) []string {
	lines := []string{"BEGIN:VEVENT", "UID:" + uid, "DTSTAMP:20260201T000000Z", "DTSTART" + start, "DURATION:PT30M"}
	return append(append(lines, more...), "END:VEVENT")
}

func read(t *testing.T, known []*chartv1.Appointment, s calendar.Source, lines ...[]string) calendar.Plan {
	t.Helper()
	p, err := calendar.Read(hand(), file(slices.Concat(lines...)...), known, s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// begins are the beginnings of appointments, in a zone.
func begins(t *testing.T, all []*chartv1.Appointment, zone string) (out []string) {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range all {
		out = append(out, a.GetSlot().GetBeginsAt().AsTime().In(loc).Format("2006-01-02 15:04 MST"))
	}
	slices.Sort(out)
	return out
}

// TestRead_ExamplesOfTheStandard: the examples of RFC 5545, section 3.8.5.3, with the instances that it lists. (Read in a copy in a public repository's
// tests, not in the RFC itself.)
func TestRead_ExamplesOfTheStandard(t *testing.T) {
	days := func(list ...string) []string { return list }
	for name, c := range map[string]struct {
		start, rule string
		more        []string
		want        []string
	}{
		"daily for 10 occurrences": {"19970902T090000", "FREQ=DAILY;COUNT=10", nil, days(
			"1997-09-02 09:00 EDT", "1997-09-03 09:00 EDT", "1997-09-04 09:00 EDT", "1997-09-05 09:00 EDT", "1997-09-06 09:00 EDT", "1997-09-07 09:00 EDT",
			"1997-09-08 09:00 EDT", "1997-09-09 09:00 EDT", "1997-09-10 09:00 EDT", "1997-09-11 09:00 EDT")},
		"monthly on the first Friday for 10 occurrences": {"19970905T090000", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR", nil, days(
			"1997-09-05 09:00 EDT", "1997-10-03 09:00 EDT", "1997-11-07 09:00 EST", "1997-12-05 09:00 EST", "1998-01-02 09:00 EST", "1998-02-06 09:00 EST",
			"1998-03-06 09:00 EST", "1998-04-03 09:00 EST", "1998-05-01 09:00 EDT", "1998-06-05 09:00 EDT")},
		"the same without one and with another day": {"19970905T090000", "FREQ=MONTHLY;COUNT=3;BYDAY=1FR",
			[]string{"EXDATE;TZID=America/New_York:19971003T090000", "RDATE;TZID=America/New_York:19971010T090000,19971017T100000"}, days(
				"1997-09-05 09:00 EDT", "1997-10-10 09:00 EDT", "1997-10-17 10:00 EDT", "1997-11-07 09:00 EST")},
	} {
		s := source()
		s.From, s.Until = day(1997, 1, 1), day(1999, 1, 1)
		p := read(t, nil, s, event("a@x", ";TZID=America/New_York:"+c.start, append([]string{"RRULE:" + c.rule}, c.more...)...))
		if got := begins(t, p.Made, "America/New_York"); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestRead_One(t *testing.T) {
	p := read(t, nil, source(), event("a@x", ":20260302T100000", "SUMMARY:Anna Vale", "LOCATION:Room\\n 2", "CATEGORIES:Private,Treatment",
		"ATTENDEE;CN=Mia:mailto:Mia@harbour.example", "DESCRIPTION:not to be taken", "SEQUENCE:3"))
	if len(p.Made) != 1 || p.Events != 1 || len(p.Misfits) != 0 {
		t.Fatalf("%+v", p)
	}
	a := p.Made[0]
	if a.GetBookedName() != "Anna Vale" || a.GetPatientId() == "" || a.GetRoom() != "Room 2" || a.GetPurpose() != "treatment" || a.GetStaffId() != hand().By ||
		a.GetSlot().GetMinutes() != 30 || a.GetSlot().GetTimeZone() != "Europe/Athens" || a.GetImported().GetSequence() != 3 || len(a.GetNotes()) > 0 {
		t.Errorf("%v", a)
	}
	if got := begins(t, p.Made, "UTC"); got[0] != "2026-03-02 08:00 UTC" { // Athens is two hours ahead in winter
		t.Errorf("begins %v", got)
	}
	again := read(t, nil, source(), event("a@x", ":20260302T100000"))
	if again.Made[0].GetId() != a.GetId() {
		t.Error("two tablets make two records of one entry")
	}
	elsewhere := source()
	elsewhere.ClinicID = "0b9d6f5e-4c1a-4f0e-9a55-0000000000c2"
	if other := read(t, nil, elsewhere, event("a@x", ":20260302T100000")); other.Made[0].GetId() == a.GetId() {
		t.Error("two clinics make one record")
	}
}

// TestRead_Again: a plan that was carried out is carried out; a later sequence changes, an earlier one does not, and what was cancelled here stays so.
func TestRead_Again(t *testing.T) {
	first := read(t, nil, source(), event("a@x", ":20260302T100000", "SEQUENCE:2"), event("b@x", ":20260302T110000"))
	known := first.Made
	if p := read(t, known, source(), event("a@x", ":20260302T100000", "SEQUENCE:2"), event("b@x", ":20260302T110000")); p.Unchanged != 2 || len(p.Made)+len(p.Changed) > 0 {
		t.Errorf("again: %+v", p)
	}
	if p := read(t, known, source(), event("a@x", ":20260303T100000", "SEQUENCE:1")); p.Older != 1 || len(p.Changed) > 0 {
		t.Errorf("an earlier sequence: %+v", p)
	}
	p := read(t, known, source(), event("a@x", ":20260303T100000", "SEQUENCE:3"), event("b@x", ":20260302T110000", "STATUS:CANCELLED", "SEQUENCE:1"))
	if len(p.Changed) != 1 || p.Changed[0].GetSlot() == nil || p.Changed[0].ClinicId != nil || p.Changed[0].GetImported().GetSequence() != 3 {
		t.Errorf("a later sequence: %v", p.Changed)
	}
	if len(p.Cancelled) != 1 || p.Cancelled[0].GetCancelled().GetReason() == "" {
		t.Errorf("cancelled: %v", p.Cancelled)
	}
	byHand := proto.CloneOf(known[0])
	byHand.Cancelled = &recordv1.Void{Reason: "she is ill", At: timestamppb.Now()}
	if p := read(t, []*chartv1.Appointment{byHand}, source(), event("a@x", ":20260305T100000", "SEQUENCE:9")); p.CancelledHere != 1 || len(p.Changed)+len(p.Made) > 0 {
		t.Errorf("cancelled by hand: %+v", p)
	}
	if p := read(t, nil, source(), event("c@x", ":20260302T110000", "STATUS:CANCELLED")); p.NeverHere != 1 {
		t.Errorf("cancelled and never here: %+v", p)
	}
}

func TestRead_Series(t *testing.T) {
	weekly := func(more ...string) []string {
		return event("w@x", ";TZID=Europe/Athens:20260303T090000", append([]string{"RRULE:FREQ=WEEKLY;COUNT=4"}, more...)...)
	}
	moved := event("w@x", ";TZID=Europe/Athens:20260311T120000", "RECURRENCE-ID;TZID=Europe/Athens:20260310T090000", "SEQUENCE:1")
	p := read(t, nil, source(), weekly(), moved)
	want := []string{"2026-03-03 09:00 EET", "2026-03-11 12:00 EET", "2026-03-17 09:00 EET", "2026-03-24 09:00 EET"}
	if got := begins(t, p.Made, "Europe/Athens"); !slices.Equal(got, want) || len(p.Misfits) > 0 {
		t.Fatalf("%v, want %v; %v", got, want, p.Misfits)
	}
	// the series loses its last instance, and the moved one moves back
	shorter := read(t, p.Made, source(), event("w@x", ";TZID=Europe/Athens:20260303T090000", "RRULE:FREQ=WEEKLY;COUNT=3", "SEQUENCE:2"))
	if got := begins(t, shorter.Changed, "Europe/Athens"); len(shorter.Cancelled) != 1 || len(got) != 3 || len(shorter.Made) > 0 {
		t.Errorf("shorter: changed %v, cancelled %v", got, shorter.Cancelled)
	}
	// over the change to summer time (29 March 2026) nine o'clock stays nine o'clock
	s := source()
	s.Until = day(2026, 5, 1)
	p = read(t, nil, s, event("w@x", ";TZID=Europe/Athens:20260324T090000", "RRULE:FREQ=WEEKLY;COUNT=2"))
	if got := begins(t, p.Made, "UTC"); !slices.Equal(got, []string{"2026-03-24 07:00 UTC", "2026-03-31 06:00 UTC"}) {
		t.Errorf("over the change of the clocks: %v", got)
	}
}

func TestRead_Zones(t *testing.T) {
	zone := []string{"BEGIN:VTIMEZONE", "TZID:Harbour", "X-LIC-LOCATION:Europe/Athens", "BEGIN:STANDARD", "DTSTART:19961027T040000", "TZOFFSETFROM:+0300",
		"TZOFFSETTO:+0200", "END:STANDARD", "END:VTIMEZONE"}
	s := source()
	s.Aliases = map[string]string{"GTB Standard Time": "Europe/Athens"}
	p := read(t, nil, s, zone, event("a@x", ";TZID=Harbour:20260302T100000"), event("b@x", ";TZID=/example.org/2026/Europe/Athens:20260302T100000"),
		event("c@x", `;TZID="GTB Standard Time":20260302T100000`), event("d@x", ":20260302T080000Z"), event("e@x", ":20260302T100000"))
	for _, at := range begins(t, p.Made, "UTC") {
		if at != "2026-03-02 08:00 UTC" {
			t.Errorf("begins %s", at)
		}
	}
	if len(p.Made) != 5 {
		t.Errorf("%d made, misfits %v", len(p.Made), p.Misfits)
	}
}

// TestRead_Misfits: everything that does not fit is named, and nothing else is lost by it.
func TestRead_Misfits(t *testing.T) {
	bad := map[string][]string{
		"no UID":             {"BEGIN:VEVENT", "DTSTART:20260302T100000", "DURATION:PT30M", "END:VEVENT"},
		"no beginning":       {"BEGIN:VEVENT", "UID:1@x", "DURATION:PT30M", "END:VEVENT"},
		"no end":             {"BEGIN:VEVENT", "UID:2@x", "DTSTART:20260302T100000", "END:VEVENT"},
		"a whole day":        event("3@x", ";VALUE=DATE:20260302"),
		"an unknown zone":    event("4@x", ";TZID=Atlantis:20260302T100000"),
		"no such time":       event("5@x", ":20260230T100000"),
		"ends before":        {"BEGIN:VEVENT", "UID:6@x", "DTSTART:20260302T100000", "DTEND:20260302T090000", "END:VEVENT"},
		"too long":           {"BEGIN:VEVENT", "UID:7@x", "DTSTART:20260302T100000", "DURATION:P2D", "END:VEVENT"},
		"every second":       event("8@x", ":20260302T100000", "RRULE:FREQ=SECONDLY"),
		"a broken rule":      event("9@x", ":20260302T100000", "RRULE:FREQ=OFTEN"),
		"a strange status":   event("10@x", ":20260302T100000", "STATUS:MAYBE"),
		"a strange sequence": event("11@x", ":20260302T100000", "SEQUENCE:x"),
		"a long UID":         event(strings.Repeat("u", 300), ":20260302T100000"),
		"before the years":   event("12@x", ":00010101T000000"),
	}
	for name, lines := range bad {
		p := read(t, nil, source(), lines, event("good@x", ":20260302T100000"))
		if len(p.Misfits) != 1 || p.Misfits[0].Reason == "" || len(p.Made) != 1 {
			t.Errorf("%s: %+v", name, p)
		}
	}
	p := read(t, nil, source(), event("a@x", ":20260302T100000"), event("a@x", ":20260303T100000", "SEQUENCE:1"), event("o@x", ":20250302T100000"))
	if len(p.Made) != 1 || len(p.Misfits) != 1 || p.Outside != 1 || p.Made[0].GetImported().GetSequence() != 1 {
		t.Errorf("twice, and outside: %+v", p)
	}
	for _, text := range []string{"", "no calendar", "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "0;0=", strings.Repeat("BEGIN:X\n", 100_000)} {
		if _, err := calendar.Read(hand(), []byte(text), nil, source()); !errors.Is(err, calendar.ErrNotCalendar) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// accounted is how many events of a file without series a plan accounts for.
func accounted(p calendar.Plan) int {
	return len(p.Made) + len(p.Changed) + len(p.Cancelled) + p.Unchanged + p.Older + p.Outside + p.CancelledHere + p.NeverHere + len(p.Misfits)
}

// FuzzRead: no file panics; without series every event is accounted for once; a plan that was carried out changes nothing when it is read again.
func FuzzRead(f *testing.F) {
	f.Add(file(event("a@x", ":20260302T100000", "SUMMARY:Anna Vale")...))
	f.Add(file(event("w@x", ";TZID=Europe/Athens:20260303T090000", "RRULE:FREQ=WEEKLY;COUNT=4", "EXDATE:20260310T070000Z")...))
	f.Add(file(event("w@x", ":20260303T090000", "RECURRENCE-ID:20260303T090000")...))
	f.Add([]byte("BEGIN:VCALENDAR\nBEGIN:VEVENT\nEND:VEVENT\nEND:VCALENDAR"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := calendar.Read(hand(), b, nil, source())
		if err != nil {
			return
		}
		if !strings.Contains(strings.ToUpper(string(b)), "RRULE") && !strings.Contains(strings.ToUpper(string(b)), "RDATE") && accounted(p) != p.Events {
			t.Fatalf("%d events, %d accounted for: %+v", p.Events, accounted(p), p)
		}
		again, err := calendar.Read(hand(), b, p.Made, source())
		if err != nil || len(again.Made)+len(again.Changed)+len(again.Cancelled) > 0 || fmt.Sprint(again.Misfits) != fmt.Sprint(p.Misfits) {
			t.Fatalf("again: %+v, %v", again, err)
		}
	})
}
