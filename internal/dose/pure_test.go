package dose_test

import (
	"embed"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"testing"
)

//go:embed *.go
var sources embed.FS

// impure lists what would let a float, a clock or chance into the file. Imports are an allowlist: none of these packages has a function that
// returns a float, and strconv's float functions are named here.
func impure(t *testing.T, name string, src []byte) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), name, src, 0)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, spec := range file.Imports {
		path, _ := strconv.Unquote(spec.Path.Value)
		if !slices.Contains([]string{"cmp", "errors", "math/bits", "slices", "strconv", "strings"}, path) {
			found = append(found, "import "+path)
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.Ident:
			if strings.Contains(strings.ToLower(n.Name), "float") || strings.HasPrefix(n.Name, "complex") {
				found = append(found, n.Name)
			}
		case *ast.BasicLit:
			if n.Kind == token.FLOAT || n.Kind == token.IMAG {
				found = append(found, n.Value)
			}
		case *ast.GoStmt:
			found = append(found, "go statement")
		}
		return true
	})
	return found
}

func TestNoFloatsClocksOrChance(t *testing.T) {
	entries, err := sources.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		src, err := sources.ReadFile(e.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range impure(t, e.Name(), src) {
			t.Errorf("%s: %s", e.Name(), f)
		}
		checked++
	}
	if checked < 10 {
		t.Fatalf("only %d files checked", checked)
	}
}

// The check itself must be able to fail.
func TestImpureSeesEachKind(t *testing.T) {
	for _, src := range []string{
		"func f(x int) int { return int(float64(x)) }",
		"var x float32",
		"var x = 1.5",
		"var x = 1e3",
		"var x = 1i",
		"import \"time\"",
		"import \"math\"",
		"import \"strconv\"\nvar _, _ = strconv.ParseFloat(\"1\", 64)",
		"func f() { go f() }",
	} {
		if len(impure(t, "x.go", []byte("package x\n"+src))) == 0 {
			t.Errorf("not seen: %s", src)
		}
	}
	if f := impure(t, "x.go", []byte("package x\nvar x = 15")); len(f) != 0 {
		t.Errorf("false alarm: %v", f)
	}
}
