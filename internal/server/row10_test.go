package server_test

import (
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"

	"connectrpc.com/connect"

	accessv1 "needlebook/gen/needlebook/access/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// TestRow10_DosesThatAreNoDose sends texts that a lenient parser would make a number of. Each is refused by the name of its field; nothing is rounded,
// guessed or cut.
func TestRow10_DosesThatAreNoDose(t *testing.T) {
	w := newWorld(t)
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	client := dosev1connect.NewDoseServiceClient(w.client(eve.token), w.url)
	plan := func(dose, diluent string) error {
		_, err := client.PlanDraw(t.Context(), &dosev1.PlanDrawRequest{
			Product: "onabotulinumtoxinA",
			Vial:    &dosev1.VialContent{ContentUnits: "100", DiluentMl: &diluent},
			Syringe: &dosev1.SyringeType{CapacityMl: "1", GraduationMl: "0.01"},
			Doses:   []*dosev1.PlannedDose{{Ref: "1", DoseUnits: dose}},
		})
		return err
	}
	if err := plan("2.5", "2.5"); err != nil {
		t.Fatalf("a good plan: %v", err)
	}
	for _, text := range []string{
		"0.1+0.2", "1e3", "1E3", "NaN", "Infinity", "1000000000000000000000000000000", "0.1000000000000000000000000000000000000001",
		"-1", "+1", "", " 1", "1 ", "1,5", "1.", ".5", "2.5 units", "2.5 U", "0x10", "1_000", "٢", "1\u00a0",
	} {
		for field, err := range map[string]error{"doses[0].dose_units": plan(text, "2.5"), "vial.diluent_ml": plan("2.5", text)} {
			mustRefuse(t, field+" "+text, err, faultv1.Reason_REASON_BAD_QUANTITY)
			if got := fieldsOf(err); len(got) == 0 || got[0] != field {
				t.Errorf("%s = %q: the answer names %q", field, text, got)
			}
		}
	}
}

// fieldsOf names the fields that an answer complains of.
func fieldsOf(err error) (fields []string) {
	e, ok := err.(*connect.Error)
	if !ok {
		return nil
	}
	for _, d := range e.Details() {
		if v, err := d.Value(); err == nil {
			if bad, ok := v.(*errdetails.BadRequest); ok {
				for _, f := range bad.GetFieldViolations() {
					fields = append(fields, f.GetField())
				}
			}
		}
	}
	return fields
}
