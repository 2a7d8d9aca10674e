package guard_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"needlebook/internal/guard"
	"needlebook/internal/reckon"

	accessv1 "needlebook/gen/needlebook/access/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const (
	vectors    = "../../testdata/guard/vectors"
	guardrails = "../../docs/guardrails.md"
)

var update = flag.Bool("update", false, "write testdata/guard/vectors and docs/guardrails.md anew; read the difference before it is kept")

// vector is a request and what it is answered with the built-in edition.
type vector struct {
	About    string          `json:"about"`
	Request  json.RawMessage `json:"request"`
	Response json.RawMessage `json:"response"`
}

// vectorsOf are the visits whose answers are kept: the clear one, and those that between them raise most codes.
func vectorsOf(t *testing.T) map[string]func(visit) {
	t.Helper()
	byRow := make(map[string]func(visit))
	for _, row := range rows() {
		if row.edition == nil {
			byRow[row.code] = row.trips
		}
	}
	all := func(codes ...string) func(visit) {
		return func(v visit) {
			for _, code := range codes {
				byRow[code](v)
			}
		}
	}
	return map[string]func(visit){
		"clear": untouched,
		"bare":  func(v visit) { *v.SessionFacts = dosev1.SessionFacts{Session: v.Session} },
		"order": all(guard.CodeOrderDraft, guard.CodeOrderExpired, guard.CodeOrderExceeded, guard.CodeOrderUsedUp, guard.CodeOrderVoice,
			guard.CodeOrderExamination),
		"screening":    all(guard.CodeAllergy, guard.CodePregnancy, guard.CodeBreastFeeding, guard.CodeInteraction, guard.CodeUnlisted, guard.CodeAgeUnder),
		"consent":      all(guard.CodeCoolingOff, guard.CodeConsentText),
		"vial":         all(guard.CodeVialExpired, guard.CodeRecalled, guard.CodeVialShared, guard.CodePastUseBy, guard.CodeMixedTwice, guard.CodeCloudy),
		"dose":         all(guard.CodeSlip, guard.CodeSidesUnequal, guard.CodeInterval),
		"lips":         all(guard.CodeLowerFace, guard.CodeOutsideZone),
		"edge":         all(guard.CodeNearEdge),
		"window":       all(guard.CodeWindowLimit),
		"wrong_vial":   all(guard.CodeProductWrong),
		"lifted":       func(v visit) { answered(v, "d1", accessv1.Role_ROLE_MEDICAL_LEAD, "seen the passport") },
		"lifted_not":   all(guard.CodeAnswerNot),
		"in_conflict":  all(guard.CodeConflict),
		"clock":        all(guard.CodeClockBackwards, guard.CodeDateDiffers),
		"all_markets":  func(v visit) { v.r.Formulary = nil; v.answer("myasthenia_gravis", 1) },
		"elsewhere":    all(guard.CodeHistoryUnknown),
		"nothing_left": all(guard.CodeNothingPlanned),
	}
}

// The same bytes natively and under js/wasm.
func TestVectors(t *testing.T) {
	e := builtin(t)
	if *update {
		for name, change := range vectorsOf(t) {
			r := clear(e)
			change(visit{r.GetFacts(), r})
			request, err := reckon.MarshalJSON(r)
			if err != nil {
				t.Fatal(err)
			}
			write(t, filepath.Join(vectors, name+".json"), marshal(t, vector{About: strings.ReplaceAll(name, "_", " "), Request: request,
				Response: []byte("null")}))
		}
	}
	files, err := filepath.Glob(vectors + "/*.json")
	if err != nil || len(files) != len(vectorsOf(t)) {
		t.Fatalf("%d vectors, %v", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var v vector
			if err := json.Unmarshal(text, &v); err != nil {
				t.Fatal(err)
			}
			request := &dosev1.CheckSessionRequest{}
			if err := reckon.UnmarshalJSON(v.Request, request); err != nil {
				t.Fatal(err)
			}
			if v.Response, err = reckon.MarshalJSON(check(t, e, request)); err != nil {
				t.Fatal(err)
			}
			got := marshal(t, v)
			if *update {
				write(t, file, got)
			} else if !bytes.Equal(got, text) {
				t.Errorf("the answer differs; with -update it is written anew:\n%s", v.Response)
			}
		})
	}
}

