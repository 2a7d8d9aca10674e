package main

import (
	"context"
	"fmt"

	"needlebook/internal/server"
)

const importHelp = `
Makes a new folder of an export of everything, never over one that exists, and
proves it: each file has its hash, every record the digest that the export
states, and all that verify proves. Then start the server on it.

  needlebook import --from /mnt/move/harbour --dir needlebook-data-2
  needlebook serve --data needlebook-data-2`

func importCommand() command {
	return command{name: "import", short: "make a new folder of an export of everything", long: importHelp, usage: "--from DIR --dir NEWDIR [flags]", run: runImport}
}

func runImport(ctx context.Context, e env, args []string) error {
	flags := newFlags("import")
	from := flags.String("from", "", "`folder` of an export of everything")
	to := flags.String("dir", "", "`folder` to make")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	for name, value := range map[string]string{"from": *from, "dir": *to} {
		if value == "" {
			return usagef("import: --%s is empty", name)
		}
	}
	if err := absolute(to); err != nil {
		return err
	}
	r, err := server.Import(ctx, *from, *to, e.now)
	if err != nil {
		return usageOf("import", err)
	}
	if *asJSON {
		return printValue(e.stdout, r)
	}
	printReport(e.stdout, r.Report)
	_, err = fmt.Fprintf(e.stdout, "imported to %s: %d records with the digests stated, edits up to sequence %d\n", *to, r.Manifest.Records, r.Manifest.Sequence)
	return err
}
