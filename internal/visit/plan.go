package visit

import (
	"bytes"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
)

// Flag is something to be looked at before a plan that was copied is used.
type Flag struct {
	// Code is its stable name: EDITION_CHANGED, PRODUCT_GONE, MUSCLE_UNKNOWN, NOT_AS_PLANNED, TOUCHED_UP, SPILT, NOT_GIVEN, PLACE_TO_SET.
	Code string `json:"code"`
	// InjectionID is the new injection that it is about; empty where it is about the whole plan.
	InjectionID string `json:"injection_id,omitempty"`
	// Text is a sentence.
	Text string `json:"text"`
}

// PlanInjection adds an injection to the plan. Its id, if any, is replaced. It is put behind all that is there unless it has a position.
func PlanInjection(h Hand, s *chartv1.Session, in *chartv1.Injection) (*chartv1.Session, error) {
	if err := May(Plan, s, h.Roles...); err != nil {
		return nil, err
	}
	muscle, ok := anatomy.MuscleByCode(in.GetMuscle())
	switch {
	case !ok:
		return nil, wrong("injections.muscle", in.GetMuscle(), "a muscle as the anatomy names it")
	case in.GetPlanned().GetProduct() == "" || in.GetPlanned().GetDoseMilliunits() <= 0:
		return nil, wrong("injections.planned", "", "a product and a dose of more than nothing")
	case len(in.GetGivings()) > 0:
		return nil, wrong("injections.givings", "", "none: a plan is made before anything is given")
	}
	if err := muscle.CheckSide(anatomySide(in.GetSide())); err != nil {
		return nil, wrong("injections.side", in.GetSide().String(), "a side that the muscle has")
	}
	fresh := proto.CloneOf(in)
	fresh.Id = h.NewID()
	if fresh.Position == nil {
		fresh.Position = new(lastPosition(s) + 1)
	}
	out := part(s)
	out.Injections = []*chartv1.Injection{fresh}
	return out, nil
}

func lastPosition(s *chartv1.Session) (last int32) {
	for _, in := range s.GetInjections() {
		last = max(last, in.GetPosition())
	}
	return last
}

// DropInjection takes an injection out of the plan, with the reason. What was given of it stays.
func DropInjection(h Hand, s *chartv1.Session, id, reason string) (*chartv1.Session, error) {
	if err := May(Plan, s, h.Roles...); err != nil {
		return nil, err
	}
	switch {
	case injectionOf(s, id) == nil:
		return nil, notThere("injections", id)
	case reason == "":
		return nil, wrong("injections.void.reason", "", "why it is not part of the plan")
	}
	out := part(s)
	out.Injections = []*chartv1.Injection{{Id: id, Void: h.void(reason)}}
	return out, nil
}

// LastTreatment finds the newest treatment of a patient's visits in which a product was given in one of the regions: no touch-up, not voided, for practice
// only where the new visit is. Regions, areas or muscles may be named; none means the whole face. It is nil where there is none.
func LastTreatment(history []*chartv1.Session, s *chartv1.Session, product string, regions ...string) *chartv1.Session {
	var last *chartv1.Session
	for _, x := range history {
		if x.GetId() == s.GetId() || x.GetVoid() != nil || x.GetKind() != chartv1.SessionKind_SESSION_KIND_TREATMENT ||
			(x.GetPractice() != nil) != (s.GetPractice() != nil) || x.GetPatientId() == "" || !gave(x, product, regions) {
			continue
		}
		if last == nil || dayNumber(x) > dayNumber(last) || dayNumber(x) == dayNumber(last) && x.GetId() > last.GetId() {
			last = x
		}
	}
	return last
}

func dayNumber(s *chartv1.Session) dose.Day {
	day, err := dayOf("on", s.GetOn())
	if err != nil {
		return dose.FirstDay
	}
	return day
}

func gave(s *chartv1.Session, product string, regions []string) bool {
	return slices.ContainsFunc(s.GetInjections(), func(in *chartv1.Injection) bool {
		return within(in.GetMuscle(), regions) && slices.ContainsFunc(in.GetGivings(), func(g *chartv1.Giving) bool {
			return counts(g) && g.GetGiven().GetDose().GetProduct() == product
		})
	})
}

func within(muscle string, regions []string) bool {
	return len(regions) == 0 || slices.ContainsFunc(regions, func(r string) bool { return anatomy.Covers(r, muscle) })
}