func marshal(t *testing.T, v vector) []byte {
	t.Helper()
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(v); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func write(t *testing.T, file string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// docs/guardrails.md is written from the table of codes.
func TestDocument(t *testing.T) {
	want := document()
	if *update {
		write(t, guardrails, []byte(want))
		return
	}
	got, err := os.ReadFile(guardrails)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("docs/guardrails.md is not what the table says: run the tests of internal/guard with -update and read the difference")
	}
}

func document() string {
	var b strings.Builder
	b.WriteString(`# Guardrails

What ` + "`CheckSession`" + ` and ` + "`needlebook dose check`" + ` say of a visit. This page is written from the table in internal/guard by its tests with -update.

A finding is a hold (the act waits), a caution (the act may go on; the person is told) or a note. The level here is the strongest that a code speaks at: a
figure's own level, or how the figure was come by, may make it weaker. What is from memory or from a trade page is a note and no more. What is missing is
unknown and never clear.

Who may lift a hold is the column after the level; a clinic's edition may name other roles for a code, except where it says never. A lift needs a reason,
which stays with the name for ever, and lifts only the words that were read. A supervisor is someone other than who injects, credentialled for the region
without supervision, or the medical lead. A hold that was lifted stays in the list with its answer.

A clinic's edition may set a level for a code (` + "`lift_rules`" + `, docs/formulary.md). Stronger than the table's, it is the least that the code speaks at: a
note may become a caution or a hold. Weaker it may only be where the column says at most how weak. A hold that the edition makes may be lifted by the roles
that it names, and by nobody where it names none.

The source names the list of the formulary that holds the figures (docs/sources.md), or says that the rule follows from the record or the clinic's policies.

| code | level | at the weakest | lifted by | what trips it | source |
| --- | --- | --- | --- | --- | --- |
`)
	for _, r := range guard.Rules() {
		weakest := ""
		if r.Lowest() != r.Level {
			weakest = levelText(r.Lowest())
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", r.Code, levelText(r.Level), weakest, liftText(r), r.Trips, r.Source)
	}
	return b.String()
}

func levelText(l formularyv1.Level) string {
	return strings.ToLower(strings.TrimPrefix(l.String(), "LEVEL_"))
}

func liftText(r guard.Rule) string {
	switch {
	case r.Level != hold:
		return ""
	case r.Lift.Never:
		return "never"
	case len(r.Lift.Roles) == 0:
		return "nobody"
	case r.Lift.Supervisor:
		return "a supervisor, medical lead"
	}
	var roles []string
	for _, role := range r.Lift.Roles {
		roles = append(roles, strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(role.String(), "ROLE_")), "_", " "))
	}
	return strings.Join(roles, ", ")
}

// The table: each code once, in form, with a level, and holds that nobody may lift for what the design names.
func TestRules(t *testing.T) {
	seen := make(map[string]bool)
	for _, r := range guard.Rules() {
		if seen[r.Code] || r.Level < hold || r.Level > note || r.Trips == "" || r.Source == "" || strings.ToUpper(r.Code) != r.Code {
			t.Errorf("%s: twice, or not whole", r.Code)
		}
		seen[r.Code] = true
		if r.Level != hold && (len(r.Lift.Roles) > 0 || r.Lift.Never) {
			t.Errorf("%s is no hold and has who may lift it", r.Code)
		}
		if lowered := r.Lowest() != r.Level; lowered && (r.Lowest() < r.Level || r.Lift.Never || r.Level == hold && len(r.Lift.Roles) == 0) {
			t.Errorf("%s, which nobody may lift, may be made weaker, or its weakest is stronger", r.Code)
		}
	}
	for _, code := range []string{guard.CodeRecalled, guard.CodeVialExpired, guard.CodeProductWrong, guard.CodeAllergy, guard.CodeUnidentified,
		guard.CodeOrderMissing} {
		if r, _ := guard.RuleOf(code); r.Level != hold || !r.Lift.Never || len(r.Lift.Roles) > 0 {
			t.Errorf("%s may be lifted", code)
		}
	}
	rules := guard.Rules()
	rules[0].Code = "CHANGED"
	if slices.ContainsFunc(guard.Rules(), func(r guard.Rule) bool { return r.Code == "CHANGED" }) {
		t.Error("the table can be changed")
	}
}
