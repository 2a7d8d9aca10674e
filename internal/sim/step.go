package sim

import (
	"fmt"
	"strconv"
	"strings"
)

// Step is one thing that happens. Numbers that name a tablet, a record, a backup or a held edit are taken modulo how many there are, so that a step
// stays playable when others are dropped.
type Step struct {
	Op string
	// Tablet is who acts, where someone does.
	Tablet int
	// Record, backup, held edit, author or request meant.
	Which int
	// Serial is unique in a schedule: it seeds everything that the step draws, and names the edit that it makes.
	Serial int
	// How is the step's manner: which fault strikes, what sort of edit.
	How string
}

// operations is every Op with the manners that it knows.
func operations() map[string][]string {
	return map[string][]string{
		"edit":    {"plain", "stale", "unsaved", "clockback", "clockforward"}, // a tablet edits a record
		"open":    {"plain"},                                                  // a tablet remembers what it shows of a record, for a stale edit
		"settle":  {"plain"},                                                  // a tablet settles a conflict of a record
		"sign":    {"plain", "altered"},                                       // a tablet signs a session
		"take":    {"plain", "dismiss"},                                       // a tablet takes a recovered value, or only lets go of one that is back
		"sync":    {"plain"},                                                  // a tablet exchanges until there is nothing more
		"poll":    {"plain"},                                                  // a tablet will ask for what is new
		"send":    {"plain", "loserequest", "loseanswer", "delayanswer", "twice", "crashbefore", "crashafter", "tamper"},
		"late":    {"plain"},                     // a delayed answer arrives
		"replay":  {"plain"},                     // an old request arrives again
		"restart": {"plain"},                     // a tablet's process ends and begins anew
		"keep":    {"plain"},                     // a snapshot of a tablet is taken
		"putback": {"plain"},                     // a tablet is put back to its snapshot
		"clone":   {"plain"},                     // a tablet is copied, key and all
		"destroy": {"plain"},                     // a tablet is lost
		"revoke":  {"plain"},                     // a device is revoked
		"allow":   {"plain"},                     // a device is let in again
		"rights":  {"plain"},                     // an author loses her rights, or has them back
		"judge":   {"release", "take", "giveup"}, // a lead judges a held edit
		"api":     {"plain"},                     // someone edits through the server's own API
		"fail":    {"noroom", "lostcommit", "latecommit", "noread", "lateread"},
		"reboot":  {"plain"},            // the server's process ends and begins anew
		"backup":  {"plain"},            // a backup is made and noted
		"forget":  {"plain"},            // the oldest backup is no longer kept
		"restore": {"epoch", "hand"},    // the server is restored from a backup, properly or by hand
		"upgrade": {"tablet", "server"}, // a side that lacked fields learns them
		"look":    {"plain"},            // the judge looks at what one tablet shows, in the middle of things

		// Of the setting Clinic.
		"chart":    {"plain", "stale", "unsaved", "clockback", "clockforward"}, // a tablet edits a record of a patient, or a vial
		"agree":    {"plain"},                                                  // a tablet settles a conflict that it shows
		"move":     {"plain"},                                                  // a session turns out to be another patient's
		"void":     {"plain"},                                                  // a session is voided
		"witness":  {"plain", "stale", "altered", "other"},                     // a tablet signs a session, or an addendum to it
		"hold":     {"plain"},                                                  // a tablet asks to hold a patient: booked, or opened by search
		"unhold":   {"plain"},                                                  // a tablet gives a patient back
		"handover": {"plain"},                                                  // a tablet gives a patient to the next one
		"bar":      {"plain"},                                                  // a device may no longer ask for a patient, or may again
		"photo":    {"plain", "same", "wrong"},                                 // a tablet takes a photo: a new one, one with the bytes of another, one that rots
		"picture":  {"plain", "loserequest", "loseanswer", "twice", "skip"},    // a tablet sends a piece of a photo, the next or one further on
		"compare":  {"plain"},                                                  // a tablet syncs, and is held against the server at once
		"sweep":    {"plain"},                                                  // the server drops the pieces of photos that are not whole
	}
}

// String is the step as a line of a script.
func (s Step) String() string {
	return fmt.Sprintf("%s %s tablet=%d which=%d serial=%d", s.Op, s.How, s.Tablet, s.Which, s.Serial)
}

func parseStep(words []string) (Step, error) {
	if len(words) != 5 {
		return Step{}, fmt.Errorf("read %d words, want operation, manner, tablet=, which=, serial=", len(words))
	}
	s := Step{Op: words[0], How: words[1]}
	known := false
	for _, how := range operations()[s.Op] {
		known = known || how == s.How
	}
	if !known {
		return Step{}, fmt.Errorf("read %q, want an operation and its manner", s.Op+" "+s.How)
	}
	for i, field := range []struct {
		name string
		into *int
	}{{"tablet=", &s.Tablet}, {"which=", &s.Which}, {"serial=", &s.Serial}} {
		text, ok := strings.CutPrefix(words[2+i], field.name)
		n, err := strconv.Atoi(text)
		if !ok || err != nil || n < 0 {
			return Step{}, fmt.Errorf("read %q, want %s and a number", words[2+i], field.name)
		}
		*field.into = n
	}
	return s, nil
}