// AsLastTime plans what was given last time: each giving that counts of the product in the regions becomes a planned injection with an id of its own, at the
// place, depth and side where it was given. Nothing of another product is copied, ever: where the last treatment used another, there is nothing to copy and
// the refusal says so. The flags say what is to be looked at.
func AsLastTime(h Hand, e *formulary.Edition, history []*chartv1.Session, s *chartv1.Session, product string, regions ...string) (*chartv1.Session, []Flag, error) {
	if err := May(Plan, s, h.Roles...); err != nil {
		return nil, nil, err
	}
	last := LastTreatment(history, s, product, regions...)
	if last == nil {
		return nil, nil, wrong("plan_origin.session_id", "", "an earlier treatment with "+product+" there"+otherProduct(history, s, product, regions))
	}
	c := copier{h: h, out: part(s), next: lastPosition(s)}
	c.edition(e, last, product)
	injections := slices.Clone(last.GetInjections())
	slices.SortStableFunc(injections, byPosition)
	for _, in := range injections {
		if within(in.GetMuscle(), regions) {
			c.injection(in, product)
		}
	}
	c.touchUps(history, last)
	c.out.PlanOrigin = &chartv1.PlanOrigin{SessionId: new(last.GetId()), Chosen: h.Act()}
	return c.out, c.flags, nil
}

// otherProduct says what was used there last, when it was another product.
func otherProduct(history []*chartv1.Session, s *chartv1.Session, product string, regions []string) string {
	var used []string
	for _, x := range history {
		for _, p := range productsGiven(x) {
			if p != product && x.GetId() != s.GetId() && x.GetVoid() == nil && gave(x, p, regions) && !slices.Contains(used, p) {
				used = append(used, p)
			}
		}
	}
	if len(used) == 0 {
		return ""
	}
	slices.Sort(used)
	return "; what was used there is " + strings.Join(used, " and ") + ", and no dose is copied from one product to another"
}

// copier makes planned injections of what was given.
type copier struct {
	h     Hand
	out   *chartv1.Session
	flags []Flag
	next  int32
}

func (c *copier) flag(code, injection, text string) {
	c.flags = append(c.flags, Flag{Code: code, InjectionID: injection, Text: text})
}

func (c *copier) edition(e *formulary.Edition, last *chartv1.Session, product string) {
	sum := e.Sum()
	if !bytes.Equal(last.GetBasis().GetEdition().GetHash(), sum[:]) {
		c.flag("EDITION_CHANGED", "", "The formulary is not the one of last time: read its findings again.")
	}
	if _, ok := e.Product(product); !ok {
		c.flag("PRODUCT_GONE", "", "The formulary does not hold "+product+" any more.")
	}
}

func (c *copier) injection(in *chartv1.Injection, product string) {
	n := 0
	for _, g := range in.GetGivings() {
		if !counts(g) || g.GetGiven().GetDose().GetProduct() != product {
			continue
		}
		n++
		c.next++
		fresh := &chartv1.Injection{
			Id: c.h.NewID(), Muscle: in.Muscle, Side: sideGiven(in, g).Enum(), Place: proto.CloneOf(in.GetPlace()), Depth: proto.CloneOf(in.GetDepth()),
			Planned: proto.CloneOf(g.GetGiven().GetDose()), Technique: proto.CloneOf(in.GetTechnique()), Position: new(c.next), UnevenReason: in.UnevenReason,
		}
		if g.GetPlace() != nil {
			fresh.Place = proto.CloneOf(g.GetPlace())
		}
		if g.GetDepth() != nil {
			fresh.Depth = proto.CloneOf(g.GetDepth())
		}
		c.out.Injections = append(c.out.Injections, fresh)
		c.flagInjection(in, g, fresh)
	}
	if n == 0 && in.GetVoid() == nil && in.GetPlanned().GetProduct() == product {
		c.flag("NOT_GIVEN", "", "An injection in "+plainName(in.GetMuscle())+" was planned last time and not given; it is not copied.")
	}
}

func (c *copier) flagInjection(in *chartv1.Injection, g *chartv1.Giving, fresh *chartv1.Injection) {
	if differs(in, g) {
		c.flag("NOT_AS_PLANNED", fresh.GetId(), "Last time this was not given as it was planned; what was given is copied.")
	}
	if g.GetSpill() != nil {
		c.flag("SPILT", fresh.GetId(), "Last time some of this did not reach the muscle; the dose that was meant is copied.")
	}
	if _, ok := anatomy.MuscleByCode(in.GetMuscle()); !ok {
		c.flag("MUSCLE_UNKNOWN", fresh.GetId(), "The muscle is none that the anatomy holds now.")
	}
}

