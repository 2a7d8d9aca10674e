package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// The command answers every vector of the guardrails as the vector says, keeps people's output to 80 columns with safe words for doses, and exits with 3
// exactly where a hold stands that nobody lifted.
func TestCheckAnswersTheVectors(t *testing.T) {
	files, err := filepath.Glob("../../testdata/guard/vectors/*.json")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d vectors, %v", len(files), err)
	}
	exits := make(map[int]int)
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var vector struct {
			Request, Response json.RawMessage
		}
		if err := json.Unmarshal(text, &vector); err != nil {
			t.Fatal(err)
		}
		code, out, errs := inProcess(string(vector.Request), "dose", "check", "-json")
		if want := holdsOf(t, vector.Response); code != want || errs != "" {
			t.Errorf("%s: exit %d, want %d: %s", file, code, want, errs)
		}
		exits[code]++
		if !sameJSON(t, []byte(out), vector.Response) {
			t.Errorf("%s: another answer than the vector's", file)
		}
		_, out, _ = inProcess(string(vector.Request), "dose", "check")
		for line := range strings.SplitSeq(out, "\n") {
			if utf8.RuneCountInString(line) > columns {
				t.Errorf("%s: more than %d columns: %q", file, columns, line)
			}
		}
		onPhone(t, file, out, string(vector.Request), "dose", "check")
		for _, word := range []string{" U ", " IU", "0.0 ", " .5"} {
			if strings.Contains(out, word) {
				t.Errorf("%s: %q in people's output", file, word)
			}
		}
	}
	if exits[exitDone] == 0 || exits[exitHold] == 0 {
		t.Errorf("exit codes %v: not both were tested", exits)
	}
}

// holdsOf is the exit code that an answer asks for.
func holdsOf(t *testing.T, response []byte) int {
	t.Helper()
	var answer struct {
		Findings []struct {
			Level  string
			Answer *struct{ Decision string }
		}
	}
	if err := json.Unmarshal(response, &answer); err != nil {
		t.Fatal(err)
	}
	for _, f := range answer.Findings {
		if f.Level == "LEVEL_HOLD" && (f.Answer == nil || f.Answer.Decision != "FINDING_DECISION_KIND_LIFTED") {
			return exitHold
		}
	}
	return exitDone
}

func sameJSON(t *testing.T, a, b []byte) bool {
	t.Helper()
	var x, y bytes.Buffer
	if json.Compact(&x, a) != nil || json.Compact(&y, b) != nil {
		t.Fatal("no JSON")
	}
	return bytes.Equal(x.Bytes(), y.Bytes())
}
