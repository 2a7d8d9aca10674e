package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func TestRunAll(t *testing.T) {
	green := gate{"green", func(*checkout) error { return nil }}
	red := gate{"red", func(*checkout) error { return errors.New("line 1\nline 2") }}
	idle := gate{"idle", func(*checkout) error { return skip("nothing to do") }}
	toolless := gate{"toolless", func(*checkout) error { return missing("no tool") }}
	for name, row := range map[string]struct {
		gates []gate
		ci    bool
		want  int
	}{
		"green":                      {[]gate{green, idle, toolless}, false, 0},
		"one red among green":        {[]gate{green, red, green}, false, 1},
		"CI accepts an idle gate":    {[]gate{green, idle}, true, 0},
		"CI accepts no missing tool": {[]gate{green, toolless}, true, 1},
	} {
		t.Run(name, func(t *testing.T) {
			var out strings.Builder
			if got := runAll(row.gates, &checkout{ci: row.ci, out: &out}); got != row.want {
				t.Errorf("exit code %d, want %d\n%s", got, row.want, out.String())
			}
			for _, g := range row.gates {
				if !strings.Contains(out.String(), " "+g.name+" ") {
					t.Errorf("no line for %s:\n%s", g.name, out.String())
				}
			}
		})
	}
}

func TestRun_BadArguments(t *testing.T) {
	for _, args := range [][]string{{"-only", "no-such-gate"}, {"-no-such-flag"}} {
		if got := run(args, io.Discard, io.Discard); got != 2 {
			t.Errorf("run %q = %d, want 2", args, got)
		}
	}
}

func TestSameTrees(t *testing.T) {
	want := map[string]string{"a/a.pb.go": "package a\n", "b.pb.go": "package b\n"}
	for name, row := range map[string]struct {
		have map[string]string
		same bool
	}{
		"the same":       {map[string]string{"a/a.pb.go": "package a\n", "b.pb.go": "package b\n"}, true},
		"one byte":       {map[string]string{"a/a.pb.go": "package a\n", "b.pb.go": "package c\n"}, false},
		"one missing":    {map[string]string{"a/a.pb.go": "package a\n"}, false},
		"one left over":  {map[string]string{"a/a.pb.go": "package a\n", "b.pb.go": "package b\n", "c.pb.go": ""}, false},
		"another folder": {map[string]string{"a.pb.go": "package a\n", "b.pb.go": "package b\n"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			err := sameTrees(tree(t, want), tree(t, row.have))
			if (err == nil) != row.same {
				t.Errorf("sameTrees = %v, want the same: %t", err, row.same)
			}
		})
	}
}

func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for path, text := range files {
		write(t, root, path, text)
	}
	return root
}

func write(t *testing.T, root, path, text string) {
	t.Helper()
	path = filepath.Join(root, path)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// The commit that the schema is compared with, as a history grows and is cloned.
func TestSchemaBase(t *testing.T) {
	if _, err := exec.LookPath("git"); err != nil {
		t.Skip("no git on this machine")
	}
	root := tree(t, nil)
	c := &checkout{root: root, out: io.Discard}
	git := func(args ...string) string {
		t.Helper()
		identity := []string{"-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false"}
		out, err := c.output(nil, "git", append(identity, args...)...)
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(out)
	}
	commit := func(path, text, message string) string {
		t.Helper()
		write(t, root, path, text)
		git("add", path)
		git("commit", "-q", "-m", message)
		return git("rev-parse", "HEAD")
	}
	wantBase := func(when, want string) {
		t.Helper()
		if got, err := c.schemaBase(); err != nil || got != want {
			t.Errorf("%s: base %q, %v; want %q", when, got, err, want)
		}
	}
	wantSkip := func(when string) {
		t.Helper()
		var nothing skip
		if got, err := c.schemaBase(); !errors.As(err, &nothing) {
			t.Errorf("%s: base %q, %v; want a skip", when, got, err)
		}
	}

	git("init", "-q", "-b", "main")
	wantSkip("no commit")
	first := commit("proto/needlebook/a.proto", "1", "Begin")
	wantSkip("the first schema")
	commit("README.md", "1", "Say what it is")
	wantSkip("no schema before the first")
	git("rm", "-q", "README.md")
	readme := commit("README.md", "2", "Say it better")
	commit("proto/needlebook/a.proto", "2", "Change the schema\n\nSchema-Break: nothing was released")
	commit("README.md", "3", "Say it again")
	wantBase("commits after the last change", readme)
	if reason, err := c.waived(readme); err != nil || reason != "nothing was released" {
		t.Errorf("waived = %q, %v", reason, err)
	}
	git("update-ref", "refs/remotes/origin/main", first)
	wantBase("ahead of what was pushed", first)
	git("update-ref", "refs/remotes/origin/main", "HEAD")
	wantBase("a clone of what was pushed", readme)
	c.base = first
	wantBase("a base that was asked for", first)
	commit("proto/needlebook/a.proto", "3", "Change it again")
	if reason, err := c.waived("HEAD^"); err != nil || reason != "" {
		t.Errorf("waived without a trailer = %q, %v", reason, err)
	}
}
