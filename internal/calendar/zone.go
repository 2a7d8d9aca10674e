package calendar

import (
	"strings"
	"time"

	"github.com/emersion/go-ical"
)

// The forms of a time in RFC 5545, 3.3.4 and 3.3.5.
const (
	dateForm  = "20060102"
	localForm = "20060102T150405"
	utcForm   = "20060102T150405Z"
)

// load finds a zone by its name, by an alias of the caller's, or by what a name with a path in front ends in.
func (r *reader) load(name string) (*time.Location, bool) {
	if alias, ok := r.source.Aliases[name]; ok {
		name = alias
	}
	if alias, ok := r.aliases[name]; ok {
		name = alias
	}
	for {
		if name == "" || name == "Local" {
			return nil, false
		}
		if zone, err := time.LoadLocation(name); err == nil {
			return zone, true
		}
		_, rest, ok := strings.Cut(name, "/")
		if !ok {
			return nil, false
		}
		name = rest
	}
}

// alias notes what a VTIMEZONE says its zone is called in the time zone database.
func (r *reader) alias(zone *ical.Component) {
	id, _ := zone.Props.Text(ical.PropTimezoneID)
	known, _ := zone.Props.Text("X-LIC-LOCATION")
	if id != "" && known != "" && id != known {
		r.aliases[id] = known
	}
}

// moment reads a time in the zone that it names, in universal time, or in the clinic's zone where it names none.
func (r *reader) moment(p *ical.Prop) (time.Time, string) {
	return r.read(p, strings.TrimSpace(p.Value))
}

func (r *reader) read(p *ical.Prop, text string) (time.Time, string) {
	if t, err := time.Parse(utcForm, text); err == nil {
		return ranged(t)
	}
	zone := r.zone
	if id := p.Params.Get(ical.ParamTimezoneID); id != "" {
		var ok bool
		if zone, ok = r.load(id); !ok {
			return time.Time{}, "Its time zone is none of the time zone database; name it by an alias."
		}
	}
	if _, err := time.Parse(dateForm, text); err == nil {
		return time.Time{}, "It is for whole days and has no time."
	}
	t, err := time.ParseInLocation(localForm, text, zone)
	if err != nil {
		return time.Time{}, "A time in it cannot be read."
	}
	return ranged(t)
}

// ranged refuses years that no appointment is in; a rule that begins a thousand years ago would be gone through day by day.
func ranged(t time.Time) (time.Time, string) {
	if t.Year() < 1970 || t.Year() > 2200 {
		return time.Time{}, "It is not in the years 1970 to 2200."
	}
	return t, ""
}
