package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestExportScripts runs testdata/export/*.txt against a real server, with the commands of TestTraceScripts.
func TestExportScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/export", UpdateScripts: *update, RequireExplicitExec: true,
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
