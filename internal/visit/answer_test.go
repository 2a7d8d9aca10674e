package visit_test

import (
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/visit"
)

func TestAnswerFinding(t *testing.T) {
	const (
		lifted   = chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED
		accepted = chartv1.FindingDecisionKind_FINDING_DECISION_KIND_ACCEPTED
		heeded   = chartv1.FindingDecisionKind_FINDING_DECISION_KIND_HEEDED
	)
	b := newBook(t)
	s := b.begin()
	hold := &dosev1.Finding{FindingId: "f", Code: "AGE_UNVERIFIED", Level: formularyv1.Level_LEVEL_HOLD, Text: "x", LiftableBy: []accessv1.Role{visit.Lead}}
	never := &dosev1.Finding{FindingId: "n", Code: "VIAL_EXPIRED", Level: formularyv1.Level_LEVEL_HOLD, Text: "x"}
	caution := &dosev1.Finding{FindingId: "c", Code: "LOT_UNKNOWN", Level: formularyv1.Level_LEVEL_CAUTION, Text: "x"}
	for name, c := range map[string]struct {
		who     string
		finding *dosev1.Finding
		kind    chartv1.FindingDecisionKind
		reason  string
		refused bool
	}{
		"the lead lifts":                {lena, hold, lifted, "passport seen yesterday", false},
		"the lead gives no reason":      {lena, hold, lifted, "", true},
		"an injector lifts":             {mia, hold, lifted, "x", true},
		"a hold accepted":               {lena, hold, accepted, "x", true},
		"a hold heeded":                 {mia, hold, heeded, "", false},
		"what nobody may lift":          {lena, never, lifted, "x", true},
		"a caution accepted":            {mia, caution, accepted, "", false},
		"a caution lifted":              {lena, caution, lifted, "x", true},
		"no decision":                   {mia, caution, 0, "", true},
		"a finding that is of no visit": {mia, &dosev1.Finding{}, accepted, "", true},
	} {
		part, err := visit.AnswerFinding(b.hand(c.who), s, c.finding, c.kind, c.reason)
		if (err != nil) != c.refused {
			t.Errorf("%s: %v", name, err)
		}
		if err == nil && (part.GetFindingAnswers()[0].GetAnswer().GetText() != "x" || part.GetFindingAnswers()[0].GetAnswer().GetRole() == 0) {
			t.Errorf("%s: %v", name, part)
		}
	}
}
