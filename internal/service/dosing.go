package service

import (
	"context"
	"sync"

	"google.golang.org/protobuf/proto"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

// dosing answers DoseService through the core that tablets and the command line use, too. A call that names a patient or a session in place of the facts
// is unimplemented: the facts are not gathered here yet, and an answer without them would look like an all-clear.
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

// checkNames refuses products and muscles that the edition does not know.
func (d *dosing) checkNames(m proto.Message) error {
	e, err := d.builtin()
	if err != nil {
		return err
	}
	return e.CheckNames(m)
}

// reckoned answers a request from what is in it and the edition.
func reckoned[Q, A any](d *dosing, by func(*formulary.Edition, Q) (A, error), request Q) (answer A, err error) {
	e, err := d.builtin()
	if err != nil {
		return answer, err
	}
	return by(e, request)
}

// withFacts is reckoned for a call that may name records in place of facts.
func withFacts[Q, A any](d *dosing, by func(*formulary.Edition, Q) (A, error), request Q, named string) (answer A, err error) {
	if named != "" {
		return answer, fault.New(faultv1.Reason_REASON_UNIMPLEMENTED, "", "", "")
	}
	return reckoned(d, by, request)
}

// Prepare reckons what a vial holds once its diluent is added.
func (d *dosing) Prepare(_ context.Context, m *dosev1.PrepareRequest) (*dosev1.PrepareResponse, error) {
	return reckoned(d, reckon.Prepare, m)
}

// PlanDraw reckons syringes and the marks of their plungers.
func (d *dosing) PlanDraw(_ context.Context, m *dosev1.PlanDrawRequest) (*dosev1.PlanDrawResponse, error) {
	return reckoned(d, reckon.PlanDraw, m)
}

// AdviseDilution ranks dilutions and syringes by how exactly they measure a plan.
func (d *dosing) AdviseDilution(_ context.Context, m *dosev1.AdviseDilutionRequest) (*dosev1.AdviseDilutionResponse, error) {
	return reckoned(d, reckon.AdviseDilution, m)
}

// CompareProducts shows published bands side by side. It converts nothing.
func (d *dosing) CompareProducts(_ context.Context, m *dosev1.CompareProductsRequest) (*dosev1.CompareProductsResponse, error) {
	return reckoned(d, reckon.CompareProducts, m)
}

// CheckSession judges a session by the facts in the request.
func (d *dosing) CheckSession(_ context.Context, m *dosev1.CheckSessionRequest) (*dosev1.CheckSessionResponse, error) {
	return withFacts(d, reckon.CheckSession, m, m.GetSessionId())
}

// GetToxinHistory sums what a patient has had, from the facts in the request.
func (d *dosing) GetToxinHistory(_ context.Context, m *dosev1.GetToxinHistoryRequest) (*dosev1.GetToxinHistoryResponse, error) {
	return withFacts(d, reckon.GetToxinHistory, m, m.GetPatientId())
}

// GetAsymmetry shows right beside left, from the facts in the request.
func (d *dosing) GetAsymmetry(_ context.Context, m *dosev1.GetAsymmetryRequest) (*dosev1.GetAsymmetryResponse, error) {
	return withFacts(d, reckon.GetAsymmetry, m, m.GetPatientId())
}
