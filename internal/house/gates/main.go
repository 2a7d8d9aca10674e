// Command gates runs every check that a change must pass, and is what CI runs after the tests:
//
//	go run ./internal/house/gates                 all of them
//	go run ./internal/house/gates -list           their names
//	go run ./internal/house/gates -only buf-lint,words
//	go run ./internal/house/gates -vuln           also look for known vulnerabilities, which needs a network
//
// It never changes the tree, but for building the pinned tools of internal/tools into .bin. Every gate runs even when an earlier one is red; the
// command ends with 1 when any is. A gate that cannot run says so on a line with SKIP; where CI=true is set, a skip for want of a tool is red.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"needlebook/internal/house"
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// A gate is one check. Its error is what to mend, or a skip.
type gate struct {
	name string
	run  func(*checkout) error
}

// checkout is the tree that gates look at.
type checkout struct {
	root string
	// ci is true where nothing may be missing.
	ci bool
	// base is a git revision that the schema must stay compatible with, or empty for the one that schemaBase finds.
	base string
	// out takes what a gate says when it is green.
	out io.Writer
}

// skip is the reason for which a gate had nothing to do.
type skip string

func (s skip) Error() string { return string(s) }

// missing is a skip for want of a tool, which CI does not accept.
type missing string

func (m missing) Error() string { return string(m) }

func run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("gates", flag.ContinueOnError)
	flags.SetOutput(stderr)
	only := flags.String("only", "", "run only the gates of these names, separated by commas")
	list := flags.Bool("list", false, "print the names and stop")
	vuln := flags.Bool("vuln", false, "also run govulncheck, which fetches its database from the network or from GOVULNDB")
	base := flags.String("base", "", "git revision that the schema must stay compatible with")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	dir, err := os.Getwd()
	if err == nil {
		dir, err = house.Root(dir)
	}
	if err != nil {
		fmt.Fprintln(stderr, "gates:", err)
		return 2
	}
	chosen, err := choose(all(*vuln), *only)
	if err != nil {
		fmt.Fprintln(stderr, "gates:", err)
		return 2
	}
	if *list {
		for _, g := range chosen {
			fmt.Fprintln(stdout, g.name)
		}
		return 0
	}
	return runAll(chosen, &checkout{root: dir, ci: os.Getenv("CI") == "true", base: *base, out: stdout})
}

// choose keeps the gates named in only, or all when it is empty.
func choose(gates []gate, only string) ([]gate, error) {
	if only == "" {
		return gates, nil
	}
	var chosen []gate
	for name := range strings.SplitSeq(only, ",") {
		i := slices.IndexFunc(gates, func(g gate) bool { return g.name == name })
		if i < 0 {
			return nil, fmt.Errorf("no gate is called %q; -list prints the names", name)
		}
		chosen = append(chosen, gates[i])
	}
	return chosen, nil
}

// runAll runs every gate, prints a line for each, and returns the exit code.
func runAll(gates []gate, c *checkout) int {
	var red []string
	for _, g := range gates {
		start := time.Now()
		err := g.run(c)
		verdict := judge(err, c.ci)
		if verdict == "FAIL" {
			red = append(red, g.name)
		}
		fmt.Fprintf(c.out, "%-4s %-14s %6.1fs\n", verdict, g.name, time.Since(start).Seconds())
		if err != nil {
			fmt.Fprintln(c.out, indent(err.Error()))
		}
	}
	if len(red) > 0 {
		fmt.Fprintf(c.out, "gates: %d of %d red: %s\n", len(red), len(gates), strings.Join(red, " "))
		return 1
	}
	fmt.Fprintf(c.out, "gates: %d, none red\n", len(gates))
	return 0
}

func judge(err error, ci bool) string {
	var nothing skip
	var tool missing
	switch {
	case err == nil:
		return "ok"
	case errors.As(err, &nothing), errors.As(err, &tool) && !ci:
		return "SKIP"
	default:
		return "FAIL"
	}
}

// shown is how many lines of a gate's output are printed; the first ones tell what is wrong.
const shown = 60

func indent(text string) string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	if len(lines) > shown {
		lines = append(lines[:shown], fmt.Sprintf("... %d more lines", len(lines)-shown))
	}
	return "     " + strings.Join(lines, "\n     ")
}
