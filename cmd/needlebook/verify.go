package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"needlebook/internal/audit"
	"needlebook/internal/server"
)

const verifyLong = `
Proves what a server holds: the file's pages and checksums; that every record is
what its edits fold to; the chains of edits and who signed them; the audit logs;
every photo. A server that runs proves a copy of itself and goes on meanwhile.

  needlebook verify
  needlebook verify --heads heads.txt

The audit heads that it prints are to be kept on another machine; given with
--heads later, they prove that no log was cut off or written anew.`

func verifyCommand() command {
	return command{name: "verify", short: "prove what a server holds", long: verifyLong, usage: "[flags]", run: runVerify}
}

func runVerify(ctx context.Context, e env, args []string) error {
	flags := newFlags("verify")
	data := flags.String("data", server.Default().Data, "`folder` of the server")
	headsFile := flags.String("heads", "", "`file` of audit heads that were kept, one a line; the server must not run")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	heads, err := readHeads(*headsFile)
	if err != nil {
		return err
	}
	if _, err := server.OpenConsole(*data); err == nil && len(heads) > 0 {
		return fmt.Errorf("verify: heads: a server runs on %s; stop it first", *data)
	}
	r, err := verify(ctx, e, *data, heads)
	if *asJSON && err == nil {
		return printValue(e.stdout, r)
	}
	printReport(e.stdout, r)
	if err != nil {
		fmt.Fprintln(e.stdout, "NOT VERIFIED")
		return err
	}
	_, err = fmt.Fprintln(e.stdout, "verified")
	return err
}

func verify(ctx context.Context, e env, data string, heads []audit.Head) (server.Report, error) {
	console, err := server.OpenConsole(data)
	if errors.Is(err, server.ErrNoServer) {
		r, err := server.VerifyFolder(ctx, data, e.now, heads...)
		return r, lockedHint(err)
	}
	return console.Verify(ctx)
}

func readHeads(path string) (heads []audit.Head, err error) {
	if path == "" {
		return nil, nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read heads: %w", err)
	}
	for line := range strings.Lines(string(b)) {
		h, err := audit.ParseHead(strings.TrimSpace(line))
		if err != nil {
			return nil, usagef("verify: heads: read %q in %s, want lines as verify prints them", strings.TrimSpace(line), path)
		}
		heads = append(heads, h)
	}
	if len(heads) == 0 { // nothing would be held against it, and the answer would be that all is well
		return nil, usagef("verify: heads: read no head in %s, want lines as verify prints them", path)
	}
	return heads, nil
}

func printReport(w io.Writer, r server.Report) {
	fmt.Fprintf(w, "%8d events in the log\n%8d records folded anew\n%8d held edits\n%8d signed pages\n", r.Events, r.Records, r.Held, r.Pages)
	fmt.Fprintf(w, "%8d audit entries of %d organisations\n%8d photos, %d bytes\n", r.AuditEntries, r.Organisations, r.Photos, r.PhotoBytes)
	for _, line := range r.HeadLines {
		fmt.Fprintln(w, line)
	}
}
