package guard

import (
	"slices"

	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// asked is what is known of one condition: that it was asked about, and how it was said; empty where it was denied.
type asked struct {
	about []string
	how   string
}

// add is asked with one more answer or alert.
func (a asked) add(how string, about ...string) asked {
	if a.how == "" {
		a.how = how
	}
	a.about = append(slices.Clone(a.about), about...)
	return a
}

// How a condition was said.
const (
	howAnswer = "the answer was not no"
	howAlert  = "an alert of the patient says so"
	howSkin   = "the check before the needle says so"
)

// screening reads the answers to the questionnaires. A "not sure" and a "do not want to say" count as yes; what has no answer has none.
func (c *checker) screening() {
	conditions := make(map[string]asked)
	c.readAlerts(conditions)
	if !slices.ContainsFunc(c.f.Session.GetScreening(), standsAnswer) {
		c.say(said{code: CodeScreeningNone, about: []string{"screening"},
			text: "No question about diseases, drugs, pregnancy or allergy was answered in this visit."})
		c.judge(conditions)
		return
	}
	for _, q := range c.questionnaires() {
		c.unanswered(q, conditions)
	}
	var unreadable []string
	for _, a := range c.f.Session.GetScreening() {
		switch {
		case !standsAnswer(a):
		case c.question(a.GetAnswer()) == nil:
			unreadable = append(unreadable, wordText(a.GetAnswer().GetQuestion()))
		default:
			c.read(a, conditions)
		}
	}
	if len(unreadable) > 0 {
		c.say(said{code: CodeUnreadable, about: []string{"screening"},
			text: "The questions behind answers are not known here, so the answers cannot be judged: " +
				countText(unreadable) + "."})
	}
	if skin := c.lastReadiness(func(a *chartv1.ReadinessAnswers) *bool { return a.Skin }); skin != nil {
		how := ""
		if !*skin {
			how = howSkin
		}
		conditions["infection_at_site"] = conditions["infection_at_site"].add(how, "readiness_checks")
	}
	c.judge(conditions)
	c.notAsked(conditions)
}

// standsAnswer reports whether an answer counts: not voided, and confirmed where it was carried over.
func standsAnswer(a *chartv1.ScreeningAnswer) bool {
	return a.GetVoid() == nil && a.GetAnswer() != nil && (a.GetCarried() == nil || a.GetCarried().GetConfirmed() != nil)
}

// questionnaires are those of which the visit answers anything.
func (c *checker) questionnaires() []*chartv1.Questionnaire {
	var used []*chartv1.Questionnaire
	for _, q := range c.f.Questionnaires {
		if slices.ContainsFunc(c.f.Session.GetScreening(), func(a *chartv1.ScreeningAnswer) bool { return a.GetAnswer().GetQuestionnaireId() == q.GetId() }) {
			used = append(used, q)
		}
	}
	return used
}

func (c *checker) answerOf(questionnaire, question string) *chartv1.Answer {
	for _, a := range c.f.Session.GetScreening() {
		if standsAnswer(a) && a.GetAnswer().GetQuestionnaireId() == questionnaire && a.GetAnswer().GetQuestion() == question {
			return a.GetAnswer()
		}
	}
	return nil
}

// unanswered holds each question that must be answered and is not. A question that another answer rules out is not asked, and its condition is cleared by that.
func (c *checker) unanswered(q *chartv1.Questionnaire, conditions map[string]asked) {
	for _, question := range q.GetQuestions() {
		body := question.GetBody()
		if body == nil || c.answerOf(q.GetId(), body.GetCode()) != nil {
			continue
		}
		if c.ruledOut(q.GetId(), body.GetShownIf()) {
			if _, known := conditions[body.GetCondition()]; body.Condition != nil && !known {
				conditions[body.GetCondition()] = asked{}
			}
			continue
		}
		if body.GetMustBeAnswered() {
			c.say(said{code: CodeUnanswered, about: []string{"screening"}, of: q.GetId() + "/" + body.GetCode(), text: "Not answered: " + body.GetText()})
		}
	}
}

// ruledOut reports whether the answer that a question depends on is there and is another one.
func (c *checker) ruledOut(questionnaire string, if_ *chartv1.QuestionCondition) bool {
	if if_ == nil {
		return false
	}
	a := c.answerOf(questionnaire, if_.GetQuestion())
	switch {
	case a == nil:
		return false
	case if_.YesNo != nil:
		return a.YesNo != nil && (a.GetYesNo() == chartv1.YesNo_YES_NO_YES || a.GetYesNo() == chartv1.YesNo_YES_NO_NO) && a.GetYesNo() != if_.GetYesNo()
	default:
		return !slices.Contains(a.GetChoices(), if_.GetChoice())
	}
}

// read turns one answer into conditions.
func (c *checker) read(a *chartv1.ScreeningAnswer, conditions map[string]asked) {
	body := c.question(a.GetAnswer())
	note := func(condition string, yes bool) {
		how := ""
		if yes {
			how = howAnswer
		}
		conditions[condition] = conditions[condition].add(how, "screening["+a.GetId()+"]")
	}
	if body.Condition != nil {
		note(body.GetCondition(), a.GetAnswer().GetYesNo() != chartv1.YesNo_YES_NO_NO)
	}
	for _, choice := range body.GetChoices() {
		if choice.Condition != nil {
			note(choice.GetCondition(), slices.Contains(a.GetAnswer().GetChoices(), choice.GetCode()))
		}
	}
}

// question finds the question of an answer, of the version that was read to the patient.
func (c *checker) question(a *chartv1.Answer) *chartv1.QuestionText {
	for _, q := range c.f.Questionnaires {
		if q.GetId() != a.GetQuestionnaireId() || q.GetVersion() != a.GetVersion() {
			continue
		}
		for _, question := range q.GetQuestions() {
			if question.GetBody().GetCode() == a.GetQuestion() {
				return question.GetBody()
			}
		}
	}
	return nil
}

// readAlerts adds the conditions of the patient's alerts that hold.
func (c *checker) readAlerts(conditions map[string]asked) {
	for _, a := range c.f.Patient.GetAlerts() {
		if condition := a.GetContent().GetCondition(); a.GetEnded() == nil && condition != "" {
			conditions[condition] = conditions[condition].add(howAlert, c.patientKey(), "alerts["+a.GetId()+"]")
		}
	}
}

// judge says what the formulary holds of each condition that the patient has, for each product.
func (c *checker) judge(conditions map[string]asked) {
	var names []string
	for name, a := range conditions {
		if a.how != "" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		about := slices.Clone(conditions[name].about)
		slices.Sort(about)
		about = slices.Compact(about)
		listed := false
		for _, product := range c.named {
			listed = c.judgeFor(product, name, conditions[name].how, about) || listed
		}
		if !listed {
			c.say(said{code: CodeUnlisted, about: about, of: name, text: "The patient has, may have or takes: " + wordText(name) + "; " +
				conditions[name].how +
				". For the product planned the formulary says nothing of it; ask the medical lead."})
		}
	}
}

func (c *checker) judgeFor(product, condition, how string, about []string) (listed bool) {
	for _, entry := range c.e.Contraindications() {
		if entry.GetCondition() != condition || entry.Product != nil && entry.GetProduct() != product || !formulary.Holds(entry.GetMarket(), c.f.Market) {
			continue
		}
		listed = true
		c.say(said{code: codeOfKind(entry.GetKind()), level: entry.GetLevel(), about: about, of: product + "/" + entry.GetCode(),
			source: entry.GetProvenance(),
			text:   product + inMarket(entry.GetMarket()) + ": " + entry.GetText() + " Here " + how + "."})
	}
	if p, ok := c.e.Product(product); ok && slices.Contains(p.GetExcipients(), condition) {
		listed = true
		c.say(said{code: CodeAllergy, about: about, of: product + "/" + condition, source: p.GetProvenance(),
			text: product + " holds " + wordText(condition) + ", and " + how + "."})
	}
	return listed
}

func codeOfKind(k formularyv1.ContraindicationKind) string {
	switch k {
	case formularyv1.ContraindicationKind_CONTRAINDICATION_KIND_ALLERGY:
		return CodeAllergy
	case formularyv1.ContraindicationKind_CONTRAINDICATION_KIND_INTERACTION:
		return CodeInteraction
	case formularyv1.ContraindicationKind_CONTRAINDICATION_KIND_PREGNANCY:
		return CodePregnancy
	case formularyv1.ContraindicationKind_CONTRAINDICATION_KIND_BREAST_FEEDING:
		return CodeBreastFeeding
	case formularyv1.ContraindicationKind_CONTRAINDICATION_KIND_INFECTION:
		return CodeInfection
	default:
		return CodeContraindication
	}
}

// notAsked names the conditions that would hold and that nobody asked about.
func (c *checker) notAsked(conditions map[string]asked) {
	var missing []string
	for _, entry := range c.e.Contraindications() {
		applies := entry.Product == nil || slices.Contains(c.named, entry.GetProduct())
		name := wordText(entry.GetCondition())
		if _, known := conditions[entry.GetCondition()]; known || !applies || entry.GetLevel() != hold || !formulary.Holds(entry.GetMarket(), c.f.Market) ||
			slices.Contains(missing, name) {
			continue
		}
		missing = append(missing, name)
	}
	if len(missing) > 0 {
		c.say(said{code: CodeNotAsked, about: []string{"screening"}, text: "Not asked about, and each would hold: " + listText(missing) + "."})
	}
}

// alerts shows what everyone who treats the patient must see first. An allergy meets a product of which not all is known with a caution of its own.
func (c *checker) alerts() {
	allergic := false
	for _, a := range c.f.Patient.GetAlerts() {
		if a.GetEnded() != nil || a.GetContent() == nil {
			continue
		}
		level := caution
		if a.GetContent().GetKind() == chartv1.AlertKind_ALERT_KIND_FAINTING {
			level = note
		}
		allergic = allergic || a.GetContent().GetKind() == chartv1.AlertKind_ALERT_KIND_ALLERGY
		c.say(said{code: CodeAlert, level: level, about: []string{c.patientKey(), "alerts[" + a.GetId() + "]"}, text: "Alert: " + a.GetContent().GetText()})
	}
	for _, product := range c.named {
		if p, ok := c.e.Product(product); ok && allergic && len(p.GetExcipients()) == 0 {
			c.say(said{code: CodeExcipients, about: []string{c.patientKey(), "alerts"}, of: product,
				text: "The patient has an allergy, and what " + product + " holds beside the toxin is not in the formulary. Read its label."})
		}
	}
}
