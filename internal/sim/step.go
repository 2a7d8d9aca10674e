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
	}
}

// String is the step as a line of a script.
func (s Step) String() string {
	return fmt.Sprintf("%s %s tablet=%d which=%d serial=%d", s.Op, s.How, s.Tablet, s.Which, s.Serial)
}

// Script prints a schedule: a line for its seed, which settles everything that no step says, then one line a step.
func Script(seed uint64, steps []Step) string {
	var b strings.Builder
	fmt.Fprintf(&b, "seed %d\n", seed)
	for _, s := range steps {
		b.WriteString(s.String())
		b.WriteByte('\n')
	}
	return b.String()
}

// Parse is the inverse of Script. Empty lines and what follows # are left aside.
func Parse(script string) (seed uint64, steps []Step, err error) {
	seeded := false
	for i, line := range strings.Split(script, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		switch {
		case len(words) == 0:
			continue
		case !seeded:
			seeded = true
			if len(words) != 2 || words[0] != "seed" {
				return 0, nil, fmt.Errorf("line %d: read %q, want seed and its number", i+1, line)
			}
			seed, err = strconv.ParseUint(words[1], 10, 64)
		default:
			var s Step
			s, err = parseStep(words)
			steps = append(steps, s)
		}
		if err != nil {
			return 0, nil, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	return seed, steps, nil
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
