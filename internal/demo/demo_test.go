package demo

import (
	"bytes"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

var update = flag.Bool("update", false, "write the day of seed 1 into the README")

// played is a day, played once for all tests that only look.
func played(t *testing.T, seed uint64, patients int) (*Demo, string) {
	t.Helper()
	var out bytes.Buffer
	began := time.Now()
	d, err := Play(t.Context(), Config{Seed: seed, Patients: patients, Dir: filepath.Join(t.TempDir(), "demo"), Listen: "127.0.0.1:0", Out: &out})
	if err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	t.Logf("seed %d: %v", seed, time.Since(began))
	return d, out.String()
}

// withoutTimes is a story without the one line that may differ.
func withoutTimes(t *testing.T, story string) string {
	t.Helper()
	var lines []string
	marked := 0
	for line := range strings.SplitSeq(story, "\n") {
		if strings.HasPrefix(line, TimesMark) {
			marked++
			continue
		}
		lines = append(lines, line)
	}
	if marked != 1 {
		t.Errorf("%d lines begin with %q, want 1", marked, TimesMark)
	}
	return strings.Join(lines, "\n")
}

func TestDay(t *testing.T) {
	d, story := played(t, 1, 0)
	if want := 39; d.Checks() != want { // so that no claim is left out unasked
		t.Errorf("%d claims were checked, want %d", d.Checks(), want)
	}
	t.Run("fits a screen", func(t *testing.T) { fitsAScreen(t, story) })
	t.Run("is in the README", func(t *testing.T) { isInReadme(t, withoutTimes(t, story)) })
	t.Run("records are valid", func(t *testing.T) { recordsAreValid(t, d) })
	t.Run("doses are published", func(t *testing.T) { dosesArePublished(t, d) })
	t.Run("givings are drawn", func(t *testing.T) { givingsAreDrawn(t, d) })
	t.Run("intervals are kept before the day", func(t *testing.T) { intervalsAreKept(t, d) })
	t.Run("visits pass the guardrails", func(t *testing.T) { visitsPassGuardrails(t, d) })
	t.Run("blanks are held", func(t *testing.T) { blanksAreHeld(t, d) })
}

// few keeps tests short that play several days.
const few = FewestPatients

func TestSeeds(t *testing.T) {
	one, story := played(t, 3, few)
	again, same := played(t, 3, few)
	other, another := played(t, 4, few)
	if a, b := withoutTimes(t, story), withoutTimes(t, same); a != b {
		t.Errorf("one seed, two stories:\n%s\n%s", a, b)
	}
	if withoutTimes(t, story) == withoutTimes(t, another) {
		t.Error("two seeds, one story")
	}
	if digestOf(t, one) != digestOf(t, again) {
		t.Error("one seed, two digests")
	}
	if digestOf(t, one) == digestOf(t, other) {
		t.Error("two seeds, one digest")
	}
}

func digestOf(t *testing.T, d *Demo) string {
	t.Helper()
	states, err := d.play.serverStates(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return chartsDigest(states)
}

func fitsAScreen(t *testing.T, story string) {
	lines := strings.Split(strings.TrimRight(story, "\n"), "\n")
	for _, line := range lines {
		if wide(line) > columns {
			t.Errorf("%d columns: %q", wide(line), line)
		}
	}
	if len(lines) > 110 {
		t.Errorf("%d lines, want at most 110", len(lines))
	}
}

// recordsAreValid holds every record against the schema's own annotations, by their runtime and not by the engine that took the edits.
func recordsAreValid(t *testing.T, d *Demo) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	n := map[record.Kind]int{}
	for _, kind := range d.play.schema.Kinds() {
		err := d.play.server.Service().Ledger().Scan(t.Context(), d.play.org, kind, func(st *record.State) error {
			typed, err := chart.Typed(st)
			if err != nil {
				return err
			}
			typed.ProtoReflect().Range(func(_ protoreflect.FieldDescriptor, v protoreflect.Value) bool {
				if err := validator.Validate(v.Message().Interface()); err != nil {
					t.Errorf("%s: %v", st.Key, err)
				}
				n[kind]++
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for kind, least := range map[record.Kind]int{
		optionsv1.RecordKind_RECORD_KIND_PATIENT: 300, optionsv1.RecordKind_RECORD_KIND_SESSION: 1000, optionsv1.RecordKind_RECORD_KIND_VIAL: 300,
		optionsv1.RecordKind_RECORD_KIND_CLINIC: 3, optionsv1.RecordKind_RECORD_KIND_STAFF: 9, optionsv1.RecordKind_RECORD_KIND_ORDER: 300,
		optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT: 2, optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE: 1, optionsv1.RecordKind_RECORD_KIND_PROTOCOL: 5,
		optionsv1.RecordKind_RECORD_KIND_APPOINTMENT: 10, optionsv1.RecordKind_RECORD_KIND_LOT: 10, optionsv1.RecordKind_RECORD_KIND_DEVICE: 4,
	} {
		if n[kind] < least {
			t.Errorf("%d records of %s, want at least %d", n[kind], kind, least)
		}
	}
}

func sessions(t *testing.T, d *Demo) (out []*chartv1.Session) {
	t.Helper()
	for _, k := range d.play.room1.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		out = append(out, d.play.session(d.play.room1, k))
	}
	return out
}

// dosesArePublished holds every injection against the formulary's published ranges, which are the outside table here, each entry with its source:
// some range of its product and its muscle's target allows the dose.
func dosesArePublished(t *testing.T, d *Demo) {
	targets := map[string][]string{
		"procerus": {"glabella"}, "corrugator_supercilii": {"glabella"}, "orbicularis_oculi": {"lateral_canthus"}, "frontalis": {"forehead"},
		"orbicularis_oris": {"orbicularis_oris"}, "depressor_anguli_oris": {"depressor_anguli_oris"},
	}
	checked := 0
	for _, s := range sessions(t, d) {
		perMuscle := map[string]int{}
		for _, in := range s.GetInjections() {
			perMuscle[in.GetMuscle()+in.GetSide().String()]++
		}
		for _, in := range s.GetInjections() {
			for _, g := range in.GetGivings() {
				dose := g.GetGiven().GetDose()
				n := perMuscle[in.GetMuscle()+in.GetSide().String()]
				if !slices.ContainsFunc(d.play.book.DoseRanges(dose.GetProduct(), ""), func(r *formularyv1.DoseRange) bool {
					return slices.Contains(targets[in.GetMuscle()], r.GetTarget()) && allows(r, dose.GetDoseMilliunits(), n)
				}) {
					t.Fatalf("%s: %d milliunits of %s on one of %d: no published range", in.GetMuscle(), dose.GetDoseMilliunits(), dose.GetProduct(), n)
				}
				checked++
			}
		}
	}
	if checked < 5000 {
		t.Errorf("%d injections were looked at", checked)
	}
}

// allows reports whether one of n equal injections of a muscle's side may have the dose, by a range.
func allows(r *formularyv1.DoseRange, milliunits int32, n int) bool {
	low, high := r.GetLowestMilliunits(), r.GetHighestMilliunits()
	switch r.GetBasis() {
	case formularyv1.DoseBasis_DOSE_BASIS_INJECTION:
		return low <= milliunits && milliunits <= high
	case formularyv1.DoseBasis_DOSE_BASIS_SIDE:
		return low <= milliunits*int32(n) && milliunits*int32(n) <= high
	case formularyv1.DoseBasis_DOSE_BASIS_TOTAL:
		m := r.GetInjectionsAtLeast()
		return m > 0 && low <= milliunits*m && milliunits*m <= high
	}
	return false
}

// givingsAreDrawn adds up each syringe by hand: what its givings took is what was drawn less what the plunger left.
func givingsAreDrawn(t *testing.T, d *Demo) {
	syringes := 0
	for _, s := range sessions(t, d) {
		taken, least := map[string]int64{}, map[string]int64{}
		for _, in := range s.GetInjections() {
			for _, g := range in.GetGivings() {
				id := g.GetGiven().GetSyringeId()
				taken[id] += g.GetGiven().GetVolumeNanoliters()
				if after, ok := least[id]; !ok || g.GetGiven().GetMarkAfterNanoliters() < after {
					least[id] = g.GetGiven().GetMarkAfterNanoliters()
				}
			}
		}
		for _, y := range s.GetSyringes() {
			syringes++
			if drawn := y.GetFilling().GetDrawnNanoliters(); taken[y.GetId()] != drawn-least[y.GetId()] {
				t.Errorf("session %s: drawn %d, left %d, given %d", s.GetId(), drawn, least[y.GetId()], taken[y.GetId()])
			}
		}
	}
	if syringes < 1000 {
		t.Errorf("%d syringes were looked at", syringes)
	}
}

// intervalsAreKept finds one breach in all records, the one that the story tells of.
func intervalsAreKept(t *testing.T, d *Demo) {
	rule, _, err := d.play.dayRule("onabotulinumtoxinA")
	if err != nil {
		t.Fatal(err)
	}
	treatments := map[string][]chart.Treatment{}
	for _, s := range sessions(t, d) {
		id, err := record.ParseID(s.GetId())
		if err != nil {
			t.Fatal(err)
		}
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: id}
		treatments[s.GetPatientId()] = append(treatments[s.GetPatientId()], chart.FoldTreatment(d.play.room1.r.View(k)))
	}
	for _, p := range d.play.patients {
		found := chart.IntervalFindings(treatments[p.id.String()], rule)
		if want := p == d.play.soon.patient; (len(found) == 1) != want || len(found) > 1 {
			t.Errorf("%s: %d findings", p.full, len(found))
		}
		if p.guest && !p.last.Before(demoDay().AddDate(0, 0, -rule.Days)) {
			t.Errorf("%s was treated on %v", p.full, p.last)
		}
	}
}

// TestBrokenDayIsTold breaks a day that was played in several ways, and wants each to be told.
func TestBrokenDayIsTold(t *testing.T) {
	d, _ := played(t, 3, few)
	p := d.play
	end := func() string {
		var out bytes.Buffer
		p.checks, p.teller = checks{}, &teller{w: &out}
		if err := errors.Join(p.tellInStep(t.Context()), p.tellEnd(t.Context())); err != nil {
			t.Fatal(err)
		}
		if len(p.failed) > 0 && !strings.Contains(out.String(), "do NOT hold") {
			t.Errorf("the story hides what failed:\n%s", out.String())
		}
		return strings.Join(p.failed, "; ")
	}
	if err := p.inStep(t.Context()); err != nil { // with what was done at desks after the tablets' last exchange
		t.Fatal(err)
	}
	if failed := end(); failed != "" {
		t.Fatalf("before anything is broken: %s", failed)
	}
	text := func(s string) *chartv1.Patient { return &chartv1.Patient{Language: &s} }
	at := clockTime(demoDay(), 20, 0)
	for _, w := range []struct {
		t  *tablet
		by *person
		m  *chartv1.Patient
	}{{p.room1, p.staff[maren], text("fr")}, {p.room2, p.staff[yusuf], text("nl")}} {
		if err := w.t.write(w.by, at, p.shared.patient.key(), w.m); err != nil {
			t.Fatal(err)
		}
	}
	failed := end()
	for _, want := range []string{"were not sent", "differ from the server's", "the digests of both rooms are equal", "2 edits were lost"} {
		if !strings.Contains(failed, want) {
			t.Errorf("unsent edits: told %q, want %q", failed, want)
		}
	}
	if err := p.inStep(t.Context()); err != nil {
		t.Fatal(err)
	}
	if failed = end(); !strings.Contains(failed, "1 conflicts are left on Room 1") {
		t.Errorf("a conflict: told %q", failed)
	}
}

// TestClaims shows that a claim that does not hold is told, and fails the day.
func TestClaims(t *testing.T) {
	var c checks
	c.that(true, "the sky is up")
	if err := c.err(); err != nil || c.held != 1 {
		t.Errorf("%v, %d held", err, c.held)
	}
	c.that(false, "%d edits were lost", 2)
	var failed *FailedError
	if err := c.err(); !errors.As(err, &failed) || !slices.Equal(failed.Claims, []string{"2 edits were lost"}) {
		t.Errorf("%v", err)
	}
}

// TestFolderInUse leaves a folder alone that holds anything.
func TestFolderInUse(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "needlebook.db"), []byte("somebody's"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Play(t.Context(), Config{Seed: 1, Dir: dir, Listen: "127.0.0.1:0", Out: &bytes.Buffer{}}); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("%v, want %v", err, ErrNotEmpty)
	}
	if b, err := os.ReadFile(filepath.Join(dir, "needlebook.db")); err != nil || string(b) != "somebody's" {
		t.Errorf("the file holds %q, %v", b, err)
	}
}

const (
	readme      = "../../README.md"
	readmeBegin = "<!-- output of the demo: begin -->\n"
	readmeEnd   = "<!-- output of the demo: end -->"
)

// isInReadme holds the README's example against what the demo says.
func isInReadme(t *testing.T, story string) {
	b, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok1 := strings.Cut(string(b), readmeBegin)
	_, tail, ok2 := strings.Cut(rest, readmeEnd)
	if !ok1 || !ok2 {
		t.Fatal("the README has no marks for the demo's output")
	}
	want := head + readmeBegin + "```\n" + strings.TrimRight(story, "\n") + "\n```\n" + readmeEnd + tail
	if *update {
		if err := os.WriteFile(readme, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if unnumbered(string(b)) != unnumbered(want) {
		t.Error("the README shows another day than seed 1 plays: go test ./internal/demo -update")
	}
}

// unnumbered is a text without its numbers, digests and line breaks: those move with every new entry of the formulary, the story does not.
func unnumbered(text string) string {
	text = regexp.MustCompile(`\b[0-9a-f]{32}\b|[0-9][0-9,.]*`).ReplaceAllString(text, "#")
	return strings.Join(strings.Fields(text), " ")
}
