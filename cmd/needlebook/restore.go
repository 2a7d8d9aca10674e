package main

import (
	"context"
	"fmt"

	"needlebook/internal/server"
)

const restoreLong = `
Opens a backup into a new folder, never over one that exists, proves everything
in it, and starts a new epoch: tablets that come back offer again what they made
after the backup. Then start the server on the new folder.

  needlebook restore --from FILE.age --to needlebook-data-2 --identity-file key
  needlebook serve --data needlebook-data-2`

func restoreCommand() command {
	return command{name: "restore", short: "open a backup into a new folder", long: restoreLong, usage: "--from FILE --to NEWDIR [flags]", run: runRestore}
}

func runRestore(ctx context.Context, e env, args []string) error {
	c := server.RestoreConfig{Now: e.now}
	flags := newFlags("restore")
	flags.StringVar(&c.From, "from", "", "`file` to restore")
	flags.StringVar(&c.To, "to", "", "`folder` to make")
	flags.StringVar(&c.IdentityFile, "identity-file", "", "`file` of age identities that open it")
	flags.StringVar(&c.PassphraseFile, "passphrase-file", "", "`file` whose first line opens it")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	for name, value := range map[string]string{"from": c.From, "to": c.To} {
		if value == "" {
			return usagef("restore: --%s is empty", name)
		}
	}
	if err := absolute(&c.To); err != nil {
		return err
	}
	r, err := server.Restore(ctx, c)
	if err != nil {
		return usageOf("restore", err)
	}
	if *asJSON {
		return printValue(e.stdout, r.Report)
	}
	printReport(e.stdout, r.Report)
	_, err = fmt.Fprintf(e.stdout, "restored to %s: edits up to sequence %d, in a new epoch\n", c.To, r.Manifest.Sequence)
	return err
}
