package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"runtime/debug"
	"slices"
	"strings"
)

// command is a row of the table: what it is called, one line of help, the rest of the help with examples, and what it does. A group has subcommands
// in place of run.
type command struct {
	name  string
	short string
	// long is shown by -h after the usage line: what it does and examples, no flags, each line at most 80 columns.
	long string
	// usage is what may follow the name, such as "[flags] FILE".
	usage string
	run   func(ctx context.Context, e env, args []string) error
	sub   []command
	// under is the heading that help lists it below; empty where a list has none.
	under string
}

// commands is the table, in the order in which help shows it.
func commands() []command {
	return slices.Concat(
		under("For the clinic, on a tablet without a screen",
			replicaCommand(), visitCommand(), vialCommand(), orderCommand(), calendarCommand()),
		under("For the clinic, at the server",
			accessCommand(), clinicCommand(), traceCommand(), exportCommand(), importCSVCommand()),
		under("For who runs the server",
			serveCommand(), adminCommand(), backupCommand(), restoreCommand(), verifyCommand(), importCommand()),
		under("Reckoning, with no server and no patient",
			command{name: "dose", short: "reckon doses, volumes and plunger marks", sub: doseCommands()},
			command{name: "formulary", short: "show, compare, check and publish editions of the formulary", sub: formularyCommands()}),
		under("To look at",
			demoCommand(), command{name: "version", short: "print the version", run: runVersion}),
	)
}

// under puts commands below a heading.
func under(heading string, list ...command) []command {
	for i := range list {
		list[i].under = heading
	}
	return list
}

// dispatch finds the command that args name, runs it and turns its error into an exit code.
func dispatch(ctx context.Context, e env, table []command, args []string) int {
	e.stdout = onScreen(e.stdout, e.getenv)
	group := command{name: "needlebook", sub: table}
	path := []string{"needlebook"}
	asked := false
	if len(args) > 0 && args[0] == "help" {
		asked, args = true, args[1:]
	}
	for len(group.sub) > 0 {
		if len(args) == 0 || isHelp(args[0]) {
			return showGroup(e, group, path, asked || len(args) > 0)
		}
		next, ok := find(group.sub, args[0])
		if !ok {
			return report(e, usagef("%s: read %q, want one of %s", strings.Join(path, " "), args[0], names(group.sub)))
		}
		group, path, args = next, append(path, args[0]), args[1:]
	}
	if asked {
		args = []string{"-h"}
	}
	err := group.run(ctx, e, args)
	if help, ok := asHelp(err); ok {
		showCommand(e.stdout, group, path, help)
		return exitDone
	}
	return report(e, err)
}

func find(table []command, name string) (command, bool) {
	for _, c := range table {
		if c.name == name {
			return c, true
		}
	}
	return command{}, false
}

func names(table []command) string {
	all := make([]string, len(table))
	for i, c := range table {
		all[i] = c.name
	}
	return strings.Join(all, ", ")
}

func isHelp(arg string) bool { return arg == "-h" || arg == "-help" || arg == "--help" }

// showGroup lists subcommands: on standard output when it was asked for, else on standard error as wrong use.
func showGroup(e env, group command, path []string, asked bool) int {
	w, code := e.stderr, exitUsage
	if asked {
		w, code = e.stdout, exitDone
	}
	var p page
	p.line("Usage: " + strings.Join(path, " ") + " COMMAND [flags]")
	p.commands(group.sub)
	p.line("")
	p.wrapped("", strings.Join(path, " ")+" COMMAND -h says more of one.")
	p.wrapped("", "Exit codes: 0 done, 1 failed, 2 used wrongly, 3 done with a hold, 4 server away.")
	if p.write(w) != nil {
		return exitFailed
	}
	return code
}

// commands lists names with what they do, aligned, below their headings.
func (p *page) commands(list []command) {
	longest := 0
	for _, c := range list {
		longest = max(longest, len(c.name))
	}
	heading := ""
	for i, c := range list {
		if i == 0 || c.under != heading {
			heading = c.under
			p.line("")
			p.wrapped("", cmp.Or(heading, "Commands")+":")
		}
		first := "  " + pad(c.name, longest) + "  "
		p.broken(first, strings.Repeat(" ", len(first)), c.short)
	}
}

// showCommand prints one command's help: usage, text, flags.
func showCommand(w io.Writer, c command, path []string, help *helpError) {
	fmt.Fprintf(w, "Usage: %s\n\n%s\n", strings.TrimRight(strings.Join(path, " ")+" "+c.usage, " "), upperFirst(c.short)+".")
	if c.long != "" {
		fmt.Fprintf(w, "\n%s\n", strings.Trim(c.long, "\n"))
	}
	if help.flags == nil {
		return
	}
	fmt.Fprint(w, "\nFlags:\n")
	help.flags.SetOutput(w)
	help.flags.PrintDefaults()
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func runVersion(_ context.Context, e env, args []string) error {
	flags := newFlags("version")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	_, err := fmt.Fprintln(e.stdout, "needlebook", version())
	return err
}

// version is the version of the module that was built, "(devel)" for a build from a working tree.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "(devel)"
	}
	return info.Main.Version
}
