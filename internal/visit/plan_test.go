package visit_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/visit"
)

// had is a treatment that was given, two months before.
func had(t *testing.T) (*book, *chartv1.Session) {
	b, s, _, marks := chinAndCorners(t)
	for i, m := range marks {
		shot := visit.Shot{InjectionID: m.Ref, MarkAfter: &m.Mark}
		if i == 1 {
			shot.Dose, shot.Reason = &chartv1.Dose{Product: abo, DoseMilliunits: 10_000}, "weaker at rest"
		}
		if i == len(marks)-1 {
			continue // planned and not given
		}
		part, err := visit.GiveShot(b.hand(mia), s, shot)
		b.ok(err)
		join(s, part)
	}
	s.On = &recordv1.Date{Year: 2025, Month: 11, Day: 2}
	return b, s
}

func TestAsLastTime(t *testing.T) {
	b, last := had(t)
	older := proto.CloneOf(last)
	older.Id, older.On = b.id(), &recordv1.Date{Year: 2025, Month: 6, Day: 1}
	touchUp := proto.CloneOf(last)
	touchUp.Id, touchUp.Kind, touchUp.On = b.id(), chartv1.SessionKind_SESSION_KIND_TOUCH_UP.Enum(), &recordv1.Date{Year: 2025, Month: 11, Day: 16}
	touchUp.Parent = &chartv1.SessionParent{SessionId: last.GetId(), Reason: "left corner"}
	history := []*chartv1.Session{older, last, touchUp}

	s := b.begin()
	part, flags, err := visit.AsLastTime(b.hand(mia), b.e, history, s, abo, "lower_face")
	b.ok(err)
	if part.GetPlanOrigin().GetSessionId() != last.GetId() {
		t.Errorf("from %s, want %s", part.GetPlanOrigin().GetSessionId(), last.GetId())
	}
	var doses []int32
	for _, in := range part.GetInjections() {
		doses = append(doses, in.GetPlanned().GetDoseMilliunits())
		for _, x := range last.GetInjections() {
			if x.GetId() == in.GetId() {
				t.Errorf("the id of %s was copied", in.GetId())
			}
		}
		if in.GetPlanned().GetProduct() != abo || len(in.GetGivings()) > 0 {
			t.Errorf("planned %v", in)
		}
	}
	if !slices.Equal(doses, []int32{12_500, 10_000, 5000}) {
		t.Errorf("doses %v: what was given is copied, what was not given is not", doses)
	}
	var codes []string
	for _, f := range flags {
		codes = append(codes, f.Code)
	}
	if !slices.Equal(codes, []string{"NOT_AS_PLANNED", "NOT_GIVEN", "TOUCHED_UP"}) {
		t.Errorf("flags %v", flags)
	}
}

// TestAsLastTime_NeverAcrossProducts: a treatment with one product gives no plan of another, nor a flag in place of a refusal.
func TestAsLastTime_NeverAcrossProducts(t *testing.T) {
	b, last := had(t)
	s := b.begin()
	part, _, err := visit.AsLastTime(b.hand(mia), b.e, []*chartv1.Session{last}, s, ona, "lower_face")
	if !refused(err, "plan_origin.session_id") || part != nil {
		t.Errorf("%v, %v", part, err)
	}
	practice := proto.CloneOf(last)
	practice.Practice = &chartv1.PracticeMark{}
	void := proto.CloneOf(last)
	void.Void = &recordv1.Void{Reason: "x"}
	for name, x := range map[string]*chartv1.Session{"for practice": practice, "voided": void} {
		if _, _, err := visit.AsLastTime(b.hand(mia), b.e, []*chartv1.Session{x}, s, abo); !refused(err, "plan_origin.session_id") {
			t.Errorf("from one %s: %v", name, err)
		}
	}
	last.Basis = nil
	_, flags, err := visit.AsLastTime(b.hand(mia), b.e, []*chartv1.Session{last}, s, abo)
	b.ok(err)
	if len(flags) == 0 || flags[0].Code != "EDITION_CHANGED" {
		t.Errorf("flags %v", flags)
	}
}

