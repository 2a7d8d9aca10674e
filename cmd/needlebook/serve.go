package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"needlebook/internal/auth"
	"needlebook/internal/server"
)

const serveLong = `
Runs the server until it is interrupted. The first start makes the organisation,
its first clinic, and a one-time link by which the first administrator comes in.

  needlebook serve --organisation "Island Clinics" --clinic "Harbour"
  needlebook serve --listen 0.0.0.0:8740 --host needlebook.local
  needlebook serve --listen 0.0.0.0:443 --tls-cert chain.pem --tls-key key.pem

On other addresses than loopback it speaks TLS: with the certificate given, or
with one of an authority of its own, whose certificate each tablet is told to
trust. docs/operating.md is the manual.`

// runServe runs the server.
func runServe(ctx context.Context, e env, args []string) error {
	cfg := server.Default()
	cfg.Now = e.now
	flags := serveFlags(&cfg)
	quiet := flags.Bool("quiet", false, "write no line for each call")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	level := slog.LevelInfo
	if *quiet {
		level = slog.LevelWarn
	}
	cfg.Log = slog.New(slog.NewJSONHandler(e.stderr, &slog.HandlerOptions{Level: level}))
	cfg.Ask = func() (string, string, error) { return askNames(e) }
	s, err := server.Open(ctx, cfg)
	var wrong *server.ConfigError
	switch {
	case errors.As(err, &wrong):
		return usageOf("serve", wrong)
	case errors.Is(err, server.ErrNoName):
		return usagef("serve: --organisation is empty, want the name of the organisation at the first start")
	case err != nil:
		return err
	}
	if err := printServing(e, s); err != nil {
		return errors.Join(err, s.Close())
	}
	return s.Serve(ctx)
}

func serveFlags(cfg *server.Config) *flag.FlagSet {
	flags := newFlags("serve")
	flags.StringVar(&cfg.Data, "data", cfg.Data, "`folder` that holds everything")
	flags.StringVar(&cfg.Listen, "listen", cfg.Listen, "`address` to listen on; port 0 takes a free one")
	flags.StringVar(&cfg.PublicURL, "public-url", "", "`address` by which tablets reach the server")
	flags.Func("host", "`name` or address for the certificate; may be repeated", func(h string) error {
		cfg.Hosts = append(cfg.Hosts, h)
		return nil
	})
	flags.StringVar(&cfg.CertFile, "tls-cert", "", "PEM `file` with a certificate chain")
	flags.StringVar(&cfg.KeyFile, "tls-key", "", "PEM `file` with its key")
	flags.BoolVar(&cfg.Authority, "tls-authority", false, "use a certificate authority of its own")
	flags.BoolVar(&cfg.InsecureHTTP, "insecure-http", false, "plain HTTP beyond loopback, behind a proxy")
	flags.StringVar(&cfg.MetricsListen, "metrics-listen", "", "private `address` for health and metrics")
	flags.BoolVar(&cfg.Docs, "docs", true, "show the calls at /docs and /openapi.json")
	flags.StringVar(&cfg.Organisation, "organisation", "", "`name` of the organisation, first start")
	flags.StringVar(&cfg.Clinic, "clinic", "", "`name` of its first clinic, first start")
	flags.StringVar(&cfg.Administrator, "administrator", cfg.Administrator, "`name` of the first administrator")
	flags.StringVar(&cfg.Backup.To, "backup-to", "", "`folder` for backups that the server makes by itself")
	flags.DurationVar(&cfg.Backup.Every, "backup-every", 24*time.Hour, "`time` between them")
	backupFlags(flags, &cfg.Backup, "backup-")
	flags.DurationVar(&cfg.StopWithin, "stop-within", cfg.StopWithin, "`time` for running calls to end at a stop")
	return flags
}

// askNames asks once, at the first start, when a person sits there.
func askNames(e env) (organisation, clinic string, err error) {
	if !isTerminal(e.stdin) {
		return "", "", server.ErrNoName
	}
	lines := bufio.NewScanner(e.stdin)
	ask := func(question string) string {
		fmt.Fprint(e.stdout, question)
		lines.Scan()
		return strings.TrimSpace(lines.Text())
	}
	organisation = ask("Name of the organisation: ")
	clinic = ask("Name of its first clinic: ")
	return organisation, clinic, lines.Err()
}

// isTerminal reports whether a person may sit there. The empty device is a character device too, and nobody's.
func isTerminal(in io.Reader) bool {
	f, ok := in.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return false
	}
	empty, err := os.Stat(os.DevNull)
	return err != nil || !os.SameFile(info, empty)
}

// printServing tells where the server is and how to come in.
func printServing(e env, s *server.Server) error {
	out := e.stdout
	if a := s.Authority(); a != nil {
		url := s.URL() + server.CertificatePath
		code, err := auth.SquareCode(url)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s\nTablets trust this server once they have the certificate from\n  %s\n", code, url)
		fmt.Fprintf(out, "Compare its SHA-256 fingerprint:\n  %s\n\n", a.Fingerprint())
	}
	if notice := s.Notice(); notice != "" {
		fmt.Fprintf(e.stderr, "needlebook: serve: %s\n", notice)
	}
	if link := s.Link(); link != "" {
		fmt.Fprintf(out, "first administrator, once, within %d hours:\n  %s\n", int(auth.InvitationLife.Hours()), link)
	}
	_, err := fmt.Fprintf(out, "serving at %s\n", s.URL())
	return err
}

func serveCommand() command {
	return command{name: "serve", short: "run the server", long: serveLong, usage: "[flags]", run: runServe}
}
