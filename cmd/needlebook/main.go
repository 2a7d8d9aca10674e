// Command needlebook is the one binary of Needlebook: the server, its store's tools, the dose calculator of the command line.
//
// Every command is a row of the table in commands.go and a file of its own. Commands get all that they touch of the process in an env, so that tests
// call run in process. What a command prints for programs (--json) goes to standard output and is stable; texts for people may change. They keep to 80
// columns, or to the fewer of the environment's COLUMNS, such as 44 on a phone.
//
// Exit codes, stable:
//
//	0  done
//	1  failed: the machine, the network or the store; or what was asked cannot be done
//	2  used wrongly: an unknown command or flag, or a value that cannot be read; the error names the field and what was read
//	3  done and answered, and a hold is among the findings, or the server held an edit back
//	4  the server does not answer; what was charted is safe on this replica
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run is the program: args without its name, an exit code back. An interrupt ends the command's context.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return dispatch(ctx, env{stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now, getenv: os.Getenv}, commands(), args)
}

// env is what a command touches of its process.
type env struct {
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer
	// now is the machine's clock.
	now func() time.Time
	// getenv reads a variable of the environment; empty when it is not set.
	getenv func(string) string
}
