package sim

import (
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

func mustSchemas(t testing.TB) *schemas {
	t.Helper()
	s, err := newSchemas()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// number reads a figure from the environment.
func number(t testing.TB, name string, otherwise uint64) uint64 {
	t.Helper()
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		t.Fatalf("%s: read %q, want a number", name, text)
	}
	return n
}

// runMany runs schedules first to first+n-1 of a setting on all processors and fails the test with the lowest seed that breaks a promise, shrunk.
func runMany(t *testing.T, s *schemas, in Setting, first, n uint64) map[string]int {
	t.Helper()
	var all sync.WaitGroup
	var next atomic.Uint64
	var mu sync.Mutex
	counts, failed := map[string]int{}, uint64(0)
	begin := time.Now()
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := next.Add(1) - 1; i < n; i = next.Add(1) - 1 {
				seed := first + i
				r := run(Plan(in, seed), s, seams{})
				mu.Lock()
				for what, times := range r.Counts {
					counts[what] += times
				}
				if r.Finding != nil {
					next.Add(n)
					if failed == 0 || seed < failed {
						failed = seed
					}
				}
				mu.Unlock()
			}
		})
	}
	all.Wait()
	if failed != 0 {
		report(t, s, in, failed)
		return counts
	}
	t.Logf("%s: %d schedules in %.1f s, %.0f a second", in, n, time.Since(begin).Seconds(), float64(n)/time.Since(begin).Seconds())
	for _, what := range slices.Sorted(maps.Keys(counts)) {
		t.Logf("%8d %s", counts[what], what)
	}
	return counts
}

func report(t *testing.T, s *schemas, in Setting, seed uint64) {
	t.Helper()
	shrunk, finding := Shrink(Plan(in, seed), func(sch Schedule) *Finding { return run(sch, s, seams{}).Finding })
	t.Errorf("seed %d: %v\nThe schedule, shrunk:\n%s", seed, finding, shrunk.Script())
}

// everything is what a run of some hundred schedules must have met, or its silence proves nothing.
func everything(in Setting) []string {
	out := []string{
		"forks", "clones", "tablets put back", "restores", "crashes before storing", "released", "left out", "given up", "held values", "recovered values",
		"registers with siblings", "settled", "signed", "signatures taken", "late entries",
	}
	if in == Records {
		return append(out, "waiting given up", "recovered values taken")
	}
	return append(out,
		"comparisons", "patients asked for", "patients given back", "patients given back with edits unsent", "patients in the safety index", "treatments in the safety index",
		"sessions moved to another patient", "sessions voided", "vials overdrawn",
		"photos taken", "photos sent", "photos refused", "photos read", "photos let go", "photos lost by a restore",
	)
}

// schedules is how many of each setting every run plays.
func schedules(in Setting) uint64 {
	return map[Setting]uint64{Records: 300, Clinic: 150}[in]
}

func TestSchedules(t *testing.T) {
	s, first := mustSchemas(t), number(t, "NEEDLEBOOK_SIM_SEED", 1)
	for _, in := range Settings() {
		t.Run(string(in), func(t *testing.T) {
			n := schedules(in)
			if testing.Short() {
				n /= 5
			}
			counts := runMany(t, s, in, first, n)
			for _, what := range everything(in) {
				if counts[what] == 0 && !t.Failed() && !testing.Short() && first == 1 {
					t.Errorf("no schedule met: %s", what)
				}
			}
		})
	}
}

func TestLongSchedules(t *testing.T) {
	if os.Getenv("NEEDLEBOOK_LONG") == "" {
		t.Skip("takes minutes; set NEEDLEBOOK_LONG")
	}
	s, n := mustSchemas(t), number(t, "NEEDLEBOOK_SIM_SCHEDULES", 20_000)
	for _, in := range Settings() {
		t.Run(string(in), func(t *testing.T) {
			runMany(t, s, in, number(t, "NEEDLEBOOK_SIM_SEED", 1), n/uint64(len(Settings())))
		})
	}
}

// TestScript replays the schedules that broke a promise once.
func TestScript(t *testing.T) {
	s := mustSchemas(t)
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts (%v)", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			sch, err := Parse(string(text))
			if err != nil {
				t.Fatal(err)
			}
			if r := run(sch, s, seams{}); r.Finding != nil {
				t.Error(r.Finding)
			}
		})
	}
}

func TestRun_IsTheSameEveryTime(t *testing.T) {
	s := mustSchemas(t)
	for _, in := range Settings() {
		for seed := range uint64(20) {
			a, b := run(Plan(in, seed), s, seams{}), run(Plan(in, seed), s, seams{})
			if a.Digest != b.Digest || !maps.Equal(a.Counts, b.Counts) {
				t.Errorf("%s: seed %d gives two results", in, seed)
			}
		}
	}
}

func TestScript_PrintsAndParsesTheSame(t *testing.T) {
	for _, in := range Settings() {
		for seed := range uint64(50) {
			text := Plan(in, seed).Script()
			again, err := Parse(text)
			if err != nil || again.Seed != seed || again.Setting != in || again.Script() != text {
				t.Fatalf("seed %d: %v\n%s", seed, err, text)
			}
		}
	}
}
