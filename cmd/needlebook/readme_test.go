package main

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"
)

const readme = "../../README.md"

// sample is a command that the README shows with its output.
var sample = regexp.MustCompile("(?s)<!-- sample: ([^\n]*) -->\n```\n(.*?)```\n<!-- end of sample -->")

// TestReadme_SamplesAreWhatTheCommandsPrint runs the README's samples; with -update it writes them anew.
func TestReadme_SamplesAreWhatTheCommandsPrint(t *testing.T) {
	b, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	text, samples := string(b), 0
	want := sample.ReplaceAllStringFunc(text, func(found string) string {
		samples++
		args := sample.FindStringSubmatch(found)[1]
		return "<!-- sample: " + args + " -->\n```\n" + output(t, strings.Fields(args)) + "```\n<!-- end of sample -->"
	})
	if samples == 0 {
		t.Error("the README shows no sample")
	}
	if want == text {
		return
	}
	if !*update {
		t.Fatal("README.md shows another output than the commands print: go test ./cmd/needlebook -run Readme -update")
	}
	if err := os.WriteFile(readme, []byte(want), 0o644); err != nil {
		t.Fatal(err)
	}
}

func output(t *testing.T, args []string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(args, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Fatalf("needlebook %s: exit code %d: %s", strings.Join(args, " "), code, errs.String())
	}
	return "$ needlebook " + strings.Join(args, " ") + "\n" + out.String()
}
