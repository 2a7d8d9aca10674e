package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

const example = `{"product": "onabotulinumtoxinA", "vial": {"content_units": "100", "diluent_ml": "2.5"},
 "syringe": {"capacity_ml": "1", "graduation_ml": "0.01"}, "doses": [{"ref": "1", "dose_units": "4"}]}`

// thousands is a plan whose amounts need commas.
const thousands = `{"product": "onabotulinumtoxinA", "vial": {"content_units": "100000", "diluent_ml": "2.5"},
 "syringe": {"capacity_ml": "1", "graduation_ml": "0.01"}, "doses": [{"ref": "1", "dose_units": "12345.5"}]}`

// inProcess runs a command line with a clock that stands, and returns its exit code and what it printed.
func inProcess(stdin string, args ...string) (code int, stdout, stderr string) {
	return inColumns("", stdin, args...)
}

// phone is the width of a small screen.
const phone = 44

// inColumns is inProcess on a screen of a width; one that is not known when it is empty.
func inColumns(width, stdin string, args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	getenv := func(name string) string { return map[string]string{"COLUMNS": width}[name] }
	now := func() time.Time { return time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC) }
	e := env{stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs, now: now, getenv: getenv}
	code = dispatch(context.Background(), e, commands(), args)
	return code, out.String(), errs.String()
}

// The exit codes that the package comment promises.
func TestExitCodes(t *testing.T) {
	vial := []string{"dose", "draw", "-product", "onabotulinumtoxinA", "-content", "100", "-diluent", "2.5"}
	for _, c := range []struct {
		name  string
		stdin string
		args  []string
		want  int
	}{
		{"an answer", example, []string{"dose", "draw"}, 0},
		{"help that was asked for", "", []string{"dose", "draw", "-h"}, 0},
		{"cannot be done", "", append(vial, "-dose", "50"), 1},
		{"no command", "", nil, 2},
		{"no such command", "", []string{"draw"}, 2},
		{"no such flag", "", []string{"dose", "draw", "-x"}, 2},
		{"a bad value", "", append(vial, "-dose", "1e3"), 2},
		{"no JSON", "four units", []string{"dose", "draw"}, 2},
		{"too long", strings.Repeat(" ", mostRequestBytes+1), []string{"dose", "draw"}, 2},
		{"a hold", "", append(vial, "-dose", "0.1"), 3},
		{"a hold as JSON", "", append(vial, "-dose", "0.1", "-json"), 3},
	} {
		code, stdout, stderr := inProcess(c.stdin, c.args...)
		if code != c.want {
			t.Errorf("%s: exit %d, want %d: %s", c.name, code, c.want, stderr)
		}
		if answered := code == 0 || code == 3; answered != (stdout != "") || answered == (stderr != "") {
			t.Errorf("%s: standard output %q, standard error %q", c.name, stdout, stderr)
		}
	}
}

func TestMixedNowIsTheClockOfTheEnv(t *testing.T) {
	_, stdout, _ := inProcess("", "dose", "prepare", "-product", "onabotulinumtoxinA", "-content", "100", "-diluent", "2.5", "-mixed-at", "now")
	if !strings.Contains(stdout, "2026-03-02 09:30 UTC") { // 24 hours later, S03
		t.Error(stdout)
	}
}

// commandsByMethod names the command of each method that has one.
func commandsByMethod() map[string]string {
	return map[string]string{"Prepare": "prepare", "PlanDraw": "draw", "AdviseDilution": "advise", "GetToxinHistory": "history", "CompareProducts": "compare",
		"GetAsymmetry": "asymmetry"}
}

// People's output keeps to 80 columns, writes no unit short and lets no name steer the terminal, for every vector of the calculator.
func TestPeoplesOutput(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/reckon/vectors/*.json")
	if err != nil || len(paths) == 0 {
		t.Fatal(err)
	}
	type request struct{ command, text string }
	requests := map[string]request{
		"long names": {"draw", strings.Replace(example, `"ref": "1"`, `"ref": "`+strings.Repeat("n", 59)+`\u001b[2J"`, 1)},
		"thousands":  {"draw", thousands},
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var v struct {
			Method  string
			Request json.RawMessage
			Answer  json.RawMessage
		}
		if err := json.Unmarshal(data, &v); err != nil {
			t.Fatal(err)
		}
		if v.Answer != nil && commandsByMethod()[v.Method] != "" {
			requests[path] = request{commandsByMethod()[v.Method], string(v.Request)}
		}
	}
	checked := 0
	for name, r := range requests {
		code, stdout, stderr := inProcess(r.text, "dose", r.command)
		if code != exitDone && code != exitHold {
			t.Errorf("%s: exit %d: %s", name, code, stderr)
		}
		checked++
		onPhone(t, name, stdout, r.text, "dose", r.command)
		for line := range strings.Lines(stdout) {
			line = strings.TrimSuffix(line, "\n")
			if n := utf8.RuneCountInString(line); n > columns {
				t.Errorf("%s: %d columns: %s", name, n, line)
			}
			if strings.ContainsAny(line, "\x1b\u00a0") {
				t.Errorf("%s: %q", name, line)
			}
		}
		if !strings.Contains(stdout, "The licensed prescriber decides") {
			t.Errorf("%s: no caution", name)
		}
	}
	if checked < 30 {
		t.Errorf("only %d answers looked at", checked)
	}
	if _, stdout, _ := inProcess(thousands, "dose", "draw"); !strings.Contains(stdout, "12,345.5 units") {
		t.Error(stdout)
	}
}

// onPhone runs a command on a small screen: no line is wider, and every word is there that a wide one shows.
func onPhone(t *testing.T, name, wide, stdin string, args ...string) {
	t.Helper()
	_, stdout, _ := inColumns(strconv.Itoa(phone), stdin, args...)
	for line := range strings.Lines(stdout) {
		if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > phone {
			t.Errorf("%s: %d columns on a phone: %s", name, n, line)
		}
	}
	letters := func(text string) string { return strings.Join(strings.Fields(text), "") }
	shown := letters(stdout)
	for _, word := range strings.Fields(wide) {
		if word = strings.TrimRight(word, ":;,"); !strings.Contains(shown, word) {
			t.Errorf("%s: %q is not shown on a phone:\n%s", name, word, stdout)
		}
	}
}

// FuzzDoseFlag: any text is read or refused as wrong use, and what is read holds the text's own parts.
func FuzzDoseFlag(f *testing.F) {
	for _, text := range []string{"4", "4@right", "2.5@left:mentalis", "@", "4@midline:", "4@up"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := doseOf(text)
		if err != nil {
			if exitCode(err) != exitUsage {
				t.Fatal(err)
			}
			return
		}
		back := d.GetDoseUnits()
		if d.Side != nil {
			back += "@" + sideText(d.Side)
		}
		if d.Muscle != nil {
			back += ":" + d.GetMuscle()
		}
		if back != text {
			t.Fatalf("%q was read as %q", text, back)
		}
	})
}