// touchUps flags what was added after the treatment, which is not copied: it answered how that one had turned out.
func (c *copier) touchUps(history []*chartv1.Session, last *chartv1.Session) {
	for _, x := range history {
		if x.GetKind() == chartv1.SessionKind_SESSION_KIND_TOUCH_UP && x.GetParent().GetSessionId() == last.GetId() && x.GetVoid() == nil && anythingGiven(x) {
			c.flag("TOUCHED_UP", "", "After the last treatment more was given on "+DateText(x.GetOn())+"; that is not copied.")
		}
	}
}

// plainName is a code in words.
func plainName(code string) string { return strings.ReplaceAll(code, "_", " ") }

// FromProtocol plans the points of a protocol, each with an id of its own. Only one that was published, that is not withdrawn and that is for this clinic is
// taken.
func FromProtocol(h Hand, e *formulary.Edition, p *chartv1.Protocol, s *chartv1.Session) (*chartv1.Session, []Flag, error) {
	if err := May(Plan, s, h.Roles...); err != nil {
		return nil, nil, err
	}
	clinics := p.GetScope().GetClinicIds()
	switch {
	case p.GetPublished() == nil:
		return nil, nil, wrong("plan_origin.protocol_id", p.GetId(), "a protocol that the medical lead published")
	case p.GetWithdrawn() != nil:
		return nil, nil, wrong("plan_origin.protocol_id", p.GetId(), "a protocol that is not withdrawn")
	case len(clinics) > 0 && !slices.Contains(clinics, s.GetClinicId()):
		return nil, nil, wrong("plan_origin.protocol_id", p.GetId(), "a protocol for this clinic")
	}
	c := copier{h: h, out: part(s), next: lastPosition(s)}
	if _, ok := e.Product(p.GetScope().GetProduct()); !ok {
		c.flag("PRODUCT_GONE", "", "The formulary does not hold "+p.GetScope().GetProduct()+".")
	}
	points := slices.Clone(p.GetPoints())
	slices.SortStableFunc(points, func(a, b *chartv1.ProtocolPoint) int { return int(a.GetPosition()) - int(b.GetPosition()) })
	for _, point := range points {
		if err := c.point(p, point.GetPoint()); err != nil {
			return nil, nil, err
		}
	}
	c.out.PlanOrigin = &chartv1.PlanOrigin{ProtocolId: new(p.GetId()), ProtocolVersion: p.GetVersion(), Chosen: h.Act()}
	return c.out, c.flags, nil
}

func (c *copier) point(p *chartv1.Protocol, x *chartv1.PointPlan) error {
	if x.GetDose().GetProduct() != p.GetScope().GetProduct() {
		return wrong("points.point.dose.product", x.GetDose().GetProduct(), p.GetScope().GetProduct()+", the product of the whole protocol")
	}
	c.next++
	fresh := &chartv1.Injection{
		Id: c.h.NewID(), Muscle: new(x.GetMuscle()), Side: x.GetSide().Enum(), Place: proto.CloneOf(x.GetPlace()), Depth: proto.CloneOf(x.GetDepth()),
		Planned: proto.CloneOf(x.GetDose()), Technique: proto.CloneOf(x.GetTechnique()), Position: new(c.next),
	}
	if x.GetPlace().GetXMicrometers() == 0 && x.GetPlace().GetYMicrometers() == 0 {
		fresh.Place = nil
		c.flag("PLACE_TO_SET", fresh.GetId(), "The protocol gives no place in "+plainName(x.GetMuscle())+": mark it on this patient.")
	}
	c.out.Injections = append(c.out.Injections, fresh)
	return nil
}

// BasisOf is the basis of a visit that begins with an edition.
func BasisOf(e *formulary.Edition, core string, schema uint32) *chartv1.SessionBasis {
	sum := e.Sum()
	ref := &formularyv1.EditionReference{Version: e.Version(), Hash: sum[:]}
	setText(&ref.EditionId, e.ID())
	return &chartv1.SessionBasis{Edition: ref, CoreVersion: core, SchemaVersion: schema}
}
