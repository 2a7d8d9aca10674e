package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// Today is what was made for the day on which the demo runs.
type Today struct {
	// Booked is how many appointments there are.
	Booked int
	// SignIn is whose day it is, by the name to sign in with.
	SignIn string
	// Review, Alert and Conflict are three of those booked, and WalkIn is a patient of another clinic who is not, by name.
	Review, Alert, Conflict, WalkIn string
	// Vials is how many unopened vials the clinic has, all in date.
	Vials int
}

// todayRoles are those of the day who are more than booked, by their places on its list.
const (
	reviewToday   = 2
	conflictToday = 3
	alertToday    = 5
	bookedToday   = 8
)

// unopenedEach is how many unopened vials of each product are put into the fridge.
const unopenedEach = 4

// Today fills the real day at Vellmouth, for whoever tries a tablet: appointments, orders, vials. It goes by the machine's clock and is no part of the
// story, whose charts and digest are settled before; so it is called once, after Play, and only for a server that runs on.
func (d *Demo) Today(ctx context.Context) (Today, error) {
	p := d.play
	now := p.clock.now().In(time.Local)
	t := today{play: p, dice: newDice(p.seed, "today"), now: now, day: time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.Local)}
	if err := errors.Join(p.room1.exchange(ctx, p.staff[maren]), p.room2.exchange(ctx, p.staff[yusuf])); err != nil {
		return Today{}, err
	}
	if err := t.fill(); err != nil {
		return Today{}, fmt.Errorf("make the day to be tried: %w", err)
	}
	return t.made, errors.Join(p.room1.exchange(ctx, p.staff[maren]), p.room2.exchange(ctx, p.staff[yusuf]))
}

// today is the real day while it is made. All of it is written in Room 1, but for the other half of the conflict.
type today struct {
	*play
	dice     *dice
	now, day time.Time
	made     Today
}

func (t *today) fill() error {
	who, err := t.choose()
	if err != nil {
		return err
	}
	if err := errors.Join(t.clear(), t.stock()); err != nil {
		return err
	}
	for i, q := range who {
		if err := t.book(i, q); err != nil {
			return err
		}
	}
	t.made.SignIn, t.made.Booked, t.made.Review, t.made.Alert, t.made.Conflict = t.staff[maren].signIn, len(who), who[reviewToday].full, who[alertToday].full, who[conflictToday].full
	return t.disagree(who[conflictToday])
}

