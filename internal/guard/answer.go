package guard

import (
	"slices"

	"needlebook/internal/formulary"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// atClinic is the level at which a code speaks where the clinic's edition sets one: at least that where it is stronger than the table's, at most that where
// it is weaker and the table lets it be.
func (c *checker) atClinic(rule Rule, level formularyv1.Level) formularyv1.Level {
	entry, ok := c.e.LiftRule(rule.Code)
	switch want := entry.GetLevel(); {
	case !ok || want == formularyv1.Level_LEVEL_UNSPECIFIED:
		return level
	case want <= rule.Level:
		return min(level, want)
	case want <= rule.Lowest():
		return formulary.Weaker(level, want)
	}
	return level
}

// lift is who may lift a rule's hold: the edition's entry, else the table's. What nobody may lift no edition opens. An entry that sets a level and names no
// roles leaves them as they are.
func (c *checker) lift(rule Rule) Lift {
	l := rule.Lift
	entry, ok := c.e.LiftRule(rule.Code)
	if ok && len(entry.GetRoles()) == 0 && entry.GetLevel() != formularyv1.Level_LEVEL_UNSPECIFIED {
		return Lift{Roles: l.Roles, Supervisor: entry.GetSupervisor() || l.Supervisor, Never: l.Never}
	}
	if ok && !l.Never {
		return Lift{Roles: entry.GetRoles(), Supervisor: entry.GetSupervisor() || l.Supervisor}
	}
	return l
}

// isLifted reports whether the answer that stands beside a finding lifts it.
func isLifted(f *dosev1.Finding) bool {
	return f.GetAnswer().GetDecision() == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED
}

// attachAnswers puts beside each finding the answer that stands, and says which do not. Answers remove nothing.
func (c *checker) attachAnswers() {
	if len(c.f.Session.GetFindingAnswers()) == 0 {
		return
	}
	found := make(map[string]*dosev1.Finding, len(c.found))
	for _, f := range c.found {
		found[f.GetFindingId()] = f
	}
	for _, a := range c.f.Session.GetFindingAnswers() {
		decision := a.GetAnswer()
		f := found[decision.GetFindingId()]
		if f == nil || decision == nil || a.GetTakenBack() != nil || f.GetFindingId() == "" {
			continue
		}
		if why := c.refused(f, decision); why != "" {
			c.say(said{code: CodeAnswerNot, about: []string{"finding_answers[" + a.GetId() + "]"},
				text: "An answer to " + f.GetCode() + " does not stand: " + why + "."})
			continue
		}
		if f.Answer == nil || isLifting(decision) && !isLifted(f) {
			f.Answer = decision
		}
	}
}

func isLifting(d *chartv1.FindingDecision) bool {
	return d.GetDecision() == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED
}

// refused says why an answer does not stand; empty when it does. Only lifting is bound to a role.
func (c *checker) refused(f *dosev1.Finding, d *chartv1.FindingDecision) string {
	rule, _ := RuleOf(f.GetCode())
	l := c.lift(rule)
	switch {
	case d.GetCode() != f.GetCode() || d.GetText() != f.GetText() || d.GetLevel() > f.GetLevel():
		return "it was given to other words than these"
	case !isLifting(d):
		return ""
	case f.GetLevel() != hold:
		return "only a hold is lifted"
	case len(l.Roles) == 0:
		return "nobody may lift this hold"
	case !slices.Contains(l.Roles, d.GetRole()) || !c.holdsRole(d.GetDecided().GetBy(), d.GetRole()):
		return "it was not given in a role that may lift it"
	case d.GetReason() == "":
		return "it gives no reason"
	case l.Supervisor && d.GetRole() != accessv1.Role_ROLE_MEDICAL_LEAD && !c.supervises(f, d.GetDecided().GetBy()):
		return "only a supervisor who is credentialled for the region may lift it"
	}
	return ""
}

// holdsRole reports whether a person has a role here by her record. The record of someone who answered belongs to the facts.
func (c *checker) holdsRole(id string, role accessv1.Role) bool {
	p := c.f.person(id)
	return p != nil && p.GetSuspended() == nil && c.hasRole(p, role)
}

// supervises reports whether a person other than the injector may treat, without supervision, every region that is treated.
func (c *checker) supervises(f *dosev1.Finding, id string) bool {
	p := c.f.person(id)
	if p == nil || id == c.f.Session.GetResponsibleId() {
		return false
	}
	for _, i := range c.injections {
		if i.giving.GetDone().GetBy() == id {
			return false
		}
	}
	for _, r := range c.regions() {
		if slices.Contains(f.GetAbout(), string(r)) && c.credential(p, r) != accessv1.CredentialKind_CREDENTIAL_KIND_INDEPENDENT {
			return false
		}
	}
	return true
}
