package visit_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/visit"
)

// anyVisit draws a visit as several tablets may have written it.
func anyVisit(t *rapid.T) *chartv1.Session {
	s := &chartv1.Session{}
	act := func() *recordv1.Act { return &recordv1.Act{By: mia, At: at(rapid.IntRange(0, 50).Draw(t, "minute"))} }
	steps := rapid.SampledFrom(visit.Steps()[1:])
	for i := range rapid.IntRange(0, 6).Draw(t, "states") {
		s.States = append(s.States, &chartv1.SessionState{Id: fmt.Sprint("s", i), Change: &chartv1.StateChange{Step: steps.Draw(t, "step"), Moved: act()}})
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "pauses") {
		p := &chartv1.Pause{Id: fmt.Sprint("p", i), Began: &chartv1.PauseBeginning{Reason: "wish", Began: act()}}
		if rapid.Bool().Draw(t, "ended") {
			p.Ended = act()
		}
		s.Pauses = append(s.Pauses, p)
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "injections") {
		g := &chartv1.Giving{Id: fmt.Sprint("g", i), Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: ona, DoseMilliunits: 4000}}, Done: act()}
		if rapid.Bool().Draw(t, "void") {
			g.Void = &recordv1.Void{Reason: "x", By: mia}
		}
		s.Injections = append(s.Injections, &chartv1.Injection{Id: fmt.Sprint("i", i), Givings: []*chartv1.Giving{g}})
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "checks") {
		c := allYes()
		no := false
		if rapid.Bool().Draw(t, "no") {
			c.Skin = &no
		}
		c.Done = act()
		s.ReadinessChecks = append(s.ReadinessChecks, &chartv1.ReadinessCheck{Id: fmt.Sprint("c", i), Check: c})
	}
	return s
}

// TestStandingOf_OrderDoesNotCount: whatever the order in which elements came, the visit stands where it stands.
func TestStandingOf_OrderDoesNotCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyVisit(t)
		other := proto.CloneOf(s)
		other.States = rapid.Permutation(other.States).Draw(t, "states in another order")
		other.Pauses = rapid.Permutation(other.Pauses).Draw(t, "pauses in another order")
		other.ReadinessChecks = rapid.Permutation(other.ReadinessChecks).Draw(t, "checks in another order")
		slices.Reverse(other.Injections)
		if diff := cmp.Diff(visit.StandingOf(s), visit.StandingOf(other)); diff != "" {
			t.Fatal(diff)
		}
	})
}

// TestStandingOf_Says: what ended stays ended whatever else comes, what was given was not cancelled, and a visit that is not over and not paused is open,
// ready or in treatment.
func TestStandingOf_Says(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyVisit(t)
		st := visit.StandingOf(s)
		wrote := map[chartv1.SessionStep]bool{}
		for _, x := range s.GetStates() {
			wrote[x.GetChange().GetStep()] = true
		}
		switch ended := wrote[visit.Finished] || wrote[visit.Stopped]; {
		case ended != (st.Step == visit.Finished || st.Step == visit.Stopped):
			t.Fatalf("%v stands at %s", wrote, st.Step)
		case st.Step == visit.Cancelled && st.Given:
			t.Fatal("given and cancelled")
		case st.Step == visit.Ready && (!wrote[visit.Ready] || st.Given || len(st.Pauses) > 0):
			t.Fatalf("ready: %+v", st)
		case st.Given && (st.Step == visit.Open || st.Step == visit.Ready || st.Step == visit.None):
			t.Fatalf("given, and %s", st.Step)
		}
	})
}

func TestStandingOf_TwoTablets(t *testing.T) {
	b := newBook(t)
	s := b.begin()
	b.plan(s, abo, 5000, "depressor_anguli_oris")
	b.ready(s)
	v := mixed(abo, 300_000, 1_500_000)
	drawn := b.drawUp(s, v)
	cancelled, err := visit.End(b.hand(tom), s, visit.Cancel, "the patient left")
	b.ok(err)
	mark := drawn.Plan.Syringes[0].Marks[0].Mark
	given, err := visit.GiveShot(b.hand(mia), s, visit.Shot{InjectionID: drawn.Plan.Syringes[0].Marks[0].Ref, MarkAfter: &mark})
	b.ok(err)
	join(s, cancelled)
	join(s, given)
	if st := visit.StandingOf(s); st.Step != visit.Treating || len(st.Doubts) != 1 {
		t.Errorf("cancelled on one tablet and given on another: %+v", st)
	}
}

// A check before the needle that says no takes the readiness back.
func TestStandingOf_CheckedAgain(t *testing.T) {
	b := newBook(t)
	s := b.begin()
	b.ready(s)
	if st := visit.StandingOf(s); st.Step != visit.Ready {
		t.Fatalf("%+v", st)
	}
	no := false
	part, missing, err := visit.CheckBeforeNeedle(b.hand(mia), s, &chartv1.ReadinessAnswers{Skin: &no}, "")
	b.ok(err)
	join(s, part)
	if st := visit.StandingOf(s); st.Step != visit.Open || !slices.Equal(missing, []string{"skin"}) {
		t.Errorf("%+v, missing %v", st, missing)
	}
}
