package main

import (
	"context"
	"errors"
	"fmt"

	"needlebook/internal/server"
)

const exportAllHelp = `
Writes everything that a server holds to a new folder, for a move: every record
with its history, the images, the audit log, the editions of the formulary, what
another Needlebook needs to go on, and FHIR R4 and tables for other systems.
docs/export-all.md says what each file is.

  needlebook export --all --out /mnt/move/harbour

It is in the clear and holds every record and key: keep it as you keep a
backup's identity, and remove it when the move is done. A server that runs
writes it itself and goes on meanwhile; without one the command does.`

func runExportAll(ctx context.Context, e env, args []string) error {
	flags := newFlags("export --all")
	data := flags.String("data", server.Default().Data, "`folder` of the server")
	var q server.ExportRequest
	flags.StringVar(&q.To, "out", "", "`folder` to make")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	if q.To == "" {
		return usagef("export --all: --out is empty")
	}
	if err := absolute(&q.To); err != nil {
		return err
	}
	x, err := exportAll(ctx, e, *data, q)
	if err != nil {
		return usageOf("export --all", err)
	}
	if *asJSON {
		return printValue(e.stdout, x)
	}
	_, err = fmt.Fprintf(e.stdout, "%s\n%d records, %d photos, %d files, %d bytes, edits up to sequence %d\n", x.To, x.Records, x.Photos, x.Files, x.Bytes, x.Sequence)
	return err
}

// exportAll asks the server that runs, or does it itself when none does.
func exportAll(ctx context.Context, e env, data string, q server.ExportRequest) (server.Exported, error) {
	console, err := server.OpenConsole(data)
	if errors.Is(err, server.ErrNoServer) {
		x, err := server.ExportFolder(ctx, data, q, e.now)
		return x, lockedHint(err)
	}
	if err != nil {
		return server.Exported{}, err
	}
	return console.Export(ctx, q)
}
