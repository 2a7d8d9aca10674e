package visit

import (
	"slices"

	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/fault"
)

// AnswerFinding records what was decided about a finding, with the finding as it was read: a hold lifted, a caution accepted, or either heeded. Only a hold is
// lifted, with a reason, in a role of hers that may lift it; who may is what the finding itself says. Whether a supervisor is credentialled for the region
// the guardrails judge.
func AnswerFinding(h Hand, s *chartv1.Session, f *dosev1.Finding, kind chartv1.FindingDecisionKind, reason string) (*chartv1.Session, error) {
	if err := May(Observe, s, h.Roles...); err != nil {
		return nil, err
	}
	role, err := h.answers(f, kind, reason)
	if err != nil {
		return nil, err
	}
	out := part(s)
	out.FindingAnswers = []*chartv1.FindingAnswer{{Id: h.NewID(), Answer: &chartv1.FindingDecision{
		FindingId: f.GetFindingId(), Code: f.GetCode(), Level: f.GetLevel(), Text: f.GetText(), Decision: kind, Reason: reason,
		Edition: proto.CloneOf(s.GetBasis().GetEdition()), Decided: h.Act(), Role: role,
	}}}
	return out, nil
}

// answers is the role in which the hand answers.
func (h Hand) answers(f *dosev1.Finding, kind chartv1.FindingDecisionKind, reason string) (accessv1.Role, error) {
	lifted := kind == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED
	switch {
	case f.GetFindingId() == "":
		return 0, wrong("finding_answers.answer.finding_id", "", "a finding of this visit")
	case kind == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_UNSPECIFIED:
		return 0, wrong("finding_answers.answer.decision", "", "lifted, accepted or heeded")
	case lifted && f.GetLevel() != formularyv1.Level_LEVEL_HOLD:
		return 0, wrong("finding_answers.answer.decision", "lifted", "a hold; a caution is accepted or heeded")
	case !lifted && kind != chartv1.FindingDecisionKind_FINDING_DECISION_KIND_HEEDED && f.GetLevel() == formularyv1.Level_LEVEL_HOLD:
		return 0, wrong("finding_answers.answer.decision", "accepted", "a hold to be lifted or heeded; accepting it lifts nothing")
	case lifted && reason == "":
		return 0, wrong("finding_answers.answer.reason", "", "why the hold is lifted")
	case lifted && len(f.GetLiftableBy()) == 0:
		return 0, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "finding_answers.answer.code", f.GetCode(), "to put right what is wrong: nobody may lift this hold")
	}
	for _, role := range h.Roles {
		if !lifted || slices.Contains(f.GetLiftableBy(), role) {
			return role, nil
		}
	}
	return 0, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(h.Roles), "to lift this hold: "+rolesText(f.GetLiftableBy()))
}
