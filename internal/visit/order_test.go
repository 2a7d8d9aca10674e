package visit_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
	"needlebook/internal/visit"
)

func draft() *chartv1.Order {
	return &chartv1.Order{
		PatientId: proto.String(patient().GetId()), Kind: chartv1.OrderKind_ORDER_KIND_PRESCRIPTION.Enum(), PrescriberId: proto.String(lena),
		Validity: &chartv1.Validity{From: today(), Until: &recordv1.Date{Year: 2026, Month: 9, Day: 2}},
		Lines:    []*chartv1.OrderLine{{Leave: &chartv1.OrderLeave{Product: abo, Regions: []string{"lower_face"}, MostMilliunits: 60_000}}},
	}
}

func TestOrder_IssuedChangedByVoiceAndCountersigned(t *testing.T) {
	b := newBook(t)
	o, err := visit.DraftOrder(b.hand(mia), b.e, draft())
	b.ok(err)
	lead := &accessv1.Staff{Id: lena, Prescribes: &accessv1.Prescribing{Basis: "licence"}}
	over := &accessv1.Staff{Id: lena, Prescribes: &accessv1.Prescribing{ExpiresOn: &recordv1.Date{Year: 2026, Month: 3, Day: 1}}}
	for name, c := range map[string]struct {
		who   string
		staff *accessv1.Staff
	}{"another": {mia, &accessv1.Staff{Id: mia, Prescribes: &accessv1.Prescribing{}}}, "no longer": {lena, over}, "never": {lena, &accessv1.Staff{Id: lena}}} {
		if _, err := visit.IssueOrder(b.hand(c.who), o, c.staff, today(), "I prescribe this."); fault.Of(err) == nil ||
			fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
			t.Errorf("issued by %s: %v", name, err)
		}
	}
	if _, err := visit.ChangeByVoice(b.hand(mia), b.e, o, "5 more", nil, true); !refused(err, "issued") {
		t.Errorf("a draft changed by voice: %v", err)
	}
	part, err := visit.IssueOrder(b.hand(lena), o, lead, today(), "I prescribe this.")
	b.ok(err)
	proto.Merge(o, part)
	if _, err := visit.ChangeByVoice(b.hand(lena), b.e, o, "5 more", nil, true); !refused(err, "changes.change.heard") {
		t.Errorf("heard by the prescriber: %v", err)
	}
	part, err = visit.ChangeByVoice(b.hand(mia), b.e, o, "60 to 70 units", &chartv1.OrderLeave{Product: abo, Regions: []string{"lower_face"}, MostMilliunits: 70_000}, true)
	b.ok(err)
	proto.Merge(o, part)
	change := o.GetChanges()[0].GetId()
	if _, err := visit.Countersign(b.hand(mia), o, change); fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
		t.Errorf("countersigned by another: %v", err)
	}
	if owed := visit.CountersignaturesOwed(o); len(owed) != 1 || owed[0] != change {
		t.Errorf("owed %v", owed)
	}
	part, err = visit.Countersign(b.hand(lena), o, change)
	b.ok(err)
	o.Changes[0].Countersigned = part.GetChanges()[0].GetCountersigned()
	if owed := visit.CountersignaturesOwed(o); len(owed) != 0 {
		t.Errorf("owed %v", owed)
	}
}

func TestDraftOrder_Refuses(t *testing.T) {
	b := newBook(t)
	standing := chartv1.OrderKind_ORDER_KIND_STANDING_ORDER.Enum()
	for name, c := range map[string]struct {
		change func(*chartv1.Order)
		field  string
	}{
		"no kind":                 {func(o *chartv1.Order) { o.Kind = nil }, "kind"},
		"nobody's":                {func(o *chartv1.Order) { o.PatientId = nil }, "patient_id"},
		"standing for one":        {func(o *chartv1.Order) { o.Kind = standing }, "patient_id"},
		"standing, for nobody":    {func(o *chartv1.Order) { o.Kind, o.PatientId = standing, nil }, "standing"},
		"no prescriber":           {func(o *chartv1.Order) { o.PrescriberId = nil }, "prescriber_id"},
		"no such product":         {func(o *chartv1.Order) { o.Lines[0].Leave.Product = "x" }, "lines.leave.product"},
		"no most":                 {func(o *chartv1.Order) { o.Lines[0].Leave.MostMilliunits = 0 }, "lines.leave"},
		"an area that is not one": {func(o *chartv1.Order) { o.Lines[0].Leave.Regions[0] = "smile" }, "lines.leave.regions"},
	} {
		m := draft()
		c.change(m)
		if o, err := visit.DraftOrder(b.hand(mia), b.e, m); !refused(err, c.field) {
			t.Errorf("%s: %v, %v", name, o, err)
		}
	}
}

// TestTextDigest_OrderOfElements: the digest does not depend on the order in which elements came, and does on what they say.
func TestTextDigest_OrderOfElements(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		q := questionnaire()
		other := proto.CloneOf(q)
		other.Questions = rapid.Permutation(other.GetQuestions()).Draw(r, "order")
		other.Published = nil
		if string(visit.TextDigest(q)) != string(visit.TextDigest(other)) {
			r.Fatal("another digest in another order")
		}
		other.Questions[0].Body.Text = "something else"
		if string(visit.TextDigest(q)) == string(visit.TextDigest(other)) {
			r.Fatal("the same digest of other words")
		}
	})
}

