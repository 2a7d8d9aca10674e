package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// clientDocument is the guide for who writes a client. Its console blocks are run like those of the replica's manual.
const clientDocument = "../../docs/client.md"

// TestClientDocument runs docs/client.md with curl and jq against a server, and holds what the commands print against the page. PASSWORD stands for eve's.
func TestClientDocument(t *testing.T) {
	for _, tool := range []string{"curl", "jq"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("the page needs %s: %v", tool, err)
		}
	}
	text, err := os.ReadFile(clientDocument)
	if err != nil {
		t.Fatal(err)
	}
	run := documentRun{T: t, clinic: startClinic(t), dir: t.TempDir(), actual: map[string]string{"PASSWORD": testPassword}}
	var out []string
	for lines := strings.Split(string(text), "\n"); len(lines) > 0; {
		line := lines[0]
		out, lines = append(out, line), lines[1:]
		run.directive(line)
		if line == "```console" {
			end := slices.Index(lines, "```")
			out, lines = append(out, run.block(lines[:end])...), lines[end:]
		}
	}
	if calls := strings.Count(string(text), "curl -s"); calls < 15 || run.commands < calls {
		t.Errorf("%d commands were run, %d of them calls", run.commands, calls)
	}
	if _, err := os.Stat(filepath.Join(run.dir, "room1")); err != nil {
		t.Errorf("no device was enrolled: %v", err)
	}
	if *update && !t.Failed() {
		if err := os.WriteFile(clientDocument, []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
