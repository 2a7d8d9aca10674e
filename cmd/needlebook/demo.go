package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"net/url"
	"time"

	"needlebook/internal/auth"
	"needlebook/internal/demo"
)

const demoLong = `
Makes an invented organisation of three clinics with years of records, plays a
day on three tablets without signal, syncs them, and tells the day. The server
then runs on, with sign-ins and things to try, until Ctrl-C.

  needlebook demo
  needlebook demo --seed 7 --exit
  needlebook demo --dir demo-data --listen 127.0.0.1:8740

The same seed tells the same day; only the line of times differs. With --exit
the code is 0 when every claim of the story held, else 1. A demo's passwords are
printed and its keys come from the seed: put nobody's real data into it.`

func demoCommand() command {
	return command{name: "demo", short: "play a day in an invented organisation, and leave its server running", long: demoLong, usage: "[flags]", run: runDemo}
}

// runDemo plays the day and leaves the server running.
func runDemo(ctx context.Context, e env, args []string) error {
	c := demo.Config{Out: e.stdout}
	flags := newFlags("demo")
	flags.Uint64Var(&c.Seed, "seed", 1, "`number` that everything invented comes from")
	flags.StringVar(&c.Dir, "dir", "", "new `folder` for the server's data; a temporary one without it")
	flags.StringVar(&c.Listen, "listen", "127.0.0.1:0", "loopback `address`; port 0 takes a free one")
	flags.IntVar(&c.Patients, "patients", demo.UsualPatients, "`number` of patients")
	flags.BoolVar(&c.NoTimes, "no-times", false, "leave out the line of times")
	exit := flags.Bool("exit", false, "end when the day is told")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	if c.Patients < demo.FewestPatients {
		return usagef("demo: --patients: read %q, want %d or more", fmt.Sprint(c.Patients), demo.FewestPatients)
	}
	if !isLoopback(c.Listen) {
		return usagef("demo: --listen: read %q, want host:port of this machine alone, such as 127.0.0.1:8740", c.Listen)
	}
	d, err := demo.Play(ctx, c)
	if d == nil {
		return err
	}
	if *exit || err != nil {
		return errors.Join(err, d.Close())
	}
	if err := printDemo(ctx, e, d); err != nil {
		return errors.Join(err, d.Close())
	}
	renew := time.NewTicker(auth.CodeLife - time.Minute)
	defer renew.Stop()
	ctx, cancel := context.WithCancel(ctx)
	renewed := make(chan error, 1)
	go func() { renewed <- renewCodes(ctx, e, d, renew.C); cancel() }()
	err = d.Wait(ctx)
	cancel()
	return errors.Join(err, <-renewed)
}

// renewCodes prints a new code for a tablet whenever the last one is about to end, so that whoever reads the screen finds one that works.
func renewCodes(ctx context.Context, e env, d *demo.Demo, due <-chan time.Time) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-due:
			if err := printTabletCode(ctx, e, d); err != nil && ctx.Err() == nil {
				return err
			}
		}
	}
}

// isLoopback reports whether a host:port is of this machine alone.
func isLoopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

// localhost is a server's address by the name that browsers trust as they trust https.
func localhost(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	u.Host = net.JoinHostPort("localhost", u.Port())
	return u.String()
}

// printTabletCode makes a code for a tablet and prints the address that carries it.
func printTabletCode(ctx context.Context, e env, d *demo.Demo) error {
	code, err := d.TabletCode(ctx)
	if err != nil {
		return err
	}
	until := e.now().Add(auth.CodeLife).Format("15:04")
	_, err = fmt.Fprintf(e.stdout, "\n  %s/#enrol=%s   (until %s)\n", localhost(d.URL()), code, until)
	return err
}

// printDemo tells how to try a tablet, who may sign in, and what the command line does.
func printDemo(ctx context.Context, e env, d *demo.Demo) error {
	day, err := d.Today(ctx)
	if err != nil {
		return err
	}
	out := e.stdout
	fmt.Fprintf(out, "\nThe server runs on at %s until Ctrl-C.\nTry a tablet: open in a browser on this machine\n", d.URL())
	if err := printTabletCode(ctx, e, d); err != nil {
		return err
	}
	fmt.Fprintf(out, "\n(or without #enrol=, and type the code; a new one is printed before it ends).\n")
	fmt.Fprintf(out, "Enrol, then sign in as %s; the password of all is\n  %s\n\n", day.SignIn, demo.Password)
	say := func(format string, args ...any) { fmt.Fprintf(out, "  "+format+"\n", args...) }
	say("%s%d patients, %d unopened vials", pad("today", 10), day.Booked, day.Vials)
	say("%s%s, treated two weeks ago", pad("review", 10), day.Review)
	say("%s%s", pad("alert", 10), day.Alert)
	say("%s%s: two tablets wrote down two telephone numbers", pad("conflict", 10), day.Conflict)
	say("%s%s, of another clinic, is not booked: find the name", pad("walk-in", 10), day.WalkIn)
	fmt.Fprintf(out, "\nAll sign-ins:\n\n")
	for _, a := range d.Accounts() {
		say("%s%s%s%s", pad(a.SignIn, 10), pad(a.Name, 17), pad(a.Roles, 24), a.Clinic)
	}
	return printCommands(ctx, out, d)
}

// printCommands tells what the command line and curl do with the server.
func printCommands(ctx context.Context, out io.Writer, d *demo.Demo) error {
	code, err := d.Code(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "\nIn another terminal, in this folder, a replica of your own (its code is good for\n%d minutes),\n\n", int(auth.CodeLife.Minutes()))
	fmt.Fprintf(out, "  go build ./cmd/needlebook && echo '%s' >password\n", demo.Password)
	fmt.Fprintf(out, "  ./needlebook replica init --dir mine --server %s \\\n    --code %s\n", d.URL(), code)
	fmt.Fprintf(out, "  ./needlebook replica sign-in --dir mine --name ines --password-file password\n")
	fmt.Fprintf(out, "  ./needlebook replica sync --dir mine\n\nor the server's own calls as JSON:\n\n")
	fmt.Fprintf(out, "  U=%s; J='Content-Type: application/json'\n", d.URL())
	fmt.Fprintf(out, "  T=$(curl -s -H \"$J\" $U/needlebook.access.v1.AccessService/SignIn \\\n")
	fmt.Fprintf(out, "    -d '{\"sign_in_name\":\"ines\",\"password\":\"%s\"}' |\n", demo.Password)
	fmt.Fprintf(out, "    sed 's/.*\"access_token\": *\"\\([^\"]*\\)\".*/\\1/')\n")
	fmt.Fprintf(out, "  curl -s -H \"$J\" -H \"Authorization: Bearer $T\" \\\n")
	_, err = fmt.Fprintf(out, "    $U/needlebook.chart.v1.ChartService/SearchPatients -d '{\"text\":\"%s\"}'\n", d.SharedPatient())
	return err
}
