package visit

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
)

func (h Hand) mayBook() error {
	if h.has(Injector, Lead, Assistant, accessv1.Role_ROLE_FRONT_DESK) {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(h.Roles), "to book: front desk, assistant, injector or medical lead")
}

// Book is a new appointment's record, whole, of what m holds. Whole records of the patient go to the tablets that hold what is booked.
func Book(h Hand, m *chartv1.Appointment) (*chartv1.Appointment, error) {
	if err := h.mayBook(); err != nil {
		return nil, err
	}
	switch s := m.GetSlot(); {
	case m.GetClinicId() == "":
		return nil, wrong("clinic_id", "", "the clinic")
	case s.GetBeginsAt() == nil || s.GetMinutes() <= 0 || s.GetTimeZone() == "":
		return nil, wrong("slot", "", "when it begins, how many minutes it lasts, and in which zone it was booked")
	case m.PatientId == nil && m.BookedName == nil && m.Purpose == nil:
		return nil, wrong("patient_id", "", "the patient, her name, or what the time is kept for")
	}
	fresh := proto.CloneOf(m)
	fresh.Id, fresh.Moves, fresh.Cancelled = h.NewID(), nil, nil
	return fresh, nil
}

// MoveOn records what became of an appointment: confirmed, arrived, did not come, or done with the visit that came of it.
func MoveOn(h Hand, a *chartv1.Appointment, state chartv1.AppointmentState, session string) (*chartv1.Appointment, error) {
	if err := h.mayBook(); err != nil {
		return nil, err
	}
	switch {
	case state == chartv1.AppointmentState_APPOINTMENT_STATE_UNSPECIFIED:
		return nil, wrong("moves.move.state", "", "confirmed, arrived, no_show or done")
	case a.GetCancelled() != nil:
		return nil, wrong("cancelled", "", "an appointment that takes place")
	}
	step := &chartv1.AppointmentStep{State: state, Moved: h.Act()}
	setText(&step.SessionId, session)
	return &chartv1.Appointment{Id: a.GetId(), Moves: []*chartv1.AppointmentMove{{Id: h.NewID(), Step: step}}}, nil
}

// CallOff says that an appointment does not take place, and why.
func CallOff(h Hand, a *chartv1.Appointment, reason string) (*chartv1.Appointment, error) {
	if err := h.mayBook(); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("cancelled.reason", "", "why")
	}
	return &chartv1.Appointment{Id: a.GetId(), Cancelled: h.void(reason)}, nil
}

// StateOf is what became of an appointment: done counts before arrived, that before did not come, that before confirmed, in whatever order they came in;
// unspecified where nothing did.
func StateOf(a *chartv1.Appointment) chartv1.AppointmentState {
	rank := []chartv1.AppointmentState{
		chartv1.AppointmentState_APPOINTMENT_STATE_UNSPECIFIED, chartv1.AppointmentState_APPOINTMENT_STATE_CONFIRMED,
		chartv1.AppointmentState_APPOINTMENT_STATE_NO_SHOW, chartv1.AppointmentState_APPOINTMENT_STATE_ARRIVED, chartv1.AppointmentState_APPOINTMENT_STATE_DONE,
	}
	best := 0
	for _, m := range a.GetMoves() {
		best = max(best, slices.Index(rank, m.GetStep().GetState()))
	}
	return rank[best]
}

// Zones finds a time zone by its name in the time zone database; nil for one that is not known.
type Zones func(name string) *time.Location

// DayList lists what a clinic has booked on a day, by the time at which it begins. The day is that of each slot's own zone, or universal time where the zone
// is not known. Only that person's when staff is not empty, with what any injector of the clinic may take. Cancelled ones are among them.
func DayList(all []*chartv1.Appointment, clinic, staff string, day *recordv1.Date, zones Zones) []*chartv1.Appointment {
	var out []*chartv1.Appointment
	for _, a := range all {
		if a.GetClinicId() != clinic || staff != "" && a.StaffId != nil && a.GetStaffId() != staff || !slotOn(a.GetSlot(), day, zones) {
			continue
		}
		out = append(out, a)
	}
	slices.SortStableFunc(out, func(a, b *chartv1.Appointment) int {
		return cmp.Or(a.GetSlot().GetBeginsAt().AsTime().Compare(b.GetSlot().GetBeginsAt().AsTime()), strings.Compare(a.GetId(), b.GetId()))
	})
	return out
}

func slotOn(s *chartv1.Slot, day *recordv1.Date, zones Zones) bool {
	if s.GetBeginsAt() == nil {
		return false
	}
	zone := time.UTC
	if zones != nil {
		if known := zones(s.GetTimeZone()); known != nil {
			zone = known
		}
	}
	y, m, d := s.GetBeginsAt().AsTime().In(zone).Date()
	return day.GetYear() == int32(y) && day.GetMonth() == int32(m) && day.GetDay() == int32(d)
}

// Overlaps lists pairs of appointments that one person has at one time and that both take place, by their ids.
func Overlaps(day []*chartv1.Appointment) (pairs [][2]string) {
	for i, a := range day {
		for _, b := range day[i+1:] {
			if a.GetCancelled() == nil && b.GetCancelled() == nil && a.StaffId != nil && a.GetStaffId() == b.GetStaffId() && meet(a.GetSlot(), b.GetSlot()) {
				pairs = append(pairs, [2]string{a.GetId(), b.GetId()})
			}
		}
	}
	return pairs
}

func meet(a, b *chartv1.Slot) bool {
	from, other := a.GetBeginsAt().AsTime(), b.GetBeginsAt().AsTime()
	return from.Before(other.Add(time.Duration(b.GetMinutes())*time.Minute)) && other.Before(from.Add(time.Duration(a.GetMinutes())*time.Minute))
}
