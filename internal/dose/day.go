package dose

import "strconv"

// Day is a civil day of the Gregorian calendar, as the number of days since 1970-01-01; days before that are negative. Days are compared and
// subtracted as numbers. The calendar is that of the clinic: no time of day and no zone is in it.
type Day int32

// The years that NewDay takes.
const (
	FirstYear = 1850
	LastYear  = 2200
)

// The first and the last day that NewDay takes.
const (
	FirstDay Day = -43_829
	LastDay  Day = 84_370
)

const (
	daysPerEra  = 146_097 // 400 years
	epochOffset = 719_468 // days from 0000-03-01 to 1970-01-01
)

// NewDay is the day of a year (FirstYear to LastYear), a month (1 to 12) and a day of that month. The error is an *InputError that names year, month or
// day.
func NewDay(year, month, day int) (Day, error) {
	refuse := func(field string, n int) (Day, error) {
		return 0, &InputError{Field: field, Rule: RuleRange, Read: strconv.Itoa(n)}
	}
	switch {
	case year < FirstYear || year > LastYear:
		return refuse("year", year)
	case month < 1 || month > 12:
		return refuse("month", month)
	case day < 1 || day > DaysIn(year, month):
		return refuse("day", day)
	}
	return civil(year, month, day), nil
}

// civil counts in eras of 400 years whose years begin in March, so that a leap day is the last of its year (the algorithm is Howard Hinnant's
// days_from_civil; the tests hold it against the standard library for every day).
func civil(year, month, day int) Day {
	if month <= 2 {
		year--
	}
	era := floorDiv(year, 400)
	yearOfEra := year - era*400
	dayOfYear := (153*((month+9)%12)+2)/5 + day - 1
	return Day(era*daysPerEra + yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear - epochOffset)
}

// Date is the day as year, month and day of the month.
func (d Day) Date() (year, month, day int) {
	days := int(d) + epochOffset
	era := floorDiv(days, daysPerEra)
	dayOfEra := days - era*daysPerEra
	yearOfEra := (dayOfEra - dayOfEra/1460 + dayOfEra/36_524 - dayOfEra/146_096) / 365
	dayOfYear := dayOfEra - (365*yearOfEra + yearOfEra/4 - yearOfEra/100)
	shifted := (5*dayOfYear + 2) / 153
	day = dayOfYear - (153*shifted+2)/5 + 1
	month = shifted + 3
	year = yearOfEra + era*400
	if month > 12 {
		month, year = month-12, year+1
	}
	return year, month, day
}

// String is the day as in ISO 8601, "2026-03-01".
func (d Day) String() string {
	year, month, day := d.Date()
	pad := func(n, width int) string {
		s := strconv.Itoa(n)
		for len(s) < width {
			s = "0" + s
		}
		return s
	}
	return pad(year, 4) + "-" + pad(month, 2) + "-" + pad(day, 2)
}

// DaysIn is how many days a month (1 to 12) of a year has.
func DaysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// AddMonths is the same day of the month so many calendar months later, or the last day of that month where it has no such day: three months after
// 30 November is 28 or 29 February. Months may be negative.
//
// This is the rule "same day or last day" of java.time.LocalDate.plusMonths. The standard library's time.AddDate runs over into the next month instead
// (2 March, or 1 March), which puts 30 November later than 1 December; with this rule a later day never gets an earlier date.
func (d Day) AddMonths(months int) Day {
	year, month, day := d.Date()
	count := year*12 + month - 1 + months
	year, month = floorDiv(count, 12), count-floorDiv(count, 12)*12+1
	return civil(year, month, min(day, DaysIn(year, month)))
}

// Period is a time as a rule writes it: whole days or calendar months, of which the other is zero. 84 days, 90 days and 3 months are three periods.
type Period struct{ Days, Months int }

// After is the first day on which the period since d has passed.
func (p Period) After(d Day) Day { return d.AddMonths(p.Months) + Day(p.Days) }

// Since is the first day of the window of this length that ends with d: the days on or after it are those whose period has not passed on d.
func (p Period) Since(d Day) Day {
	from := d.AddMonths(-p.Months) - Day(p.Days)
	for p.After(from) > d {
		from--
	}
	for p.After(from) <= d {
		from++
	}
	return from
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
