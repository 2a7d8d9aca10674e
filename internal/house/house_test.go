package house

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// repository returns the root of this repository.
func repository(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	root, err := Root(dir)
	if err != nil {
		t.Fatal(err)
	}
	return root
}

// plant writes a tree of files, keyed by path, and returns its root.
func plant(t *testing.T, files map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for path, text := range files {
		path = filepath.Join(root, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

// wantNone fails for each fault; a check that could not run fails too.
func wantNone(t *testing.T, faults []Fault, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range faults {
		t.Error(fault)
	}
}

// wantAt fails unless the faults are exactly at these places, in any order: path, or path:line.
func wantAt(t *testing.T, faults []Fault, err error, places ...string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	missing := map[string]bool{}
	for _, place := range places {
		missing[place] = true
	}
	for _, fault := range faults {
		place, _, _ := strings.Cut(fault.String(), ": ")
		if !missing[place] {
			t.Errorf("unexpected: %s", fault)
		}
		delete(missing, place)
	}
	for place := range missing {
		t.Errorf("not found: %s", place)
	}
}

// The repository keeps its own rules.

func TestRepository_Imports(t *testing.T) {
	faults, err := CheckImports(repository(t), Rules())
	wantNone(t, faults, err)
}

func TestRepository_Architecture(t *testing.T) {
	faults, err := CheckArchitecture(repository(t), Rules())
	wantNone(t, faults, err)
}

func TestRepository_Dependencies(t *testing.T) {
	faults, err := CheckDependencies(repository(t))
	wantNone(t, faults, err)
}

func TestRepository_Words(t *testing.T) {
	faults, err := CheckWords(repository(t))
	wantNone(t, faults, err)
}

func TestRepository_Sizes(t *testing.T) {
	large, over, err := CheckSizes(repository(t))
	wantNone(t, over, err)
	for _, fault := range large {
		t.Log(fault)
	}
}

func TestRepository_Exact(t *testing.T) {
	faults, err := CheckExact(repository(t))
	wantNone(t, faults, err)
}

// The README's first two commands are what a newcomer types; the second is what .ci/run must run.
func TestRepository_ReadmeCommands(t *testing.T) {
	root := repository(t)
	for path, commands := range map[string][]string{
		"README.md": {"go run ./cmd/needlebook demo", "go test ./..."},
		".ci/run":   {"go test ./...", "go run ./internal/house/gates"},
	} {
		text, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			t.Fatal(err)
		}
		for _, command := range commands {
			if !strings.Contains("\n"+string(text), "\n"+command+"\n") {
				t.Errorf("%s: no line %q", path, command)
			}
		}
	}
}

// A pure package that imports one that is not pure would not be pure.
func TestRules_PureReachesOnlyPure(t *testing.T) {
	rules := Rules()
	for dir, rule := range rules {
		for _, ours := range rule.Ours {
			target, ok := rules["internal/"+ours]
			switch {
			case ours == Gen:
				if rule.StdOnly {
					t.Errorf("%s is standard library only and may import %s", dir, ours)
				}
			case !ok:
				t.Errorf("%s may import %s, which has no rule", dir, ours)
			case rule.Pure && !target.Pure:
				t.Errorf("%s is pure and may import %s, which is not", dir, ours)
			}
		}
	}
}

// A cycle would let two packages grow into one.
func TestRules_NoCycle(t *testing.T) {
	rules := Rules()
	var visit func(dir string, above map[string]bool)
	visit = func(dir string, above map[string]bool) {
		if above[dir] {
			t.Fatalf("%s may import itself through others", dir)
		}
		above[dir] = true
		for _, ours := range rules[dir].Ours {
			visit("internal/"+ours, above)
		}
		delete(above, dir)
	}
	for dir := range rules {
		visit(dir, map[string]bool{})
	}
}

// Planted faults: a check that never goes red is no check.

func TestCheckImports_PlantedFaults(t *testing.T) {
	root := plant(t, map[string]string{
		"internal/causal/clean.go":       "package causal\n\nimport \"errors\"\n\nvar Err = errors.New(\"x\")\n",
		"internal/causal/disk.go":        "package causal\n\nimport (\n\t\"fmt\"\n\t_ \"os\"\n)\n",
		"internal/causal/clock_js.go":    "package causal\n\nimport \"time\"\n\nfunc now() time.Time { return time.Now() }\n",
		"internal/causal/worker.go":      "package causal\n\nfunc start() { go start() }\n",
		"internal/causal/dates.go":       "package causal\n\nimport \"time\"\n\nconst Day = 24 * time.Hour\n",
		"internal/causal/deep.go":        "package causal\n\nimport _ \"google.golang.org/protobuf/proto\"\n",
		"internal/causal/causal_test.go": "package causal\n\nimport (\n\t_ \"os\"\n\t_ \"pgregory.net/rapid\"\n)\n",
		"internal/record/up.go":          "package record\n\nimport _ \"needlebook/internal/store\"\n",
		"internal/record/messages.go":    "package record\n\nimport _ \"needlebook/gen/needlebook/sync/v1\"\n",
		"internal/record/stubs.go":       "package record\n\nimport _ \"needlebook/gen/needlebook/sync/v1/syncv1connect\"\n",
		"internal/record/rules.go":       "package record\n\nimport _ \"buf.build/go/protovalidate\"\n",
		"internal/record/runtime.go":     "package record\n\nimport _ \"google.golang.org/protobuf/proto\"\n",
		"internal/store/luck.go":         "package store\n\nimport _ \"pgregory.net/rapid\"\n",
		"internal/store/messages.go":     "package store\n\nimport _ \"needlebook/gen/needlebook/sync/v1\"\n",
		"internal/common/common.go":      "package common\n",
		"internal/store/testdata/x.go":   "package x\n\nimport _ \"needlebook/internal/service\"\n",
	})
	faults, err := CheckImports(root, Rules())
	wantAt(t, faults, err,
		"internal/causal/disk.go:5", "internal/causal/clock_js.go:5", "internal/causal/worker.go:3", "internal/causal/deep.go:3",
		"internal/record/up.go:3", "internal/record/stubs.go:3", "internal/record/rules.go:3",
		"internal/store/luck.go:3", "internal/store/messages.go:3", "internal/common")
}

func TestCheckImports_BrokenFile(t *testing.T) {
	root := plant(t, map[string]string{"internal/causal/broken.go": "package\n"})
	if faults, err := CheckImports(root, Rules()); err == nil {
		t.Errorf("a file that does not parse gave %v and no error", faults)
	}
}

func TestCheckArchitecture_PlantedFaults(t *testing.T) {
	rules := map[string]Rule{
		"internal/a": {Pure: true, StdOnly: true}, "internal/b": {Pure: true, Ours: []string{"a", Gen}}, "internal/c": {}, "internal/d": {},
		"internal/c/deep": {}, "cmd/x": {Ours: []string{"a", "b"}},
	}
	root := plant(t, map[string]string{architecture: strings.Join([]string{
		"| package | what it holds | may import of ours |",
		"| --- | --- | --- |",
		"| `internal/a` (pure, standard library only) | right | - |",
		"| `internal/b` (pure) | one import missing | gen |",
		"| `internal/c` (pure) | not pure | - |",
		"| `internal/gone` | no rule | - |",
		"| `cmd/x` | right | all of the above |",
	}, "\n")})
	faults, err := CheckArchitecture(root, rules)
	wantAt(t, faults, err, architecture+":4", architecture+":5", architecture+":6", architecture)
}

func TestCheckDependencies_PlantedFault(t *testing.T) {
	root := plant(t, map[string]string{
		dependencies:       "- `example.org/known`: reads a format that we do not own.\n",
		"internal/a/a.go":  "package a\n\nimport (\n\t_ \"example.org/known/part\"\n\t_ \"fmt\"\n\t_ \"needlebook/internal/b\"\n)\n",
		"internal/a/b.go":  "package a\n\nimport _ \"example.org/knownish\"\n",
		"internal/a/_c.md": "import _ \"example.org/other\"\n",
	})
	faults, err := CheckDependencies(root)
	wantAt(t, faults, err, "internal/a/b.go:3")
}

func TestCheckWords_PlantedFaults(t *testing.T) {
	unfinished := "TO" + "DO"
	root := plant(t, map[string]string{
		"docs/a.md":                 "fine\n" + unfinished + ": later\n",
		"docs/b.md":                 "written by a Sub" + "agent\n",
		"docs/clean.md":             "The method is idempotent; xxx and todos are words. An issue of consent. A visit's session.\n",
		"internal/a/a.go":           "package a\n\n// See /work/" + "shared for why.\n",
		"internal/a/picture.png":    "\x00" + unfinished,
		"gen/made.go":               "// " + unfinished + "\n",
		".git/COMMIT_EDITMSG":       unfinished + "\n",
		"x/testdata/fuzz/F/corpus1": unfinished + "\n",
	})
	faults, err := CheckWords(root)
	wantAt(t, faults, err, "docs/a.md:2", "docs/b.md:1", "internal/a/a.go:3")
}

func TestCheckSizes_PlantedFaults(t *testing.T) {
	function := "package a\n\nfunc long() {\n" + strings.Repeat("\t_ = 0\n", LargeFunction) + "}\n"
	root := plant(t, map[string]string{
		"internal/a/limit.go": "package a\n" + strings.Repeat("\n", FileLimit),
		"internal/a/large.go": "package a\n" + strings.Repeat("\n", LargeFile),
		"internal/a/right.go": "package a\n" + strings.Repeat("\n", LargeFile-1),
		"internal/a/long.go":  function,
		"gen/a/a.pb.go":       "package a\n" + strings.Repeat("\n", FileLimit),
	})
	large, over, err := CheckSizes(root)
	wantAt(t, over, err, "internal/a/limit.go")
	wantAt(t, large, err, "internal/a/large.go", "internal/a/long.go:3")
}

func TestCheckExact_PlantedFaults(t *testing.T) {
	root := plant(t, map[string]string{
		"internal/dose/a.go":      "package dose\n\n// Not a float64.\nfunc a(x float64) {}\n",
		"internal/dose/b.go":      "package dose\n\nconst tenth = 0.1\n",
		"internal/dose/c.go":      "package dose\n\nconst name = \"float64 0.1\"\n",
		"internal/dose/a_test.go": "package dose\n\nconst tenth = 0.1\n",
		"internal/reckon/a.go":    "package reckon\n\nvar x float32\n",
		"internal/store/a.go":     "package store\n\nvar seconds float64\n",
	})
	faults, err := CheckExact(root)
	wantAt(t, faults, err, "internal/dose/a.go:4", "internal/dose/b.go:3", "internal/reckon/a.go:3")
}

func TestRoot(t *testing.T) {
	root := plant(t, map[string]string{"go.mod": "", "proto/a.proto": "", "internal/tools/go.mod": "", "internal/tools/a/b.go": ""})
	got, err := Root(filepath.Join(root, "internal", "tools", "a"))
	if err != nil || got != root {
		t.Errorf("Root = %q, %v; want %q", got, err, root)
	}
	if got, err := Root(t.TempDir()); err == nil {
		t.Errorf("Root of a folder outside any module = %q, want an error", got)
	}
}
