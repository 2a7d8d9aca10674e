package demo

import (
	"crypto/sha256"
	"fmt"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
)

// consentText is a published text by its record and the digest of its words.
type consentText struct {
	id     record.ID
	digest [sha256.Size]byte
}

type risk struct{ code, text string }

// risks is what a text on a region names. They are common practice, no source, and no advice.
func risks(region string) []risk {
	out := []risk{
		{"bruise", "A bruise or a headache may come and goes by itself."},
		{"wears_off", "The effect begins within days and wears off within months."},
	}
	if region == "lower_face" {
		return append(out,
			risk{"crooked_mouth", "The mouth may be crooked: too little on one side, or spread to a neighbour. It may not be correctable. It wears off."},
			risk{"weak_lips", "Drinking from a straw, whistling or some sounds may be harder for weeks."})
	}
	return append(out, risk{"drooping_lid", "A lid or a brow may droop for some weeks."})
}

// question is one of yes and no, or one with choices. Conditions are the formulary's; a choice has the name of its condition as its code.
type question struct {
	code, text, condition string
	choices               []choice
}

type choice struct{ condition, text string }

// noneOfThese is the choice of a patient whom no other choice fits: said, and not left open.
const noneOfThese = "none"

// questions asks about every condition that the formulary holds a treatment for, and some that it cautions of.
func questions() []question {
	return []question{
		{"nerves_and_muscles", "Do you have any of these diseases of nerves or muscles?", "", []choice{
			{"myasthenia_gravis", "myasthenia gravis"}, {"lambert_eaton_syndrome", "Lambert-Eaton syndrome"},
			{"amyotrophic_lateral_sclerosis", "amyotrophic lateral sclerosis"}, {"neuromuscular_disorder", "another disease of nerves or muscles"},
		}},
		{"allergies", "Are you allergic to any of these?", "", []choice{
			{"hypersensitivity", "botulinum toxin of any kind, or anything that was in it"}, {"cow_milk_protein_allergy", "the protein of cow's milk"},
		}},
		{"medicines", "Do you take any of these, or did you lately?", "", []choice{
			{"aminoglycosides", "an antibiotic such as gentamicin"}, {"spectinomycin", "spectinomycin"},
			{"muscle_relaxants", "something that relaxes muscles"},
		}},
		{"skin_today", "Is there any of these today where you are to be treated?", "", []choice{
			{"infection_at_site", "an infection, such as a cold sore or a boil"}, {"inflammation_at_site", "skin that is red, swollen or sore"},
		}},
		{"pregnant", "Are you pregnant, or might you be?", "pregnancy", nil},
		{"breast_feeding", "Do you breast-feed?", "breast_feeding", nil},
		{"treated_elsewhere", "Were you treated with botulinum toxin anywhere else in the last six months?", "", nil},
	}
}

// body is a question as the questionnaire has it.
func (q question) body(position int32) *chartv1.QuestionText {
	m := &chartv1.QuestionText{Code: q.code, Position: position, Text: q.text, Form: chartv1.AnswerForm_ANSWER_FORM_YES_NO, MustBeAnswered: true}
	if q.condition != "" {
		m.Condition = &q.condition
	}
	if len(q.choices) == 0 {
		return m
	}
	m.Form = chartv1.AnswerForm_ANSWER_FORM_MANY_CHOICES
	for _, c := range q.choices {
		m.Choices = append(m.Choices, &chartv1.QuestionChoice{Code: c.condition, Text: c.text, Condition: &c.condition})
	}
	m.Choices = append(m.Choices, &chartv1.QuestionChoice{Code: noneOfThese, Text: "none of these"})
	return m
}

// answer is what a patient says who has no condition but the one that her alert names, if any.
func (q question) answer(condition string) *chartv1.Answer {
	if len(q.choices) == 0 {
		return &chartv1.Answer{Question: q.code, YesNo: chartv1.YesNo_YES_NO_NO.Enum()}
	}
	said := noneOfThese
	for _, c := range q.choices {
		if c.condition == condition {
			said = condition
		}
	}
	return &chartv1.Answer{Question: q.code, Choices: []string{said}}
}

