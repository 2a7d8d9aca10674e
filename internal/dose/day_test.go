package dose_test

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"needlebook/internal/dose"
)

func day(t testing.TB, text string) dose.Day {
	t.Helper()
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	d, err := dose.NewDay(at.Year(), int(at.Month()), at.Day())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Every day of the years that are read, against the standard library's calendar.
func TestDaysAgainstTheStandardLibrary(t *testing.T) {
	at := time.Date(dose.FirstYear, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := 0; at.Year() <= dose.LastYear; n, at = n+1, at.AddDate(0, 0, 1) {
		d, err := dose.NewDay(at.Year(), int(at.Month()), at.Day())
		if err != nil || int64(d) != at.Unix()/86400-boolInt(at.Unix()%86400 < 0) {
			t.Fatalf("%s is %d, %v", at.Format(time.DateOnly), d, err)
		}
		if d.String() != at.Format(time.DateOnly) {
			t.Fatalf("%s is written %s", at.Format(time.DateOnly), d)
		}
	}
}

func TestFirstAndLastDay(t *testing.T) {
	if first, last := day(t, "1850-01-01"), day(t, "2200-12-31"); first != dose.FirstDay || last != dose.LastDay {
		t.Errorf("%d to %d", first, last)
	}
}

func boolInt(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func TestNoSuchDay(t *testing.T) {
	for _, c := range []struct {
		year, month, day int
		field            string
	}{
		{1849, 12, 31, "year"}, {2201, 1, 1, "year"}, {2026, 0, 1, "month"}, {2026, 13, 1, "month"}, {2026, 4, 31, "day"}, {2026, 2, 29, "day"},
		{1900, 2, 29, "day"}, {2100, 2, 29, "day"}, {2000, 2, 30, "day"}, {2026, 1, 0, "day"},
	} {
		_, err := dose.NewDay(c.year, c.month, c.day)
		var input *dose.InputError
		if !errors.As(err, &input) || input.Field != c.field {
			t.Errorf("%d-%d-%d: %v", c.year, c.month, c.day, err)
		}
	}
}

// The rule "same day or last day", with the examples of its documentation: java.time.LocalDate.plusMonths gives 2007-03-31 plus one month as
// 2007-04-30. The others follow from the lengths of months; what time.AddDate makes of them stands beside them.
func TestMonthsAtTheirEnds(t *testing.T) {
	for _, c := range []struct {
		from   string
		months int
		want   string
		ran    string // time.AddDate
	}{
		{"2007-03-31", 1, "2007-04-30", "2007-05-01"},
		{"2025-11-28", 3, "2026-02-28", "2026-02-28"},
		{"2025-11-29", 3, "2026-02-28", "2026-03-01"},
		{"2025-11-30", 3, "2026-02-28", "2026-03-02"},
		{"2025-12-01", 3, "2026-03-01", "2026-03-01"},
		{"2023-11-29", 3, "2024-02-29", "2024-02-29"},
		{"2023-11-30", 3, "2024-02-29", "2024-03-01"},
		{"1899-11-30", 3, "1900-02-28", "1900-03-02"},
		{"1999-11-30", 3, "2000-02-29", "2000-03-01"},
		{"2024-02-29", 12, "2025-02-28", "2025-03-01"},
		{"2024-02-29", 3, "2024-05-29", "2024-05-29"},
		{"2026-01-31", 3, "2026-04-30", "2026-05-01"},
		{"2026-08-31", 3, "2026-11-30", "2026-12-01"},
		{"2026-05-31", -3, "2026-02-28", "2026-03-03"},
		{"2026-01-15", -13, "2024-12-15", "2024-12-15"},
	} {
		from := day(t, c.from)
		if got := from.AddMonths(c.months).String(); got != c.want {
			t.Errorf("%s and %d months: %s, want %s", c.from, c.months, got, c.want)
		}
		year, month, d := from.Date()
		if ran := time.Date(year, time.Month(month+c.months), d, 0, 0, 0, 0, time.UTC).Format(time.DateOnly); ran != c.ran {
			t.Errorf("%s and %d months: time.AddDate gives %s, not %s", c.from, c.months, ran, c.ran)
		}
	}
}

// Months against the standard library: the day of the month, unless the month is too short, which time.Date tells by running over.
func TestMonthsAgainstTheStandardLibrary(t *testing.T) {
	for d := day(t, "1999-01-01"); d < day(t, "2029-01-01"); d++ {
		for _, months := range []int{1, 2, 3, 4, 6, 12, -1, -3} {
			year, month, of := d.Date()
			want := time.Date(year, time.Month(month+months), of, 0, 0, 0, 0, time.UTC)
			if want.Day() != of {
				want = want.AddDate(0, 0, -want.Day()) // back to the last day of the month before
			}
			if got := d.AddMonths(months).String(); got != want.Format(time.DateOnly) {
				t.Fatalf("%s and %d months: %s, want %s", d, months, got, want.Format(time.DateOnly))
			}
		}
	}
}

// Three calendar months are 89 to 92 days, so they are neither the 84 nor the 90 days of other rules.
func TestThreeMonthsAreNoNumberOfDays(t *testing.T) {
	seen := map[dose.Day]bool{}
	for d := day(t, "2020-01-01"); d < day(t, "2028-01-01"); d++ {
		seen[dose.Period{Months: 3}.After(d)-d] = true
	}
	for days := dose.Day(80); days < 100; days++ {
		if seen[days] != (89 <= days && days <= 92) {
			t.Errorf("%d days: %v", days, seen[days])
		}
	}
}

func TestPeriodLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := dose.Period{Days: rapid.IntRange(0, 400).Draw(t, "days"), Months: rapid.IntRange(0, 36).Draw(t, "months")}
		if p == (dose.Period{}) {
			p.Days = 1
		}
		d := dose.Day(rapid.IntRange(-40_000, 80_000).Draw(t, "day"))
		if p.After(d+1) < p.After(d) {
			t.Fatalf("%v: a day later, %s before %s", p, p.After(d+1), p.After(d))
		}
		from := p.Since(d)
		if p.After(from) <= d || p.After(from-1) > d {
			t.Fatalf("%v: the window that ends with %s begins with %s", p, d, from)
		}
	})
}
