package house

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
)

// Sizes in lines. Above the first a file or function is named for its author to look at; above the limit the gate is red.
const (
	LargeFile     = 500
	FileLimit     = 900
	LargeFunction = 70
)

// CheckSizes returns what is large enough to look at, and the files above the limit. Only Go files count; generated ones do not.
func CheckSizes(root string) (large, over []Fault, err error) {
	files, err := sources(root)
	if err != nil {
		return nil, nil, err
	}
	for _, file := range files {
		source, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(file)))
		if err != nil {
			return nil, nil, fmt.Errorf("read %s: %w", file, err)
		}
		lines := bytes.Count(source, []byte("\n"))
		fault := Fault{Path: file, Text: fmt.Sprintf("%d lines; house style is 100 to 400, limit %d", lines, FileLimit)}
		switch {
		case lines > FileLimit:
			over = append(over, fault)
		case lines > LargeFile:
			large = append(large, fault)
		}
		if isTest(file) {
			continue
		}
		long, err := longFunctions(root, file)
		if err != nil {
			return nil, nil, err
		}
		large = append(large, long...)
	}
	return large, over, nil
}

func longFunctions(root, file string) ([]Fault, error) {
	fset := token.NewFileSet()
	syntax, err := parseFile(fset, root, file, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	for _, decl := range syntax.Decls {
		function, ok := decl.(*ast.FuncDecl)
		if !ok {
			continue
		}
		from, to := fset.Position(function.Pos()).Line, fset.Position(function.End()).Line
		if lines := to - from + 1; lines > LargeFunction {
			faults = append(faults, Fault{file, from, fmt.Sprintf("%s has %d lines; argue above %d", function.Name.Name, lines, LargeFunction)})
		}
	}
	return faults, nil
}

// exact are the packages on the path from what a person typed to a dose, a volume or a mark.
func exact(file string) bool {
	for _, dir := range []string{"internal/dose/", "internal/reckon/", "internal/formulary/"} {
		if strings.HasPrefix(file, dir) {
			return true
		}
	}
	return false
}

// CheckExact returns each floating-point type and number in the packages that reckon doses. A binary fraction cannot hold a tenth of a unit, and an
// error of one part in 10^16 decides which way a half is rounded.
func CheckExact(root string) ([]Fault, error) {
	files, err := sources(root)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	for _, file := range files {
		if !exact(file) || isTest(file) {
			continue
		}
		fset := token.NewFileSet()
		syntax, err := parseFile(fset, root, file, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		ast.Inspect(syntax, func(node ast.Node) bool {
			if what := inexact(node); what != "" {
				faults = append(faults, Fault{file, fset.Position(node.Pos()).Line, what + " on the path of a dose: use integers"})
			}
			return true
		})
	}
	return faults, nil
}

// inexact names the floating-point type or literal that node is, or nothing. Mentions in comments and strings are not nodes of these kinds.
func inexact(node ast.Node) string {
	switch n := node.(type) {
	case *ast.Ident:
		if n.Name == "float64" || n.Name == "float32" || n.Name == "complex128" {
			return n.Name
		}
	case *ast.BasicLit:
		if n.Kind == token.FLOAT {
			return n.Value
		}
	}
	return ""
}
