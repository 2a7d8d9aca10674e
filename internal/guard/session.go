package guard

import (
	"bytes"
	"strings"
	"time"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// judged is the day that dates are judged on: the visit's own where it is within a day of the moment, which any zone of the earth allows; else the moment's.
func (c *checker) judged() (dose.Day, bool) {
	at := dayAt(c.f.At)
	on, ok := dayOf(c.f.Session.GetOn())
	if !ok || on-at > 1 || at-on > 1 {
		return at, false
	}
	return on, true
}

// session says what is wrong with the visit as a whole.
func (c *checker) session() {
	s := c.f.Session
	if s.GetVoid() != nil || isCancelled(s) {
		c.say(said{code: CodeSessionVoid, about: []string{"void"}, text: "This visit was voided or cancelled: nothing may be given in it."})
	}
	c.practice()
	if c.f.Clinic == nil || c.f.Clinic.GetId() != s.GetClinicId() {
		c.say(said{code: CodeClinicUnknown, about: []string{"clinic_id"},
			text: "The record of the visit's clinic is not known here, nor are its policies."})
	}
	switch {
	case len(c.injections) == 0:
		c.say(said{code: CodeNothingPlanned, about: []string{"injections"}, text: "Nothing is planned or given in this visit."})
	case s.GetKind() != chartv1.SessionKind_SESSION_KIND_TREATMENT && s.GetKind() != chartv1.SessionKind_SESSION_KIND_TOUCH_UP:
		c.say(said{code: CodeKindTreatsNot, about: []string{"kind"},
			text: "An injection is planned or given in a visit that is not a treatment or a touch-up."})
	}
	c.edition()
	c.readiness()
	for _, path := range c.f.Conflicts {
		c.say(said{code: CodeConflict, about: []string{path}, text: "Values of " + path +
			" are in conflict. The worse end was taken; someone must settle them."})
	}
	for _, record := range c.f.Held {
		c.say(said{code: CodeHeld, about: []string{record},
			text: HeldText(record) + " What it says was not looked at, and is in no sum."})
	}
	if c.f.Unread {
		c.say(said{code: CodeConflictUnread, about: []string{"conflicts"},
			text: "More values are in conflict than can be judged one by one. Settle some first."})
	}
}

// HeldText says for people that an edit of a record, such as RECORD_KIND_SESSION/id, is held.
func HeldText(record string) string {
	kind, _, _ := strings.Cut(strings.TrimPrefix(record, "RECORD_KIND_"), "/")
	return "An edit of a record (" + strings.ToLower(strings.ReplaceAll(kind, "_", " ")) + ") is held and waits for a person."
}

// edition says where the visit is judged by another formulary than it began with, and louder where that is not the clinic's own either: its ceilings and
// zones were then not looked at.
func (c *checker) edition() {
	sum := c.e.Sum()
	if bytes.Equal(c.f.Session.GetBasis().GetEdition().GetHash(), sum[:]) {
		return
	}
	c.say(said{code: CodeEditionOther, about: []string{"basis"},
		text: "These findings rest on formulary " + c.e.Version() + ", which is not the one that the visit began with."})
	if chosen := c.f.Clinic.GetFormulary().GetEdition(); chosen != nil && !bytes.Equal(chosen.GetHash(), sum[:]) {
		c.say(said{code: CodeEditionUnchosen, about: []string{"basis"}, text: "The clinic chose formulary " + chosen.GetVersion() +
			", which is not here as it was chosen. What it sets was not looked at."})
	}
}

func isCancelled(s *chartv1.Session) bool {
	for _, state := range s.GetStates() {
		if state.GetChange().GetStep() == chartv1.SessionStep_SESSION_STEP_CANCELLED {
			return true
		}
	}
	return false
}

// practice holds where a practice record stands beside a real one.
func (c *checker) practice() {
	practice := c.f.Session.GetPractice() != nil
	mixed := c.f.Patient != nil && practice != (c.f.Patient.GetPractice() != nil)
	for _, v := range c.f.Vials {
		mixed = mixed || practice != (v.GetPractice() != nil)
	}
	if mixed {
		c.say(said{code: CodePracticeMixed, about: []string{"practice"}, text: "Practice records and real ones are mixed in this visit."})
	}
}

// readiness holds for an item to which the last check before the needle says no; of checks at one time the no counts.
func (c *checker) readiness() {
	for _, item := range []struct {
		name, text string
		of         func(*chartv1.ReadinessAnswers) *bool
	}{
		{"identity", "the patient is not who the record says", func(a *chartv1.ReadinessAnswers) *bool { return a.Identity }},
		{"sides", "right and left are not agreed", func(a *chartv1.ReadinessAnswers) *bool { return a.Sides }},
		{"product", "product, lot and expiry were not read from the vial", func(a *chartv1.ReadinessAnswers) *bool { return a.Product }},
		{"consent", "consent is not signed or does not stand", func(a *chartv1.ReadinessAnswers) *bool { return a.Consent }},
		{"order", "the order does not cover what is planned", func(a *chartv1.ReadinessAnswers) *bool { return a.Order }},
		{"skin", "the skin is not clean or not free of infection", func(a *chartv1.ReadinessAnswers) *bool { return a.Skin }},
	} {
		if last := c.lastReadiness(item.of); last != nil && !*last {
			c.say(said{code: CodeReadinessFailed, about: []string{"readiness_checks"}, of: item.name,
				text: "The check before the needle says: " + item.text + "."})
		}
	}
}

// lastReadiness is the last answer about an item, nil where there is none.
func (c *checker) lastReadiness(of func(*chartv1.ReadinessAnswers) *bool) *bool {
	var last *bool
	var at time.Time
	for _, check := range c.f.Session.GetReadinessChecks() {
		answer := check.GetCheck()
		if answer == nil || of(answer) == nil {
			continue
		}
		done, _ := moment(answer.GetDone().GetAt())
		if last == nil || done.After(at) || done.Equal(at) && !*of(answer) {
			last, at = of(answer), done
		}
	}
	return last
}

// clock cautions where the clock that every date is judged by is not to be relied on.
func (c *checker) clock() {
	dated := "Expiry, use-by, order, consent, age and intervals were judged at " + c.day.String() + "."
	switch c.f.Clock {
	case dosev1.ClockState_CLOCK_STATE_CHECKED:
	case dosev1.ClockState_CLOCK_STATE_RAN_BACKWARDS:
		c.say(said{code: CodeClockBackwards, about: []string{"clock"}, text: "This device's clock ran backwards. " + dated + " Check them by a calendar."})
	default:
		c.say(said{code: CodeClockUnchecked, about: []string{"clock"},
			text: "This device's clock was never checked. " + dated + " Check them by a calendar."})
	}
	if !c.dayKnown {
		c.say(said{code: CodeDateDiffers, about: []string{"on"}, text: "The day of the visit is missing or is not the day that is judged on, " +
			c.day.String() + ". Check the day."})
	}
}
