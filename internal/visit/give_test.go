package visit_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/visit"
)

// refused reports whether an error is a refusal of a field.
func refused(err error, field string) bool {
	f := fault.Of(err)
	return f != nil && f.Field == field && f.Error() != ""
}

// TestDrawAndGive_Conserve: whatever is planned, what was drawn is what was given and what stays, each syringe's marks end where the plan says, and both
// sides of an even plan get the same.
func TestDrawAndGive_Conserve(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := newBook(t)
		s := b.begin()
		muscles := []string{"depressor_anguli_oris", "mentalis", "orbicularis_oris", "depressor_anguli_oris", "mentalis"}
		n := rapid.IntRange(1, len(muscles)).Draw(r, "muscles")
		b.plan(s, abo, int32(rapid.IntRange(8, 60).Draw(r, "quarter units")*250), muscles[:n]...)
		b.ready(s)
		v := mixed(abo, 300_000, 3_000_000)
		b.drawUp(s, v)
		var given dose.Volume
		for _, in := range visit.ToCome(s, abo) {
			syringe, mark, err := visit.NextMark(s, b.filling(v))
			if err != nil || syringe == "" || mark.Ref != in.GetId() {
				r.Fatalf("the next mark is of %s (%v), the next injection is %s", mark.Ref, err, in.GetId())
			}
			unread := proto.CloneOf(s)
			blind, err := visit.GiveShot(b.hand(mia), unread, visit.Shot{InjectionID: in.GetId(), SyringeID: syringe})
			b.ok(err)
			join(unread, blind)
			if _, next, err := visit.NextMark(unread, b.filling(v)); err == nil {
				r.Fatalf("nobody read the plunger, and the next mark is %s", next.Mark.Decimal())
			}
			read, err := visit.ReadPlunger(b.hand(mia), unread, syringe, mark.Mark, "")
			b.ok(err)
			join(unread, read)
			if _, _, err := visit.NextMark(unread, b.filling(v)); err != nil {
				r.Fatalf("after the reading: %v", err)
			}
			part, err := visit.GiveShot(b.hand(mia), s, visit.Shot{InjectionID: in.GetId(), SyringeID: syringe, MarkAfter: &mark.Mark})
			b.ok(err)
			join(s, part)
			given += mark.Delivered
			if now, _ := visit.Plunger(s, syringe); now != mark.Mark {
				r.Fatalf("the plunger stands at %s, the mark is %s", now.Decimal(), mark.Mark.Decimal())
			}
		}
		var drawn, left dose.Volume
		for _, d := range v.GetDraws() {
			drawn += dose.Volume(d.GetAmount().GetVolumeNanoliters())
		}
		for _, x := range s.GetSyringes() {
			mark, _ := visit.Plunger(s, x.GetId())
			left += mark
		}
		dead := dose.Volume(len(v.GetDraws())) * dose.Volume(b.filling(v).Syringe.GetDeadSpaceNanoliters())
		if drawn != given+left+dead {
			r.Fatalf("drawn %s, given %s, left %s, dead space %s", drawn.Decimal(), given.Decimal(), left.Decimal(), dead.Decimal())
		}
		if len(visit.Differences(s)) != 0 || visit.StandingOf(s).Step != visit.Treating {
			r.Fatalf("as planned, and %v", visit.Differences(s))
		}
		sums := visit.SidesOf(s, nil)
		if len(sums) != 2 || sums[0].Given != sums[1].Given {
			r.Fatalf("sides %v", sums)
		}
	})
}

// chinAndCorners is a visit that is ready, with its syringe and the marks: 12.5 units a side in the chin, 5 a side at the mouth corners.
func chinAndCorners(t *testing.T) (*book, *chartv1.Session, *chartv1.Vial, []dose.Mark) {
	b := newBook(t)
	s := b.begin()
	b.plan(s, abo, 12_500, "mentalis")
	b.plan(s, abo, 5000, "depressor_anguli_oris")
	b.ready(s)
	v := mixed(abo, 300_000, 1_500_000)
	drawn := b.drawUp(s, v)
	return b, s, v, drawn.Plan.Syringes[0].Marks
}

func TestGiveShot_ChangedSpiltAndReplanned(t *testing.T) {
	b, s, v, marks := chinAndCorners(t)
	give := func(shot visit.Shot) {
		t.Helper()
		part, err := visit.GiveShot(b.hand(mia), s, shot)
		b.ok(err)
		join(s, part)
	}
	give(visit.Shot{InjectionID: marks[0].Ref, MarkAfter: &marks[0].Mark})
	// the left gets 10 units in place of 12.5: 2.5 units are 0.0125 mL at 200 units in 1 mL, which the scale does not show, so 0.01 mL
	changed := marks[1].Mark + 10_000
	shot := visit.Shot{InjectionID: marks[1].Ref, MarkAfter: &changed, Dose: &chartv1.Dose{Product: abo, DoseMilliunits: 10_000}}
	if _, err := visit.GiveShot(b.hand(mia), s, shot); !refused(err, "deviations.reason") {
		t.Errorf("a changed dose without a reason: %v", err)
	}
	shot.Reason = "the left is weaker at rest"
	give(shot)
	// the next one leaks, nobody knows how much; the plunger is read, and the rest is planned anew from there
	give(visit.Shot{InjectionID: marks[2].Ref, MarkAfter: &marks[2].Mark, Spill: &chartv1.Spill{Text: "ran down the chin"}})
	syringe := s.GetSyringes()[0].GetId()
	read := marks[2].Mark - 10_000
	part, err := visit.ReadPlunger(b.hand(mia), s, syringe, read, marks[2].Ref)
	b.ok(err)
	join(s, part)
	plan, err := visit.MarksToCome(s, b.filling(v), syringe, dose.Loss{Volume: 10_000})
	b.ok(err)
	var refs []string
	for _, x := range plan.Syringes {
		for _, m := range x.Marks {
			refs = append(refs, m.Ref)
		}
	}
	if plan.Syringes[0].DrawTo != read || !slices.Equal(refs, []string{marks[3].Ref}) {
		t.Errorf("replanned from %s for %v, want from %s for %s", plan.Syringes[0].DrawTo.Decimal(), refs, read.Decimal(), marks[3].Ref)
	}
	want := map[string][]string{marks[1].Ref: {"dose"}, marks[2].Ref: {"spilt"}, marks[3].Ref: {"not_given"}}
	for _, d := range visit.Differences(s) {
		if !slices.Equal(d.Kinds, want[d.InjectionID]) {
			t.Errorf("%s differs in %v, want %v", d.InjectionID, d.Kinds, want[d.InjectionID])
		}
		if owed := d.ReasonOwed(); owed != (d.InjectionID == marks[3].Ref) {
			t.Errorf("%v: reason owed %v", d, owed)
		}
		delete(want, d.InjectionID)
	}
	if len(want) > 0 {
		t.Errorf("no difference in %v", want)
	}
}

