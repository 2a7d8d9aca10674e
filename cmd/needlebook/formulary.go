package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

// formularyCommands are the commands of editions, which need no server.
func formularyCommands() []command {
	return []command{
		{name: "show", usage: "[flags]", short: "print an edition: each figure with its source", long: formularyShowHelp, run: runFormularyShow},
		{name: "diff", usage: "[flags] A B", short: "print the figures that differ between two editions", long: formularyDiffHelp, run: runFormularyDiff},
		{name: "check", usage: "[flags] FILE", short: "name every problem of a clinic's own edition", long: formularyCheckHelp, run: runFormularyCheck},
		{name: "publish", usage: "[flags] FILE", short: "make an edition immutable and name it by its hash", long: formularyPublishHelp, run: runFormularyPublish},
	}
}

// builtinName is how the edition that is shipped is named where a file may stand.
const builtinName = "builtin"

// mostBases bounds how many editions stand between one and the one that is shipped, so that a ring of files ends.
const mostBases = 16

// clinicEdition is a clinic's edition as a file or a folder has it, and the edition that it derives from.
type clinicEdition struct {
	base    *formulary.Edition
	derived *formularyv1.FormularyEdition
}

// readEdition reads an edition and lays it over its base: a file, a folder of tables, or "builtin" for the one that is shipped.
func readEdition(path, basePath string) (*formulary.Edition, error) {
	if path == builtinName || path == "" {
		return formulary.Builtin()
	}
	c, err := readClinicEdition(path, basePath)
	if err != nil {
		return nil, err
	}
	e, err := formulary.Derive(c.base, c.derived)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return e, nil
}

// readClinicEdition reads an edition from a file of JSON or a folder of tables. Its base is the one of basePath, else the one that it names, which is the
// edition that is shipped or VERSION.json in the same folder, else the one that is shipped.
func readClinicEdition(path, basePath string) (clinicEdition, error) {
	return readChain(path, basePath, mostBases)
}

func readChain(path, basePath string, left int) (clinicEdition, error) {
	if left == 0 {
		return clinicEdition{}, fmt.Errorf("%s: more than %d editions stand between it and the one that is shipped", path, mostBases)
	}
	info, err := os.Stat(path)
	if err != nil {
		return clinicEdition{}, notThere(err)
	}
	if info.IsDir() {
		base, err := formulary.Builtin()
		if basePath != "" && err == nil {
			base, err = readBase(basePath, left)
		}
		if err != nil {
			return clinicEdition{}, err
		}
		derived, err := readFolder(base, path)
		return clinicEdition{base, derived}, err
	}
	derived, err := readEditionFile(path)
	if err != nil {
		return clinicEdition{}, err
	}
	if named := derived.GetBase().GetVersion(); basePath == "" && named != "" && named != formulary.BuiltinVersion {
		basePath = filepath.Join(filepath.Dir(path), filepath.Base(named)+".json")
	}
	base, err := readBase(basePath, left)
	if errors.Is(err, errNoEdition) {
		return clinicEdition{}, fmt.Errorf("%s: derives from %q: %w; give it with -base", path, derived.GetBase().GetVersion(), err)
	}
	return clinicEdition{base, derived}, err
}

func readBase(path string, left int) (*formulary.Edition, error) {
	if path == "" || path == builtinName {
		return formulary.Builtin()
	}
	c, err := readChain(path, "", left-1)
	if err != nil {
		return nil, err
	}
	e, err := formulary.Derive(c.base, c.derived)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return e, nil
}

// errNoEdition is that a file or a folder is not there.
var errNoEdition = errors.New("no such file or folder")

func notThere(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) && errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: %w", path.Path, errNoEdition)
	}
	return err
}

// readEditionFile reads a FormularyEdition as JSON, with the names of the schema.
func readEditionFile(path string) (*formularyv1.FormularyEdition, error) {
	data, err := readBounded(path)
	if err != nil {
		return nil, err
	}
	m := &formularyv1.FormularyEdition{}
	if err := reckon.UnmarshalJSON(data, m); err != nil {
		return nil, err
	}
	return formulary.FillIDs(m), nil
}

// readFolder reads the tables of a folder: every file whose name ends in .csv.
func readFolder(base *formulary.Edition, dir string) (*formularyv1.FormularyEdition, error) {
	paths, err := filepath.Glob(filepath.Join(escapeGlob(dir), "*.csv"))
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", dir, err)
	}
	if len(paths) == 0 {
		return nil, fmt.Errorf("%s: no tables (files that end in .csv)", dir)
	}
	tables := make(map[string][]byte, len(paths))
	for _, path := range paths {
		if tables[strings.TrimSuffix(filepath.Base(path), ".csv")], err = readBounded(path); err != nil {
			return nil, err
		}
	}
	derived, err := formulary.ReadTables(base, tables)
	if err != nil {
		return nil, &tablesError{err}
	}
	return derived, nil
}

func escapeGlob(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}

func readBounded(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, notThere(err)
	}
	if info.Size() > mostRequestBytes {
		return nil, usagef("%s: read more than %d bytes, want one edition", path, mostRequestBytes)
	}
	return os.ReadFile(path)
}

// tablesError is that cells of a folder's tables cannot be read: all of them, one a line.
type tablesError struct{ err error }

func (e *tablesError) Error() string { return e.err.Error() }

func (e *tablesError) Unwrap() error { return e.err }

// lines are the faults one by one.
func (e *tablesError) lines() []string { return strings.Split(e.err.Error(), "\n") }

// asUsage turns what cannot be read into wrong use: one line for each fault is printed, and the exit code is 2.
func asUsage(e env, err error) error {
	var tables *tablesError
	if !errors.As(err, &tables) {
		return err
	}
	lines := tables.lines()
	for _, line := range lines[:len(lines)-1] {
		fmt.Fprintf(e.stderr, "needlebook: %s\n", line)
	}
	return usagef("%s", lines[len(lines)-1])
}

// howText says how a figure was come by and in what it was read.
func howText(p *formularyv1.Provenance) string {
	text := formulary.ObtainedText(p.GetObtained())
	if len(p.GetSources()) > 0 {
		text += ": " + strings.Join(p.GetSources(), ", ")
	}
	for _, more := range []string{p.GetSection(), p.GetRemark()} {
		if more != "" {
			text += "; " + more
		}
	}
	return text
}

// editionFoot prints the caution and which edition it is.
func (p *page) editionFoot(e *formulary.Edition) {
	p.line("")
	p.wrapped("", "The licensed prescriber decides, and local rules come first. Units of one product are not units of another.")
	p.wrapped("", "Formulary "+e.Version()+", SHA-256")
	p.line("  " + e.Hash())
}
