// Command tablet builds the tablet client into internal/tablet/dist, which is committed, so that running Needlebook needs Go alone:
//
//	go run ./internal/house/tablet              everything: the core as WebAssembly, the screens, the service worker
//	go run ./internal/house/tablet -screens     the screens alone, with the core that is in dist
//	go run ./internal/house/tablet -check       nothing is written; fails when dist is not what the sources give
//	go run ./internal/house/tablet -check -screens
//
// It wants the libraries of internal/tablet/package.json in internal/tablet/node_modules (npm ci --prefix internal/tablet). The same sources give the
// same bytes on every machine with the Go toolchain that go.mod names; another toolchain makes another core.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

func main() {
	if err := run(os.Args[1:], os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "tablet:", err)
		os.Exit(1)
	}
}

func run(args []string, errs io.Writer) error {
	flags := flag.NewFlagSet("tablet", flag.ContinueOnError)
	flags.SetOutput(errs)
	root := flags.String("root", ".", "the root of the module")
	check := flags.Bool("check", false, "write nothing; fail when dist is stale")
	screens := flags.Bool("screens", false, "leave the core as it is in dist")
	quick := flags.Bool("quick", false, "pack the core quickly and badly, for trying things out")
	if err := flags.Parse(args); err != nil {
		return err
	}
	b := builder{root: *root, quick: *quick, files: map[string][]byte{}, dist: filepath.Join(*root, "internal", "tablet", "dist")}
	core := b.buildCore
	if *screens {
		core = b.keepCore
	}
	for _, step := range []func() error{core, b.buildScreens, b.buildIcons, b.buildPage, b.buildWorker} {
		if err := step(); err != nil {
			return err
		}
	}
	if *check {
		return b.compare()
	}
	return b.write()
}

// builder makes the files of dist, by their names there.
type builder struct {
	root, dist string
	quick      bool
	files      map[string][]byte
	core       asset // what the screens are told
	style      asset
	script     asset
	icon       asset
	version    string // a hash over all that the screens are made of
}

// asset is a file that is served under an address with its hash in it.
type asset struct {
	address string // such as /app/core-0123456789abcdef.wasm
	sha256  string // of what is served, unpacked, in hexadecimal
}

// errStale says that dist is not what the sources give.
var errStale = errors.New("internal/tablet/dist is not what the sources give: go run ./internal/house/tablet, and commit it")
