package starter_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/formulary"
	"needlebook/internal/starter"
	"needlebook/internal/visit"
)

func newID() func() string {
	n := 0
	return func() string { n++; return fmt.Sprintf("0b9d6f5e-4c1a-4f0e-9a55-%012x", n) }
}

func lead() visit.Hand {
	return visit.Hand{By: "0b9d6f5e-4c1a-4f0e-9a55-0000000000a2", Roles: []accessv1.Role{visit.Lead}, At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), NewID: newID()}
}

func drafts() []proto.Message {
	out := []proto.Message{starter.Questionnaire(newID())}
	for _, t := range starter.ConsentTexts(newID()) {
		out = append(out, t)
	}
	return out
}

// TestDrafts: each fits the schema, is a draft that says so, and is fit to be published as it stands.
func TestDrafts(t *testing.T) {
	for _, m := range drafts() {
		if err := protovalidate.Validate(m); err != nil {
			t.Errorf("%v: %v", m, err)
		}
		if visit.IsAsPublished(m) {
			t.Errorf("%v is published", m)
		}
		if _, err := visit.Publish(lead(), m); err != nil {
			t.Errorf("publish %v: %v", m, err)
		}
		if text, ok := m.(*chartv1.ConsentText); ok && !strings.HasPrefix(visit.ConsentWords(text), "DRAFT") {
			t.Errorf("%s does not say that it is a draft", text.GetSeries())
		}
	}
}

// TestQuestionnaire_AsksWhatTheFormularyHolds: every condition of the formulary is asked about, and nothing is asked under a name that the formulary does
// not know.
func TestQuestionnaire_AsksWhatTheFormularyHolds(t *testing.T) {
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for _, c := range e.Contraindications() {
		known[c.GetCondition()] = true
	}
	asked := map[string]bool{}
	for _, q := range starter.Questionnaire(newID()).GetQuestions() {
		asked[q.GetBody().GetCondition()] = true
		for _, c := range q.GetBody().GetChoices() {
			asked[c.GetCondition()] = true
		}
	}
	delete(asked, "")
	for c := range known {
		if !asked[c] {
			t.Errorf("%s is not asked about", c)
		}
	}
	for c := range asked {
		if !known[c] {
			t.Errorf("the formulary does not know %s", c)
		}
	}
}

// TestConsentTexts_Mouth: the text for the mouth names crookedness with both of its causes, that it may not be correctable, and that it wears off; every
// region that is treated has a text.
func TestConsentTexts_Mouth(t *testing.T) {
	texts := starter.ConsentTexts(newID())
	for _, m := range anatomy.Muscles() {
		has := slices.ContainsFunc(texts, func(x *chartv1.ConsentText) bool { return slices.Contains(x.GetScope().GetRegions(), string(m.Region)) })
		if m.Target && !has {
			t.Errorf("no text covers %s in %s", m.Code, m.Region)
		}
	}
	i := slices.IndexFunc(texts, func(x *chartv1.ConsentText) bool { return x.GetSeries() == "lower_face" })
	words := visit.ConsentWords(texts[i])
	for _, want := range []string{"crooked", "too little", "spreads to a muscle beside", "may not be correctable", "wears off", "swallowing, speaking or breathing"} {
		if !strings.Contains(words, want) {
			t.Errorf("the text for the mouth does not say %q", want)
		}
	}
	if texts[i].GetCoolingOffHours() < 1 {
		t.Error("no time to think")
	}
}
