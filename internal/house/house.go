// Package house holds the rules of this repository that a compiler does not check: which package may import which, what a pure package may reach,
// words that do not belong in the tree, sizes, and integers on every path that ends in a dose.
//
// Each check takes the root of a tree and returns what it found, so that a test can run it on a tree with planted faults. The tests of this
// package run the checks on the repository itself, and `go run ./internal/house/gates` runs them together with every other gate.
//
// The checks read files in this process instead of asking the go command. Go caches a test's result and drops it only when a file that the test
// itself opened has changed; a check that asks `go list` stays green from the cache after the fault is in.
package house

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Fault is one place where the tree breaks a rule.
type Fault struct {
	// Path is the file or folder, with slashes, relative to the root.
	Path string
	// Line counts from 1; 0 when the fault is the whole file's.
	Line int
	// Text says which rule, and what was read.
	Text string
}

// String gives the form that editors jump to: path:line: text.
func (f Fault) String() string {
	if f.Line == 0 {
		return fmt.Sprintf("%s: %s", f.Path, f.Text)
	}
	return fmt.Sprintf("%s:%d: %s", f.Path, f.Line, f.Text)
}

// Root returns the folder of the main module that holds dir, the nearest one above with both go.mod and proto. The module of pinned tools has no
// proto.
func Root(dir string) (string, error) {
	for at := filepath.Clean(dir); ; at = filepath.Dir(at) {
		if exists(filepath.Join(at, "go.mod")) && exists(filepath.Join(at, "proto")) {
			return at, nil
		}
		if at == filepath.Dir(at) {
			return "", fmt.Errorf("find the module's root above %s: no folder with go.mod and proto", dir)
		}
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// skipped are folders that hold nothing written by hand for this module. A folder whose name starts with a dot is skipped too, except .ci.
func skipped(path string) bool {
	base := filepath.Base(path)
	if base == ".ci" {
		return false
	}
	return strings.HasPrefix(base, ".") || base == "node_modules" || slices.Contains([]string{"gen", "data", "proto/buf", "proto/google", "internal/tools"}, path)
}

// Files lists the files of the tree under root that people write, sorted, with slashes, relative to root.
func Files(root string) ([]string, error) {
	var files []string
	err := fs.WalkDir(os.DirFS(root), ".", func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case entry.IsDir() && path != "." && skipped(path):
			return fs.SkipDir
		case entry.Type().IsRegular():
			files = append(files, path)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list the files of %s: %w", root, err)
	}
	return files, nil
}

// sources lists the Go files under root. Code in testdata is not part of the module.
func sources(root string) ([]string, error) {
	files, err := Files(root)
	return slices.DeleteFunc(files, func(path string) bool {
		return !strings.HasSuffix(path, ".go") || strings.Contains("/"+path, "/testdata/")
	}), err
}

func isTest(path string) bool { return strings.HasSuffix(path, "_test.go") }
