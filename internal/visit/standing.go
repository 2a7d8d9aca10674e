package visit

import (
	"cmp"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// The steps of a visit, by short names. None is a visit that nobody began.
const (
	None      = chartv1.SessionStep_SESSION_STEP_UNSPECIFIED
	Open      = chartv1.SessionStep_SESSION_STEP_OPEN
	Ready     = chartv1.SessionStep_SESSION_STEP_READY
	Treating  = chartv1.SessionStep_SESSION_STEP_IN_TREATMENT
	Paused    = chartv1.SessionStep_SESSION_STEP_PAUSED
	Stopped   = chartv1.SessionStep_SESSION_STEP_STOPPED_EARLY
	Finished  = chartv1.SessionStep_SESSION_STEP_FINISHED
	Cancelled = chartv1.SessionStep_SESSION_STEP_CANCELLED
)

// Steps lists the steps in the order in which a visit goes through them.
func Steps() []chartv1.SessionStep {
	return []chartv1.SessionStep{None, Open, Ready, Treating, Paused, Stopped, Finished, Cancelled}
}

// StepText is a step in words.
func StepText(s chartv1.SessionStep) string {
	switch s {
	case None:
		return "not begun"
	case Open:
		return "open"
	case Ready:
		return "checked, ready for the first needle"
	case Treating:
		return "in treatment"
	case Paused:
		return "paused"
	case Stopped:
		return "stopped early"
	case Finished:
		return "finished"
	case Cancelled:
		return "cancelled"
	}
	return "in a step that this version does not know"
}

// Standing is where a visit stands.
type Standing struct {
	// Step is the one that counts.
	Step chartv1.SessionStep
	// Pauses are the ids of the interruptions that last, ascending.
	Pauses []string
	// Given is true when something was given that counts.
	Given bool
	// Practice is true in a visit for practice, Void in one that does not count.
	Practice, Void bool
	// Doubts say what tablets that did not know of each other wrote and cannot both be so, in sentences; empty when nothing.
	Doubts []string
}

// StandingOf folds where a visit stands from all of its elements, in whatever order they came. Ended counts before under way, stopped early before
// finished; a visit in which something was given was not cancelled; an interruption lasts until somebody ended it. Only among checks before the needle does the
// later count, by the times that they claim.
func StandingOf(s *chartv1.Session) Standing {
	st := Standing{Practice: s.GetPractice() != nil, Void: s.GetVoid() != nil, Given: anythingGiven(s), Pauses: lasting(s)}
	wrote := map[chartv1.SessionStep]bool{}
	for _, x := range s.GetStates() {
		wrote[x.GetChange().GetStep()] = true
	}
	switch {
	case wrote[Stopped]:
		st.Step = Stopped
	case wrote[Finished]:
		st.Step = Finished
	case wrote[Cancelled] && !st.Given:
		st.Step = Cancelled
	case len(st.Pauses) > 0:
		st.Step = Paused
	case wrote[Treating] || st.Given:
		st.Step = Treating
	case wrote[Ready] && lastCheck(s) == nil:
		st.Step = Ready
	case len(wrote) > 0:
		st.Step = Open
	}
	st.Doubts = doubtsOf(st, wrote)
	return st
}

func doubtsOf(st Standing, wrote map[chartv1.SessionStep]bool) (out []string) {
	if wrote[Cancelled] && st.Given {
		out = append(out, "The visit was cancelled on one tablet, and something was given on another: it counts as given.")
	}
	if wrote[Finished] && wrote[Stopped] {
		out = append(out, "The visit was finished on one tablet and stopped early on another.")
	}
	if (st.Step == Finished || st.Step == Stopped) && len(st.Pauses) > 0 {
		out = append(out, "The visit ended, and an interruption of it was never ended.")
	}
	return out
}

// lasting lists the interruptions that nobody ended.
func lasting(s *chartv1.Session) (ids []string) {
	for _, p := range s.GetPauses() {
		if p.GetBegan() != nil && p.GetEnded() == nil {
			ids = append(ids, p.GetId())
		}
	}
	slices.Sort(ids)
	return ids
}

func anythingGiven(s *chartv1.Session) bool {
	for _, in := range s.GetInjections() {
		if slices.ContainsFunc(in.GetGivings(), counts) {
			return true
		}
	}
	return false
}

// counts reports whether a giving counts.
func counts(g *chartv1.Giving) bool { return g.GetVoid() == nil && g.GetGiven() != nil }

// CheckItem is one item of the check before the first needle.
type CheckItem struct {
	// Name is the field of ReadinessAnswers.
	Name string
	// Question is what is asked aloud.
	Question string
	of       func(*chartv1.ReadinessAnswers) *bool
}

// CheckItems lists the items of the check before the first needle.
func CheckItems() []CheckItem {
	return []CheckItem{
		{"identity", "Is the patient who the record says, by two identifiers?", func(a *chartv1.ReadinessAnswers) *bool { return a.Identity }},
		{"sides", "Are the patient's own right and left agreed?", func(a *chartv1.ReadinessAnswers) *bool { return a.Sides }},
		{"product", "Were product, lot and expiry read aloud from the vial?", func(a *chartv1.ReadinessAnswers) *bool { return a.Product }},
		{"consent", "Is the consent signed, and does it stand?", func(a *chartv1.ReadinessAnswers) *bool { return a.Consent }},
		{"order", "Does the order cover what is planned?", func(a *chartv1.ReadinessAnswers) *bool { return a.Order }},
		{"skin", "Is the skin clean and free of infection?", func(a *chartv1.ReadinessAnswers) *bool { return a.Skin }},
	}
}

// lastCheck lists the items that some check denied and no check said yes to later by its own time, and those that none said yes to. Between two checks of
// one time the no counts. It is nil when all stand.
func lastCheck(s *chartv1.Session) (missing []string) {
	checks := slices.Clone(s.GetReadinessChecks())
	slices.SortFunc(checks, func(a, b *chartv1.ReadinessCheck) int {
		return cmp.Or(a.GetCheck().GetDone().GetAt().AsTime().Compare(b.GetCheck().GetDone().GetAt().AsTime()), strings.Compare(a.GetId(), b.GetId()))
	})
	for _, item := range CheckItems() {
		if !lastAnswer(checks, item) {
			missing = append(missing, item.Name)
		}
	}
	return missing
}

func lastAnswer(sorted []*chartv1.ReadinessCheck, item CheckItem) bool {
	var last *chartv1.ReadinessAnswers
	yes := false
	for _, c := range sorted {
		answer := c.GetCheck()
		if answer == nil || item.of(answer) == nil {
			continue
		}
		same := last != nil && last.GetDone().GetAt().AsTime().Equal(answer.GetDone().GetAt().AsTime())
		yes = *item.of(answer) && (!same || yes)
		last = answer
	}
	return yes
}
