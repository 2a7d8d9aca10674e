package visit

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// QuestionState is where a question of a questionnaire stands in a visit.
type QuestionState string

// The states of a question.
const (
	// Unanswered has no answer. It is not "no".
	Unanswered QuestionState = "unanswered"
	// ToConfirm has an answer that was carried from an earlier visit and that nobody confirmed in this one. It clears nothing.
	ToConfirm QuestionState = "to_confirm"
	// Answered was asked in this visit, or confirmed in it.
	Answered QuestionState = "answered"
	// NotAsked is ruled out by the answer to another question.
	NotAsked QuestionState = "not_asked"
)

// QuestionAt is a question with its answer in a visit.
type QuestionAt struct {
	Question *chartv1.QuestionText    `json:"question"`
	State    QuestionState            `json:"state"`
	Answer   *chartv1.ScreeningAnswer `json:"answer"`
}

// QuestionsAt lists the questions of a questionnaire in their order, with where each stands in a visit.
func QuestionsAt(q *chartv1.Questionnaire, s *chartv1.Session) []QuestionAt {
	var out []QuestionAt
	for _, body := range questionsOf(q) {
		at := QuestionAt{Question: body, State: Unanswered, Answer: answerTo(q, s, body.GetCode())}
		switch {
		case at.Answer != nil && isConfirmed(at.Answer):
			at.State = Answered
		case ruledOut(q, s, body.GetShownIf()):
			at.State = NotAsked
		case at.Answer != nil:
			at.State = ToConfirm
		}
		out = append(out, at)
	}
	return out
}

func questionsOf(q *chartv1.Questionnaire) []*chartv1.QuestionText {
	var out []*chartv1.QuestionText
	for _, x := range q.GetQuestions() {
		if x.GetBody() != nil {
			out = append(out, x.GetBody())
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.QuestionText) int { return int(a.GetPosition()) - int(b.GetPosition()) })
	return out
}

// answerTo is the answer in a visit to a question of this version of a questionnaire: one that stands before one that is to be confirmed.
func answerTo(q *chartv1.Questionnaire, s *chartv1.Session, code string) *chartv1.ScreeningAnswer {
	var found *chartv1.ScreeningAnswer
	for _, a := range s.GetScreening() {
		x := a.GetAnswer()
		if a.GetVoid() != nil || x.GetQuestionnaireId() != q.GetId() || x.GetVersion() != q.GetVersion() || x.GetQuestion() != code {
			continue
		}
		if found == nil || isConfirmed(a) && !isConfirmed(found) {
			found = a
		}
	}
	return found
}

func isConfirmed(a *chartv1.ScreeningAnswer) bool {
	return a.GetCarried() == nil || a.GetCarried().GetConfirmed() != nil
}

// ruledOut reports whether a confirmed answer to the question that a condition names is another one than it wants. An answer that leaves it open rules
// nothing out.
func ruledOut(q *chartv1.Questionnaire, s *chartv1.Session, if_ *chartv1.QuestionCondition) bool {
	if if_ == nil {
		return false
	}
	a := answerTo(q, s, if_.GetQuestion())
	if a == nil || !isConfirmed(a) {
		return false
	}
	if if_.YesNo == nil {
		return !slices.Contains(a.GetAnswer().GetChoices(), if_.GetChoice())
	}
	said := a.GetAnswer().GetYesNo()
	return (said == chartv1.YesNo_YES_NO_YES || said == chartv1.YesNo_YES_NO_NO) && said != if_.GetYesNo()
}

// TakeAnswer records an answer as it was given in this visit. The questionnaire must be published; the answer must have the form that the question asks
// for. An answer that stood before is voided by it.
func TakeAnswer(h Hand, s *chartv1.Session, q *chartv1.Questionnaire, a *chartv1.Answer) (*chartv1.Session, error) {
	if err := May(Ask, s, h.Roles...); err != nil {
		return nil, err
	}
	body, err := usable(q, a.GetQuestion())
	if err != nil {
		return nil, err
	}
	if err := fits(body, a); err != nil {
		return nil, err
	}
	fresh := proto.CloneOf(a)
	fresh.QuestionnaireId, fresh.Version, fresh.Taken = q.GetId(), q.GetVersion(), h.Act()
	out := part(s)
	out.Screening = []*chartv1.ScreeningAnswer{{Id: h.NewID(), Answer: fresh}}
	for _, old := range s.GetScreening() {
		x := old.GetAnswer()
		if old.GetVoid() == nil && x.GetQuestionnaireId() == q.GetId() && x.GetQuestion() == a.GetQuestion() {
			out.Screening = append(out.Screening, &chartv1.ScreeningAnswer{Id: old.GetId(), Void: h.void("answered anew in this visit")})
		}
	}
	return out, nil
}

// usable is a question of a questionnaire that may be answered.
func usable(q *chartv1.Questionnaire, code string) (*chartv1.QuestionText, error) {
	switch {
	case q.GetPublished() == nil:
		return nil, wrong("questionnaire_id", q.GetId(), "a questionnaire that the medical lead published; this one is a draft")
	case q.GetWithdrawn() != nil:
		return nil, wrong("questionnaire_id", q.GetId(), "a questionnaire that is not withdrawn")
	}
	for _, body := range questionsOf(q) {
		if body.GetCode() == code {
			return body, nil
		}
	}
	return nil, notThere("question", code)
}

