package record

import (
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// formOf is what a message must be that the bounds of its single fields cannot say; nil for nothing.
func formOf(name protoreflect.FullName) func([]byte) string {
	switch name {
	case "needlebook.record.v1.Date":
		return dateForm
	case "google.protobuf.Timestamp":
		return timestampForm
	}
	return nil
}

// dateForm wants a day that its month has, in the Gregorian calendar. Year, month and day are within their bounds.
func dateForm(b []byte) string {
	year, month, day := varintField(b, 1), varintField(b, 2), varintField(b, 3)
	if day > 28 && day > daysIn(year, month) {
		return "a day of the calendar"
	}
	return ""
}

func daysIn(year, month int64) int64 {
	switch {
	case month == 4 || month == 6 || month == 9 || month == 11:
		return 30
	case month != 2:
		return 31
	case year%4 == 0 && (year%100 != 0 || year%400 == 0):
		return 29
	}
	return 28
}

// The seconds that a google.protobuf.Timestamp may hold, and its nanoseconds; google/protobuf/timestamp.proto says so.
const (
	firstSecond   = -62135596800 // 0001-01-01T00:00:00Z
	lastSecond    = 253402300799 // 9999-12-31T23:59:59Z
	mostNanos     = 999_999_999
	timestampWant = "a time from the year 1 to 9999"
)

func timestampForm(b []byte) string {
	seconds, nanos := varintField(b, 1), varintField(b, 2)
	if seconds < firstSecond || seconds > lastSecond || nanos < 0 || nanos > mostNanos {
		return timestampWant
	}
	return ""
}

// varintField is the number in a field of a canonical message of numbers; 0 when it is absent.
func varintField(b []byte, want protowire.Number) int64 {
	for len(b) > 0 {
		number, _, n := protowire.ConsumeTag(b)
		x, m := protowire.ConsumeVarint(b[max(n, 0):])
		if n < 0 || m < 0 || number == want {
			return int64(x)
		}
		b = b[n+m:]
	}
	return 0
}
