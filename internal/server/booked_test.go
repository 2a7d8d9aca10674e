package server_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/record"
)

// bookedRooms is a desk that holds everyone and a room that holds whom its clinic has booked.
type bookedRooms struct {
	*world
	desk, room *tablet
}

func newBookedRooms(t *testing.T) bookedRooms {
	w := newWorld(t)
	b := bookedRooms{w, w.tablet(w.hireAt(&w.clinic, "ann", accessv1.Role_ROLE_INJECTOR)), w.tablet(w.hireAt(&w.clinic, "eve", accessv1.Role_ROLE_INJECTOR))}
	b.room.store(b.room.r.LimitScope())
	b.room.sync()
	return b
}

// booking is an appointment of a patient at a clinic, so many days from now.
func (b bookedRooms) booking(p record.Key, clinic string, days int) *chartv1.Appointment {
	return &chartv1.Appointment{ClinicId: &clinic, PatientId: proto.String(p.ID.String()), Slot: &chartv1.Slot{
		BeginsAt: timestamppb.New(b.now().AddDate(0, 0, days).Truncate(time.Second)), Minutes: 30, TimeZone: "Europe/Athens"}}
}

func (b bookedRooms) patient() record.Key {
	k := newRecord(kindPatient)
	b.desk.edit(k, patientAt(b.clinic))
	return k
}

// later lets days pass, and both sign in anew.
func (b bookedRooms) later(days int) {
	b.pass(time.Duration(days) * 24 * time.Hour)
	b.desk.signIn()
	b.room.signIn()
}

// holds syncs both and says whether the room has a patient's record; it must know of her when not.
func (b bookedRooms) holds(p record.Key, want bool, when string) {
	b.Helper()
	b.desk.sync()
	b.room.sync()
	if has := !b.room.r.View(p).Empty(); has != want {
		b.Errorf("%s: the room holds her: %v, want %v", when, has, want)
	}
	if _, err := b.server.Service().Ledger().Check(b.Context(), nil); err != nil {
		b.Errorf("%s: %v", when, err)
	}
}

// TestBooked_EnterAndLeave: by the calendar of the device's clinic its patients enter and leave the device at its next exchange.
func TestBooked_EnterAndLeave(t *testing.T) {
	t.Parallel() // runs while others wait
	for _, c := range []struct {
		name   string
		days   int // from now
		inside bool
	}{
		{"long ago", -5, false}, {"yesterday", -1, true}, {"now", 0, true}, {"at the end of the window", 7, true}, {"after the window", 9, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newBookedRooms(t)
			p, a := b.patient(), newRecord(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT)
			b.holds(p, false, "before it is booked")
			b.desk.edit(a, b.booking(p, b.clinic, c.days))
			b.holds(p, c.inside, "booked")
			b.desk.edit(a, &chartv1.Appointment{Cancelled: &recordv1.Void{Reason: "she asked", By: b.desk.who.id.String(), At: timestamppb.New(b.now())}})
			b.holds(p, false, "cancelled")
		})
	}
}

// TestBooked_TheDayTurns: who is booked for later enters when her day comes near, and leaves after it; what happens at another clinic changes nothing.
func TestBooked_TheDayTurns(t *testing.T) {
	t.Parallel() // runs while others wait
	b := newBookedRooms(t)
	p, elsewhere := b.patient(), b.patient()
	b.desk.edit(newRecord(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT), b.booking(p, b.clinic, 20))
	b.desk.edit(newRecord(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT), b.booking(elsewhere, uuid.NewString(), 0))
	b.holds(p, false, "in 20 days")
	b.holds(elsewhere, false, "at another clinic")
	b.later(15)
	b.holds(p, true, "in 5 days")
	b.later(8)
	b.holds(p, false, "3 days ago")
}

// TestBooked_SeenAndReviewed: a session, or a review that is set, holds a patient; afterwards she leaves.
func TestBooked_SeenAndReviewed(t *testing.T) {
	t.Parallel() // runs while others wait
	b := newBookedRooms(t)
	p := b.patient()
	day := func(days int) *recordv1.Date {
		at := b.now().UTC().AddDate(0, 0, days)
		return &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}
	}
	s := newRecord(optionsv1.RecordKind_RECORD_KIND_SESSION)
	b.desk.edit(s, &chartv1.Session{PatientId: proto.String(p.ID.String()), ClinicId: &b.clinic, On: day(0), Review: &chartv1.ReviewDate{
		From: day(60), Until: day(70), Set: &recordv1.Act{By: b.desk.who.id.String(), At: timestamppb.New(b.now())}}})
	b.holds(p, true, "seen today")
	b.later(33)
	b.holds(p, false, "seen a month ago")
	b.later(22)
	b.holds(p, true, "a review in 5 days")
	b.later(40)
	b.holds(p, false, "the review was due a month ago")
}

