package main

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestDayScripts runs testdata/day/*.txt: whole days of a clinic, on replicas against a real server. Beside the commands of TestReplicaScripts:
//
//	clinic start                 also sets CLINIC
//	clinic hire NAME ROLE        also sets NAME, in capitals, to the staff id
//	clinic day VAR DAYS          sets VAR to the day so many days from now
//	short VAR TEXT               sets VAR to the first eight characters of TEXT
func TestDayScripts(t *testing.T) {
	runClinicScripts(t, "day", scriptCommands{"clinic": dayClinic, "short": scriptShort})
}

func dayClinic(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) == 3 && args[0] == "day" {
		days, err := strconv.Atoi(args[2])
		ts.Check(err)
		ts.Setenv(args[1], time.Now().AddDate(0, 0, days).Format(time.DateOnly))
		return
	}
	scriptClinic(ts, neg, args)
	switch c := ts.Value(scriptKey{}).(*clinic); args[0] {
	case "start":
		ts.Setenv("CLINIC", c.home)
	case "hire":
		ts.Setenv(strings.ToUpper(args[1]), c.staff[args[1]])
	}
}

func scriptShort(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 || len(args[1]) < 8 {
		ts.Fatalf("usage: short VAR TEXT")
	}
	ts.Setenv(args[0], args[1][:8])
}
