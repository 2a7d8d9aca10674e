package reckon

import (
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// defaultGraduation is the step that is reckoned with when the request names none.
const defaultGraduation = dose.Millilitre / 100

// Prepare reckons a vial with its diluent, or a ready liquid with none: strength, units per graduation, what labels print beside what is exact, and
// until when it may be used. The request is only read. For errors see the package comment.
func Prepare(e *formulary.Edition, r *dosev1.PrepareRequest) (*dosev1.PrepareResponse, error) {
	in := reader{edition: e}
	product := in.product(r.GetProduct())
	vial := in.vial(product, r.GetVial())
	graduation := in.optional("graduation_ml", r.GraduationMl, defaultGraduation)
	market := in.choice(r.GetFormulary())
	if r.GetMixedAt() != nil && r.GetMixedAt().CheckValid() != nil {
		in.refuse(badField, "mixed_at", "", "a time of the years 1 to 9999")
	}
	in.moreThanZero("graduation_ml", r.GetGraduationMl())
	use := in.use(r.Use)
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	prepared, err := dose.Prepare(vial, graduation)
	if err != nil {
		return nil, refusal(err, [][2]string{{"syringe.graduation_ml", "graduation_ml"}})
	}
	m := newMixed(e, product, vial, r.GetVial().GetDiluent(), market, use)
	response, err := answerPrepare(&m, prepared)
	if err != nil {
		return nil, refusal(err, nil)
	}
	addUseBy(response, &m, r.GetMixedAt())
	return response, nil
}

func answerPrepare(m *mixed, p dose.Prepared) (*dosev1.PrepareResponse, error) {
	concentration, err := concentrationOf(p.Concentration)
	if err != nil {
		return nil, err
	}
	statements, err := m.statements(p.Concentration)
	if err != nil {
		return nil, err
	}
	findings, err := m.findings(p.Concentration)
	if err != nil {
		return nil, err
	}
	graduation := p.PerGraduation.Number()
	return &dosev1.PrepareResponse{
		Concentration: concentration, UnitsPerGraduation: graduation.Decimal, UnitsPerGraduationFraction: optionalText(graduation.Fraction),
		Labelled: m.labelled(), Statements: statements, Findings: findings, Edition: used(m.edition), Caution: Caution,
	}, nil
}

// addUseBy answers with every rule, and with the time by the shortest rule that may be relied on. Without one: discard after this session.
func addUseBy(response *dosev1.PrepareResponse, m *mixed, mixedAt *timestamppb.Timestamp) {
	var shortest *formularyv1.UseByRule
	rules := m.edition.UseByRules(string(m.product), m.market)
	for _, rule := range rules {
		response.UseByRules = append(response.UseByRules, &dosev1.UseByStatement{Seconds: int32(rule.GetSeconds()), Storage: rule.GetStorage(),
			Market: rule.GetMarket(), Source: cite(m.edition, rule.GetProvenance())})
		if formulary.Clears(rule.GetProvenance()) && (shortest == nil || rule.GetSeconds() < shortest.GetSeconds()) {
			shortest = rule
		}
	}
	if shortest == nil {
		response.Findings = append(response.Findings, useByUnknown(m, rules))
		return
	}
	if mixedAt != nil {
		until := timestamppb.New(mixedAt.AsTime().Add(time.Duration(shortest.GetSeconds()) * time.Second))
		if until.CheckValid() == nil {
			response.UseBy = until
		}
	}
}

func useByUnknown(m *mixed, rules []*formularyv1.UseByRule) *dosev1.Finding {
	f := &dosev1.Finding{Code: CodeUseByUnknown, Level: formularyv1.Level_LEVEL_CAUTION, About: []string{"vial"},
		Text: "Discard " + string(m.product) + " after this session: no published figure for use after mixing or opening; set by the medical lead."}
	if len(rules) > 0 {
		rule := rules[0]
		f.Text = "Discard " + string(m.product) + " after this session: " + hours(rule.GetSeconds()) + " after mixing or opening is a figure " +
			formulary.ObtainedText(rule.GetProvenance().GetObtained()) + ", which permits nothing. Check the label; the medical lead can set one."
		f.Source = cite(m.edition, rule.GetProvenance())
	}
	return f
}

// hours is a time in words: "24 hours", or minutes where it is no whole number of hours.
func hours(seconds int64) string {
	if seconds%3600 == 0 {
		return strconv.FormatInt(seconds/3600, 10) + " hours"
	}
	return strconv.FormatInt(seconds/60, 10) + " minutes"
}
