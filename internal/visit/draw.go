package visit

import (
	"cmp"
	"math/big"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
)

// Filling is what syringes are filled with and from.
type Filling struct {
	Vial *chartv1.Vial
	// PreparationID names the preparation; empty takes the only one that counts, or none of a ready liquid.
	PreparationID string
	// Syringe is the type, as the formulary has it.
	Syringe *formularyv1.Syringe
	// Priming is what is pushed out after the needle was changed, NeedleDeadSpace what stays in the needle that drew, beside the syringe's own.
	Priming, NeedleDeadSpace dose.Volume
	NeedleChanged            bool
	// CheckedBy is the staff id of who checked; empty when nobody did.
	CheckedBy string
	// Label is what is written on each syringe; empty when nothing is.
	Label string
}

// Drawn is what drawing up writes, and the marks to inject by.
type Drawn struct {
	Session *chartv1.Session
	Vial    *chartv1.Vial
	Plan    dose.Plan
}

// DrawUpPlan draws up what is planned of the vial's product and not given yet: the syringes, what left the vial, each piercing of its stopper with a new
// needle and syringe. Injections keep their order. What the errors of package dose refuse is refused here too, such as an injection that no syringe of the
// type holds.
func DrawUpPlan(h Hand, s *chartv1.Session, f Filling) (Drawn, error) {
	if err := May(DrawUp, s, h.Roles...); err != nil {
		return Drawn{}, err
	}
	if f.CheckedBy == h.By {
		return Drawn{}, wrong("draws.checked", f.CheckedBy, "someone other than who draws up")
	}
	mix, preparation, err := f.mix(s)
	if err != nil {
		return Drawn{}, err
	}
	f.PreparationID = preparation
	plan, err := planDraw(s, mix, f, nil)
	if err != nil {
		return Drawn{}, err
	}
	out := Drawn{Session: part(s), Vial: &chartv1.Vial{Id: f.Vial.GetId()}, Plan: plan}
	for _, filled := range plan.Syringes {
		if err := out.fill(h, s, f, mix, preparation, filled); err != nil {
			return Drawn{}, err
		}
		h.At = h.At.Add(time.Millisecond) // one after another: their order is told by it
	}
	return out, nil
}

// mix is what is in the vial, and the preparation that it is; empty for a ready liquid.
func (f Filling) mix(s *chartv1.Session) (dose.Concentration, string, error) {
	v := f.Vial
	switch {
	case v.GetId() == "":
		return dose.Concentration{}, "", wrong("vial_id", "", "the vial to draw from")
	case f.Syringe == nil:
		return dose.Concentration{}, "", wrong("syringe_code", "", "the type of syringe")
	case v.GetVoid() != nil || v.GetDiscarded() != nil || v.GetBlocked() != nil:
		return dose.Concentration{}, "", wrong("vial_id", v.GetId(), "a vial that counts, is not used up and not blocked")
	case (v.GetPractice() != nil) != (s.GetPractice() != nil):
		return dose.Concentration{}, "", wrong("vial_id", v.GetId(), "a vial for practice in a visit for practice, a real one in a real one")
	}
	return MixOf(v, f.PreparationID)
}

// MixOf is the concentration in a vial, by a preparation of it or, where id is empty, by the only one that counts. The id that it answers is empty for a
// ready liquid.
func MixOf(v *chartv1.Vial, id string) (dose.Concentration, string, error) {
	p := v.GetPresentation()
	content, err := dose.NewAmount(dose.Product(p.GetProduct()), int64(p.GetContentMilliunits()))
	if err != nil {
		return dose.Concentration{}, "", wrong("presentation", p.GetProduct(), "a vial whose product and content are recorded")
	}
	if p.LiquidNanoliters != nil && id == "" {
		c, err := dose.NewConcentration(content, dose.Volume(p.GetLiquidNanoliters()))
		return c, "", err
	}
	var found []*chartv1.Preparation
	for _, x := range v.GetPreparations() {
		if x.GetVoid() == nil && x.GetDiluent() != nil && (id == "" || x.GetId() == id) {
			found = append(found, x)
		}
	}
	switch {
	case len(found) == 0:
		return dose.Concentration{}, "", notThere("preparation_id", id)
	case len(found) > 1:
		return dose.Concentration{}, "", wrong("preparation_id", "", "which preparation: diluent was added to this vial more than once")
	}
	c, err := dose.NewConcentration(content, dose.Volume(found[0].GetDiluent().GetVolumeNanoliters()))
	return c, found[0].GetId(), err
}

