package tabletcore

import (
	"encoding/json"
	"errors"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
)

// reckoning lists what can be asked of the core that holds no replica.
func reckoning() map[string]method {
	return map[string]method{
		"prepare":          reckoned(reckon.Prepare, func() *dosev1.PrepareRequest { return &dosev1.PrepareRequest{} }),
		"plan_draw":        reckoned(reckon.PlanDraw, func() *dosev1.PlanDrawRequest { return &dosev1.PlanDrawRequest{} }),
		"advise_dilution":  reckoned(reckon.AdviseDilution, func() *dosev1.AdviseDilutionRequest { return &dosev1.AdviseDilutionRequest{} }),
		"compare_products": reckoned(reckon.CompareProducts, func() *dosev1.CompareProductsRequest { return &dosev1.CompareProductsRequest{} }),
		"formulary":        formularyHere, "anatomy": anatomyAll, "drawing": drawing, "locate": locate, "mirror": mirror,
	}
}

// reckoned is a method of DoseService that needs no record.
func reckoned[Q, A proto.Message](by func(*formulary.Edition, Q) (A, error), fresh func() Q) method {
	return func(c *Core, r request) (answer, error) {
		m := fresh()
		if err := reckon.UnmarshalJSON(r.json, m); err != nil {
			return answer{}, err
		}
		return reckonedAnswer(by(c.editionHere(), m))
	}
}

// reckonedAnswer writes an answer of DoseService, with empty lists and texts, as its JSON has them everywhere.
func reckonedAnswer[A proto.Message](m A, err error) (answer, error) {
	if err != nil {
		return answer{}, err
	}
	raw, err := reckon.MarshalJSON(m)
	return answer{json: json.RawMessage(raw)}, err
}

// asked is a request about records: what the tablet knows, and the request of DoseService.
type asked struct {
	known
	Request json.RawMessage `json:"request"`
}

func readAsked(r request, m proto.Message) (asked, error) {
	var a asked
	if err := r.read(&a); err != nil {
		return a, err
	}
	return a, reckon.UnmarshalJSON(a.Request, m)
}

// gathered makes gather's errors refusals of a field.
func gathered(field, read string, err error) error {
	if errors.Is(err, gather.ErrNone) {
		return fault.New(faultv1.Reason_REASON_NOT_FOUND, field, read, "a record that this tablet holds")
	}
	return err
}

// checkSession gives the findings of a session from everything beside it that the tablet holds, or from the facts of the request.
func checkSession(c *Core, r request) (answer, error) {
	m := &dosev1.CheckSessionRequest{}
	a, err := readAsked(r, m)
	if err != nil {
		return answer{}, err
	}
	if m.GetAsOf() == nil {
		m.AsOf = timestamppb.New(a.at())
	}
	s := c.shelf(a.known)
	if id := m.GetSessionId(); id != "" {
		facts, err := gather.Session(s, id)
		if err != nil {
			return answer{}, gathered("session_id", id, err)
		}
		m.Subject = &dosev1.CheckSessionRequest_Facts{Facts: facts}
	}
	return reckonedAnswer(reckon.CheckSession(gather.ForSession(s, c.edition, m.GetFacts().GetSession()), m))
}

// toxinHistory sums what a patient has had.
func toxinHistory(c *Core, r request) (answer, error) {
	m := &dosev1.GetToxinHistoryRequest{}
	a, err := readAsked(r, m)
	if err != nil {
		return answer{}, err
	}
	if id := m.GetPatientId(); id != "" {
		facts, err := gather.History(c.shelf(a.known), id)
		if err != nil {
			return answer{}, gathered("patient_id", id, err)
		}
		m.Subject = &dosev1.GetToxinHistoryRequest_Facts{Facts: facts}
	}
	return reckonedAnswer(reckon.GetToxinHistory(c.editionHere(), m))
}

// asymmetry shows right beside left over a patient's treatments.
func asymmetry(c *Core, r request) (answer, error) {
	m := &dosev1.GetAsymmetryRequest{}
	a, err := readAsked(r, m)
	if err != nil {
		return answer{}, err
	}
	if id := m.GetPatientId(); id != "" {
		facts, err := gather.History(c.shelf(a.known), id)
		if err != nil {
			return answer{}, gathered("patient_id", id, err)
		}
		m.Subject = &dosev1.GetAsymmetryRequest_Facts{Facts: facts}
	}
	return reckonedAnswer(reckon.GetAsymmetry(c.editionHere(), m))
}

// findings says what only a merge can see of a vial or a patient, from what this tablet holds: {"kind", "record_id"}.
func findings(c *Core, r request) (answer, error) {
	m := &dosev1.ListFindingsRequest{}
	if err := reckon.UnmarshalJSON(slices.Concat([]byte(`{"key":`), r.json, []byte("}")), m); err != nil {
		return answer{}, err
	}
	k, err := readKey("key", m.GetKey())
	if err != nil {
		return answer{}, err
	}
	switch k.Kind {
	case kindVial:
		return messagesAnswer(chart.OverdrawnFindings(chart.FoldVial(c.replica.View(k), c.replica.Held(k))))
	case kindPatient:
		return messagesAnswer(c.twice(k))
	}
	return answer{json: json.RawMessage("[]")}, nil
}

// twice finds the patients held here who may be the same person.
func (c *Core) twice(k record.Key) (out []*dosev1.Finding) {
	mine := c.factsOf(k)
	for _, o := range c.replica.Keys(kindPatient) {
		if o == k || !slices.ContainsFunc(mine.Words, func(w string) bool { return slices.Contains(c.factsOf(o).Words, w) }) {
			continue
		}
		both := []chart.Identity{chart.FoldIdentity(c.replica.View(k)), chart.FoldIdentity(c.replica.View(o))}
		out = append(out, chart.TwiceFindings(both)...)
	}
	return out
}

// formularyHere is the edition that the tablet's clinic uses, whole.
func formularyHere(c *Core, _ request) (answer, error) {
	raw, err := messageJSON(c.editionHere().Message())
	return answer{json: raw}, err
}
