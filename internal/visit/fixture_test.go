package visit_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/visit"
)

const (
	right   = chartv1.Side_SIDE_RIGHT
	left    = chartv1.Side_SIDE_LEFT
	midline = chartv1.Side_SIDE_MIDLINE

	abo = "abobotulinumtoxinA"
	ona = "onabotulinumtoxinA"

	mia  = "0b9d6f5e-4c1a-4f0e-9a55-0000000000a1" // an injector
	lena = "0b9d6f5e-4c1a-4f0e-9a55-0000000000a2" // the medical lead
	tom  = "0b9d6f5e-4c1a-4f0e-9a55-0000000000a3" // an assistant

	clinicID = "0b9d6f5e-4c1a-4f0e-9a55-0000000000c1"
)

// book is a clinic's table of people and a clock that goes on a minute with every hand.
type book struct {
	testing.TB
	e   *formulary.Edition
	at  time.Time
	ids int
}

func newBook(t testing.TB) *book {
	t.Helper()
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return &book{TB: t, e: e, at: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
}

func (b *book) id() string {
	b.ids++
	return fmt.Sprintf("0b9d6f5e-4c1a-4f0e-9a55-%012x", b.ids+0x100000)
}

func (b *book) hand(staff string) visit.Hand {
	b.at = b.at.Add(time.Minute)
	role := map[string]accessv1.Role{mia: visit.Injector, lena: visit.Lead, tom: visit.Assistant}[staff]
	return visit.Hand{By: staff, Roles: []accessv1.Role{role}, At: b.at, NewID: b.id}
}

func (b *book) ok(err error) {
	b.Helper()
	if err != nil {
		b.Fatal(err)
	}
}

func patient() *chartv1.Patient {
	return &chartv1.Patient{Id: "0b9d6f5e-4c1a-4f0e-9a55-0000000000b1", Birth: &chartv1.BirthDate{Date: &recordv1.Date{Year: 1980, Month: 5, Day: 6}}}
}

func today() *recordv1.Date { return &recordv1.Date{Year: 2026, Month: 3, Day: 2} }

// begin is a treatment that was begun.
func (b *book) begin() *chartv1.Session {
	b.Helper()
	s, err := visit.BeginVisit(b.hand(mia), visit.Beginning{
		Patient: patient(), ClinicID: clinicID, Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT, On: today(), Basis: visit.BasisOf(b.e, "1", 1),
	})
	b.ok(err)
	return s
}

// plan plans injections of one dose, right and left of each muscle in turn.
func (b *book) plan(s *chartv1.Session, product string, milliunits int32, muscles ...string) {
	b.Helper()
	for _, muscle := range muscles {
		for _, side := range []chartv1.Side{right, left} {
			part, err := visit.PlanInjection(b.hand(mia), s, &chartv1.Injection{
				Muscle: &muscle, Side: side.Enum(), Planned: &chartv1.Dose{Product: product, DoseMilliunits: milliunits},
			})
			b.ok(err)
			join(s, part)
		}
	}
}

// ready brings a visit to the first needle.
func (b *book) ready(s *chartv1.Session) {
	b.Helper()
	part, err := visit.IdentifyPatient(b.hand(mia), s, "full_name", "date_of_birth")
	b.ok(err)
	join(s, part)
	part, missing, err := visit.CheckBeforeNeedle(b.hand(mia), s, allYes(), tom)
	b.ok(err)
	if len(missing) > 0 {
		b.Fatalf("missing %v", missing)
	}
	join(s, part)
}

func allYes() *chartv1.ReadinessAnswers {
	yes := true
	return &chartv1.ReadinessAnswers{Identity: &yes, Sides: &yes, Product: &yes, Consent: &yes, Order: &yes, Skin: &yes}
}

// mixed is a vial of a product with its diluent.
func mixed(product string, content int32, ml dose.Volume) *chartv1.Vial {
	return &chartv1.Vial{
		Id: "0b9d6f5e-4c1a-4f0e-9a55-0000000000d1", Presentation: &chartv1.VialPresentation{Product: product, ContentMilliunits: content},
		Labelling:    &chartv1.VialLabelling{LotNumber: "A17"},
		Preparations: []*chartv1.Preparation{{Id: "0b9d6f5e-4c1a-4f0e-9a55-0000000000d2", Diluent: &chartv1.Diluent{Kind: "x", VolumeNanoliters: int64(ml)}}},
	}
}

func (b *book) filling(v *chartv1.Vial) visit.Filling {
	b.Helper()
	syringe, ok := b.e.Syringe("insulin_u100_0_5_by_0_01")
	if !ok {
		b.Fatal("no such syringe")
	}
	return visit.Filling{Vial: v, Syringe: syringe, NeedleChanged: true}
}

// drawUp draws up what is planned.
func (b *book) drawUp(s *chartv1.Session, v *chartv1.Vial) visit.Drawn {
	b.Helper()
	d, err := visit.DrawUpPlan(b.hand(mia), s, b.filling(v))
	b.ok(err)
	join(s, d.Session)
	proto.Merge(v, d.Vial)
	return d
}

// join lays a part over a visit as the edits of a record do: registers are replaced, elements merge by id.
func join(s, part *chartv1.Session) {
	for _, in := range part.GetInjections() {
		i := slices.IndexFunc(s.GetInjections(), func(x *chartv1.Injection) bool { return x.GetId() == in.GetId() })
		if i < 0 {
			s.Injections = append(s.Injections, in)
			continue
		}
		for _, g := range in.GetGivings() {
			j := slices.IndexFunc(s.GetInjections()[i].GetGivings(), func(x *chartv1.Giving) bool { return x.GetId() == g.GetId() })
			if j < 0 {
				s.Injections[i].Givings = append(s.Injections[i].Givings, g)
			} else {
				proto.Merge(s.Injections[i].Givings[j], g)
			}
		}
		if in.GetVoid() != nil {
			s.Injections[i].Void = in.GetVoid()
		}
	}
	s.Pauses = over(s.GetPauses(), part.GetPauses())
	s.Screening = over(s.GetScreening(), part.GetScreening())
	s.Consents = over(s.GetConsents(), part.GetConsents())
	s.Ratings = over(s.GetRatings(), part.GetRatings())
	s.Syringes = over(s.GetSyringes(), part.GetSyringes())
	rest := proto.CloneOf(part)
	rest.Injections, rest.Pauses, rest.Screening, rest.Consents, rest.Ratings, rest.Syringes = nil, nil, nil, nil, nil, nil
	proto.Merge(s, rest)
}

// over merges elements by their ids.
func over[E interface {
	proto.Message
	GetId() string
}](was, part []E) []E {
	for _, p := range part {
		i := slices.IndexFunc(was, func(x E) bool { return x.GetId() == p.GetId() })
		if i < 0 {
			was = append(was, p)
		} else {
			proto.Merge(was[i], p)
		}
	}
	return was
}

func at(minute int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 3, 2, 9, minute, 0, 0, time.UTC))
}
