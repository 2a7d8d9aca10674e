package sim

import (
	"os"
	"testing"
)

// maxSchedules bounds how long the simulator may take to find a planted mistake, usualSchedules how long in every run.
const (
	maxSchedules   = 4000
	usualSchedules = 200
)

// TestPlanted_EachMistakeIsFound plants each mistake in turn and plays schedules until the judge finds it. A finding counts only on a schedule that breaks
// no promise without the mistake.
func TestPlanted_EachMistakeIsFound(t *testing.T) {
	s := mustSchemas(t)
	for _, p := range append(mistakes(t), clinicMistakes(t)...) {
		t.Run(p.name, func(t *testing.T) {
			t.Parallel()
			most := uint64(usualSchedules)
			if os.Getenv("NEEDLEBOOK_LONG") != "" {
				p.near, most = 0, maxSchedules
			}
			seed, finding := p.search(s, most)
			if finding == nil {
				t.Fatalf("not found in %d schedules", most)
			}
			if clean := run(Plan(p.setting(), seed), s, seams{}); clean.Finding != nil {
				t.Fatalf("seed %d breaks a promise without it: %v", seed, clean.Finding)
			}
			t.Logf("found with seed %d: %v", seed, finding)
		})
	}
}

// TestPlanted_AMistakeThatDoesNothingIsNotFound: what the test above takes for found is the mistake's doing.
func TestPlanted_AMistakeThatDoesNothingIsNotFound(t *testing.T) {
	s := mustSchemas(t)
	for _, in := range Settings() {
		inert := mistake{in: in, plant: func() seams { return seams{answer: func(*tablet, *delayed) {}} }}
		if seed, finding := inert.search(s, 60); finding != nil {
			t.Errorf("%s, seed %d: %v", in, seed, finding)
		}
	}
}

// mistake is one planted mistake. plant makes the seams of one run.
type mistake struct {
	name  string
	in    Setting // Records when empty
	plant func() seams
	// near is the first seed that is played, 1 when it is zero: a rare finding is not waited for in every run. With NEEDLEBOOK_LONG all begin at 1.
	near uint64
}

func (p *mistake) setting() Setting {
	if p.in == "" {
		return Records
	}
	return p.in
}

// search plays schedules with the mistake until one breaks a promise.
func (p *mistake) search(s *schemas, most uint64) (seed uint64, finding *Finding) {
	first := max(p.near, 1)
	for seed = first; seed < first+most; seed++ {
		if r := run(Plan(p.setting(), seed), s, p.plant()); r.Finding != nil {
			return seed, r.Finding
		}
	}
	return 0, nil
}

// TestPlanted_NamesAreApart keeps the table readable.
func TestPlanted_NamesAreApart(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range append(mistakes(t), clinicMistakes(t)...) {
		if seen[p.name] {
			t.Errorf("%s: twice", p.name)
		}
		seen[p.name] = true
	}
	if len(seen) < 40 {
		t.Errorf("%d mistakes, want at least 40", len(seen))
	}
}
