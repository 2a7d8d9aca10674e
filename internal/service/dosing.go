package service

import (
	"context"
	"sync"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

// dosing answers DoseService through the core that tablets and the command line use, too. What is not here yet is unimplemented.
type dosing struct {
	dosev1connect.UnimplementedDoseServiceHandler
	once    sync.Once
	edition *formulary.Edition
	err     error
}

// builtin is the edition that comes with the program, read at the first call.
func (d *dosing) builtin() (*formulary.Edition, error) {
	d.once.Do(func() { d.edition, d.err = formulary.Builtin() })
	return d.edition, d.err
}

// Prepare reckons what a vial holds once its diluent is added.
func (d *dosing) Prepare(_ context.Context, m *dosev1.PrepareRequest) (*dosev1.PrepareResponse, error) {
	e, err := d.builtin()
	if err != nil {
		return nil, err
	}
	return reckon.Prepare(e, m)
}

// PlanDraw reckons syringes and the marks of their plungers.
func (d *dosing) PlanDraw(_ context.Context, m *dosev1.PlanDrawRequest) (*dosev1.PlanDrawResponse, error) {
	e, err := d.builtin()
	if err != nil {
		return nil, err
	}
	return reckon.PlanDraw(e, m)
}
