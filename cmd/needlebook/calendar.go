package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/calendar"
	"needlebook/internal/chart"
	"needlebook/internal/visit"
)

const kindAppointment = optionsv1.RecordKind_RECORD_KIND_APPOINTMENT

const calendarImportHelp = `
Reads an iCalendar file (RFC 5545), FILE or - for standard input, into a
clinic's appointments. Entries are known again by UID and SEQUENCE, so the same
file may be read as often as it is exported. Everything that does not fit is
listed with the reason. Without --write it only says what it would do.

  needlebook calendar import day.ics --dir desk --from 2026-03-02 --days 14
  needlebook calendar import day.ics --dir desk --from 2026-03-02 --write`

func calendarCommand() command {
	step := func(name, usage, short, long string, prepare func(*flag.FlagSet) prepared) command {
		return dayCommand("calendar", name, usage, short, long, prepare)
	}
	return command{name: "calendar", short: "book by hand or from iCalendar files, and list the day, on a replica", sub: []command{
		step("day", "[flags]", "list what is booked on a day", visitHelp, calendarDay),
		step("book", "--at TIME [flags]", "book a time", visitHelp, calendarBook),
		step("move", "APPOINTMENT-ID --to STATE [flags]", "say that a patient confirmed, arrived or did not come", visitHelp, calendarMove),
		step("cancel", "APPOINTMENT-ID --reason TEXT [flags]", "call an appointment off", visitHelp, calendarCancel),
		step("import", "FILE [flags]", "read appointments from an iCalendar file", calendarImportHelp, calendarImport),
	}}
}

func (at *deed) appointments() ([]*chartv1.Appointment, error) {
	return allFrom[*chartv1.Appointment](at, kindAppointment)
}

// zones finds zones in the machine's database.
func zones(name string) *time.Location {
	if name == "" || name == "Local" {
		return nil
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil
	}
	return zone
}

// zoneOf is a clinic's zone; UTC where it names none that is known.
func (at *deed) zoneOf(clinic string) string {
	if name := at.clinicOf(clinic).GetTimeZone(); zones(name) != nil {
		return name
	}
	return "UTC"
}

// home is the clinic that a flag names, or the replica's.
func (at *deed) home(clinic string) string {
	if clinic == "" {
		return at.d.Identity().Clinic
	}
	return clinic
}

func calendarDay(f *flag.FlagSet) prepared {
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	staff := f.String("staff", "", "staff `id`; everybody's without it")
	on := f.String("on", "", "the `day`; today without it")
	return prepared{run: func(at *deed) error {
		day, err := at.readDay("--on", *on)
		if err != nil {
			return err
		}
		all, err := at.appointments()
		if err != nil {
			return err
		}
		list := visit.DayList(all, at.home(*clinic), *staff, day, zones)
		if at.json {
			var views []*chartv1.RecordView
			for _, a := range list {
				views = append(views, &chartv1.RecordView{Record: chart.RecordOf(a)})
			}
			return printAsJSON(at.e.stdout, struct {
				Views []rawJSON `json:"views"`
			}{rawViews(views)})
		}
		var p page
		p.line(visit.DateText(day))
		for _, a := range list {
			p.wrapped("", at.appointmentText(a))
		}
		for _, pair := range visit.Overlaps(list) {
			p.wrapped("", "One person at one time: "+pair[0]+" and "+pair[1])
		}
		if len(list) == 0 {
			p.line("Nothing is booked.")
		}
		return p.write(at.e.stdout)
	}}
}

// appointmentText is an appointment on one line.
func (at *deed) appointmentText(a *chartv1.Appointment) string {
	zone := zones(a.GetSlot().GetTimeZone())
	if zone == nil {
		zone = time.UTC
	}
	who := a.GetBookedName()
	if patient, err := at.patient(a.GetPatientId()); err == nil && patient.GetName().GetFull() != "" {
		who = patient.GetName().GetFull()
	} else if who == "" && a.PatientId != nil {
		who = "patient " + a.GetPatientId() + ", whom this tablet does not hold"
	}
	text := a.GetSlot().GetBeginsAt().AsTime().In(zone).Format("15:04") + " " + who
	if a.Purpose != nil {
		text += ", " + spaces(a.GetPurpose())
	}
	if a.StaffId != nil {
		text += ", with " + at.staffName(a.GetStaffId())
	}
	if s := visit.StateOf(a); s != 0 {
		text += ", " + spaces(strings.ToLower(strings.TrimPrefix(s.String(), "APPOINTMENT_STATE_")))
	}
	if a.GetCancelled() != nil {
		text += ", CANCELLED: " + a.GetCancelled().GetReason()
	}
	return text + " (" + a.GetId() + ")"
}