func TestFromProtocol(t *testing.T) {
	b := newBook(t)
	s := b.begin()
	p := &chartv1.Protocol{
		Id: b.id(), Version: proto.String("2"), Scope: &chartv1.ProtocolScope{Product: abo, Regions: []string{"lower_face"}},
		Points: []*chartv1.ProtocolPoint{
			{Id: b.id(), Position: proto.Int32(2), Point: &chartv1.PointPlan{Muscle: "mentalis", Side: left, Place: &chartv1.Place{Frame: "chin", XMicrometers: 4000},
				Dose: &chartv1.Dose{Product: abo, DoseMilliunits: 9000}}},
			{Id: b.id(), Position: proto.Int32(1), Point: &chartv1.PointPlan{Muscle: "mentalis", Side: right, Place: &chartv1.Place{Frame: "chin"},
				Dose: &chartv1.Dose{Product: abo, DoseMilliunits: 9000}}},
		},
	}
	if _, _, err := visit.FromProtocol(b.hand(mia), b.e, p, s); !refused(err, "plan_origin.protocol_id") {
		t.Errorf("from a draft: %v", err)
	}
	p.Published = &chartv1.TextPublication{}
	part, flags, err := visit.FromProtocol(b.hand(mia), b.e, p, s)
	b.ok(err)
	if in := part.GetInjections(); len(in) != 2 || in[0].GetSide() != right || in[0].GetPlace() != nil || in[1].GetPlace().GetXMicrometers() != 4000 {
		t.Errorf("planned %v", in)
	}
	if len(flags) != 1 || flags[0].Code != "PLACE_TO_SET" || part.GetPlanOrigin().GetProtocolVersion() != "2" {
		t.Errorf("flags %v, origin %v", flags, part.GetPlanOrigin())
	}
	p.Points[0].Point.Dose.Product = ona
	if _, _, err := visit.FromProtocol(b.hand(mia), b.e, p, s); !refused(err, "points.point.dose.product") {
		t.Errorf("a point of another product: %v", err)
	}
}

func TestBeginVisit(t *testing.T) {
	b, parent := had(t)
	practice := patient()
	practice.Practice = &chartv1.PracticeMark{}
	good := visit.Beginning{Patient: patient(), ClinicID: clinicID, Kind: chartv1.SessionKind_SESSION_KIND_TOUCH_UP, On: today(), Parent: parent, Why: "left corner"}
	for name, c := range map[string]struct {
		change func(*visit.Beginning)
		field  string
	}{
		"no patient":             {func(x *visit.Beginning) { x.Patient = nil }, "patient_id"},
		"no clinic":              {func(x *visit.Beginning) { x.ClinicID = "" }, "clinic_id"},
		"no day":                 {func(x *visit.Beginning) { x.On = nil }, "on"},
		"no kind":                {func(x *visit.Beginning) { x.Kind = 0 }, "kind"},
		"a touch-up of nothing":  {func(x *visit.Beginning) { x.Parent = nil }, "parent"},
		"a touch-up without why": {func(x *visit.Beginning) { x.Why = "" }, "parent.reason"},
		"of another patient":     {func(x *visit.Beginning) { x.Patient = &chartv1.Patient{Id: mia} }, "parent.session_id"},
		"practice after real":    {func(x *visit.Beginning) { x.Patient = practice }, "parent.session_id"},
		"an untreated parent":    {func(x *visit.Beginning) { x.Parent = b.begin() }, "parent.session_id"},
	} {
		x := good
		c.change(&x)
		if s, err := visit.BeginVisit(b.hand(mia), x); !refused(err, c.field) {
			t.Errorf("%s: %v, %v", name, s, err)
		}
	}
	s, err := visit.BeginVisit(b.hand(mia), good)
	b.ok(err)
	if s.GetParent().GetSessionId() != parent.GetId() || visit.StandingOf(s).Step != visit.Open || s.GetPractice() != nil {
		t.Errorf("begun: %v", s)
	}
	s, err = visit.BeginVisit(b.hand(mia), visit.Beginning{Patient: practice, ClinicID: clinicID, Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT, On: today()})
	b.ok(err)
	if !visit.StandingOf(s).Practice || !visit.IsPractice(s, nil) || !visit.IsPractice(&chartv1.Session{}, practice) {
		t.Error("a visit of a patient for practice is one for practice")
	}
	if visit.IsPractice(s, patient()) {
		t.Error("a mark alone hides nobody's treatment")
	}
}
