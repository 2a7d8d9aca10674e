package stock_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/stock"
	"needlebook/internal/visit"
)

const (
	ona    = "onabotulinumtoxinA"
	rela   = "relabotulinumtoxinA"
	mia    = "0b9d6f5e-4c1a-4f0e-9a55-0000000000a1"
	tom    = "0b9d6f5e-4c1a-4f0e-9a55-0000000000a3"
	clinic = "0b9d6f5e-4c1a-4f0e-9a55-0000000000c1"
	other  = "0b9d6f5e-4c1a-4f0e-9a55-0000000000c2"
	saline = "sodium_chloride_0_9_preservative_free"
)

type shelf struct {
	testing.TB
	e   *formulary.Edition
	at  time.Time
	ids int
}

func newShelf(t testing.TB) *shelf {
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return &shelf{TB: t, e: e, at: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
}

func (s *shelf) hand(who string) visit.Hand {
	s.at = s.at.Add(time.Minute)
	return visit.Hand{By: who, Roles: []accessv1.Role{visit.Assistant}, At: s.at, NewID: func() string {
		s.ids++
		return fmt.Sprintf("0b9d6f5e-4c1a-4f0e-9a55-%012x", s.ids)
	}}
}

func (s *shelf) ok(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

func refused(err error, field string) bool {
	f := fault.Of(err)
	return f != nil && f.Field == field && f.Error() != ""
}

// scan is the example of the GS1 General Specifications' form: item number, expiry, lot, serial. The item number is invented; its check digit is that of the
// standard.
const scan = "0109506000134352" + "17270630" + "10AB-17" + "\x1d" + "215512"

func (s *shelf) receive(r stock.Receipt, known ...*chartv1.Vial) *chartv1.Vial {
	s.Helper()
	if r.Product == "" {
		r.Product, r.ContentMilliunits = ona, 100_000
	}
	r.ClinicID = clinic
	v, err := stock.Receive(s.hand(tom), s.e, known, r)
	s.ok(err)
	return v
}

func (s *shelf) mix(v *chartv1.Vial, ml dose.Volume) {
	s.Helper()
	part, err := stock.Mix(s.hand(mia), s.e, v, stock.Mixing{Diluent: saline, Volume: ml, Lot: "NS-1", CheckedBy: tom,
		Clarity: chartv1.ClarityFinding_CLARITY_FINDING_CLEAR, Market: "US"}, false)
	s.ok(err)
	proto.Merge(v, part)
}

func TestReceive_Barcode(t *testing.T) {
	s := newShelf(t)
	v := s.receive(stock.Receipt{Scan: []byte(scan), Place: "fridge 1"})
	l := v.GetLabelling()
	if l.GetLotNumber() != "AB-17" || l.GetSerial() != "5512" || l.GetGtin() != "09506000134352" || visit.DateText(l.GetExpiresOn()) != "2027-06-30" ||
		string(l.GetElementString()) != scan || v.ShortNumber != nil || stock.PlaceOf(v) != "fridge 1" {
		t.Errorf("received %v", v)
	}
	if _, err := stock.Receive(s.hand(tom), s.e, []*chartv1.Vial{v}, stock.Receipt{ClinicID: clinic, Product: ona, ContentMilliunits: 100_000,
		Scan: []byte(scan)}); !refused(err, "labelling.serial") {
		t.Errorf("the same pack again: %v", err)
	}
	hand := s.receive(stock.Receipt{Lot: "AB-18", Expires: &recordv1.Date{Year: 2027, Month: 1, Day: 31}})
	if hand.GetShortNumber() == "" || !strings.Contains(stock.Title(hand), hand.GetShortNumber()) || hand.GetPresentation().GetPresentationCode() == "" {
		t.Errorf("by hand: %v", hand)
	}
}

func TestReceive_Refuses(t *testing.T) {
	s := newShelf(t)
	day := &recordv1.Date{Year: 2027, Month: 1, Day: 31}
	good := stock.Receipt{ClinicID: clinic, Product: ona, ContentMilliunits: 100_000, Lot: "A", Expires: day}
	for name, c := range map[string]struct {
		change func(*stock.Receipt)
		field  string
	}{
		"no clinic":           {func(r *stock.Receipt) { r.ClinicID = "" }, "clinic_id"},
		"a product of no one": {func(r *stock.Receipt) { r.Product = "onabotulinumtoxina" }, "presentation.product"},
		"no content":          {func(r *stock.Receipt) { r.ContentMilliunits = 0 }, "presentation.content_milliunits"},
		"no lot":              {func(r *stock.Receipt) { r.Lot = "" }, "labelling"},
		"a wrong barcode":     {func(r *stock.Receipt) { r.Lot, r.Expires, r.Scan = "", nil, []byte("0109506000134353") }, "labelling.element_string"},
		"barcode without lot": {func(r *stock.Receipt) { r.Lot, r.Expires, r.Scan = "", nil, []byte("0109506000134352") }, "labelling.element_string"},
		"barcode and by hand": {func(r *stock.Receipt) { r.Scan = []byte(scan) }, "labelling"},
		"a wrong item number": {func(r *stock.Receipt) { r.GTIN = "09506000134353" }, "labelling.gtin"},
		"no presentation":     {func(r *stock.Receipt) { r.PresentationCode = "none" }, "presentation.presentation_code"},
	} {
		r := good
		c.change(&r)
		if v, err := stock.Receive(s.hand(tom), s.e, nil, r); !refused(err, c.field) {
			t.Errorf("%s: %v, %v", name, v, err)
		}
	}
	desk := s.hand(tom)
	desk.Roles = []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}
	if _, err := stock.Receive(desk, s.e, nil, good); !refused(err, "roles") {
		t.Errorf("the front desk: %v", err)
	}
}

// TestMix: the use-by is the rule's where one may be relied on (24 hours for onabotulinumtoxinA in the US, S03), and absent where none does.
func TestMix(t *testing.T) {
	s := newShelf(t)
	v := s.receive(stock.Receipt{Scan: []byte(scan)})
	s.mix(v, 2_500_000)
	p := v.GetPreparations()[0]
	if p.GetUseBy().GetUntil().AsTime().Sub(p.GetMixed().GetAt().AsTime()) != 24*time.Hour || p.GetUseBy().GetRuleCode() != "onabotulinumtoxina_us_24h" {
		t.Errorf("use by %v", p.GetUseBy())
	}
	if len(v.GetEntries()) != 1 || v.GetEntries()[0].GetPiercing().SessionId != nil {
		t.Errorf("entries %v", v.GetEntries())
	}
	if _, err := stock.Mix(s.hand(mia), s.e, v, stock.Mixing{Diluent: saline, Volume: 1}, false); !refused(err, "preparations") {
		t.Errorf("mixed again: %v", err)
	}
	liquid := s.receive(stock.Receipt{Product: rela, ContentMilliunits: 150_000, Lot: "R", Expires: &recordv1.Date{Year: 2027, Month: 1, Day: 31}})
	if _, err := stock.Mix(s.hand(mia), s.e, liquid, stock.Mixing{Diluent: saline, Volume: 1}, false); !refused(err, "preparations") {
		t.Errorf("diluent into a ready liquid: %v, %v", liquid.GetPresentation(), err)
	}
	abo := s.receive(stock.Receipt{Product: "abobotulinumtoxinA", ContentMilliunits: 300_000, Lot: "B", Expires: &recordv1.Date{Year: 2027, Month: 1, Day: 31}})
	part, err := stock.Mix(s.hand(mia), s.e, abo, stock.Mixing{Diluent: saline, Volume: 1_500_000, Market: "US"}, false)
	s.ok(err)
	if part.GetPreparations()[0].GetUseBy() != nil {
		t.Errorf("a trade page sets a use-by: %v", part)
	}
	label, err := stock.VialLabel(v, func(who string) string { return map[string]string{mia: "Mia", tom: "Tom"}[who] })
	s.ok(err)
	for _, want := range []string{ona, "lot AB-17", "by Mia, checked by Tom", "Use by 2026-03-03"} {
		if !strings.Contains(label, want) {
			t.Errorf("the label does not say %q:\n%s", want, label)
		}
	}
}

// TestLeft_Conserve: what was drawn, what was wasted and what is left are what was mixed, and a vial that is discarded has nothing left to account for.
func TestLeft_Conserve(t *testing.T) {
	s := newShelf(t)
	policies := &chartv1.Clinic{Policies: &chartv1.ClinicPolicies{WasteWitness: true}}
	rapid.Check(t, func(r *rapid.T) {
		v := s.receive(stock.Receipt{Scan: []byte(scan)})
		s.mix(v, 2_500_000)
		var drawn, wasted dose.Volume
		for range rapid.IntRange(0, 6).Draw(r, "draws") {
			n := dose.Volume(rapid.IntRange(1, 40).Draw(r, "hundredths")) * 10_000
			void := rapid.Bool().Draw(r, "void")
			d := &chartv1.Draw{Id: s.hand(tom).NewID(), Amount: &chartv1.DrawAmount{VolumeNanoliters: int64(n)}}
			if void {
				d.Void = &recordv1.Void{Reason: "x"}
			} else {
				drawn += n
			}
			v.Draws = append(v.Draws, d)
		}
		if left := stock.LeftIn(v); !left.Known || left.Volume != 2_500_000-drawn {
			r.Fatalf("left %v after %s", left, drawn.Decimal())
		}
		part, err := stock.DiscardVial(s.hand(mia), v, policies, chartv1.DiscardCause_DISCARD_CAUSE_LEFTOVER, tom)
		s.ok(err)
		proto.Merge(v, part)
		for _, w := range v.GetWastes() {
			wasted += dose.Volume(w.GetAmount().GetVolumeNanoliters())
		}
		if drawn+wasted != 2_500_000 {
			r.Fatalf("drawn %s, wasted %s", drawn.Decimal(), wasted.Decimal())
		}
		if _, err := stock.DiscardVial(s.hand(mia), v, policies, chartv1.DiscardCause_DISCARD_CAUSE_EMPTY, tom); !refused(err, "discarded") {
			r.Fatalf("discarded twice: %v", err)
		}
	})
}

func TestWaste_Witness(t *testing.T) {
	s := newShelf(t)
	v := s.receive(stock.Receipt{Scan: []byte(scan)})
	s.mix(v, 2_500_000)
	some := dose.Volume(100_000)
	for name, c := range map[string]struct {
		clinic  *chartv1.Clinic
		witness string
		refused bool
	}{
		"wanted, none":        {&chartv1.Clinic{Policies: &chartv1.ClinicPolicies{WasteWitness: true}}, "", true},
		"wanted, herself":     {&chartv1.Clinic{Policies: &chartv1.ClinicPolicies{WasteWitness: true}}, mia, true},
		"wanted, another":     {&chartv1.Clinic{Policies: &chartv1.ClinicPolicies{WasteWitness: true}}, tom, false},
		"not wanted":          {&chartv1.Clinic{Policies: &chartv1.ClinicPolicies{}}, "", false},
		"policies not known":  {nil, "", true},
		"not wanted, herself": {&chartv1.Clinic{Policies: &chartv1.ClinicPolicies{}}, mia, true},
	} {
		part, err := stock.WasteSome(s.hand(mia), v, c.clinic, &some, "spilt", c.witness)
		if refused(err, "wastes.amount.witness_id") != c.refused || !c.refused && part.GetWastes()[0].GetAmount().GetDoseMilliunits() != 4000 {
			t.Errorf("%s: %v, %v", name, part, err)
		}
	}
}

func TestLinkAndLookBack(t *testing.T) {
	s := newShelf(t)
	a, b, c := s.receive(stock.Receipt{Scan: []byte(scan)}), s.receive(stock.Receipt{Scan: []byte(scan)}), s.receive(stock.Receipt{Scan: []byte(scan)})
	all := []*chartv1.Vial{a, b, c}
	link := func(x, y *chartv1.Vial) {
		part, err := stock.Link(s.hand(tom), x, y, "one vial, scanned on two tablets")
		s.ok(err)
		proto.Merge(x, part)
	}
	link(a, b)
	link(c, b)
	if same := stock.SameAs(a, all); len(same) != 2 {
		t.Fatalf("%d are the same as a", len(same))
	}
	sessions := []*chartv1.Session{
		{Id: "s1", PatientId: proto.String("p1"), On: &recordv1.Date{Year: 2026, Month: 3, Day: 2}},
		{Id: "s2", PatientId: proto.String("p2"), On: &recordv1.Date{Year: 2026, Month: 3, Day: 1}, Injections: []*chartv1.Injection{{Givings: []*chartv1.Giving{
			{Given: &chartv1.GivenDose{VialId: proto.String(c.GetId())}, Void: &recordv1.Void{Reason: "x"}}}}}},
		{Id: "s3", PatientId: proto.String("p3")},
	}
	b.Draws = []*chartv1.Draw{{Id: "d", Amount: &chartv1.DrawAmount{SessionId: "s1", VolumeNanoliters: 1}}}
	a.Entries = []*chartv1.VialEntry{{Id: "e", Piercing: &chartv1.Piercing{SessionId: proto.String("s4"), Sterile: false}}}
	had := stock.LookBack(a, all, sessions)
	var ids []string
	for _, h := range had {
		ids = append(ids, h.SessionID)
	}
	if !slices.Equal(ids, []string{"s4", "s2", "s1"}) || had[0].Sterile || !had[1].Sterile || !slices.Equal(stock.SharedBy(had), []string{"p1", "p2"}) {
		t.Errorf("had of it: %+v", had)
	}
	part, err := stock.Unlink(s.hand(tom), a, a.GetSameVials()[0].GetId(), "two packs after all")
	s.ok(err)
	a.SameVials[0].Undone = part.GetSameVials()[0].GetUndone()
	if same := stock.SameAs(a, all); len(same) != 0 {
		t.Errorf("undone, and still %d", len(same))
	}
	strange := proto.CloneOf(b)
	strange.Id, strange.Presentation.Product = "x", rela
	if _, err := stock.Link(s.hand(tom), a, strange, "x"); !refused(err, "same_vials.claim.vial_id") {
		t.Errorf("linked to another product: %v", err)
	}
}

func TestKeepAndMove(t *testing.T) {
	s := newShelf(t)
	low, high := int32(2000), int32(8000)
	home := &chartv1.Clinic{Id: clinic, StoragePlaces: []*chartv1.StoragePlaceEntry{{Place: &chartv1.StorageRange{Name: "fridge 1",
		LowestMillicelsius: &low, HighestMillicelsius: &high}}}}
	v := s.receive(stock.Receipt{Scan: []byte(scan), Place: "fridge 1"})
	if _, err := stock.PutIn(s.hand(tom), v, home, "drawer"); !refused(err, "storage_moves.move.place") {
		t.Errorf("a place that the clinic does not have: %v", err)
	}
	for _, c := range []struct {
		now, highest int32
		excursions   int
	}{{5000, 7900, 0}, {5000, 9100, 1}, {8001, 8001, 2}} {
		parts, err := stock.ReadThermometer(s.hand(tom), []*chartv1.Vial{v}, "fridge 1", c.now, nil, &c.highest)
		s.ok(err)
		proto.Merge(v, parts[0])
		if got := len(stock.Excursions(v, home)); got != c.excursions {
			t.Errorf("at %d, highest %d: %d excursions, want %d", c.now, c.highest, got, c.excursions)
		}
	}
	part, err := stock.Send(s.hand(tom), v, other, nil)
	s.ok(err)
	proto.Merge(v, part)
	if _, err := stock.Send(s.hand(tom), v, other, nil); !refused(err, "transfers") {
		t.Errorf("sent twice: %v", err)
	}
	if _, err := stock.Arrive(s.hand(tom), v, home, ""); !refused(err, "clinic_id") {
		t.Errorf("arrived where it was not sent: %v", err)
	}
	today := &recordv1.Date{Year: 2026, Month: 3, Day: 2}
	if held := stock.Ahead([]*chartv1.Vial{v}, clinic, today, 60); len(held) != 1 || held[0].OnTheWay != 1 || held[0].Unopened != 0 {
		t.Errorf("on the way: %+v", held)
	}
	part, err = stock.Arrive(s.hand(tom), v, &chartv1.Clinic{Id: other}, "safe")
	s.ok(err)
	v.Transfers[0].Arrived, v.ClinicId = part.GetTransfers()[0].GetArrived(), part.ClinicId
	if stock.OnTheWay(v) != nil || len(stock.Ahead([]*chartv1.Vial{v}, other, today, 60)) != 1 {
		t.Errorf("arrived: %v", v)
	}
}

func TestAhead(t *testing.T) {
	s := newShelf(t)
	day := func(y, m, d int32) *recordv1.Date { return &recordv1.Date{Year: y, Month: m, Day: d} }
	soon, over, far := s.receive(stock.Receipt{Lot: "A", Expires: day(2026, 4, 1)}), s.receive(stock.Receipt{Lot: "B", Expires: day(2026, 3, 1)}),
		s.receive(stock.Receipt{Lot: "C", Expires: day(2027, 1, 1)})
	s.mix(far, 2_500_000)
	gone, practice := proto.CloneOf(soon), proto.CloneOf(soon)
	gone.Id, gone.Discarded = "g", &chartv1.Discard{}
	practice.Id, practice.Practice = "x", &chartv1.PracticeMark{}
	twice := proto.CloneOf(far)
	twice.Id = "t"
	part, err := stock.Link(s.hand(tom), twice, far, "one vial")
	s.ok(err)
	proto.Merge(twice, part)
	held := stock.Ahead([]*chartv1.Vial{far, soon, over, gone, practice, twice}, clinic, day(2026, 3, 2), 30)
	if len(held) != 1 || held[0].Unopened != 2 || held[0].Opened != 1 || len(held[0].Expired) != 1 || len(held[0].Expiring) != 1 ||
		held[0].Expiring[0].VialID != soon.GetId() {
		t.Errorf("held %+v", held)
	}
}
