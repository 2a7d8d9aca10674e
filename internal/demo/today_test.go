package demo

import (
	"strings"
	"testing"
	"time"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// of is every record of a kind as the server holds it.
func of(t *testing.T, d *Demo, kind record.Kind) (out []*record.State) {
	t.Helper()
	err := d.play.server.Service().Ledger().Scan(t.Context(), d.play.org, kind, func(st *record.State) error {
		out = append(out, st.Clone())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestDayToBeTried asks the server for what the instructions say of today, by the machine's own calendar.
func TestDayToBeTried(t *testing.T) {
	d, story := played(t, 3, few)
	if digest := digestOf(t, d); !strings.Contains(story, digest) {
		t.Errorf("the story does not hold the digest %s of its charts", digest)
	}
	made, err := d.Today(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	now := d.play.clock.now().In(time.Local)
	isToday := func(at time.Time) bool { return at.In(time.Local).Format(time.DateOnly) == now.Format(time.DateOnly) }
	booked, reviewOf := 0, ""
	for _, st := range of(t, d, optionsv1.RecordKind_RECORD_KIND_APPOINTMENT) {
		typed, err := chart.Typed(st)
		if err != nil {
			t.Fatal(err)
		}
		a := typed.GetAppointment()
		if !isToday(a.GetSlot().GetBeginsAt().AsTime()) {
			continue
		}
		if booked++; a.GetPurpose() == "review" {
			reviewOf = a.GetParentSessionId()
		}
	}
	if booked != bookedToday || made.Booked != booked {
		t.Errorf("%d appointments are today, %d said, want %d", booked, made.Booked, bookedToday)
	}
	treated := false
	for _, st := range of(t, d, optionsv1.RecordKind_RECORD_KIND_SESSION) {
		typed, err := chart.Typed(st)
		if err != nil {
			t.Fatal(err)
		}
		s := typed.GetSession()
		if s.GetId() != reviewOf {
			continue
		}
		from, until := day(s.GetReview().GetFrom()), day(s.GetReview().GetUntil())
		treated = len(s.GetInjections()) > 0 && len(s.GetInjections()[0].GetGivings()) > 0 && from.Before(now) && until.After(now)
	}
	if !treated {
		t.Error("no treatment that the review of today looks back on is due for one")
	}
	vialsInDate(t, d, made.Vials)
	conflicts := 0
	for _, st := range of(t, d, optionsv1.RecordKind_RECORD_KIND_PATIENT) {
		conflicts += len(d.play.chart.Conflicts(st))
	}
	if conflicts != 1 {
		t.Errorf("%d conflicts of patients, want the one to be settled", conflicts)
	}
}

// vialsInDate counts the vials that nobody has opened and whose label is in date.
func vialsInDate(t *testing.T, d *Demo, want int) {
	t.Helper()
	n := 0
	for _, st := range of(t, d, optionsv1.RecordKind_RECORD_KIND_VIAL) {
		typed, err := chart.Typed(st)
		if err != nil {
			t.Fatal(err)
		}
		v := typed.GetVial()
		if v.GetDiscarded() != nil {
			continue
		}
		if len(v.GetPreparations()) == 0 && len(v.GetEntries()) == 0 && day(v.GetLabelling().GetExpiresOn()).After(d.play.clock.now()) {
			n++
		}
	}
	if n != want || n < len(mixings()) {
		t.Errorf("%d vials are unopened and in date, %d said", n, want)
	}
}
