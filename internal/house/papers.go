package house

import (
	"fmt"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

const (
	architecture = "docs/architecture.md"
	dependencies = "docs/decisions/0006-dependencies.md"
)

// CheckArchitecture returns each row of the table in docs/architecture.md that differs from rules, and each rule for a package right below internal/
// or cmd/ that has no row. Rows whose last cell is a sentence ("all of the above") are compared by name and purity alone.
func CheckArchitecture(root string, rules map[string]Rule) ([]Fault, error) {
	text, err := os.ReadFile(filepath.Join(root, architecture))
	if err != nil {
		return nil, fmt.Errorf("read the map of packages: %w", err)
	}
	var faults []Fault
	rows := map[string]bool{"internal/house": true}
	for i, line := range strings.Split(string(text), "\n") {
		dir, cells, ok := packageRow(line)
		if !ok {
			continue
		}
		rows[dir] = true
		if why := rowDiffers(rules, dir, cells); why != "" {
			faults = append(faults, Fault{architecture, i + 1, why})
		}
	}
	for dir := range rules {
		if strings.Count(dir, "/") == 1 && !rows[dir] {
			faults = append(faults, Fault{Path: architecture, Text: "no row for " + dir})
		}
	}
	return faults, nil
}

// packageRow splits a row of the table whose first cell starts with a package's folder in backquotes.
func packageRow(line string) (dir string, cells []string, ok bool) {
	cells = strings.Split(strings.Trim(line, "| "), " | ")
	if !strings.HasPrefix(line, "| `") || len(cells) != 3 {
		return "", nil, false
	}
	dir, _, _ = strings.Cut(cells[0][1:], "`")
	return dir, cells, strings.HasPrefix(dir, "internal/") || strings.HasPrefix(dir, "cmd/")
}

func rowDiffers(rules map[string]Rule, dir string, cells []string) string {
	rule, ok := rules[dir]
	want := strings.Split(cells[2], ", ")
	if cells[2] == "-" {
		want = nil
	}
	have := slices.Clone(rule.Ours)
	slices.Sort(want)
	slices.Sort(have)
	switch {
	case !ok:
		return dir + " has no rule in internal/house/rules.go"
	case rule.Pure != strings.Contains(cells[0], "(pure"):
		return fmt.Sprintf("%s: pure is %t in internal/house/rules.go", dir, rule.Pure)
	case rule.StdOnly != strings.Contains(cells[0], "standard library only"):
		return fmt.Sprintf("%s: standard library only is %t in internal/house/rules.go", dir, rule.StdOnly)
	case !strings.Contains(cells[2], "of the above") && !strings.Contains(cells[2], "and below") && !slices.Equal(want, have):
		return fmt.Sprintf("%s may import %q here and %q in internal/house/rules.go", dir, want, have)
	}
	return ""
}

// CheckDependencies returns each import of another module, tests included, that no line of docs/decisions/0006-dependencies.md gives a reason for.
func CheckDependencies(root string) ([]Fault, error) {
	reasons, err := os.ReadFile(filepath.Join(root, dependencies))
	if err != nil {
		return nil, fmt.Errorf("read the reasons for dependencies: %w", err)
	}
	known := backquoted(string(reasons))
	files, err := sources(root)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	for _, file := range files {
		fset := token.NewFileSet()
		syntax, err := parseFile(fset, root, file, parser.ImportsOnly)
		if err != nil {
			return nil, err
		}
		for _, spec := range syntax.Imports {
			name, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return nil, fmt.Errorf("read an import of %s: %w", file, err)
			}
			ours := under(name, module) || isStd(name)
			if !ours && !slices.ContainsFunc(known, func(prefix string) bool { return under(name, prefix) }) {
				text := fmt.Sprintf("imports %s, for which %s gives no reason", name, dependencies)
				faults = append(faults, Fault{file, fset.Position(spec.Pos()).Line, text})
			}
		}
	}
	return faults, nil
}

// backquoted lists what stands in backquotes in text.
func backquoted(text string) []string {
	var quoted []string
	for i, part := range strings.Split(text, "`") {
		if i%2 == 1 {
			quoted = append(quoted, part)
		}
	}
	return quoted
}
