package main

import (
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// replicaDocument is the manual of the replica. Its console blocks are run; what they print is what the page says, but for what differs each time.
const replicaDocument = "../../docs/replica.md"

// varying is what differs each time: ids, edits, fingerprints, times of the machine, and bytes on the wire.
var varying = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}|\b[0-9a-f]{8}:[0-9]+|\b[0-9a-f]{64}\b|\b[0-9a-f]{16}\b|` +
	`\b[0-9A-Z]{4}(-[0-9A-Z]{4}){3}\b|[0-9]{4}-[0-9]{2}-[0-9]{2}[ \n]+[0-9]{2}:[0-9]{2}[ \n]+UTC|[0-9,]+ bytes (up|down)`)

// documentedServer is the address that the page shows.
const documentedServer = "http://127.0.0.1:8740"

// TestReplicaDocument runs docs/replica.md: lines that begin with "$ " are commands, "> " goes on with one, and the rest is what they
// print. With -update it rewrites that. Comments of the form <!-- clinic stop --> stop and start the server, <!-- clinic revoke Room 2 --> revokes a tablet, and <!-- clinic code --> makes a code, which the page's commands find in $CODE.
func TestReplicaDocument(t *testing.T) {
	text, err := os.ReadFile(replicaDocument)
	if err != nil {
		t.Fatal(err)
	}
	c := startClinic(t)
	for name, role := range map[string]accessv1.Role{"noor": accessv1.Role_ROLE_INJECTOR, "dora": accessv1.Role_ROLE_FRONT_DESK} {
		if _, err := c.hire(t.Context(), name, role); err != nil {
			t.Fatal(err)
		}
	}
	run := documentRun{T: t, clinic: c, dir: t.TempDir(), actual: map[string]string{}}
	if err := os.WriteFile(filepath.Join(run.dir, "password"), []byte(testPassword+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(text), "\n")
	var out []string
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		run.directive(lines[i])
		if lines[i] != "```console" {
			continue
		}
		end := i + 1 + slices.Index(lines[i+1:], "```")
		out = append(out, run.block(lines[i+1:end])...)
		i = end - 1
	}
	if run.commands < 15 {
		t.Errorf("only %d commands", run.commands)
	}
	if *update && !t.Failed() {
		if err := os.WriteFile(replicaDocument, []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// documentRun is the page while it is run. actual is what stands in this run for what the page shows.
type documentRun struct {
	*testing.T
	clinic   *clinic
	dir      string
	code     string
	actual   map[string]string
	commands int
}

func (r *documentRun) directive(line string) {
	r.Helper()
	var err error
	switch line {
	case "<!-- clinic stop -->":
		err = r.clinic.stop()
	case "<!-- clinic start -->":
		err = r.clinic.start(r.Context())
	case "<!-- clinic revoke Room 2 -->":
		err = r.clinic.revoke(r.Context(), "Room 2")
	case "<!-- clinic code -->":
		r.code, err = r.clinic.code(r.Context())
	}
	if err != nil {
		r.Fatal(err)
	}
}

// block runs the commands of a block and returns it with what they print now.
func (r *documentRun) block(lines []string) (out []string) {
	r.Helper()
	for i := 0; i < len(lines); {
		command := strings.TrimPrefix(lines[i], "$ ")
		out = append(out, lines[i])
		for i++; i < len(lines) && strings.HasPrefix(lines[i], "> "); i++ {
			command, out = command+"\n"+strings.TrimPrefix(lines[i], "> "), append(out, lines[i])
		}
		var want []string
		for ; i < len(lines) && !strings.HasPrefix(lines[i], "$ "); i++ {
			want = append(want, lines[i])
		}
		out = append(out, r.compare(command, strings.Join(want, "\n"))...)
	}
	return out
}

// compare runs a command and holds what it prints against the page.
func (r *documentRun) compare(command, want string) []string {
	r.Helper()
	r.commands++
	for _, shown := range slices.Sorted(maps.Keys(r.actual)) {
		command = strings.ReplaceAll(command, shown, r.actual[shown])
	}
	cmd := exec.CommandContext(r.Context(), "sh", "-c", strings.ReplaceAll(command, documentedServer, r.clinic.url))
	cmd.Dir, cmd.Env = r.dir, append(os.Environ(), "CODE="+r.code)
	b, _ := cmd.CombinedOutput() // what it prints says how it ended
	got := strings.ReplaceAll(strings.TrimRight(string(b), "\n"), r.clinic.url, documentedServer)
	got = strings.ReplaceAll(got, strings.TrimPrefix(r.clinic.url, "http://"), strings.TrimPrefix(documentedServer, "http://"))
	shown, printed := varying.FindAllString(want, -1), varying.FindAllString(got, -1)
	switch {
	case varying.ReplaceAllString(want, "#") == varying.ReplaceAllString(got, "#"):
		for i := range shown {
			r.actual[shown[i]] = printed[i]
		}
		got = want // what differs each time is no reason to rewrite the page
	case slices.Equal(sortedLines(want), sortedLines(got)):
		got = want // values stand in the order of their replicas' ids, which are random
	case !*update:
		r.Errorf("%s\nprints\n%s\nthe page says\n%s", command, got, want)
	}
	if got == "" {
		return nil
	}
	return strings.Split(got, "\n")
}

func sortedLines(text string) []string {
	lines := strings.Split(varying.ReplaceAllString(text, "#"), "\n")
	slices.Sort(lines)
	return lines
}
