package service

import (
	"context"
	"errors"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/reckon"
)

// dosing answers DoseService through the core that tablets and the command line use, too. A call that names a patient or a session in place of the facts
// is answered from what the caller may read of the ledger, gathered as a tablet gathers.
type dosing struct {
	dosev1connect.UnimplementedDoseServiceHandler
	charting *charting // nil answers from the facts of requests and the built-in edition alone
	builtin  func() (*formulary.Edition, error)
}

func newDosing(h *charting) *dosing {
	return &dosing{charting: h, builtin: sync.OnceValues(formulary.Builtin)}
}

// shelf is what the caller may read.
func (h *dosing) shelf(ctx context.Context) (*shelf, error) {
	d, err := h.charting.open(ctx)
	if err != nil {
		return nil, err
	}
	return newShelf(ctx, d), nil
}

// edition is the one that a request names, else the caller's clinic's, else the built-in one.
func (h *dosing) edition(ctx context.Context, choice *dosev1.FormularyChoice) (*formulary.Edition, error) {
	builtin, err := h.builtin()
	if err != nil || h.charting == nil {
		return builtin, err
	}
	s, err := h.shelf(ctx)
	if err != nil {
		return nil, err
	}
	return chosen(s, builtin, choice, func() *formulary.Edition {
		e, _ := gather.Chosen(s, builtin, s.callersClinic())
		return e
	})
}

// chosen is the edition that a request names, else another.
func chosen(s *shelf, builtin *formulary.Edition, choice *dosev1.FormularyChoice, otherwise func() *formulary.Edition) (*formulary.Edition, error) {
	id := choice.GetEditionId()
	if id == "" {
		return otherwise(), nil
	}
	e, err := gather.EditionOf(s, builtin, id)
	var none *formulary.EntryError
	if errors.As(err, &none) {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "formulary.edition_id", id, "an edition of the organisation that stands on what it derives from")
	}
	if err != nil {
		return nil, err
	}
	return gather.At(s, e, s.callersClinic()), nil
}

// reckoned answers a request from what is in it and the edition that counts.
func reckoned[Q interface {
	GetFormulary() *dosev1.FormularyChoice
}, A any](ctx context.Context, h *dosing, by func(*formulary.Edition, Q) (A, error), request Q) (answer A, err error) {
	e, err := h.edition(ctx, request.GetFormulary())
	if err != nil {
		return answer, err
	}
	return by(e, request)
}

// Prepare reckons what a vial holds once its diluent is added.
func (h *dosing) Prepare(ctx context.Context, m *dosev1.PrepareRequest) (*dosev1.PrepareResponse, error) {
	return reckoned(ctx, h, reckon.Prepare, m)
}

// PlanDraw reckons syringes and the marks of their plungers.
func (h *dosing) PlanDraw(ctx context.Context, m *dosev1.PlanDrawRequest) (*dosev1.PlanDrawResponse, error) {
	return reckoned(ctx, h, reckon.PlanDraw, m)
}

// AdviseDilution ranks dilutions and syringes by how exactly they measure a plan.
func (h *dosing) AdviseDilution(ctx context.Context, m *dosev1.AdviseDilutionRequest) (*dosev1.AdviseDilutionResponse, error) {
	return reckoned(ctx, h, reckon.AdviseDilution, m)
}

// CompareProducts shows published bands side by side. It converts nothing.
func (h *dosing) CompareProducts(ctx context.Context, m *dosev1.CompareProductsRequest) (*dosev1.CompareProductsResponse, error) {
	return reckoned(ctx, h, reckon.CompareProducts, m)
}

