package sim

import "slices"

// Shrink drops steps for as long as the schedule still fails, first many at a time, then one by one. fails plays a schedule and says what it breaks.
func Shrink(s Schedule, fails func(Schedule) *Finding) (Schedule, *Finding) {
	finding := fails(s)
	if finding == nil {
		return s, nil
	}
	steps := s.Steps
	if finding.Step <= len(steps) {
		steps = steps[:finding.Step]
	}
	for size := (len(steps) + 1) / 2; size > 0; size /= 2 {
		for from := 0; from < len(steps); {
			shorter := slices.Delete(slices.Clone(steps), from, min(from+size, len(steps)))
			if f := fails(Schedule{s.Setting, s.Seed, shorter}); f != nil && f.Promise == finding.Promise {
				steps, finding = shorter, f
			} else {
				from += size
			}
		}
	}
	return Schedule{s.Setting, s.Seed, steps}, finding
}
