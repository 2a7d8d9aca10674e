package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"

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
	return d.Wait(ctx)
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

// printDemo tells where the server is, who may sign in, and what to try.
func printDemo(ctx context.Context, e env, d *demo.Demo) error {
	tabletCode, err := d.Code(ctx)
	if err != nil {
		return err
	}
	code, err := d.Code(ctx)
	if err != nil {
		return err
	}
	out := e.stdout
	fmt.Fprintf(out, "\nThe server runs on at %s until Ctrl-C.\n", d.URL())
	fmt.Fprintf(out, "Sign-ins, made for this demo alone; the password of all is\n  %s\n\n", demo.Password)
	for _, a := range d.Accounts() {
		fmt.Fprintf(out, "  %s%s%s%s\n", pad(a.SignIn, 10), pad(a.Name, 17), pad(a.Roles, 24), a.Clinic)
	}
	fmt.Fprintf(out, "\nTry a tablet in a browser on this machine: open\n\n  %s/#enrol=%s\n\n", localhost(d.URL()), tabletCode)
	fmt.Fprintf(out, "and sign in as ines. It goes on working when this program is stopped.\n")
	fmt.Fprintf(out, "\nTry, in another terminal, in this folder: a tablet of your own (the code is good for\n%d minutes),\n\n",
		int(auth.CodeLife.Minutes()))
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
