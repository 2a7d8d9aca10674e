package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"needlebook/internal/server"
	"needlebook/internal/store/boltstore"
)

const backupLong = `
Writes one encrypted file that holds everything: the store, the photos, the keys
of the clinic's certificate authority. A server that runs makes it itself and
goes on meanwhile; without one the command does. The newest ones are kept.

  needlebook backup --to /mnt/second/needlebook --recipient age1...
  needlebook backup --to /mnt/second/needlebook --passphrase-file secret.txt

Keep the identity or the passphrase away from this machine: without it no backup
can be opened.`

func backupCommand() command {
	return command{name: "backup", short: "write an encrypted backup", long: backupLong, usage: "--to DIR [flags]", run: runBackup}
}

// backupFlags are the flags of where backups go and for whom they are locked, with a prefix.
func backupFlags(flags *flag.FlagSet, c *server.BackupConfig, prefix string) {
	flags.Func(prefix+"recipient", "age `recipient` who can open it; may be repeated", func(r string) error {
		c.Recipients = append(c.Recipients, r)
		return nil
	})
	flags.StringVar(&c.PassphraseFile, prefix+"passphrase-file", "", "`file` whose first line opens it")
	flags.IntVar(&c.Keep, prefix+"keep", 14, "`how many` to keep, the newest")
}

func runBackup(ctx context.Context, e env, args []string) error {
	var c server.BackupConfig
	flags := newFlags("backup")
	data := flags.String("data", server.Default().Data, "`folder` of the server")
	flags.StringVar(&c.To, "to", "", "`folder` to write to")
	backupFlags(flags, &c, "")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	if c.To == "" {
		return usagef("backup: --to: read \"\", want a folder to write to")
	}
	if err := absolute(&c.To, &c.PassphraseFile); err != nil {
		return err
	}
	b, err := backUp(ctx, e, *data, c)
	if err != nil {
		return usageOf("backup", err)
	}
	if *asJSON {
		return printValue(e.stdout, b)
	}
	_, err = fmt.Fprintf(e.stdout, "%s\n%d files, %d bytes, edits up to sequence %d; %d older removed\n", b.Path, b.Files, b.Bytes, b.Sequence, len(b.Removed))
	return err
}

// backUp asks the server that runs, or does it itself when none does.
func backUp(ctx context.Context, e env, data string, c server.BackupConfig) (server.Backup, error) {
	console, err := server.OpenConsole(data)
	if err == nil {
		return console.BackUp(ctx, c)
	}
	b, err := server.BackUpFolder(ctx, data, c, e.now, nil)
	return b, lockedHint(err)
}

// lockedHint says what to do when a server runs whose console cannot be reached.
func lockedHint(err error) error {
	var locked *boltstore.LockedError
	if errors.As(err, &locked) {
		return fmt.Errorf("%w, and it cannot be asked through %s", err, "its admin.sock")
	}
	return err
}

// absolute makes paths absolute: the server that acts on them may run elsewhere.
func absolute(paths ...*string) error {
	for _, p := range paths {
		if *p == "" {
			continue
		}
		full, err := filepath.Abs(*p)
		if err != nil {
			return err
		}
		*p = full
	}
	return nil
}

// usageOf makes an error about a field wrong use of a command, and names its flags. The flags of a backup have a longer name where the server itself
// makes it.
func usageOf(command string, err error) error {
	var wrong *server.ConfigError
	if !errors.As(err, &wrong) {
		return err
	}
	var flags []string
	for name := range strings.SplitSeq(wrong.Field, " and ") {
		if command != "serve" {
			name = strings.TrimPrefix(name, "backup-")
		}
		flags = append(flags, "--"+name)
	}
	named := *wrong
	named.Field = strings.Join(flags, " and ")
	return usagef("%s: %s", command, &named)
}

func printValue(w io.Writer, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}
