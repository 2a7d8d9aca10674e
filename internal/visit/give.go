package visit

import (
	"slices"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/dose"
)

// Shot is one injection as it was given.
type Shot struct {
	// InjectionID is the planned one; empty for one that nobody planned, of which Muscle and Side are then needed.
	InjectionID string
	Muscle      string
	Side        chartv1.Side
	// Dose is what was given; nil for what was planned.
	Dose *chartv1.Dose
	// SyringeID is the syringe of the visit that it came from; empty for the only one in use.
	SyringeID string
	// MarkAfter is where the plunger stood after it; nil when it was not read.
	MarkAfter *dose.Volume
	// Place and Depth are where the needle went in; nil for as planned.
	Place *chartv1.Place
	Depth *chartv1.Depth
	// By is the staff id of who injected; empty for the hand itself. At is when; zero for the hand's time. A form on paper says both.
	By string
	At time.Time
	// Spill is what did not reach the muscle; nil when all did.
	Spill *chartv1.Spill
	// Reason says why it differs from the plan; needed where it does.
	Reason string
}

// GiveShot records an injection as given, beside what was planned. A dose, a side, a place or a depth other than planned, or an injection that nobody
// planned, needs a reason. Who records may be another than who injects; both are kept. The first one makes the visit one in treatment. In a visit from a
// paper form no check before the needle is asked for, since it is over.
func GiveShot(h Hand, s *chartv1.Session, shot Shot) (*chartv1.Session, error) {
	if err := mayGive(h, s, shot); err != nil {
		return nil, err
	}
	out := part(s)
	in, err := shot.injection(h, s, out)
	if err != nil {
		return nil, err
	}
	given, err := shot.given(s, in)
	if err != nil {
		return nil, err
	}
	g := &chartv1.Giving{Id: h.NewID(), Given: given, Place: shot.Place, Depth: shot.Depth, Done: actBy(orText(shot.By, h.By), orTime(shot.At, h.At))}
	if shot.Side != 0 && shot.Side != in.GetSide() {
		g.Side = shot.Side.Enum()
	}
	if shot.By != "" && shot.By != h.By {
		g.RecordedBy = &h.By
	}
	if shot.Spill != nil {
		g.Spill = &chartv1.Spill{LostNanoliters: shot.Spill.LostNanoliters, Text: shot.Spill.GetText(), Seen: h.Act()}
	}
	written := writtenInjection(out, in.GetId())
	written.Givings = append(written.Givings, g)
	if differs(in, g) {
		if shot.Reason == "" {
			return nil, wrong("deviations.reason", "", "why what is given differs from the plan")
		}
		out.Deviations = []*chartv1.Deviation{h.deviation(in.GetId(), shot.Reason)}
	}
	if !StandingOf(s).Given {
		out.States = []*chartv1.SessionState{h.state(Treating, "")}
	}
	return out, nil
}

func mayGive(h Hand, s *chartv1.Session, shot Shot) error {
	st := StandingOf(s)
	if s.GetPaper() != nil && st.Step == Open {
		st.Step = Treating // what a form on paper tells is over
	}
	if shot.By != "" && shot.By != h.By && h.has(Assistant) && !h.has(Injector, Lead) {
		return MayAt(RecordFor, st, h.Roles...)
	}
	return MayAt(Give, st, h.Roles...)
}

// injection finds the injection, or adds one that nobody planned to what is written.
func (shot *Shot) injection(h Hand, s, out *chartv1.Session) (*chartv1.Injection, error) {
	if shot.InjectionID != "" {
		in := injectionOf(s, shot.InjectionID)
		if in == nil {
			return nil, notThere("injections", shot.InjectionID)
		}
		if shot.Dose == nil && in.GetPlanned() == nil {
			return nil, wrong("injections["+in.GetId()+"].givings.given.dose", "", "the dose, since none is planned")
		}
		return in, nil
	}
	muscle, ok := anatomy.MuscleByCode(shot.Muscle)
	switch {
	case !ok:
		return nil, wrong("injections.muscle", shot.Muscle, "a muscle as the anatomy names it")
	case shot.Dose == nil:
		return nil, wrong("injections.givings.given.dose", "", "the dose of an injection that nobody planned")
	}
	if err := muscle.CheckSide(anatomySide(shot.Side)); err != nil {
		return nil, wrong("injections.side", shot.Side.String(), "a side that the muscle has")
	}
	in := &chartv1.Injection{Id: h.NewID(), Muscle: new(shot.Muscle), Side: shot.Side.Enum()}
	out.Injections = append(out.Injections, &chartv1.Injection{Id: in.GetId(), Muscle: in.Muscle, Side: in.Side})
	return in, nil
}

func anatomySide(s chartv1.Side) anatomy.Side {
	switch s {
	case chartv1.Side_SIDE_RIGHT:
		return anatomy.SideRight
	case chartv1.Side_SIDE_LEFT:
		return anatomy.SideLeft
	case chartv1.Side_SIDE_MIDLINE:
		return anatomy.SideMidline
	}
	return 0
}

// writtenInjection is the injection within what is written.
func writtenInjection(out *chartv1.Session, id string) *chartv1.Injection {
	if in := injectionOf(out, id); in != nil {
		return in
	}
	in := &chartv1.Injection{Id: id}
	out.Injections = append(out.Injections, in)
	return in
}

