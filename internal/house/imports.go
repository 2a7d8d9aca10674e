package house

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

const module = "needlebook"

// CheckImports reads every Go file under root and returns each import that rules do not allow, each package without a rule, and each pure package
// that reads a clock or starts a goroutine. Files for other systems (name_js.go) count like any other.
func CheckImports(root string, rules map[string]Rule) ([]Fault, error) {
	files, err := sources(root)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	unruled := map[string]bool{}
	for _, file := range files {
		dir := path.Dir(file)
		rule, ok := rules[dir]
		if !ok && !unruled[dir] {
			unruled[dir] = true
			faults = append(faults, Fault{Path: dir, Text: "package without a rule: add a line to internal/house/rules.go and docs/architecture.md"})
		}
		if !ok || isTest(file) {
			continue
		}
		found, err := checkFile(root, file, rule)
		if err != nil {
			return nil, err
		}
		faults = append(faults, found...)
	}
	return faults, nil
}

func checkFile(root, file string, rule Rule) ([]Fault, error) {
	mode := parser.ImportsOnly
	if rule.Pure {
		mode = parser.SkipObjectResolution
	}
	fset := token.NewFileSet()
	syntax, err := parseFile(fset, root, file, mode)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	for _, spec := range syntax.Imports {
		name, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return nil, fmt.Errorf("read an import of %s: %w", file, err)
		}
		if why := rule.forbids(name); why != "" {
			faults = append(faults, Fault{file, fset.Position(spec.Pos()).Line, fmt.Sprintf("imports %s: %s", name, why)})
		}
	}
	if rule.Pure {
		faults = append(faults, impurities(fset, file, syntax)...)
	}
	return faults, nil
}

func parseFile(fset *token.FileSet, root, file string, mode parser.Mode) (*ast.File, error) {
	source, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(file)))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	syntax, err := parser.ParseFile(fset, file, source, mode)
	if err != nil {
		return nil, fmt.Errorf("parse %s: %w", file, err)
	}
	return syntax, nil
}

// forbids returns why a package under this rule may not import name, or nothing when it may.
func (r Rule) forbids(name string) string {
	switch {
	case name == module || under(name, module):
		return r.forbidsOurs(strings.TrimPrefix(name, module+"/"))
	case isStd(name):
		return r.forbidsStd(name)
	default:
		return r.forbidsModule(name)
	}
}

func (r Rule) forbidsOurs(name string) string {
	if under(name, Gen) {
		switch {
		case !slices.Contains(r.Ours, Gen):
			return "the rule does not list the generated messages"
		case r.Pure && strings.HasSuffix(name, "connect"):
			return "a pure package may not reach the Connect stubs"
		}
		return ""
	}
	if !slices.Contains(r.Ours, strings.TrimPrefix(name, "internal/")) {
		return "the rule does not list this package of ours"
	}
	return ""
}

func (r Rule) forbidsStd(name string) string {
	if r.Pure && !slices.Contains(pureStd(), name) {
		return "a pure package may not reach a clock, disk, network, randomness or goroutine"
	}
	return ""
}

func (r Rule) forbidsModule(name string) string {
	uses := func(prefix string) bool { return under(name, prefix) }
	switch {
	case r.StdOnly:
		return "this package imports the standard library alone"
	case r.Pure && !slices.ContainsFunc(pureModules(), uses):
		return "a pure package may import of other modules only the protobuf runtime"
	case !r.Proof && slices.ContainsFunc(testModules(), uses):
		return "this module is for tests alone"
	}
	return ""
}

func under(name, prefix string) bool { return name == prefix || strings.HasPrefix(name, prefix+"/") }

// isStd relies on the convention of the go command: only the standard library has no dot in the first element of its paths.
func isStd(name string) bool {
	first, _, _ := strings.Cut(name, "/")
	return !strings.Contains(first, ".")
}

// impurities finds what an import cannot show. It trusts that package time is imported under its own name; house style renames no import of the
// standard library.
func impurities(fset *token.FileSet, file string, syntax *ast.File) []Fault {
	var faults []Fault
	report := func(at ast.Node, text string) {
		faults = append(faults, Fault{file, fset.Position(at.Pos()).Line, text})
	}
	ast.Inspect(syntax, func(node ast.Node) bool {
		switch n := node.(type) {
		case *ast.GoStmt:
			report(n, "a pure package starts no goroutine")
		case *ast.SelectorExpr:
			if from, ok := n.X.(*ast.Ident); ok && from.Name == "time" && slices.Contains(clockReads(), n.Sel.Name) {
				report(n, "a pure package reads no clock: time."+n.Sel.Name)
			}
		}
		return true
	})
	return faults
}
