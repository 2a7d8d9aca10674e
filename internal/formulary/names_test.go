package formulary_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
)

// A mistyped product or muscle is refused where it is typed, with its place; what was given elsewhere may be anything.
func TestCheckNames(t *testing.T) {
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	injection := func(muscle, planned, given string) *chartv1.Session {
		return &chartv1.Session{Injections: []*chartv1.Injection{{}, {
			Muscle: &muscle, Planned: &chartv1.Dose{Product: planned},
			Givings: []*chartv1.Giving{{Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: given}}}},
		}}}
	}
	const ona = "onabotulinumtoxinA"
	for name, c := range map[string]struct {
		record proto.Message
		reason faultv1.Reason
		field  string
	}{
		"known":            {injection("mentalis", ona, ona), 0, ""},
		"planned mistyped": {injection("mentalis", "onabotulinumtoxina", ona), faultv1.Reason_REASON_UNKNOWN_PRODUCT, "injections[1].planned.product"},
		"given mistyped":   {injection("mentalis", ona, "nosuchtoxinA"), faultv1.Reason_REASON_UNKNOWN_PRODUCT, "injections[1].givings[0].given.dose.product"},
		"muscle mistyped":  {injection("no_such_muscle", ona, ona), faultv1.Reason_REASON_INVALID_FIELD, "injections[1].muscle"},
		"vial mistyped": {
			&chartv1.Vial{Presentation: &chartv1.VialPresentation{Product: "botulinum"}}, faultv1.Reason_REASON_UNKNOWN_PRODUCT, "presentation.product",
		},
		"nothing named": {&chartv1.Patient{}, 0, ""},
	} {
		err := fault.Of(e.CheckNames(c.record))
		if c.reason == 0 && err != nil || c.reason != 0 && (err == nil || err.Reason != c.reason || err.Field != c.field) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
