package sim

import "slices"

// Shrink drops steps for as long as the schedule still fails, first many at a time, then one by one. fails plays a schedule and says what it breaks.
func Shrink(steps []Step, fails func([]Step) *Finding) ([]Step, *Finding) {
	finding := fails(steps)
	if finding == nil {
		return steps, nil
	}
	if finding.Step <= len(steps) {
		steps = steps[:finding.Step]
	}
	for size := (len(steps) + 1) / 2; size > 0; size /= 2 {
		for from := 0; from < len(steps); {
			shorter := slices.Delete(slices.Clone(steps), from, min(from+size, len(steps)))
			if f := fails(shorter); f != nil && f.Promise == finding.Promise {
				steps, finding = shorter, f
			} else {
				from += size
			}
		}
	}
	return steps, finding
}
