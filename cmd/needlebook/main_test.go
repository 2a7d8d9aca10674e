package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets scripts run needlebook in a process of its own.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"needlebook": main})
}

// TestScripts runs testdata/*.txt. Run with -update to rewrite what the scripts compare with cmp, then read the diff.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata", UpdateScripts: *update, RequireExplicitExec: true})
}

func TestHelpOfEveryCommandFitsTheScreen(t *testing.T) {
	var walk func(path []string, table []command)
	walk = func(path []string, table []command) {
		for _, c := range table {
			args := append(append([]string{"help"}, path...), c.name)
			var out, errs bytes.Buffer
			if code := run(args, strings.NewReader(""), &out, &errs); code != exitDone || errs.Len() > 0 {
				t.Errorf("%v: exit %d, standard error %q", args, code, errs.String())
			}
			for line := range strings.Lines(out.String()) {
				if len([]rune(line)) > 81 {
					t.Errorf("%v: %d columns: %s", args, len([]rune(line)), line)
				}
			}
			if c.short == "" || (c.run == nil) == (len(c.sub) == 0) {
				t.Errorf("%v: want one line of help and either run or subcommands", args)
			}
			walk(append(path, c.name), c.sub)
		}
	}
	walk(nil, commands())
}
