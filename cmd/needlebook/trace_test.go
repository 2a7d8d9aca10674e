package main

import (
	"os"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestTraceScripts runs testdata/trace/*.txt against a real server, with the commands of TestReplicaScripts and one more:
//
//	clinicid FILE    write the id of the clinic over CLINIC in a file
func TestTraceScripts(t *testing.T) {
	runClinicScripts(t, "trace", scriptCommands{"clinicid": scriptClinicID})
}

func scriptClinicID(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: clinicid FILE")
	}
	path := ts.MkAbs(args[0])
	text := strings.ReplaceAll(ts.ReadFile(path), "CLINIC", ts.Value(scriptKey{}).(*clinic).home)
	ts.Check(os.WriteFile(path, []byte(text), 0o600))
}
