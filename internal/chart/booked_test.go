package chart_test

import (
	"testing"
	"time"

	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// TestHeldTerms_Days: a term of a day is within the spans of its window alone.
func TestHeldTerms_Days(t *testing.T) {
	athens, err := time.LoadLocation("Europe/Athens")
	if err != nil {
		t.Fatal(err)
	}
	clinic, patient := record.ID{7}, record.ID{0xff, 0xff}
	spans := chart.HeldTerms(clinic, time.Date(2026, 5, 20, 0, 30, 0, 0, athens))
	for _, c := range []struct {
		term, day string
		held      bool
	}{
		{chart.TermBooked, "20260517", false}, {chart.TermBooked, "20260518", true}, {chart.TermBooked, "20260527", true}, {chart.TermBooked, "20260528", false},
		{chart.TermSeen, "20260419", false}, {chart.TermSeen, "20260420", true}, {chart.TermSeen, "20260521", true}, {chart.TermSeen, "20260522", false},
		{chart.TermReview, "20260419", false}, {chart.TermReview, "20260420", true}, {chart.TermReview, "20260527", true}, {chart.TermReview, "20260528", false},
	} {
		term := c.term + string(clinic[:]) + c.day + string(patient[:])
		held := false
		for _, s := range spans {
			held = held || term >= s[0] && term < s[1]
		}
		if of, ok := chart.HeldClinic(term); held != c.held || !ok || of != clinic {
			t.Errorf("%s of %s is held %v, want %v; its clinic is %v", c.term, c.day, held, c.held, of)
		}
	}
}