// fill adds one syringe to what is written.
func (d *Drawn) fill(h Hand, s *chartv1.Session, f Filling, mix dose.Concentration, preparation string, filled dose.FilledSyringe) error {
	units, err := mix.UnitsIn(filled.DrawTo + f.NeedleDeadSpace + dose.Volume(f.Syringe.GetDeadSpaceNanoliters()))
	if err != nil {
		return err
	}
	syringe, draw := h.NewID(), h.NewID()
	filling := &chartv1.SyringeFilling{
		SyringeCode: new(f.Syringe.GetCode()), CapacityNanoliters: f.Syringe.GetCapacityNanoliters(),
		GraduationNanoliters: f.Syringe.GetGraduationNanoliters(), VialId: f.Vial.GetId(), DrawnNanoliters: int64(filled.Drawn), Label: f.Label,
	}
	amount := &chartv1.DrawAmount{
		SessionId: s.GetId(), SyringeId: &syringe, VolumeNanoliters: int64(filled.DrawTo+f.NeedleDeadSpace) + f.Syringe.GetDeadSpaceNanoliters(),
		DoseMilliunits: Milliunits(units), SyringeCode: new(f.Syringe.GetCode()),
	}
	setText(&filling.PreparationId, preparation)
	setText(&amount.PreparationId, preparation)
	element := &chartv1.SessionSyringe{Id: syringe, Filling: filling, Drawn: h.Act()}
	if f.NeedleChanged || f.Priming > 0 {
		element.Priming = &chartv1.Priming{NeedleChanged: f.NeedleChanged, PrimedNanoliters: new(int64(f.Priming)), Done: h.Act()}
	}
	drawn := &chartv1.Draw{Id: draw, Amount: amount, Drawn: h.Act()}
	if f.CheckedBy != "" {
		drawn.Checked = actBy(f.CheckedBy, h.At)
	}
	d.Session.Syringes = append(d.Session.Syringes, element)
	d.Vial.Draws = append(d.Vial.Draws, drawn)
	d.Vial.Entries = append(d.Vial.Entries, &chartv1.VialEntry{Id: h.NewID(), Piercing: &chartv1.Piercing{
		SessionId: new(s.GetId()), Sterile: true, Done: h.Act(),
	}})
	return nil
}

// Milliunits is an exact amount in thousandths of a unit, a half to the even one, as a draw records it.
func Milliunits(a dose.ExactAmount) int32 {
	u := a.Units()
	n := new(big.Int).Mul(big.NewInt(u.Num()), big.NewInt(1000))
	q, r := new(big.Int).QuoRem(n, big.NewInt(u.Den()), new(big.Int))
	switch twice := r.Lsh(r, 1).Cmp(big.NewInt(u.Den())); {
	case twice > 0, twice == 0 && q.Bit(0) == 1:
		q.Add(q, big.NewInt(1))
	}
	return int32(q.Int64())
}

// ToCome are the injections that are planned with a product and not given yet, in the order in which they are meant to be given.
func ToCome(s *chartv1.Session, product string) []*chartv1.Injection {
	var out []*chartv1.Injection
	for _, in := range s.GetInjections() {
		if in.GetVoid() == nil && in.GetPlanned() != nil && in.GetPlanned().GetProduct() == product && !slices.ContainsFunc(in.GetGivings(), counts) {
			out = append(out, in)
		}
	}
	slices.SortFunc(out, byPosition)
	return out
}

func byPosition(a, b *chartv1.Injection) int {
	return cmp.Or(cmp.Compare(a.GetPosition(), b.GetPosition()), cmp.Compare(a.GetId(), b.GetId()))
}

// planDraw reckons marks for what is to come, going on with a syringe in hand where there is one.
func planDraw(s *chartv1.Session, mix dose.Concentration, f Filling, hand *dose.InHand) (dose.Plan, error) {
	r := dose.DrawRequest{Concentration: mix, InHand: hand, Syringe: syringeOf(f)}
	for _, in := range ToCome(s, string(mix.Product())) {
		amount, err := dose.NewAmount(mix.Product(), int64(in.GetPlanned().GetDoseMilliunits()))
		if err != nil {
			return dose.Plan{}, wrong("injections["+in.GetId()+"].planned", "", "a dose")
		}
		r.Injections = append(r.Injections, dose.Injection{Ref: in.GetId(), Muscle: in.GetMuscle(), Side: doseSide(in.GetSide()), Dose: amount})
	}
	if len(r.Injections) == 0 {
		return dose.Plan{}, wrong("injections", "nothing to come", "injections that are planned with "+string(mix.Product())+" and not given yet")
	}
	r.Given = f.givenBefore(s, mix)
	return dose.PlanDraw(r)
}