// choose takes those who have been treated at Vellmouth and not in the story, one with an alert among them, and the walk-in from another clinic.
func (t *today) choose() ([]*patient, error) {
	var plain, alert []*patient
	for _, q := range t.patients {
		switch {
		case q.guest || q.visits == 0:
		case q.clinic != vellmouth:
			t.made.WalkIn = q.full
		case q.alert != "":
			alert = append(alert, q)
		default:
			plain = append(plain, q)
		}
	}
	if len(alert) == 0 && len(plain) > 0 { // in few patients there may be none: then she gets one
		q := plain[len(plain)-1]
		plain, alert = plain[:len(plain)-1], append(alert, q)
		if err := t.alert(q); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(plain, func(a, b *patient) int { return cmp.Or(rank(a)-rank(b), b.last.Compare(a.last)) })
	plain = plain[:min(len(plain), bookedToday-1)]
	if len(plain) <= alertToday || len(alert) == 0 || t.made.WalkIn == "" {
		return nil, fmt.Errorf("%d patients of Vellmouth can be booked, want more than %d: ask for more patients", len(plain), alertToday)
	}
	return slices.Insert(plain, alertToday, alert[0]), nil
}

// rank puts those first who have come more than once and take the product with the most regimens; of these, who came last.
func rank(q *patient) int {
	if q.visits > 1 && q.product == "onabotulinumtoxinA" {
		return 0
	}
	return 1
}

func (t *today) alert(q *patient) error {
	a := alertTexts()[0]
	q.alert = a.text
	return t.room1.write(t.staff[maren], t.day.AddDate(0, 0, -1), q.key(), &chartv1.Patient{Alerts: []*chartv1.Alert{{
		Id: t.dice.id().String(), Content: &chartv1.AlertContent{
			Kind: chartv1.AlertKind(a.kind), Text: a.text, Raised: act(t.staff[maren], t.day.AddDate(0, 0, -1)),
		},
	}}})
}

// clear puts away what the story left open: nobody may draw from it on another day.
func (t *today) clear() error {
	for _, o := range []*openVial{t.tray1, t.soon.vial, t.locum.vial} {
		if err := t.putAway(t.room1, t.dice, o, t.staff[maren]); err != nil {
			return err
		}
	}
	return nil
}

// stock puts unopened vials of lots that are in date into the fridge.
func (t *today) stock() error {
	for i, m := range mixings() {
		l := lot{t.dice.id(), m.product, fmt.Sprintf("T%d%04d", i+1, t.dice.between(1, 9999)), t.day.AddDate(1, 8, 0)}
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_LOT, ID: l.id}
		err := t.room1.write(t.staff[maren], t.day.AddDate(0, 0, -20), k, &chartv1.Lot{
			Identity:  &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: &l.product, Number: l.number},
			ExpiresOn: date(l.expires), Supplier: new("Sound Wholesale"),
		})
		if err != nil {
			return err
		}
		for n := range unopenedEach {
			if err := t.unopened(l, fmt.Sprintf("T%d%02d", i+1, n+1)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (t *today) unopened(l lot, number string) error {
	by, at := t.staff[tam], t.day.AddDate(0, 0, -18).Add(9*time.Hour)
	o, err := t.openVial(t.dice, l.product, at, by, vellmouth)
	if err != nil {
		return err
	}
	m := o.m
	m.Entries, m.Preparations, m.ShortNumber = nil, nil, &number
	m.Labelling.LotNumber, m.Labelling.LotId, m.Labelling.ExpiresOn = l.number, new(l.id.String()), date(l.expires)
	m.Receipt = &chartv1.VialReceipt{Received: act(by, at), Supplier: "Sound Wholesale", DeliveryNote: "SW-4471", ArrivedCold: new(true)}
	m.StorageMoves = []*chartv1.StorageMove{{Id: t.dice.id().String(), Move: &chartv1.StoragePlace{Place: "fridge", Moved: act(by, at)}}}
	t.made.Vials++
	return t.room1.write(by, at, o.key(), m)
}

// book books one of the day, with an order for her treatment, or a treatment two weeks ago for her review.
func (t *today) book(i int, q *patient) error {
	m := &chartv1.Appointment{
		ClinicId: new(t.clinics[vellmouth].id.String()), PatientId: new(q.id.String()), StaffId: new(t.staff[maren].id.String()), Purpose: new("treatment"),
		Slot: &chartv1.Slot{BeginsAt: timestamppb.New(t.day.Add(9*time.Hour + time.Duration(i)*45*time.Minute)), Minutes: 40, TimeZone: "UTC"},
		Room: new("Room 1"),
	}
	if i == reviewToday {
		parent, err := t.twoWeeksAgo(q)
		if err != nil {
			return err
		}
		m.Purpose, m.ParentSessionId = new("review"), new(parent.String())
	} else {
		prescribed := t.day.AddDate(0, 0, -1).Add(10 * time.Hour)
		o := standing{t.dice.id(), prescribed.AddDate(1, 0, -1)}
		if err := t.order(t.room1, t.dice, o, q, q.product, t.staff[ines], prescribed); err != nil {
			return err
		}
	}
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_APPOINTMENT, ID: t.dice.id()}
	return t.room1.write(t.staff[pell], t.day.AddDate(0, 0, -1).Add(15*time.Hour), k, m)
}

// twoWeeksAgo charts the treatment that a review looks back on.
func (t *today) twoWeeksAgo(q *patient) (record.ID, error) {
	by, at := t.staff[maren], t.day.AddDate(0, 0, -14).Add(10*time.Hour)
	v := &visit{id: t.dice.id(), patient: q, clinic: vellmouth, by: by, at: at, regimens: find(q.product, frownLines, mouthCorners)}
	o := standing{t.dice.id(), at.AddDate(1, 0, -1)}
	v.order = o.id
	err := t.order(t.room1, t.dice, o, q, q.product, t.staff[ines], at.Add(-time.Hour))
	if err != nil {
		return v.id, err
	}
	if v.vial, err = t.vial(t.room1, by, at, vellmouth); err != nil {
		return v.id, err
	}
	if err := t.whole(t.room1, v); err != nil {
		return v.id, err
	}
	if err := t.putAway(t.room1, t.dice, v.vial, t.staff[tam]); err != nil {
		return v.id, err
	}
	return v.id, t.performed(t.room1, by, at.Add(40*time.Minute), v.key())
}

// disagree has two people write down another telephone number of one patient, each on a tablet that cannot see the other.
func (t *today) disagree(q *patient) error {
	at := t.day.AddDate(0, 0, -1).Add(16 * time.Hour)
	one := t.room1.write(t.staff[maren], at, q.key(), &chartv1.Patient{Contact: &recordv1.Contact{Phone: "000 555 0144", City: "Vellmouth"}})
	other := t.room2.write(t.staff[yusuf], at.Add(5*time.Minute), q.key(), &chartv1.Patient{Contact: &recordv1.Contact{Phone: "000 555 0141", City: "Vellmouth"}})
	return errors.Join(one, other)
}

// TabletCode makes a one-time code for one more tablet in the first clinic. It is good for auth.CodeLife.
func (d *Demo) TabletCode(ctx context.Context) (string, error) {
	return d.code(ctx, accessv1.DeviceKind_DEVICE_KIND_TABLET)
}
