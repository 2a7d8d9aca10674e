package main

import (
	"flag"
	"fmt"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/gather"
	"needlebook/internal/reckon"
	"needlebook/internal/visit"
)

// visitAnswer answers what the guardrails say of the visit now: the finding is found by its code, or by its id where a code speaks more than once.
func visitAnswer(f *flag.FlagSet) prepared {
	decision := f.String("decision", "", "lifted, accepted or heeded")
	reason := f.String("reason", "", "why, in `words`; needed to lift a hold")
	return prepared{[]string{visitArgument, "CODE"}, func(at *deed) error {
		kind, ok := chartv1.FindingDecisionKind_value["FINDING_DECISION_KIND_"+strings.ToUpper(*decision)]
		if !ok {
			return usagef("%s: --decision: read %q, want lifted, accepted or heeded", at.Name(), *decision)
		}
		found, err := at.findings()
		if err != nil {
			return err
		}
		var meant []*dosev1.Finding
		for _, x := range found {
			if x.GetCode() == at.args[1] || x.GetFindingId() == at.args[1] {
				meant = append(meant, x)
			}
		}
		if len(meant) != 1 {
			return usagef("%s: CODE: read %q, which %d findings of this visit have now, want one; dose check -json prints their ids", at.Name(), at.args[1], len(meant))
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, err := visit.AnswerFinding(h, at.session, meant[0], chartv1.FindingDecisionKind(kind), *reason)
		if err != nil {
			return err
		}
		return at.done(func(p *page) { p.wrapped("", "Answered: "+meant[0].GetText()) }, part)
	}}
}

// findings are what the guardrails say of the visit by what the replica holds now.
func (at *deed) findings() ([]*dosev1.Finding, error) {
	facts, err := gather.Session(at.d.Records(), at.session.GetId())
	if err != nil {
		return nil, err
	}
	edition := gather.ForSession(at.d.Records(), at.builtin, facts.GetSession())
	response, err := reckon.CheckSession(edition, &dosev1.CheckSessionRequest{
		AsOf: timestamppb.New(at.e.now()), Subject: &dosev1.CheckSessionRequest_Facts{Facts: facts},
	})
	return response.GetFindings(), err
}

// holds tells the holds that nobody lifted. They stop no record of what was done, so they are told wherever the needle comes next.
func (at *deed) holds(p *page) {
	found, err := at.findings()
	if err != nil {
		p.wrapped("", "Whether something holds this visit could not be judged: "+err.Error())
		return
	}
	var standing []*dosev1.Finding
	for _, f := range found {
		if f.GetLevel() == formularyv1.Level_LEVEL_HOLD && f.GetAnswer().GetDecision() != chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED {
			standing = append(standing, f)
		}
	}
	if len(standing) == 0 {
		return
	}
	p.wrapped("", fmt.Sprintf("HOLD. Do not inject: %d not lifted. `needlebook dose check -session %s` says who may lift which.", len(standing), at.session.GetId()))
	for _, f := range standing {
		p.wrapped("  ", f.GetCode()+": "+f.GetText())
	}
}
