package calendar

import (
	"fmt"
	"strings"
	"time"

	"github.com/emersion/go-ical"
	"github.com/teambition/rrule-go"
)

// mostSteps bounds how many instances before the window are gone through.
const mostSteps = 100_000

// series reads an event that recurs, with the events that override instances of it.
func (r *reader) series(n numbered, overrides []numbered, cancel bool) {
	first, reason := r.entry(n, n.uid, cancel)
	if reason == "" {
		reason = r.instances(first, overrides, cancel)
	}
	if reason == "" {
		return
	}
	r.misfit(n.number, n.uid, reason)
	for _, o := range overrides {
		r.misfit(o.number, o.uid, "It changes one of a series that could not be read.")
	}
}

// instances makes an entry of each instance within the window, and of each override.
func (r *reader) instances(first entry, overrides []numbered, cancel bool) string {
	set, reason := r.rules(first)
	if reason != "" {
		return reason
	}
	all, reason := r.within(set)
	if reason != "" {
		return reason
	}
	s := series{uid: first.key, sequence: first.sequence, keys: map[string]bool{}}
	for _, o := range overrides {
		s.keys[r.override(o, first.key, cancel)] = true
	}
	before := r.plan.Outside
	for _, at := range all {
		e := first
		e.key, e.begins = instanceKey(first.key, at), at
		if !s.keys[e.key] {
			s.keys[e.key] = true
			r.want(e)
		}
	}
	if len(all) == 0 && before == r.plan.Outside {
		r.plan.Outside++
	}
	r.vanish = append(r.vanish, s)
	return ""
}

// override reads an event that replaces an instance, and answers the key of that.
func (r *reader) override(o numbered, uid string, cancel bool) string {
	at, reason := r.moment(o.event.Props.Get(ical.PropRecurrenceID))
	if reason != "" {
		r.misfit(o.number, uid, reason)
		return ""
	}
	e, reason := r.entry(o, uid, cancel)
	e.key = instanceKey(uid, at)
	if reason != "" {
		r.misfit(o.number, uid, reason)
		return e.key
	}
	r.want(e)
	return e.key
}

// rules are the instances of an event that recurs: its rule, further dates, and dates that are left out. Only rules by days, weeks, months and years are taken;
// nobody books by the minute.
func (r *reader) rules(first entry) (*rrule.Set, string) {
	set := &rrule.Set{}
	props := first.event.Props
	if rules := props.Values(ical.PropRecurrenceRule); len(rules) > 1 {
		return nil, "It has more than one rule to recur by."
	} else if len(rules) == 1 {
		option, err := rrule.StrToROptionInLocation(rules[0].Value, first.begins.Location())
		if err != nil || strings.Contains(strings.ToUpper(rules[0].Value), "DTSTART") {
			return nil, "Its rule to recur by cannot be read."
		}
		if option.Freq != rrule.DAILY && option.Freq != rrule.WEEKLY && option.Freq != rrule.MONTHLY && option.Freq != rrule.YEARLY {
			return nil, "It recurs more often than daily."
		}
		if len(option.Byhour)+len(option.Byminute)+len(option.Bysecond) > 0 {
			return nil, "It recurs at several times of a day."
		}
		option.Dtstart = first.begins
		rule, err := rrule.NewRRule(*option)
		if err != nil {
			return nil, "Its rule to recur by cannot be read."
		}
		set.RRule(rule)
	}
	set.DTStart(first.begins)
	if props.Get(ical.PropRecurrenceRule) == nil {
		set.RDate(first.begins)
	}
	for name, add := range map[string]func(time.Time){ical.PropRecurrenceDates: set.RDate, ical.PropExceptionDates: set.ExDate} {
		for _, p := range props.Values(name) {
			for text := range strings.SplitSeq(p.Value, ",") {
				at, reason := r.read(&p, strings.TrimSpace(text))
				if reason != "" {
					return nil, fmt.Sprintf("A date of its series (%s): %s", name, reason)
				}
				add(at)
			}
		}
	}
	return set, ""
}

// within lists the instances that begin in the window.
func (r *reader) within(set *rrule.Set) (all []time.Time, reason string) {
	next := set.Iterator()
	for range mostSteps {
		at, ok := next()
		if !ok || !at.Before(r.source.Until) {
			return all, ""
		}
		if at.Before(r.source.From) {
			continue
		}
		if all = append(all, at); len(all) > MostInstances {
			return nil, fmt.Sprintf("It recurs more than %d times in the time asked for.", MostInstances)
		}
	}
	return nil, "It recurs too often before the time asked for."
}
