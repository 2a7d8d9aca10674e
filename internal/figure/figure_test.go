package figure

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/export"
)

func TestPercent_IsTheNearestTenth(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		whole := rapid.Uint32Range(1, 5000).Draw(rt, "whole")
		part := rapid.Uint32Range(0, whole).Draw(rt, "part")
		var tenths, n uint64
		for _, r := range strings.Replace(percent(part, whole), ".", "", 1) {
			tenths = tenths*10 + uint64(r-'0')
		}
		n = uint64(part) * 1000
		off := int64(tenths*uint64(whole)) - int64(n)
		if 2*off > int64(whole) || -2*off > int64(whole) {
			rt.Fatalf("%d of %d is %s", part, whole, percent(part, whole))
		}
	})
	for want, x := range map[string][2]uint32{"": {0, 0}, "33.3": {1, 3}, "66.7": {2, 3}, "100.0": {4, 4}, "0.0": {0, 9}, "12.5": {1, 8}, "6.2": {1, 16}} {
		if got := percent(x[0], x[1]); got != want {
			t.Errorf("%d of %d: %q, want %q", x[0], x[1], got, want)
		}
	}
}

// A step holds its day, begins on the right one, and the day before it is of another.
func TestStepOf(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		on := time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 40000).Draw(rt, "day"))
		week := stepOf(on, tracev1.FigureStep_FIGURE_STEP_WEEK)
		if days := on.Sub(week).Hours() / 24; week.Weekday() != time.Monday || days < 0 || days > 6 {
			rt.Fatalf("the week of %v begins on %v", on, week)
		}
		month := stepOf(on, tracev1.FigureStep_FIGURE_STEP_UNSPECIFIED)
		if month.Day() != 1 || month.Month() != on.Month() || month.Year() != on.Year() {
			rt.Fatalf("the month of %v begins on %v", on, month)
		}
		if year := stepOf(on, tracev1.FigureStep_FIGURE_STEP_YEAR); year.YearDay() != 1 || year.Year() != on.Year() {
			rt.Fatalf("the year of %v begins on %v", on, year)
		}
	})
}

func graded(region string, side chartv1.Side, grade int32) *chartv1.Rating {
	return &chartv1.Rating{Grade: &chartv1.Grade{Scale: "four_grades", Region: region, Side: side.Enum(), Contraction: chartv1.Contraction_CONTRACTION_SMILING, Grade: grade}}
}

func TestUnlike(t *testing.T) {
	right, left := chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT
	for name, c := range map[string]struct {
		m            *chartv1.Session
		unlike, seen bool
	}{
		"nothing":          {&chartv1.Session{}, false, false},
		"one side":         {&chartv1.Session{Ratings: []*chartv1.Rating{graded("lower_face", right, 2)}}, false, false},
		"alike":            {&chartv1.Session{Ratings: []*chartv1.Rating{graded("lower_face", right, 2), graded("lower_face", left, 2)}}, false, true},
		"unlike":           {&chartv1.Session{Ratings: []*chartv1.Rating{graded("lower_face", right, 2), graded("lower_face", left, 1)}}, true, true},
		"another region":   {&chartv1.Session{Ratings: []*chartv1.Rating{graded("upper_face", right, 2), graded("upper_face", left, 1)}}, false, false},
		"part of the face": {&chartv1.Session{Ratings: []*chartv1.Rating{graded("mouth_corners", right, 2), graded("mouth_corners", left, 1)}}, true, true},
		"response": {&chartv1.Session{Outcomes: []*chartv1.Outcome{
			{Judgement: &chartv1.OutcomeJudgement{Side: right.Enum(), Response: new("too_little")}},
			{Judgement: &chartv1.OutcomeJudgement{Side: left.Enum(), Response: new("as_wanted")}}}}, true, true},
	} {
		v := Visit{Message: c.m}
		if unlike, seen := v.Unlike("lower_face"); unlike != c.unlike || seen != c.seen {
			t.Errorf("%s: unlike %v, seen %v", name, unlike, seen)
		}
	}
}

// The tables are RFC 4180 to another reader, and no cell begins a formula.
func TestTables_AreRead(t *testing.T) {
	bad := "=HYPERLINK(\"http://x\")"
	b, err := LogbookCSV(bad, []*tracev1.LogbookCase{{SessionId: "a", SupervisorName: "+1"}}, func(string) string { return "@clinic" })
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil || len(rows) != 2 || !bytes.Contains(b, []byte("\r\n")) {
		t.Fatalf("%d rows (%v)", len(rows), err)
	}
	for i, cell := range rows[1] {
		if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "+") || strings.HasPrefix(cell, "@") {
			t.Errorf("column %s: %q", rows[0][i], cell)
		}
	}
	if back, err := export.UnguardCell(rows[1][0]); err != nil || back != bad {
		t.Errorf("%q (%v)", back, err)
	}
}