// fits refuses an answer of another form than the question asks for.
func fits(body *chartv1.QuestionText, a *chartv1.Answer) error {
	field := "screening.answer[" + body.GetCode() + "]"
	switch body.GetForm() {
	case chartv1.AnswerForm_ANSWER_FORM_YES_NO:
		if a.YesNo == nil || a.GetYesNo() == chartv1.YesNo_YES_NO_UNSPECIFIED {
			return wrong(field, "", "yes, no, unsure or declined")
		}
	case chartv1.AnswerForm_ANSWER_FORM_ONE_CHOICE, chartv1.AnswerForm_ANSWER_FORM_MANY_CHOICES:
		return fitsChoices(field, body, a)
	case chartv1.AnswerForm_ANSWER_FORM_TEXT:
		if a.GetText() == "" {
			return wrong(field, "", "words")
		}
	case chartv1.AnswerForm_ANSWER_FORM_DATE:
		if a.GetOn() == nil {
			return wrong(field, "", "a day, as far as it is known")
		}
	case chartv1.AnswerForm_ANSWER_FORM_PRIOR_TREATMENT:
		if a.YesNo == nil && a.GetOn() == nil && a.Product == nil {
			return wrong(field, "", "no, or what is known of the treatment: product, dose and day")
		}
	}
	return nil
}

func fitsChoices(field string, body *chartv1.QuestionText, a *chartv1.Answer) error {
	var all []string
	for _, c := range body.GetChoices() {
		all = append(all, c.GetCode())
	}
	for _, c := range a.GetChoices() {
		if !slices.Contains(all, c) {
			return wrong(field, c, "one of "+strings.Join(all, ", "))
		}
	}
	one := body.GetForm() == chartv1.AnswerForm_ANSWER_FORM_ONE_CHOICE
	if len(a.GetChoices()) == 0 || one && len(a.GetChoices()) > 1 {
		return wrong(field, strings.Join(a.GetChoices(), ", "), "a choice of "+strings.Join(all, ", "))
	}
	return nil
}

// CarryForward brings answers of an earlier visit of the same patient into this one, to be confirmed: each says where it comes from and clears nothing until
// somebody confirms it with the patient. Carried is what the question allows to be carried, for as many days as it says, from the same version of the
// questionnaire; what this visit answers already is left as it is. skipped are the questions that must be asked anew, and why.
func CarryForward(h Hand, s, from *chartv1.Session, q *chartv1.Questionnaire) (out *chartv1.Session, skipped map[string]string, err error) {
	if err := May(Ask, s, h.Roles...); err != nil {
		return nil, nil, err
	}
	switch {
	case q.GetPublished() == nil || q.GetWithdrawn() != nil:
		return nil, nil, wrong("questionnaire_id", q.GetId(), "a questionnaire that is published and not withdrawn")
	case from.GetPatientId() != s.GetPatientId() || from.GetId() == s.GetId():
		return nil, nil, wrong("screening.carried.session_id", from.GetId(), "another visit of this patient")
	case (from.GetPractice() != nil) != (s.GetPractice() != nil):
		return nil, nil, wrong("screening.carried.session_id", from.GetId(), "a visit for practice to one for practice, a real one to a real one")
	}
	out, skipped = part(s), map[string]string{}
	for _, body := range questionsOf(q) {
		if answerTo(q, s, body.GetCode()) != nil {
			continue
		}
		a, why := carried(q, s, from, body)
		if a == nil {
			skipped[body.GetCode()] = why
			continue
		}
		out.Screening = append(out.Screening, &chartv1.ScreeningAnswer{
			Id: h.NewID(), Answer: proto.CloneOf(a.GetAnswer()), Carried: &chartv1.CarriedAnswer{SessionId: from.GetId()},
		})
	}
	return out, skipped, nil
}

// carried is the answer that may be carried, or why none may.
func carried(q *chartv1.Questionnaire, s, from *chartv1.Session, body *chartv1.QuestionText) (a *chartv1.ScreeningAnswer, why string) {
	if body.AskAgainDays == nil {
		return nil, "it is asked each time"
	}
	if a = answerTo(q, from, body.GetCode()); a == nil || !isConfirmed(a) {
		return nil, "the earlier visit has no answer to this version of it"
	}
	now, err := dayOf("on", s.GetOn())
	then, err2 := dayOf("on", from.GetOn())
	if asked := a.GetAnswer().GetTaken().GetAt(); asked != nil && a.GetCarried() != nil {
		// An answer that was carried before is as old as it was when the patient was asked.
		then, err2 = dayAt(asked.AsTime()), nil
	}
	if err != nil || err2 != nil || int(now-then) > int(body.GetAskAgainDays()) || now < then {
		return nil, "the answer is too old"
	}
	return a, ""
}

// ConfirmAnswer records that an answer that was carried forward was read to the patient and still holds.
func ConfirmAnswer(h Hand, s *chartv1.Session, id string) (*chartv1.Session, error) {
	if err := May(Ask, s, h.Roles...); err != nil {
		return nil, err
	}
	for _, a := range s.GetScreening() {
		if a.GetId() != id {
			continue
		}
		if a.GetCarried() == nil || a.GetVoid() != nil {
			return nil, wrong("screening["+id+"]", "", "an answer that was carried forward and counts")
		}
		out := part(s)
		out.Screening = []*chartv1.ScreeningAnswer{{Id: id, Carried: &chartv1.CarriedAnswer{
			SessionId: a.GetCarried().GetSessionId(), Confirmed: h.Act(),
		}}}
		return out, nil
	}
	return nil, notThere("screening", id)
}
