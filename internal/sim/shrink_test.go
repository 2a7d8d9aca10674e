package sim

import "testing"

func TestShrink_KeepsWhatFailsAndLittleElse(t *testing.T) {
	s := mustSchemas(t)
	fails := func(sch Schedule) *Finding { return run(sch, s, seams{store: dropHeld}).Finding }
	for seed := uint64(1); seed < 100; seed++ {
		plan := Plan(Records, seed)
		if fails(plan) == nil {
			continue
		}
		shrunk, finding := Shrink(plan, fails)
		if finding == nil || len(shrunk.Steps) > 10 || fails(shrunk) == nil {
			t.Errorf("seed %d: %d steps are left of %d, finding %v", seed, len(shrunk.Steps), len(plan.Steps), finding)
		}
		return
	}
	t.Error("no schedule fails")
}
