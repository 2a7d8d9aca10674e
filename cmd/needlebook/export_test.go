package main

import "testing"

// TestExportScripts runs testdata/export/*.txt against a real server, with the commands of TestTraceScripts.
func TestExportScripts(t *testing.T) {
	runClinicScripts(t, "export", scriptCommands{"clinicid": scriptClinicID})
}
