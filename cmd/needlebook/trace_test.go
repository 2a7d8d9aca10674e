package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestTraceScripts runs testdata/trace/*.txt against a real server, with the commands of TestReplicaScripts and one more:
//
//	clinicid FILE    write the id of the clinic over CLINIC in a file
func TestTraceScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/trace", UpdateScripts: *update, RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			c := &clinic{data: filepath.Join(e.WorkDir, "clinic"), staff: map[string]string{}}
			e.Values[scriptKey{}] = c
			e.Defer(func() {
				if err := c.end(); err != nil {
					t.Errorf("stop the server: %v", err)
				}
			})
			return os.WriteFile(filepath.Join(e.WorkDir, "password"), []byte(testPassword+"\n"), 0o600)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"clinic": scriptClinic, "json": scriptJSON, "clinicid": scriptClinicID},
	})
}

func scriptClinicID(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: clinicid FILE")
	}
	path := ts.MkAbs(args[0])
	text := strings.ReplaceAll(ts.ReadFile(path), "CLINIC", ts.Value(scriptKey{}).(*clinic).home)
	ts.Check(os.WriteFile(path, []byte(text), 0o600))
}
