package sim

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Setting is the world in which a schedule plays.
type Setting string

// The settings. Each has its own records, and the draws of each are its own: those of Records never change, so that its scripts keep their meaning.
const (
	// Records is a handful of records that concern nobody in particular, on tablets that hold everything.
	Records Setting = "records"
	// Clinic is patients with their sessions, vials and photos, on tablets of which most hold some patients only.
	Clinic Setting = "clinic"
)

// Settings is all of them.
func Settings() []Setting { return []Setting{Records, Clinic} }

// Schedule is what happens in a world that is made from a seed.
type Schedule struct {
	Setting Setting
	Seed    uint64
	Steps   []Step
}

// Script prints a schedule: a line for its seed, which with the setting settles everything that no step says, then one line a step. The setting Records is
// not said.
func (s Schedule) Script() string {
	var b strings.Builder
	fmt.Fprintf(&b, "seed %d", s.Seed)
	if s.Setting != Records {
		fmt.Fprintf(&b, " %s", s.Setting)
	}
	b.WriteByte('\n')
	for _, step := range s.Steps {
		b.WriteString(step.String())
		b.WriteByte('\n')
	}
	return b.String()
}

// Parse is the inverse of Script. Empty lines and what follows # are left aside.
func Parse(script string) (Schedule, error) {
	var out Schedule
	for i, line := range strings.Split(script, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		var err error
		switch {
		case len(words) == 0:
			continue
		case out.Setting == "":
			err = out.parseHead(words)
		default:
			var s Step
			s, err = parseStep(words)
			out.Steps = append(out.Steps, s)
		}
		if err != nil {
			return Schedule{}, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	if out.Setting == "" {
		return Schedule{}, fmt.Errorf("no line that begins with seed")
	}
	return out, nil
}

func (s *Schedule) parseHead(words []string) (err error) {
	if len(words) < 2 || len(words) > 3 || words[0] != "seed" {
		return fmt.Errorf("read %q, want seed, its number, and the setting unless it is %s", strings.Join(words, " "), Records)
	}
	s.Setting = Records
	if len(words) == 3 {
		if s.Setting = Setting(words[2]); s.Setting == Records || !slices.Contains(Settings(), s.Setting) {
			return fmt.Errorf("read setting %q, want %s or none", words[2], Clinic)
		}
	}
	s.Seed, err = strconv.ParseUint(words[1], 10, 64)
	return err
}
