package gs1

import (
	"fmt"
	"time"
)

// Date is a day of the calendar that six digits YYMMDD stand for. The zero value is no date.
type Date struct {
	// Year has four digits, Month is 1 to 12, Day is 1 to the month's last.
	Year, Month, Day int
	// WholeMonth says that the day was 00: only the month was stated, and Day is its last.
	WholeMonth bool
}

// IsZero says that there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// String writes the day as ISO 8601 does, such as 2027-06-30; nothing for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// yymmdd writes the date as an element's data.
func (d Date) yymmdd() string {
	if d.IsZero() {
		return ""
	}
	day := d.Day
	if d.WholeMonth {
		day = 0
	}
	return fmt.Sprintf("%02d%02d%02d", d.Year%100, d.Month, day)
}

// The current years that are taken: from the zero of most clocks to the last whose window has four digits.
const (
	firstYear = 1970
	lastYear  = 9949
)

// ParseDate reads YYMMDD, of which a pack has several. The century is the one that puts the year from 49 before to 50 after year, the current one;
// the day 00 is the month's last. The error is an [*Error] with ErrYear, ErrLength, ErrCharacter or ErrDate and no AI.
func ParseDate(yymmdd string, year int) (Date, error) {
	if err := checkYear(year); err != nil {
		return Date{}, err
	}
	f := format{shape: date, kind: digits, least: 6, most: 6}
	if at, reason := f.check(yymmdd, year); reason != nil {
		return Date{}, &Error{Position: at + 1, Reason: reason, Want: f.want(reason), Read: cut(yymmdd)}
	}
	return dateOf(yymmdd, year), nil
}

func checkYear(year int) error {
	if year < firstYear || lastYear < year {
		return &Error{Reason: ErrYear, Position: 1, Want: fmt.Sprintf("%d to %d", firstYear, lastYear), Read: fmt.Sprint(year)}
	}
	return nil
}

// dateOf is the date of six digits that were checked.
func dateOf(yymmdd string, year int) Date {
	d := Date{Year: fullYear(number(yymmdd[:2]), year), Month: number(yymmdd[2:4]), Day: number(yymmdd[4:6])}
	if d.Day == 0 {
		d.Day, d.WholeMonth = lastDay(d.Year, d.Month), true
	}
	return d
}

// dateFault is where six digits are no date and true: 2 for the month, 4 for the day.
func dateFault(yymmdd string, year int, zeroDay bool) (int, bool) {
	y, m, d := fullYear(number(yymmdd[:2]), year), number(yymmdd[2:4]), number(yymmdd[4:6])
	switch {
	case m < 1 || 12 < m:
		return 2, true
	case d == 0 && !zeroDay || d > lastDay(y, m):
		return 4, true
	}
	return 0, false
}

// fullYear puts two digits of a year into the window around the current year.
func fullYear(yy, current int) int {
	full := current - current%100 + yy
	switch ahead := full - current; {
	case ahead >= 51:
		return full - 100
	case ahead <= -50:
		return full + 100
	}
	return full
}

func lastDay(year, month int) int {
	return time.Date(year, time.Month(month+1), 0, 0, 0, 0, 0, time.UTC).Day()
}

// number is the value of a few digits that were checked.
func number(digits string) int {
	n := 0
	for i := range len(digits) {
		n = n*10 + int(digits[i]-'0')
	}
	return n
}
