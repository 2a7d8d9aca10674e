package sim

import "testing"

func TestShrink_KeepsWhatFailsAndLittleElse(t *testing.T) {
	s := mustSchemas(t)
	fails := func(seed uint64) func([]Step) *Finding {
		return func(steps []Step) *Finding { return run(seed, steps, s, seams{store: dropHeld}).Finding }
	}
	for seed := uint64(1); seed < 100; seed++ {
		if fails(seed)(Plan(seed)) == nil {
			continue
		}
		steps, finding := Shrink(Plan(seed), fails(seed))
		if finding == nil || len(steps) > 10 || fails(seed)(steps) == nil {
			t.Errorf("seed %d: %d steps are left of %d, finding %v", seed, len(steps), len(Plan(seed)), finding)
		}
		return
	}
	t.Error("no schedule fails")
}