// CheckSession judges a session by the facts in the request, or by what the ledger holds of the session that it names.
func (h *dosing) CheckSession(ctx context.Context, m *dosev1.CheckSessionRequest) (*dosev1.CheckSessionResponse, error) {
	if m.GetSessionId() == "" {
		return reckoned(ctx, h, reckon.CheckSession, m)
	}
	s, builtin, err := h.about(ctx, optionsv1.RecordKind_RECORD_KIND_SESSION, "session_id", m.GetSessionId())
	if err != nil {
		return nil, err
	}
	facts, err := gather.Session(s, m.GetSessionId())
	if err != nil {
		return nil, err
	}
	e, err := chosen(s, builtin, m.GetFormulary(), func() *formulary.Edition { return gather.ForSession(s, builtin, facts.GetSession()) })
	if err != nil {
		return nil, err
	}
	q := &dosev1.CheckSessionRequest{AsOf: m.GetAsOf(), Formulary: m.GetFormulary(), Subject: &dosev1.CheckSessionRequest_Facts{Facts: facts}}
	if q.AsOf == nil {
		q.AsOf = timestamppb.New(s.Now())
	}
	return answered(ctx, s, reckon.CheckSession, e, q)
}

// GetToxinHistory sums what a patient has had, from the facts in the request or from what the ledger holds of her.
func (h *dosing) GetToxinHistory(ctx context.Context, m *dosev1.GetToxinHistoryRequest) (*dosev1.GetToxinHistoryResponse, error) {
	if m.GetPatientId() == "" {
		return reckoned(ctx, h, reckon.GetToxinHistory, m)
	}
	s, e, facts, err := h.history(ctx, m.GetPatientId(), m.GetFormulary())
	if err != nil {
		return nil, err
	}
	q := proto.CloneOf(m)
	q.Subject = &dosev1.GetToxinHistoryRequest_Facts{Facts: facts}
	if q.On == nil {
		at := s.today(facts.GetPatient().GetHomeClinicId())
		q.On = &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}
	}
	return answered(ctx, s, reckon.GetToxinHistory, e, q)
}

// GetAsymmetry shows right beside left, from the facts in the request or from what the ledger holds of the patient.
func (h *dosing) GetAsymmetry(ctx context.Context, m *dosev1.GetAsymmetryRequest) (*dosev1.GetAsymmetryResponse, error) {
	if m.GetPatientId() == "" {
		return reckoned(ctx, h, reckon.GetAsymmetry, m)
	}
	s, e, facts, err := h.history(ctx, m.GetPatientId(), m.GetFormulary())
	if err != nil {
		return nil, err
	}
	q := proto.CloneOf(m)
	q.Subject = &dosev1.GetAsymmetryRequest_Facts{Facts: facts}
	return answered(ctx, s, reckon.GetAsymmetry, e, q)
}

// about opens what the caller may read, for a call about one record that she must be allowed to read.
func (h *dosing) about(ctx context.Context, kind optionsv1.RecordKind, field, id string) (*shelf, *formulary.Edition, error) {
	if h.charting == nil {
		return nil, nil, fault.New(faultv1.Reason_REASON_UNIMPLEMENTED, "", "", "")
	}
	key, err := readID(kind, field, id)
	if err != nil {
		return nil, nil, err
	}
	s, err := h.shelf(ctx)
	if err != nil {
		return nil, nil, err
	}
	facts := s.index.get(key)
	if facts == nil {
		return nil, nil, notFound()
	}
	if _, err := s.decide(ctx, facts); err != nil {
		return nil, nil, err
	}
	builtin, err := h.builtin()
	return s, builtin, err
}

// history gathers what a patient had.
func (h *dosing) history(ctx context.Context, patient string, choice *dosev1.FormularyChoice) (*shelf, *formulary.Edition, *dosev1.HistoryFacts, error) {
	s, builtin, err := h.about(ctx, optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", patient)
	if err != nil {
		return nil, nil, nil, err
	}
	facts, err := gather.History(s, patient)
	if err != nil {
		return nil, nil, nil, err
	}
	e, err := chosen(s, builtin, choice, func() *formulary.Edition {
		clinic := s.callersClinic()
		if clinic == "" {
			clinic = facts.GetPatient().GetHomeClinicId()
		}
		e, _ := gather.Chosen(s, builtin, clinic)
		return e
	})
	return s, e, facts, err
}

// answered reckons what was gathered, and enters what was read into the audit log.
func answered[Q, A any](ctx context.Context, s *shelf, by func(*formulary.Edition, Q) (A, error), e *formulary.Edition, q Q) (answer A, err error) {
	if answer, err = by(e, q); err != nil {
		return answer, err
	}
	return answer, s.enterAll(ctx, s.read)
}
