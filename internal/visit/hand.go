package visit

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
)

// The roles, by short names.
const (
	Injector  = accessv1.Role_ROLE_INJECTOR
	Lead      = accessv1.Role_ROLE_MEDICAL_LEAD
	Assistant = accessv1.Role_ROLE_ASSISTANT
)

// Hand is who does something, as what and when, and how what is new is named.
type Hand struct {
	// By is her staff id.
	By string
	// Roles are those that she has at the visit's clinic.
	Roles []accessv1.Role
	// At is when, by the clock of the device that it is done on.
	At time.Time
	// NewID names a new element: a random UUID as text in lower case.
	NewID func() string
}

// Act is the hand as a record keeps it, to the millisecond.
func (h Hand) Act() *recordv1.Act { return actBy(h.By, h.At) }

func (h Hand) void(reason string) *recordv1.Void {
	return &recordv1.Void{Reason: reason, By: h.By, At: timestamppb.New(h.At.Truncate(time.Millisecond))}
}

// has reports whether the hand has one of the roles.
func (h Hand) has(roles ...accessv1.Role) bool {
	return slices.ContainsFunc(roles, func(r accessv1.Role) bool { return slices.Contains(h.Roles, r) })
}

func actBy(staff string, at time.Time) *recordv1.Act {
	return &recordv1.Act{By: staff, At: timestamppb.New(at.Truncate(time.Millisecond))}
}

// wrong is the refusal of what was asked for: the field, what was read, what would be right.
func wrong(field, read, want string) error {
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, read, want)
}

func notThere(field, read string) error {
	return fault.New(faultv1.Reason_REASON_NOT_FOUND, field, read, "")
}
