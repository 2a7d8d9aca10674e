package chart

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// Days of the window by which a clinic's devices hold patients.
const (
	// BookedAheadDays is how many days ahead of today an appointment or a review that is due lets a patient be held.
	BookedAheadDays = 7
	// SeenDays is how many days after a session, or after the first day of a review, she is still held.
	SeenDays = 30
)

// dayBytes is the digits of a day in a term.
const dayBytes = 8

// HeldTerms is the terms of the patients whom the devices of a clinic hold on a day there: those with an appointment from the day before to BookedAheadDays
// ahead, with a session in the last SeenDays, and with a review whose first day is from SeenDays back to BookedAheadDays ahead. Appointments are
// found by days in UTC, so that up to a day more of them counts. Each pair is the first term and one behind the last.
func HeldTerms(clinic record.ID, today time.Time) [][2]string {
	y, m, d := today.Date()
	at := func(days int) time.Time { return time.Date(y, m, d+days, 0, 0, 0, 0, today.Location()) }
	text := func(t time.Time) string { return t.Format("20060102") }
	span := func(term, first, end string) [2]string {
		return [2]string{term + string(clinic[:]) + first, term + string(clinic[:]) + end}
	}
	ahead := at(BookedAheadDays+1).Add(-time.Second).UTC().AddDate(0, 0, 1)
	return [][2]string{
		span(TermBooked, text(at(-1).UTC()), text(ahead)),
		span(TermReview, text(at(-SeenDays)), text(at(BookedAheadDays+1))),
		span(TermSeen, text(at(-SeenDays)), text(at(2))),
	}
}

// HeldClinic is the clinic of a term that lets its devices hold a patient; false for any other term.
func HeldClinic(term string) (clinic record.ID, ok bool) {
	if len(term) != 1+16+dayBytes+16 || !slices.Contains([]string{TermBooked, TermSeen, TermReview}, term[:1]) {
		return clinic, false
	}
	return record.ID([]byte(term[1:17])), true
}

func heldTerms(term string, clinics, patients []record.ID, day string) (out []string) {
	if len(day) != dayBytes {
		return nil
	}
	for _, c := range clinics {
		for _, p := range patients {
			out = append(out, term+string(c[:])+day+string(p[:]))
		}
	}
	return out
}

func bookedTerms(e elements) (out []string) {
	cancelled := messages[*recordv1.Void](e, "", "cancelled")
	if len(cancelled) > 0 && !slices.ContainsFunc(cancelled, func(v *recordv1.Void) bool { return v == nil }) {
		return nil
	}
	for _, s := range messages[*chartv1.Slot](e, "", "slot") {
		if s.GetBeginsAt().CheckValid() == nil {
			day := s.GetBeginsAt().AsTime().Format("20060102")
			out = append(out, heldTerms(TermBooked, e.ids("clinic_id"), e.ids("patient_id"), day)...)
		}
	}
	return out
}

// The numbers of the fields that seenTerms reads.
const (
	sessionPatient = 2
	sessionClinic  = 3
	sessionOn      = 6
	sessionReview  = 61
)

// seenTerms is the terms by which a clinic's devices hold the patient of a session. One that surely does not count has none.
func seenTerms(st *record.State) (out []string) {
	fields := func(number uint32) (all []*chartv1.Session, cleared bool) {
		for _, x := range st.Siblings(record.Register{Field: number}) {
			m := &chartv1.Session{}
			if cleared = cleared || x.Cleared; !x.Cleared && proto.Unmarshal(x.Value, m) == nil {
				all = append(all, m)
			}
		}
		return all, cleared
	}
	if void, maybe := fields(sessionVoid); len(void) > 0 && !maybe {
		return nil
	}
	ids := func(number uint32, get func(*chartv1.Session) string) (out []record.ID) {
		all, _ := fields(number)
		for _, m := range all {
			if id, err := record.ParseID(get(m)); err == nil {
				out = append(out, id)
			}
		}
		return out
	}
	patients, clinics := ids(sessionPatient, (*chartv1.Session).GetPatientId), ids(sessionClinic, (*chartv1.Session).GetClinicId)
	days, _ := fields(sessionOn)
	for _, m := range days {
		out = append(out, heldTerms(TermSeen, clinics, patients, digits(m.GetOn()))...)
	}
	reviews, _ := fields(sessionReview)
	for _, m := range reviews {
		out = append(out, heldTerms(TermReview, clinics, patients, digits(m.GetReview().GetFrom()))...)
	}
	return out
}

// digits is a day as year, month and day.
func digits(d *recordv1.Date) string {
	return fmt.Sprintf("%04d%02d%02d", d.GetYear(), d.GetMonth(), d.GetDay())
}