func calendarBook(f *flag.FlagSet) prepared {
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	patient := f.String("patient", "", "`id` of the patient")
	name := f.String("booked-name", "", "the `name`, where no patient is known yet")
	staff := f.String("staff", "", "staff `id` of whom it is with")
	when := f.String("at", "", "when, as 2026-03-02T09:30 or 2026-03-02T09:30:00Z")
	minutes := f.Int("minutes", 30, "how long, in `minutes`")
	purpose := f.String("purpose", "", "what for: consultation, treatment or review")
	regions := f.String("regions", "", "what is asked for, with commas between")
	return prepared{run: func(at *deed) error {
		if *purpose != "" && !slices.Contains([]string{"consultation", "treatment", "review"}, *purpose) {
			return usagef("%s: --purpose: read %q, want consultation, treatment or review", at.Name(), *purpose)
		}
		for name, id := range map[string]string{"--patient": *patient, "--staff": *staff} {
			if id == "" {
				continue
			}
			if _, err := readID(name, id); err != nil {
				return err
			}
		}
		home := at.home(*clinic)
		h, err := at.hand(home)
		if err != nil {
			return err
		}
		zone := at.zoneOf(home)
		begins, err := time.Parse(time.RFC3339, *when)
		if err != nil {
			if begins, err = time.ParseInLocation("2006-01-02T15:04", *when, zones(zone)); err != nil {
				return usagef("%s: --at: read %q, want a time such as 2026-03-02T09:30", at.Name(), *when)
			}
		}
		m := &chartv1.Appointment{ClinicId: &home, Slot: &chartv1.Slot{BeginsAt: timestamppb.New(begins), Minutes: int32(*minutes), TimeZone: zone}}
		for field, text := range map[**string]string{&m.PatientId: *patient, &m.BookedName: *name, &m.StaffId: *staff, &m.Purpose: *purpose} {
			if text != "" {
				*field = &text
			}
		}
		if *regions != "" {
			m.Regions = &chartv1.RegionList{Regions: words(*regions)}
		}
		a, err := visit.Book(h, m)
		if err != nil {
			return err
		}
		return at.done(func(p *page) { p.wrapped("", at.appointmentText(a)) }, a)
	}}
}

// namedAppointment reads the appointment that the first argument names, and who works there.
func (at *deed) namedAppointment() (*chartv1.Appointment, visit.Hand, error) {
	a, err := readFrom[*chartv1.Appointment](at, kindAppointment, "APPOINTMENT-ID", at.args[0])
	if err != nil {
		return nil, visit.Hand{}, err
	}
	h, err := at.hand(a.GetClinicId())
	return a, h, err
}

func (at *deed) thenAppointment(part *chartv1.Appointment, err error) error {
	if err != nil {
		return err
	}
	return at.done(func(p *page) {
		if a, err := readFrom[*chartv1.Appointment](at, kindAppointment, "APPOINTMENT-ID", part.GetId()); err == nil {
			p.wrapped("", at.appointmentText(a))
		}
	}, part)
}

func calendarMove(f *flag.FlagSet) prepared {
	to := f.String("to", "", "confirmed, arrived, no_show or done")
	session := f.String("visit", "", "`id` of the visit that came of it")
	return prepared{[]string{"APPOINTMENT-ID"}, func(at *deed) error {
		a, h, err := at.namedAppointment()
		if err != nil {
			return err
		}
		state := chartv1.AppointmentState(chartv1.AppointmentState_value["APPOINTMENT_STATE_"+strings.ToUpper(*to)])
		return at.thenAppointment(visit.MoveOn(h, a, state, *session))
	}}
}

func calendarCancel(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, in `words`")
	return prepared{[]string{"APPOINTMENT-ID"}, func(at *deed) error {
		a, h, err := at.namedAppointment()
		if err != nil {
			return err
		}
		return at.thenAppointment(visit.CallOff(h, a, *reason))
	}}
}

