package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"needlebook/internal/device"
	"needlebook/internal/fault"
)

// The exit codes, as the package comment says. They never change.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
	exitHold   = 3
	exitAway   = 4
)

// errHold is returned by a command that answered in full and found a hold. The answer says which; nothing more is printed.
var errHold = errors.New("a hold is among the findings")

// usageError is wrong use of the command line.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

// usagef makes the error for wrong use: name the flag or the argument, then what was read, then what is wanted.
func usagef(format string, args ...any) error { return &usageError{fmt.Sprintf(format, args...)} }

// helpError says that help was asked for; it carries the flags to be listed.
type helpError struct{ flags *flag.FlagSet }

func (e *helpError) Error() string { return "help was asked for" }

func asHelp(err error) (*helpError, bool) {
	var help *helpError
	ok := errors.As(err, &help)
	return help, ok
}

// newFlags is an empty set of flags that prints nothing by itself.
func newFlags(name string) *flag.FlagSet {
	flags := flag.NewFlagSet(name, flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.Usage = func() {}
	return flags
}

// parseFlags parses args and refuses what is left over. A command that takes arguments calls parseFlagsAnd.
func parseFlags(flags *flag.FlagSet, args []string) error {
	rest, err := parseFlagsAnd(flags, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return usagef("%s: read %q, want flags only", flags.Name(), rest[0])
	}
	return nil
}

// parseFlagsAnd parses args and returns what is left after the flags.
func parseFlagsAnd(flags *flag.FlagSet, args []string) ([]string, error) {
	err := flags.Parse(args)
	if errors.Is(err, flag.ErrHelp) {
		return nil, &helpError{flags}
	}
	if err != nil {
		return nil, usagef("%s: %s", flags.Name(), err)
	}
	return flags.Args(), nil
}

// report prints an error, one line for each refusal that it carries, and returns the exit code.
func report(e env, err error) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, errHold) {
		return exitHold
	}
	lines := []string{err.Error()}
	if refused := fault.All(err); len(refused) > 0 {
		lines = lines[:0]
		for _, r := range refused {
			lines = append(lines, r.Error())
		}
	}
	for _, line := range lines {
		fmt.Fprintf(e.stderr, "needlebook: %s\n", strings.ReplaceAll(line, "\n", " "))
	}
	return exitCode(err)
}

func exitCode(err error) int {
	var usage *usageError
	var away *device.AwayError
	switch {
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &away):
		return exitAway
	}
	if refused := fault.Of(err); refused != nil {
		if entry, ok := fault.Lookup(refused.Reason); ok && entry.Class == fault.InvalidArgument {
			return exitUsage
		}
	}
	return exitFailed
}
