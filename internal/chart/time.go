package chart

import (
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
)

// The seconds that a Timestamp may hold, from the years 1 to 9999.
const (
	firstSecond = -62135596800
	lastSecond  = 253402300799
)

// eachMessage calls fn with every message within m, m itself included, and the way to it by the names of fields; it ends when fn returns false.
func eachMessage(m protoreflect.Message, path string, fn func(m protoreflect.Message, path string) bool) bool {
	if !fn(m, path) {
		return false
	}
	on := true
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		within := string(fd.Name())
		if path != "" {
			within = path + "." + within
		}
		switch {
		case fd.Message() == nil || fd.IsMap():
		case fd.IsList():
			for i := 0; i < v.List().Len() && on; i++ {
				on = eachMessage(v.List().Get(i).Message(), within, fn)
			}
		default:
			on = eachMessage(v.Message(), within, fn)
		}
		return on
	})
	return on
}

// checkTimes refuses days that no calendar has and times that no Timestamp may hold, naming the field.
func checkTimes(m protoreflect.Message) error {
	var refusal error
	eachMessage(m, "", func(m protoreflect.Message, path string) bool {
		switch x := m.Interface().(type) {
		case *recordv1.Date:
			if !ValidDate(x) {
				refusal = fault.New(faultv1.Reason_REASON_INVALID_FIELD, path, "", "a day of the calendar")
			}
		case *timestamppb.Timestamp:
			if x.CheckValid() != nil {
				refusal = fault.New(faultv1.Reason_REASON_INVALID_FIELD, path, "", "a time from the year 1 to 9999")
			}
		}
		return refusal == nil
	})
	return refusal
}

// clampTimes brings times that no Timestamp may hold to the nearest one that it may. A clock gone wrong may have made them, and JSON cannot carry them: one
// such time would keep the whole record from its readers.
func clampTimes(m protoreflect.Message) {
	eachMessage(m, "", func(m protoreflect.Message, _ string) bool {
		if x, ok := m.Interface().(*timestamppb.Timestamp); ok && x.CheckValid() != nil {
			x.Seconds, x.Nanos = min(max(x.GetSeconds(), firstSecond), lastSecond), min(max(x.GetNanos(), 0), 999_999_999)
		}
		return true
	})
}