func syringeOf(f Filling) dose.Syringe {
	out := dose.Syringe{
		Capacity: dose.Volume(f.Syringe.GetCapacityNanoliters()), Graduation: dose.Volume(f.Syringe.GetGraduationNanoliters()),
		DeadSpace: dose.Volume(f.Syringe.GetDeadSpaceNanoliters()) + f.NeedleDeadSpace, Priming: f.Priming,
	}
	if f.Syringe.GetInsulinScale() {
		out.MarkVolume = dose.Millilitre / 100
	}
	return out
}

// givenBefore is what was given from the same preparation, by its marks, so that each side's rounding goes on from where it stands. What came from another
// vial says nothing about this one's marks.
func (f Filling) givenBefore(s *chartv1.Session, mix dose.Concentration) (out []dose.Given) {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			given := g.GetGiven()
			if !counts(g) || given.VolumeNanoliters == nil || given.GetDose().GetProduct() != string(mix.Product()) ||
				given.GetVialId() != f.Vial.GetId() || given.GetPreparationId() != f.PreparationID {
				continue
			}
			amount, err := dose.NewAmount(mix.Product(), int64(given.GetDose().GetDoseMilliunits()))
			if err != nil || given.GetDose().GetDoseMilliunits() <= 0 {
				continue
			}
			out = append(out, dose.Given{Ref: g.GetId(), Muscle: in.GetMuscle(), Side: doseSide(sideGiven(in, g)), Dose: amount,
				Delivered: dose.Volume(given.GetVolumeNanoliters())})
		}
	}
	return out
}

func sideGiven(in *chartv1.Injection, g *chartv1.Giving) chartv1.Side {
	if g.Side != nil {
		return g.GetSide()
	}
	return in.GetSide()
}

func doseSide(s chartv1.Side) dose.Side {
	switch s {
	case chartv1.Side_SIDE_RIGHT:
		return dose.SideRight
	case chartv1.Side_SIDE_LEFT:
		return dose.SideLeft
	case chartv1.Side_SIDE_MIDLINE:
		return dose.SideMidline
	}
	return dose.SideNone
}

// Plunger is where the plunger of a syringe stands, by the last reading or the last injection from it, else by what was drawn; ok is false for a syringe that
// is not of the visit, was voided or is empty. Where readings or givings claim the same time the lower mark counts.
func Plunger(s *chartv1.Session, syringe string) (mark dose.Volume, ok bool) {
	i := slices.IndexFunc(s.GetSyringes(), func(x *chartv1.SessionSyringe) bool { return x.GetId() == syringe })
	if i < 0 || s.GetSyringes()[i].GetVoid() != nil || s.GetSyringes()[i].GetEmptied() != nil {
		return 0, false
	}
	x := s.GetSyringes()[i]
	stands, at := x.GetFilling().GetDrawnNanoliters(), x.GetDrawn().GetAt().AsTime()
	for _, r := range x.GetReadings() {
		if t := r.GetReading().GetRead().GetAt().AsTime(); t.After(at) || t.Equal(at) && r.GetReading().GetMarkNanoliters() < stands {
			stands, at = r.GetReading().GetMarkNanoliters(), t
		}
	}
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if !counts(g) || g.GetGiven().GetSyringeId() != syringe || g.GetGiven().MarkAfterNanoliters == nil {
				continue
			}
			if t := g.GetDone().GetAt().AsTime(); t.After(at) || t.Equal(at) && g.GetGiven().GetMarkAfterNanoliters() < stands {
				stands, at = g.GetGiven().GetMarkAfterNanoliters(), t
			}
		}
	}
	return dose.Volume(stands), true
}

// PlungerRead is whether Plunger tells where it stands now: not when an injection was given from the syringe, without the mark at which it stopped, later
// than the last reading.
func PlungerRead(s *chartv1.Session, syringe string) bool {
	var read, moved time.Time
	later := func(t *time.Time, act *recordv1.Act) {
		if at := act.GetAt().AsTime(); at.After(*t) {
			*t = at
		}
	}
	for _, x := range s.GetSyringes() {
		for _, r := range x.GetReadings() {
			if x.GetId() == syringe {
				later(&read, r.GetReading().GetRead())
			}
		}
	}
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			switch {
			case !counts(g) || g.GetGiven().GetSyringeId() != syringe:
			case g.GetGiven().MarkAfterNanoliters == nil:
				later(&moved, g.GetDone())
			default:
				later(&read, g.GetDone())
			}
		}
	}
	return !moved.After(read)
}