// texts makes the consent texts, the questionnaire and the protocols, written and published by the medical lead.
func (w *world) texts(t *tablet) error {
	for _, region := range []string{"upper_face", "lower_face"} {
		if err := w.consentTextOn(t, region); err != nil {
			return err
		}
	}
	if err := w.writeQuestionnaire(t); err != nil {
		return err
	}
	for _, r := range regimens() {
		if err := w.writeProtocol(t, r); err != nil {
			return err
		}
	}
	return nil
}

func (w *world) consentTextOn(t *tablet, region string) error {
	lead, at, k := w.staff[ines], w.founded(), record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT, ID: t.dice.id()}
	words := "Botulinum toxin relaxes the muscle that it is put into. You may ask anything, think it over, and say no at any time."
	m := &chartv1.ConsentText{
		Series: &region, Version: new("1"), Language: new("en"), Title: new("Treatment of the " + spaced(region)),
		Scope: &chartv1.ConsentScope{Regions: []string{region}},
		Paragraphs: []*chartv1.ConsentParagraph{{
			Id: t.dice.id().String(), Body: &chartv1.ParagraphText{Position: 1, Heading: "What is done", Text: words},
		}},
	}
	for i, r := range risks(region) {
		m.Risks = append(m.Risks, &chartv1.NamedRisk{Id: t.dice.id().String(), Risk: &chartv1.RiskText{Code: r.code, Text: r.text, Position: int32(i + 1)}})
	}
	if err := t.write(lead, at, k, m); err != nil {
		return err
	}
	digest := sha256.Sum256(t.r.View(k).Message())
	w.consentTexts[region] = consentText{k.ID, digest}
	return t.write(lead, at, k, &chartv1.ConsentText{Published: &chartv1.TextPublication{Digest: digest[:], Published: act(lead, at)}})
}

func (w *world) writeQuestionnaire(t *tablet) error {
	lead, at := w.staff[ines], w.founded()
	w.questionnaire = t.dice.id()
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE, ID: w.questionnaire}
	m := &chartv1.Questionnaire{Series: new("before_treatment"), Version: new("1"), Language: new("en"), Title: new("Before treatment")}
	for i, q := range questions() {
		m.Questions = append(m.Questions, &chartv1.Question{Id: t.dice.id().String(), Body: q.body(int32(i + 1))})
	}
	if err := t.write(lead, at, k, m); err != nil {
		return err
	}
	digest := sha256.Sum256(t.r.View(k).Message())
	return t.write(lead, at, k, &chartv1.Questionnaire{Published: &chartv1.TextPublication{Digest: digest[:], Published: act(lead, at)}})
}

// writeProtocol is a regimen as a starting point for plans, at the lowest dose of its range. The places are the middle of the frame, to be set
// for each patient.
func (w *world) writeProtocol(t *tablet, r regimen) error {
	lead, at := w.staff[ines], w.founded()
	lowest, _, err := w.book.perInjection(r)
	if err != nil {
		return err
	}
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PROTOCOL, ID: t.dice.id()}
	m := &chartv1.Protocol{
		Title: new(fmt.Sprintf("%s, %s", r.name, r.product)), Version: new("1"),
		Scope: &chartv1.ProtocolScope{Product: r.product, Regions: []string{r.region}},
	}
	frame := map[string]string{frownLines: "brow", crowsFeet: "orbit", forehead: "brow", lipLines: "mouth", mouthCorners: "mouth"}[r.name]
	for _, p := range r.points {
		for range p.times {
			m.Points = append(m.Points, &chartv1.ProtocolPoint{Id: t.dice.id().String(), Position: new(int32(len(m.Points) + 1)), Point: &chartv1.PointPlan{
				Muscle: p.muscle, Side: p.side, Place: &chartv1.Place{Frame: frame}, Dose: &chartv1.Dose{Product: r.product, DoseMilliunits: lowest},
			}})
		}
	}
	if err := t.write(lead, at, k, m); err != nil {
		return err
	}
	digest := sha256.Sum256(t.r.View(k).Message())
	return t.write(lead, at, k, &chartv1.Protocol{Published: &chartv1.TextPublication{Digest: digest[:], Published: act(lead, at)}})
}