// given is the dose with where it came from and the marks that it was read by.
func (shot *Shot) given(s *chartv1.Session, in *chartv1.Injection) (*chartv1.GivenDose, error) {
	out := &chartv1.GivenDose{Dose: shot.Dose}
	if out.Dose == nil {
		out.Dose = in.GetPlanned()
	}
	if p := in.GetPlanned(); p != nil && p.GetProduct() != out.GetDose().GetProduct() {
		return nil, wrong("injections["+in.GetId()+"].givings.given.dose.product", out.GetDose().GetProduct(),
			p.GetProduct()+" as planned: units of one product are not units of another; plan an injection of the other product")
	}
	syringe, err := shot.syringe(s)
	if err != nil || syringe == nil {
		return out, err
	}
	f := syringe.GetFilling()
	out.SyringeId, out.VialId, out.PreparationId = new(syringe.GetId()), new(f.GetVialId()), f.PreparationId
	if shot.MarkAfter == nil {
		return out, nil
	}
	before, _ := Plunger(s, syringe.GetId())
	if after := *shot.MarkAfter; after > before || after < 0 {
		return nil, wrong("injections["+in.GetId()+"].givings.given.mark_after_nanoliters", after.Decimal(),
			"a mark from 0 to "+before.Decimal()+" mL, where the plunger stood")
	}
	out.MarkBeforeNanoliters, out.MarkAfterNanoliters = new(int64(before)), new(int64(*shot.MarkAfter))
	if volume := int64(before - *shot.MarkAfter); volume > 0 {
		out.VolumeNanoliters = &volume
	}
	return out, nil
}

// syringe is the one that was named, or the only one in use; nil where the visit has none, as one from a paper form may.
func (shot *Shot) syringe(s *chartv1.Session) (*chartv1.SessionSyringe, error) {
	use := InUse(s)
	if shot.SyringeID == "" {
		switch {
		case len(use) == 1:
			return use[0], nil
		case len(use) == 0 && s.GetPaper() != nil:
			return nil, nil
		case len(use) == 0:
			return nil, wrong("injections.givings.given.syringe_id", "", "a syringe that is drawn up")
		}
		return nil, wrong("injections.givings.given.syringe_id", "", "which of the syringes in use")
	}
	for _, x := range s.GetSyringes() {
		if x.GetId() == shot.SyringeID && x.GetVoid() == nil {
			return x, nil
		}
	}
	return nil, notThere("syringes", shot.SyringeID)
}

func orText(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func orTime(t, otherwise time.Time) time.Time {
	if t.IsZero() {
		return otherwise
	}
	return t
}

func (h Hand) deviation(injection, reason string) *chartv1.Deviation {
	d := &chartv1.DeviationReason{Reason: reason, Given: h.Act()}
	setText(&d.InjectionId, injection)
	return &chartv1.Deviation{Id: h.NewID(), Reason: d}
}

// VoidShot says that something recorded as given was not given so, and why. It stays, and what left the vial stays.
func VoidShot(h Hand, s *chartv1.Session, giving, reason string) (*chartv1.Session, error) {
	if err := May(PutRight, s, h.Roles...); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("injections.givings.void.reason", "", "why it does not count")
	}
	for _, in := range s.GetInjections() {
		if slices.ContainsFunc(in.GetGivings(), func(g *chartv1.Giving) bool { return g.GetId() == giving }) {
			out := part(s)
			out.Injections = []*chartv1.Injection{{Id: in.GetId(), Givings: []*chartv1.Giving{{Id: giving, Void: h.void(reason)}}}}
			return out, nil
		}
	}
	return nil, notThere("injections.givings", giving)
}

// SpillShot says what of an injection did not reach the muscle: lost is nil where nobody knows how much.
func SpillShot(h Hand, s *chartv1.Session, giving string, lost *dose.Volume, text string) (*chartv1.Session, error) {
	if err := May(PutRight, s, h.Roles...); err != nil {
		return nil, err
	}
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if g.GetId() != giving {
				continue
			}
			spill := &chartv1.Spill{Text: text, Seen: h.Act()}
			if lost != nil {
				spill.LostNanoliters = new(int64(*lost))
			}
			out := part(s)
			out.Injections = []*chartv1.Injection{{Id: in.GetId(), Givings: []*chartv1.Giving{{Id: giving, Spill: spill}}}}
			return out, nil
		}
	}
	return nil, notThere("injections.givings", giving)
}

// ReadPlunger records where a plunger was seen to stand, after an injection or, where after is empty, before the first.
func ReadPlunger(h Hand, s *chartv1.Session, syringe string, mark dose.Volume, after string) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	if _, ok := Plunger(s, syringe); !ok {
		return nil, notThere("syringes", syringe)
	}
	reading := &chartv1.PlungerMark{MarkNanoliters: int64(mark), Read: h.Act()}
	setText(&reading.AfterInjectionId, after)
	out := part(s)
	out.Syringes = []*chartv1.SessionSyringe{{Id: syringe, Readings: []*chartv1.PlungerReading{{Id: h.NewID(), Reading: reading}}}}
	return out, nil
}

// PutAway says that a syringe is not in use any more.
func PutAway(h Hand, s *chartv1.Session, syringe string) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	if _, ok := Plunger(s, syringe); !ok {
		return nil, notThere("syringes", syringe)
	}
	out := part(s)
	out.Syringes = []*chartv1.SessionSyringe{{Id: syringe, Emptied: h.Act()}}
	return out, nil
}
