package calendar

import (
	"crypto/sha256"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// cancelledText is why an appointment is cancelled that the calendar cancelled.
const cancelledText = "cancelled in the calendar"

// decide says what one entry changes.
func (r *reader) decide(e entry) {
	here := r.known[e.key]
	switch {
	case here == nil && (e.begins.Before(r.source.From) || !e.begins.Before(r.source.Until)):
		r.plan.Outside++
	case here == nil && e.cancelled:
		r.plan.NeverHere++
	case here == nil:
		r.plan.Made = append(r.plan.Made, r.appointment(e))
	case e.sequence < int(here.GetImported().GetSequence()):
		r.plan.Older++
	case here.GetCancelled() != nil && (here.GetCancelled().GetReason() != cancelledText || e.cancelled):
		r.plan.CancelledHere++
	case e.cancelled:
		r.plan.Cancelled = append(r.plan.Cancelled, r.cancelled(here, e.sequence))
	default:
		r.change(here, e)
	}
}

// appointment is a new record of an entry. Its id is made of the clinic and the entry's key, so that two tablets make one record of it.
func (r *reader) appointment(e entry) *chartv1.Appointment {
	sum := sha256.Sum256([]byte("needlebook calendar 1\x00" + r.source.ClinicID + "\x00" + e.key))
	id := uuid.UUID(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80 // version 8, RFC 9562
	a := &chartv1.Appointment{
		Id: id.String(), ClinicId: proto.String(r.source.ClinicID), Slot: slotOf(e),
		Imported: &chartv1.CalendarEntry{Uid: e.key, Sequence: int32(e.sequence), Imported: r.hand.Act()},
	}
	if name := plainText(e.event, ical.PropSummary, 200); name != "" {
		a.BookedName = &name
		if r.source.Patient != nil {
			if patient := r.source.Patient(name); patient != "" {
				a.PatientId = &patient
			}
		}
	}
	if room := plainText(e.event, ical.PropLocation, 60); room != "" {
		a.Room = &room
	}
	if staff := r.staff(e.event); staff != "" {
		a.StaffId = &staff
	}
	if purpose := purposeOf(e.event); purpose != "" {
		a.Purpose = &purpose
	}
	return a
}

func slotOf(e entry) *chartv1.Slot {
	return &chartv1.Slot{BeginsAt: timestamppb.New(e.begins), Minutes: int32(e.minutes), TimeZone: e.zone}
}

// plainText is a text of an event on one line, without characters that no screen shows, cut at so many characters.
func plainText(event ical.Event, name string, most int) string {
	p := event.Props.Get(name)
	if p == nil {
		return ""
	}
	text, err := p.Text()
	if err != nil {
		text = p.Value
	}
	text = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(text, ""), func(c rune) bool {
		return unicode.IsSpace(c) || unicode.IsControl(c) || unicode.Is(unicode.Cf, c)
	}), " ")
	for utf8.RuneCountInString(text) > most {
		_, last := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-last]
	}
	return strings.TrimSpace(text)
}

// staff is who the entry is with, by the mail address of an attendee or of the organiser.
func (r *reader) staff(event ical.Event) string {
	for _, name := range []string{ical.PropAttendee, ical.PropOrganizer} {
		for _, p := range event.Props.Values(name) {
			address := strings.ToLower(strings.TrimSpace(p.Value))
			if id := r.source.Staff[strings.TrimPrefix(address, "mailto:")]; id != "" {
				return id
			}
		}
	}
	return ""
}

// purposeOf is the first category that is a purpose of ours.
func purposeOf(event ical.Event) string {
	for _, p := range event.Props.Values(ical.PropCategories) {
		for text := range strings.SplitSeq(p.Value, ",") {
			switch word := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(text)), "-", "_"); word {
			case "consultation", "treatment", "review", "touch_up":
				return word
			}
		}
	}
	return ""
}

// change writes what is other in the entry than here. What the calendar does not say is left as it is here, so that a patient who was matched by hand stays.
func (r *reader) change(here *chartv1.Appointment, e entry) {
	want := r.appointment(e)
	part := &chartv1.Appointment{Id: here.GetId()}
	changed := false
	if !proto.Equal(here.GetSlot(), want.GetSlot()) {
		part.Slot, changed = want.GetSlot(), true
	}
	for _, text := range []struct{ here, want, part **string }{
		{&here.BookedName, &want.BookedName, &part.BookedName}, {&here.Room, &want.Room, &part.Room}, {&here.StaffId, &want.StaffId, &part.StaffId},
		{&here.Purpose, &want.Purpose, &part.Purpose},
	} {
		if *text.want != nil && (*text.here == nil || **text.here != **text.want) {
			*text.part, changed = *text.want, true
		}
	}
	if here.PatientId == nil && want.PatientId != nil {
		part.PatientId, changed = want.PatientId, true
	}
	if here.GetCancelled() != nil {
		// It takes place after all. A record keeps a void; so the entry is told as one that could not be taken up again.
		r.misfit(e.number, e.key, "It was cancelled by the calendar before and takes place again; book it anew by hand.")
		return
	}
	if !changed && e.sequence == int(here.GetImported().GetSequence()) {
		r.plan.Unchanged++
		return
	}
	part.Imported = want.GetImported()
	r.plan.Changed = append(r.plan.Changed, part)
}

// cancelled is the part of a record that cancels it.
func (r *reader) cancelled(here *chartv1.Appointment, sequence int) *chartv1.Appointment {
	return &chartv1.Appointment{
		Id:        here.GetId(),
		Cancelled: &recordv1.Void{Reason: cancelledText, By: r.hand.By, At: timestamppb.New(r.hand.At.Truncate(time.Millisecond))},
		Imported:  &chartv1.CalendarEntry{Uid: here.GetImported().GetUid(), Sequence: int32(sequence), Imported: r.hand.Act()},
	}
}

// gone cancels the instances of a series that are here, lie in the window, and that the series does not have any more.
func (r *reader) gone(s series) {
	for key, here := range r.known {
		begins := here.GetSlot().GetBeginsAt().AsTime()
		if !strings.HasPrefix(key, s.uid+"/") || s.keys[key] || here.GetCancelled() != nil || s.sequence < int(here.GetImported().GetSequence()) ||
			begins.Before(r.source.From) || !begins.Before(r.source.Until) {
			continue
		}
		r.plan.Cancelled = append(r.plan.Cancelled, r.cancelled(here, s.sequence))
	}
}