func calendarImport(f *flag.FlagSet) prepared {
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	from := f.String("from", "", "the first `day` to take; today without it")
	days := f.Int("days", 31, "how many `days` to take")
	write := f.Bool("write", false, "do it; only say what would be done without it")
	aliases := map[string]string{}
	f.Func("zone-alias", "`NAME=ZONE` for a zone's name in the file; may be repeated", func(text string) error {
		name, zone, ok := strings.Cut(text, "=")
		if !ok || zones(zone) == nil {
			return fmt.Errorf("read %q, want a name, = and a zone such as Europe/Athens", text)
		}
		aliases[name] = zone
		return nil
	})
	return prepared{[]string{"FILE"}, func(at *deed) error {
		home := at.home(*clinic)
		day, err := at.readDay("--from", *from)
		if err != nil {
			return err
		}
		first := time.Date(int(day.GetYear()), time.Month(day.GetMonth()), int(day.GetDay()), 0, 0, 0, 0, zones(at.zoneOf(home)))
		s := calendar.Source{ClinicID: home, Zone: at.zoneOf(home), From: first, Until: first.AddDate(0, 0, *days), Aliases: aliases}
		if s.Staff, s.Patient, err = at.calendarPeople(); err != nil {
			return err
		}
		file, err := at.readFile(at.args[0])
		if err != nil {
			return err
		}
		known, err := at.appointments()
		if err != nil {
			return err
		}
		h, err := at.hand(home)
		if err != nil {
			return err
		}
		plan, err := calendar.Read(h, file, known, s)
		if err != nil {
			return usagef("%s: FILE: %s", at.Name(), err)
		}
		return at.carryOut(plan, *write)
	}}
}

func (at *deed) readFile(name string) ([]byte, error) {
	r := at.e.stdin
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		r = file
	}
	return io.ReadAll(io.LimitReader(r, calendar.MostBytes+1))
}

// calendarPeople finds staff by mail address, and a patient by a name that one alone has.
func (at *deed) calendarPeople() (staff map[string]string, patient func(string) string, err error) {
	people, err := allFrom[*accessv1.Staff](at, optionsv1.RecordKind_RECORD_KIND_STAFF)
	if err != nil {
		return nil, nil, err
	}
	staff = map[string]string{}
	for _, p := range people {
		if mail := strings.ToLower(p.GetContact().GetEmail()); mail != "" {
			staff[mail] = p.GetId()
		}
	}
	patients, err := allFrom[*chartv1.Patient](at, kindPatient)
	if err != nil {
		return nil, nil, err
	}
	named := map[string][]string{}
	for _, p := range patients {
		if p.GetVoid() == nil && p.GetPractice() == nil {
			key := strings.Join(chart.Tokens(p.GetName().GetFull()), " ")
			named[key] = append(named[key], p.GetId())
		}
	}
	return staff, func(name string) string {
		if found := named[strings.Join(chart.Tokens(name), " ")]; len(found) == 1 {
			return found[0]
		}
		return ""
	}, nil
}

// importedJSON is what a file would change, or changed.
type importedJSON struct {
	Written       bool              `json:"written"`
	Events        int               `json:"events"`
	Made          int               `json:"made"`
	Changed       int               `json:"changed"`
	Cancelled     int               `json:"cancelled"`
	Unchanged     int               `json:"unchanged"`
	Older         int               `json:"older"`
	Outside       int               `json:"outside"`
	CancelledHere int               `json:"cancelled_here"`
	NeverHere     int               `json:"never_here"`
	Misfits       []calendar.Misfit `json:"misfits"`
}

func (at *deed) carryOut(plan calendar.Plan, write bool) error {
	if write {
		var parts []proto.Message
		for _, a := range slices.Concat(plan.Made, plan.Changed, plan.Cancelled) {
			parts = append(parts, a)
		}
		if _, err := at.write(parts...); err != nil {
			return err
		}
	}
	out := importedJSON{write, plan.Events, len(plan.Made), len(plan.Changed), len(plan.Cancelled), plan.Unchanged, plan.Older, plan.Outside,
		plan.CancelledHere, plan.NeverHere, plan.Misfits}
	if at.json {
		if out.Misfits == nil {
			out.Misfits = []calendar.Misfit{}
		}
		return printAsJSON(at.e.stdout, out)
	}
	var p page
	if !write {
		p.line("Nothing is written yet; --write does it.")
	}
	p.line(fmt.Sprintf("%d events in the file", out.Events))
	for _, row := range []struct {
		n    int
		text string
	}{
		{out.Made, "appointments are new"}, {out.Changed, "are changed"}, {out.Cancelled, "are cancelled"}, {out.Unchanged, "are here as they are"},
		{out.Older, "are older than what is here"}, {out.Outside, "lie outside the days asked for"}, {out.CancelledHere, "were cancelled here, and stay so"},
		{out.NeverHere, "are cancelled and were never here"}, {len(out.Misfits), "did not fit"},
	} {
		if row.n > 0 {
			p.line(fmt.Sprintf("%6d %s", row.n, row.text))
		}
	}
	for _, m := range out.Misfits {
		p.wrapped("  ", fmt.Sprintf("event %d, UID %s: %s", m.Number, cutWords(m.UID), m.Reason))
	}
	return p.write(at.e.stdout)
}