func TestPublish(t *testing.T) {
	b := newBook(t)
	text := lowerFaceText()
	text.Published, text.Series = nil, proto.String("lower_face")
	text.Paragraphs = []*chartv1.ConsentParagraph{{Id: "p", Body: &chartv1.ParagraphText{Text: "Words."}}}
	if _, err := visit.Publish(b.hand(mia), text); fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
		t.Errorf("published by an injector: %v", err)
	}
	part, err := visit.Publish(b.hand(lena), text)
	b.ok(err)
	text.Published = part.(*chartv1.ConsentText).GetPublished()
	if !visit.IsAsPublished(text) {
		t.Error("not as it was published")
	}
	if _, err := visit.Publish(b.hand(lena), text); !refused(err, "published") {
		t.Errorf("published twice: %v", err)
	}
	q := questionnaire()
	q.Published, q.Series, q.Language = nil, proto.String("before"), proto.String("en")
	_, err = visit.Publish(b.hand(lena), q)
	b.ok(err)
	q.Questions[1].Body.Code = "pregnant"
	if _, err := visit.Publish(b.hand(lena), q); !refused(err, "questions.body.code") {
		t.Errorf("two questions of one name: %v", err)
	}
}

// TestDayList: the day is that of the slot's own zone: half past eleven at night in Athens is the next day's morning in Auckland.
func TestDayList(t *testing.T) {
	zones := func(name string) *time.Location {
		zone, err := time.LoadLocation(name)
		if err != nil {
			return nil
		}
		return zone
	}
	slot := func(at, zone string) *chartv1.Slot {
		moment, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		return &chartv1.Slot{BeginsAt: timestamppb.New(moment), Minutes: 30, TimeZone: zone}
	}
	late := &chartv1.Appointment{Id: "late", ClinicId: proto.String(clinicID), Slot: slot("2026-03-02T21:30:00Z", "Europe/Athens"), StaffId: proto.String(mia)}
	early := &chartv1.Appointment{Id: "early", ClinicId: proto.String(clinicID), Slot: slot("2026-03-01T22:15:00Z", "Europe/Athens"), StaffId: proto.String(mia)}
	next := &chartv1.Appointment{Id: "next", ClinicId: proto.String(clinicID), Slot: slot("2026-03-02T22:15:00Z", "Europe/Athens")}
	south := &chartv1.Appointment{Id: "south", ClinicId: proto.String(clinicID), Slot: slot("2026-03-02T21:30:00Z", "Pacific/Auckland")}
	meets := &chartv1.Appointment{Id: "meets", ClinicId: proto.String(clinicID), Slot: slot("2026-03-02T21:45:00Z", "Europe/Athens"), StaffId: proto.String(mia)}
	list := visit.DayList([]*chartv1.Appointment{late, early, next, south, meets}, clinicID, mia, today(), zones)
	if len(list) != 3 || list[0] != early || list[1] != late || list[2] != meets {
		t.Errorf("the day has %v", list)
	}
	if pairs := visit.Overlaps(list); len(pairs) != 1 || pairs[0] != [2]string{"late", "meets"} {
		t.Errorf("overlaps %v", pairs)
	}
}

func TestBook(t *testing.T) {
	b := newBook(t)
	desk := b.hand(tom)
	desk.Roles = []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}
	good := &chartv1.Appointment{ClinicId: proto.String(clinicID), BookedName: proto.String("Anna Vale"),
		Slot: &chartv1.Slot{BeginsAt: at(0), Minutes: 30, TimeZone: "Europe/Athens"}}
	a, err := visit.Book(desk, good)
	b.ok(err)
	for _, state := range []chartv1.AppointmentState{chartv1.AppointmentState_APPOINTMENT_STATE_ARRIVED, chartv1.AppointmentState_APPOINTMENT_STATE_CONFIRMED} {
		part, err := visit.MoveOn(desk, a, state, "")
		b.ok(err)
		proto.Merge(a, part)
	}
	if s := visit.StateOf(a); s != chartv1.AppointmentState_APPOINTMENT_STATE_ARRIVED {
		t.Errorf("stands at %s", s)
	}
	part, err := visit.CallOff(desk, a, "she is ill")
	b.ok(err)
	proto.Merge(a, part)
	if _, err := visit.MoveOn(desk, a, chartv1.AppointmentState_APPOINTMENT_STATE_DONE, ""); !refused(err, "cancelled") {
		t.Errorf("moved on after it was called off: %v", err)
	}
	auditor := desk
	auditor.Roles = []accessv1.Role{accessv1.Role_ROLE_AUDITOR}
	if _, err := visit.Book(auditor, good); !refused(err, "roles") {
		t.Errorf("booked by an auditor: %v", err)
	}
	if _, err := visit.Book(desk, &chartv1.Appointment{ClinicId: proto.String(clinicID), BookedName: proto.String("x")}); !refused(err, "slot") {
		t.Errorf("booked for no time: %v", err)
	}
}
