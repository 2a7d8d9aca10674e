package visit

import (
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// IdentifyPatient records which identifiers matched. Fewer than two different ones are recorded too, and hold.
func IdentifyPatient(h Hand, s *chartv1.Session, matched ...string) (*chartv1.Session, error) {
	if err := May(Identify, s, h.Roles...); err != nil {
		return nil, err
	}
	if len(matched) == 0 {
		return nil, wrong("identity_checks.check.identifiers", "", "what matched, such as full_name and date_of_birth")
	}
	out := part(s)
	out.IdentityChecks = []*chartv1.IdentityCheck{{Id: h.NewID(), Check: &chartv1.IdentifiersChecked{Identifiers: matched, Done: h.Act()}}}
	return out, nil
}

// isIdentified reports whether some check matched two different identifiers.
func isIdentified(s *chartv1.Session) bool {
	for _, c := range s.GetIdentityChecks() {
		found := slices.Clone(c.GetCheck().GetIdentifiers())
		slices.Sort(found)
		if len(slices.Compact(found)) >= 2 {
			return true
		}
	}
	return false
}

// CheckBeforeNeedle records what was found right before the first needle. What is nil in answers was not checked. When every item stands and the patient
// was identified by two identifiers the visit becomes ready; else what is missing is answered and the visit stays as it was.
func CheckBeforeNeedle(h Hand, s *chartv1.Session, answers *chartv1.ReadinessAnswers, witness string) (out *chartv1.Session, missing []string, err error) {
	if err := May(CheckReady, s, h.Roles...); err != nil {
		return nil, nil, err
	}
	if witness == h.By {
		return nil, nil, wrong("readiness_checks.check.witness_id", witness, "someone other than who checks")
	}
	check := &chartv1.ReadinessAnswers{
		Identity: answers.Identity, Sides: answers.Sides, Product: answers.Product, Consent: answers.Consent, Order: answers.Order, Skin: answers.Skin,
		Done: h.Act(),
	}
	setText(&check.WitnessId, witness)
	out = part(s)
	out.ReadinessChecks = []*chartv1.ReadinessCheck{{Id: h.NewID(), Check: check}}
	after := &chartv1.Session{ReadinessChecks: append(slices.Clone(s.GetReadinessChecks()), out.ReadinessChecks...)}
	if missing = lastCheck(after); !isIdentified(s) {
		missing = append(missing, "two identifiers")
	}
	if len(missing) == 0 {
		out.States = []*chartv1.SessionState{h.state(Ready, "")}
	}
	return out, missing, nil
}

// PauseVisit interrupts a visit for a reason, a short name such as faint; text says more. card says that the clinic's emergency card was opened.
func PauseVisit(h Hand, s *chartv1.Session, reason, text string, card bool) (*chartv1.Session, error) {
	if err := May(Interrupt, s, h.Roles...); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("pauses.began.reason", "", "why, such as faint, bleeding, pain, wish or equipment")
	}
	out := part(s)
	out.Pauses = []*chartv1.Pause{{Id: h.NewID(), Began: &chartv1.PauseBeginning{Reason: reason, Text: text, Began: h.Act(), EmergencyCard: card}}}
	out.States = []*chartv1.SessionState{h.state(Paused, strings.TrimSpace(reason+" "+text))}
	return out, nil
}

// Resume ends every interruption that lasts, on whichever tablet it began.
func Resume(h Hand, s *chartv1.Session) (*chartv1.Session, error) {
	if err := May(GoOn, s, h.Roles...); err != nil {
		return nil, err
	}
	out := part(s)
	st := StandingOf(s)
	for _, id := range st.Pauses {
		out.Pauses = append(out.Pauses, &chartv1.Pause{Id: id, Ended: h.Act()})
	}
	if st.Given {
		out.States = []*chartv1.SessionState{h.state(Treating, "")}
	}
	return out, nil
}

// End ends a visit: Finish, StopEarly or Cancel. To stop or to cancel needs a reason. A treatment or a touch-up in which nothing was given is cancelled,
// or becomes a consultation, and is not finished.
func End(h Hand, s *chartv1.Session, how Deed, reason string) (*chartv1.Session, error) {
	if err := May(how, s, h.Roles...); err != nil {
		return nil, err
	}
	st := StandingOf(s)
	switch {
	case how != Finish && how != StopEarly && how != Cancel:
		return nil, wrong("deed", string(how), "finish, stop or cancel")
	case how != Finish && reason == "":
		return nil, wrong("states.change.reason", "", "why")
	case how == Cancel && st.Given:
		return nil, wrong("injections", "something was given", "a visit in which nothing was given, to cancel it; stop it instead")
	case how == StopEarly && !st.Given:
		return nil, wrong("injections", "nothing was given", "a visit in which something was given, to stop it; cancel it instead")
	case how == Finish && treats(s) && !st.Given:
		return nil, wrong("injections", "nothing was given", "a treatment in which something was given, to finish it; cancel it, or make it a consultation")
	}
	row, _ := RowOf(how)
	out := part(s)
	out.States = []*chartv1.SessionState{h.state(row.To, reason)}
	for _, id := range st.Pauses {
		out.Pauses = append(out.Pauses, &chartv1.Pause{Id: id, Ended: h.Act()})
	}
	return out, nil
}

// treats reports whether a visit is one in which injections are given: all but consultations and reviews.
func treats(s *chartv1.Session) bool {
	return s.GetKind() != chartv1.SessionKind_SESSION_KIND_CONSULTATION && s.GetKind() != chartv1.SessionKind_SESSION_KIND_REVIEW
}

// ObserveValue records what was measured or seen of the patient. The value's hand is filled in.
func ObserveValue(h Hand, s *chartv1.Session, v *chartv1.ObservedValue) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	switch {
	case v.GetKind() == "":
		return nil, wrong("observations.value.kind", "", "what, such as systolic_pressure, pulse or consciousness")
	case v.Thousandths == nil && v.GetText() == "":
		return nil, wrong("observations.value", "", "a number or words")
	}
	out := part(s)
	out.Observations = []*chartv1.Observation{{Id: h.NewID(), Value: &chartv1.ObservedValue{
		Kind: v.GetKind(), Thousandths: v.Thousandths, Unit: v.GetUnit(), Text: v.GetText(), Seen: h.Act(),
	}}}
	return out, nil
}

// Complicate records what went wrong during the visit; injection is empty when it came with none.
func Complicate(h Hand, s *chartv1.Session, kind, injection, text string) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	if kind == "" || text == "" {
		return nil, wrong("complications.event", kind, "what, such as faint or bruise, and what was seen and done")
	}
	if injection != "" && injectionOf(s, injection) == nil {
		return nil, notThere("complications.event.injection_id", injection)
	}
	event := &chartv1.ComplicationEvent{Kind: kind, Text: text, Seen: h.Act()}
	setText(&event.InjectionId, injection)
	out := part(s)
	out.Complications = []*chartv1.Complication{{Id: h.NewID(), Event: event}}
	return out, nil
}

func injectionOf(s *chartv1.Session, id string) *chartv1.Injection {
	for _, in := range s.GetInjections() {
		if in.GetId() == id {
			return in
		}
	}
	return nil
}

// VoidVisit says that a visit does not count, and why. What was drawn from vials stays.
func VoidVisit(h Hand, s *chartv1.Session, reason string) (*chartv1.Session, error) {
	if err := May(VoidAll, s, h.Roles...); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("void.reason", "", "why the visit does not count")
	}
	out := part(s)
	out.Void = h.void(reason)
	return out, nil
}