// TestBooked_AskedForStays: one whom a person asked for stays when her booking is over, and one who is booked stays when she is given back; what the
// device wrote and the server lacks is taken after she left.
func TestBooked_AskedForStays(t *testing.T) {
	t.Parallel() // runs while others wait
	b := newBookedRooms(t)
	p, q := b.patient(), b.patient()
	for _, k := range []record.Key{p, q} {
		b.desk.edit(newRecord(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT), b.booking(k, b.clinic, 0))
	}
	b.holds(p, true, "booked")
	b.room.store(b.room.r.Hold(p.ID))
	b.room.sync()
	b.room.store(b.room.r.Hold(q.ID))
	b.room.sync()
	b.room.store(b.room.r.Unhold(q.ID))
	b.holds(q, true, "booked, given back")
	b.later(5)
	b.room.edit(q, &chartv1.Patient{Language: proto.String("el")})
	b.holds(p, true, "asked for, no longer booked")
	b.holds(q, true, "edited just now")
	b.desk.sync()
	if b.desk.r.Unsent() != 0 || b.room.r.Unsent() != 0 || b.desk.r.View(q).Digest() != b.room.r.View(q).Digest() {
		t.Error("what was written of her after she left is on the server and on both")
	}
	b.later(32)
	b.holds(q, false, "edited a month ago")
}

// TestBooked_OpenedWithAReason: a patient of another clinic whose records were opened with a reason leaves when that is over.
func TestBooked_OpenedWithAReason(t *testing.T) {
	t.Parallel() // runs while others wait
	b := newBookedRooms(t)
	p := newRecord(kindPatient)
	office := b.tablet(b.hire("olga", accessv1.Role_ROLE_INJECTOR))
	office.edit(p, patientAt(b.otherClinic()))
	office.sync()
	b.room.sync()
	_, err := b.room.who.access().BreakGlass(t.Context(), &accessv1.BreakGlassRequest{
		RequestId: uuid.NewString(), PatientId: p.ID.String(), Reason: "swelling after treatment at the harbour",
	})
	if err != nil {
		t.Fatal(err)
	}
	b.room.store(b.room.r.Hold(p.ID))
	b.holds(p, true, "opened")
	b.pass(auth.MaxGrantLife + time.Minute)
	b.room.signIn()
	b.desk.signIn()
	b.holds(p, false, "its end has come")
}

func (b bookedRooms) otherClinic() string {
	k := newRecord(optionsv1.RecordKind_RECORD_KIND_CLINIC)
	office := b.tablet(b.hire("otto", accessv1.Role_ROLE_ADMINISTRATOR))
	office.edit(k, &chartv1.Clinic{Name: proto.String("Harbour")})
	office.sync()
	return k.ID.String()
}

// TestBooked_IdleIsOneSmallCall: with many booked, an exchange in which nothing happens is one call of at most 300 bytes there and back, and writes nothing.
func TestBooked_IdleIsOneSmallCall(t *testing.T) {
	t.Parallel() // runs while others wait
	b := newBookedRooms(t)
	var last record.Key
	for range 200 {
		last = b.patient()
		b.desk.edit(newRecord(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT), b.booking(last, b.clinic, 1))
	}
	b.holds(last, true, "booked")
	before, err := b.server.Service().Ledger().Check(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	b.room.r.Poll()
	s := b.room.r.Next()
	resp, err := b.room.client.Exchange(t.Context(), s.Exchange)
	if err != nil {
		t.Fatal(err)
	}
	if n := proto.Size(s.Exchange) + proto.Size(resp); n > 300 || resp.GetMore() || len(resp.GetCursor()) > 0 {
		t.Errorf("an idle exchange takes %d bytes, answers %v", n, resp)
	}
	after, err := b.server.Service().Ledger().Check(t.Context(), nil)
	if err != nil || after.Events != before.Events {
		t.Errorf("%d events after an idle exchange, %d before (%v)", after.Events, before.Events, err)
	}
}
