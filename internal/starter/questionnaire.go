package starter

import (
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// Version is the version of the drafts.
const Version = "draft 1"

// asked is a question of yes and no with its condition, or one with choices, or one of another form.
type asked struct {
	code, text, condition string
	form                  chartv1.AnswerForm
	choices               []choice
	again                 int32  // days for which an answer may be carried forward; 0 asks each time
	only                  string // the question that must be answered with yes
	must                  bool
}

type choice struct{ condition, text string }

const (
	year    = 365
	yesNo   = chartv1.AnswerForm_ANSWER_FORM_YES_NO
	many    = chartv1.AnswerForm_ANSWER_FORM_MANY_CHOICES
	inWords = chartv1.AnswerForm_ANSWER_FORM_TEXT
	earlier = chartv1.AnswerForm_ANSWER_FORM_PRIOR_TREATMENT
)

// questions are those of the draft. What may change from one visit to the next is asked each time.
func questions() []asked {
	return []asked{
		{code: "pregnant", text: "Are you pregnant, or might you be, or do you try to be?", condition: "pregnancy", form: yesNo, must: true},
		{code: "breast_feeding", text: "Do you breast-feed?", condition: "breast_feeding", form: yesNo, must: true},
		{code: "skin_today", text: "Is there any of these today where you are to be treated?", form: many, must: true, choices: []choice{
			{"infection_at_site", "an infection, such as a cold sore or a boil"}, {"inflammation_at_site", "skin that is red, swollen or sore"},
		}},
		{code: "reaction", text: "Did you ever have an allergic or a bad reaction to botulinum toxin, or to anything that was in it?",
			condition: "hypersensitivity", form: yesNo, must: true},
		{code: "allergies", text: "Are you allergic to any of these?", form: many, must: true, again: year, choices: []choice{
			{"cow_milk_protein_allergy", "the protein of cow's milk"},
		}},
		{code: "nerves_and_muscles", text: "Do you have, or does anyone think you may have, one of these diseases of nerves or muscles?", form: many, must: true,
			again: year, choices: []choice{
				{"myasthenia_gravis", "myasthenia gravis"}, {"lambert_eaton_syndrome", "Lambert-Eaton syndrome"},
				{"amyotrophic_lateral_sclerosis", "amyotrophic lateral sclerosis"}, {"neuromuscular_disorder", "another disease of nerves or muscles"},
			}},
		{code: "swallowing_or_breathing", text: "Do you have trouble swallowing, speaking or breathing?", condition: "swallowing_or_breathing_trouble",
			form: yesNo, must: true},
		{code: "heart", text: "Do you have a disease of the heart or the circulation?", condition: "cardiovascular_disease", form: yesNo, again: year},
		{code: "medicines", text: "Do you take any of these, or did you in the last weeks?", form: many, must: true, choices: []choice{
			{"aminoglycosides", "an antibiotic of the kind of gentamicin"}, {"spectinomycin", "spectinomycin"}, {"polymyxin", "polymyxin"},
			{"tetracycline", "an antibiotic of the kind of tetracycline"}, {"lincomycin", "lincomycin or a like antibiotic"},
			{"neuromuscular_blockers", "something that blocks nerves and muscles, as for an anaesthetic"}, {"muscle_relaxants", "something that relaxes muscles"},
			{"anticholinergics", "something against cramps, tremor, allergy or an irritable bladder that makes the mouth dry"},
		}},
		{code: "blood", text: "Which medicines or remedies do you take that thin the blood, if any?", form: inWords},
		{code: "treated_elsewhere", text: "Were you treated with any botulinum toxin in the last four months, anywhere, for your looks or for a disease?",
			condition: "other_toxin_recently", form: yesNo, must: true},
		{code: "treated_elsewhere_what", text: "Which product was it, how much, and when, as far as you know?", form: earlier, only: "treated_elsewhere"},
		{code: "surgery", text: "Did you have surgery or an injury of the face lately?", condition: "recent_facial_surgery", form: yesNo},
		{code: "face", text: "What of this do you have, or do we see together?", form: many, again: year, choices: []choice{
			{"marked_facial_asymmetry", "the two sides of the face clearly differ"}, {"excessive_skin_laxity", "very loose skin"},
			{"lid_ptosis", "a lid that hangs"}, {"weak_target_muscle", "a weak muscle where you are to be treated"},
			{"thick_sebaceous_skin", "thick, oily skin"},
		}},
		{code: "fainting", text: "Do you faint easily, or are you afraid of needles?", form: yesNo, again: year},
		{code: "anything_else", text: "Is there anything else that we should know: other diseases, medicines, plans of the next weeks?", form: inWords},
	}
}

// None is the choice of a patient whom no other choice fits: said, and not left open.
const None = "none"

// Questionnaire is a new draft of the questionnaire.
func Questionnaire(newID func() string) *chartv1.Questionnaire {
	q := &chartv1.Questionnaire{
		Id: newID(), Series: proto.String("before_treatment"), Version: proto.String(Version), Language: proto.String("en"),
		Title: proto.String("Before a treatment"),
	}
	for i, x := range questions() {
		q.Questions = append(q.Questions, &chartv1.Question{Id: newID(), Body: x.body(int32(i+1) * 10)})
	}
	return q
}

func (x asked) body(position int32) *chartv1.QuestionText {
	m := &chartv1.QuestionText{Code: x.code, Position: position, Text: x.text, Form: x.form, MustBeAnswered: x.must}
	if x.condition != "" {
		m.Condition = &x.condition
	}
	if x.again > 0 {
		m.AskAgainDays = &x.again
	}
	if x.only != "" {
		m.ShownIf = &chartv1.QuestionCondition{Question: x.only, YesNo: chartv1.YesNo_YES_NO_YES.Enum()}
	}
	for _, c := range x.choices {
		m.Choices = append(m.Choices, &chartv1.QuestionChoice{Code: c.condition, Text: c.text, Condition: &c.condition})
	}
	if len(x.choices) > 0 {
		m.Choices = append(m.Choices, &chartv1.QuestionChoice{Code: None, Text: "none of these"})
	}
	return m
}