func TestGiveShot_Refuses(t *testing.T) {
	b, s, _, marks := chinAndCorners(t)
	high := marks[0].Mark + 500_000
	other := &chartv1.Dose{Product: ona, DoseMilliunits: 4000}
	for name, c := range map[string]struct {
		shot  visit.Shot
		field string
	}{
		"another product":      {visit.Shot{InjectionID: marks[0].Ref, Dose: other, Reason: "x"}, "injections[" + marks[0].Ref + "].givings.given.dose.product"},
		"a mark above":         {visit.Shot{InjectionID: marks[0].Ref, MarkAfter: &high}, "injections[" + marks[0].Ref + "].givings.given.mark_after_nanoliters"},
		"no such injection":    {visit.Shot{InjectionID: mia}, "injections"},
		"no such syringe":      {visit.Shot{InjectionID: marks[0].Ref, SyringeID: mia}, "syringes"},
		"no such muscle":       {visit.Shot{Muscle: "smile", Side: right, Dose: other, Reason: "x"}, "injections.muscle"},
		"a paired muscle, mid": {visit.Shot{Muscle: "masseter", Side: midline, Dose: other, Reason: "x"}, "injections.side"},
		"unplanned, no reason": {visit.Shot{Muscle: "mentalis", Side: right, Dose: &chartv1.Dose{Product: abo, DoseMilliunits: 4000}}, "deviations.reason"},
	} {
		if part, err := visit.GiveShot(b.hand(mia), s, c.shot); !refused(err, c.field) {
			t.Errorf("%s: %v, %v", name, part, err)
		}
	}
	if _, err := visit.GiveShot(b.hand(tom), s, visit.Shot{InjectionID: marks[0].Ref}); fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
		t.Errorf("an assistant gives: %v", err)
	}
	part, err := visit.GiveShot(b.hand(tom), s, visit.Shot{InjectionID: marks[0].Ref, By: mia, MarkAfter: &marks[0].Mark})
	b.ok(err)
	if g := part.GetInjections()[0].GetGivings()[0]; g.GetDone().GetBy() != mia || g.GetRecordedBy() != tom {
		t.Errorf("given by %s, recorded by %s", g.GetDone().GetBy(), g.GetRecordedBy())
	}
	if d := s.GetSyringes()[0].GetDrawn().GetBy(); d != mia {
		t.Errorf("drawn by %s", d)
	}
}

// A paused visit takes no injection until somebody goes on, on whichever tablet that is.
func TestPauseAndResume(t *testing.T) {
	b, s, _, marks := chinAndCorners(t)
	pause := func(reason string) {
		part, err := visit.PauseVisit(b.hand(tom), s, reason, "lies down", true)
		b.ok(err)
		join(s, part)
	}
	pause("faint")
	if _, err := visit.GiveShot(b.hand(mia), s, visit.Shot{InjectionID: marks[0].Ref}); !refused(err, "states") {
		t.Errorf("given in a pause: %v", err)
	}
	if _, err := visit.Resume(b.hand(tom), s); fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
		t.Errorf("an assistant goes on: %v", err)
	}
	part, err := visit.Resume(b.hand(lena), s)
	b.ok(err)
	join(s, part)
	if st := visit.StandingOf(s); st.Step != visit.Ready || len(st.Pauses) > 0 || s.GetPauses()[0].GetEnded().GetBy() != lena {
		t.Errorf("after the pause: %+v", st)
	}
	if _, err := visit.End(b.hand(mia), s, visit.Finish, ""); !refused(err, "injections") {
		t.Errorf("finished with nothing given: %v", err)
	}
	part, err = visit.GiveShot(b.hand(mia), s, visit.Shot{InjectionID: marks[0].Ref, MarkAfter: &marks[0].Mark})
	b.ok(err)
	join(s, part)
	pause("wish")
	if _, err := visit.End(b.hand(mia), s, visit.Cancel, "x"); !refused(err, "injections") {
		t.Errorf("cancelled with something given: %v", err)
	}
	part, err = visit.End(b.hand(mia), s, visit.StopEarly, "she wants no more today")
	b.ok(err)
	join(s, part)
	if st := visit.StandingOf(s); st.Step != visit.Stopped || len(st.Doubts) > 0 {
		t.Errorf("stopped early: %+v", st)
	}
}