// InUse lists the syringes of a visit that still hold something, in the order in which they were drawn.
func InUse(s *chartv1.Session) []*chartv1.SessionSyringe {
	var out []*chartv1.SessionSyringe
	for _, x := range s.GetSyringes() {
		if mark, ok := Plunger(s, x.GetId()); ok && mark > 0 {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, byDrawn)
	return out
}

// MarksToCome reckons the marks of what is still to be given, going on with a syringe. As long as all went as planned they are the marks that it was drawn up
// by, on whichever tablet. After a spill, a changed dose or a reading the rest is planned anew from where the plunger stands now; lost is what left it
// without being given. Where nobody read the plunger since the last injection there is no mark to say: the error asks for the reading.
func MarksToCome(s *chartv1.Session, f Filling, syringe string, lost dose.Loss) (dose.Plan, error) {
	mix, preparation, err := f.mix(s)
	if err != nil {
		return dose.Plan{}, err
	}
	f.PreparationID = preparation
	stands, ok := Plunger(s, syringe)
	if !ok {
		return dose.Plan{}, notThere("syringe_id", syringe)
	}
	if !PlungerRead(s, syringe) {
		return dose.Plan{}, wrong("plunger", "", "a reading of it: an injection from this syringe was given since, without the mark at which it stopped")
	}
	if plan, ok := f.asDrawn(s, mix, syringe); ok && lost == (dose.Loss{}) {
		return plan, nil
	}
	return planDraw(s, mix, f, &dose.InHand{Reading: stands, Lost: lost})
}

// asDrawn is the plan that the syringes from this preparation were drawn up by, from the syringe on and without what was given; ok is false as soon as
// anything was not as that plan has it.
func (f Filling) asDrawn(s *chartv1.Session, mix dose.Concentration, syringe string) (dose.Plan, bool) {
	before := proto.CloneOf(s)
	marks, undone := map[string]int64{}, true
	for _, in := range before.GetInjections() {
		for _, g := range in.GetGivings() {
			if !counts(g) || g.GetGiven().GetVialId() != f.Vial.GetId() || g.GetGiven().GetPreparationId() != f.PreparationID {
				continue
			}
			as := g.GetSpill() == nil && g.GetGiven().MarkAfterNanoliters != nil && proto.Equal(g.GetGiven().GetDose(), in.GetPlanned())
			undone = undone && as && len(in.GetGivings()) == 1
			marks[in.GetId()] = g.GetGiven().GetMarkAfterNanoliters()
		}
		if _, ok := marks[in.GetId()]; ok {
			in.Givings = nil
		}
	}
	plan, err := planDraw(before, mix, f, nil)
	mine := f.syringes(s)
	at := slices.IndexFunc(mine, func(x *chartv1.SessionSyringe) bool { return x.GetId() == syringe })
	if err != nil || !undone || at < 0 || len(plan.Syringes) != len(mine) {
		return dose.Plan{}, false
	}
	for i, x := range plan.Syringes {
		if len(mine[i].GetReadings()) > 0 || int64(x.Drawn) != mine[i].GetFilling().GetDrawnNanoliters() {
			return dose.Plan{}, false
		}
		plan.Syringes[i].Marks = nil
		for _, m := range x.Marks {
			mark, given := marks[m.Ref]
			if given && mark != int64(m.Mark) {
				return dose.Plan{}, false
			}
			if !given {
				plan.Syringes[i].Marks = append(plan.Syringes[i].Marks, m)
			}
		}
	}
	plan.Syringes = plan.Syringes[at:]
	return plan, true
}

// syringes are those that were drawn from this preparation and count, in the order in which they were drawn.
func (f Filling) syringes(s *chartv1.Session) (out []*chartv1.SessionSyringe) {
	for _, x := range s.GetSyringes() {
		if x.GetVoid() == nil && x.GetFilling().GetVialId() == f.Vial.GetId() && x.GetFilling().GetPreparationId() == f.PreparationID {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, byDrawn)
	return out
}

func byDrawn(a, b *chartv1.SessionSyringe) int {
	return cmp.Or(a.GetDrawn().GetAt().AsTime().Compare(b.GetDrawn().GetAt().AsTime()), cmp.Compare(a.GetId(), b.GetId()))
}

// NextMark is the next injection to give, with the syringe that it comes from and the mark that it ends at. The syringe is empty where none in use serves what
// is to come, so that another must be drawn up. The error is MarksToCome's where a plunger was not read since its last injection.
func NextMark(s *chartv1.Session, f Filling) (syringe string, mark dose.Mark, err error) {
	_, preparation, err := f.mix(s)
	if err != nil {
		return "", dose.Mark{}, err
	}
	f.PreparationID = preparation
	for _, x := range f.syringes(s) {
		plan, err := MarksToCome(s, f, x.GetId(), dose.Loss{})
		if _, holds := Plunger(s, x.GetId()); err != nil && holds && !PlungerRead(s, x.GetId()) {
			return "", dose.Mark{}, err
		}
		if err == nil && len(plan.Syringes) > 0 && len(plan.Syringes[0].Marks) > 0 {
			return x.GetId(), plan.Syringes[0].Marks[0], nil
		}
	}
	return "", dose.Mark{}, nil
}
