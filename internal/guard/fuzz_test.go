package guard_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/formulary"
	"needlebook/internal/guard"
	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// FuzzCheckSession feeds requests as JSON: nothing panics, what is refused is refused whole, what is answered has findings of known codes, each once, none
// stronger than the table, and may go on only without an open hold.
func FuzzCheckSession(f *testing.F) {
	e := builtin(f)
	add := func(r *dosev1.CheckSessionRequest) {
		text, err := reckon.MarshalJSON(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	for i, row := range rows() {
		r := clear(e)
		row.trips(visit{r.GetFacts(), r})
		if i%8 == 0 && len(r.GetFacts().GetConflicts()) < 2 {
			r.GetFacts().GetSession().Screening, r.GetFacts().Questionnaires = r.GetFacts().GetSession().Screening[:2], nil
			add(r)
		}
	}
	f.Add([]byte(`{"as_of":"2026-03-02T12:00:00Z","facts":{"session":{"id":"s","injections":[{"id":"j"}]},"vials":[{}],"lots":[{}],"staff":[{}],"history":[{"id":"h"}]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := &dosev1.CheckSessionRequest{}
		if reckon.UnmarshalJSON(data, r) != nil {
			return
		}
		answersLawfully(t, e, r)
	})
}

// FuzzFacts feeds requests in their binary form, of which far more can be read than of mutated JSON.
func FuzzFacts(f *testing.F) {
	e := builtin(f)
	for i, row := range rows() {
		r := clear(e)
		row.trips(visit{r.GetFacts(), r})
		if i%4 != 0 || len(r.GetFacts().GetConflicts()) > 1 {
			continue
		}
		data, err := proto.Marshal(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r := &dosev1.CheckSessionRequest{}
		if proto.Unmarshal(data, r) == nil {
			answersLawfully(t, e, r)
		}
	})
}

// answersLawfully checks what holds for any request.
func answersLawfully(t *testing.T, e *formulary.Edition, r *dosev1.CheckSessionRequest) {
	t.Helper()
	before := proto.CloneOf(r)
	response, err := reckon.CheckSession(e, r)
	if !proto.Equal(before, r) {
		t.Fatal("the request was changed")
	}
	if err != nil {
		return
	}
	seen := make(map[string]bool)
	for _, finding := range response.GetFindings() {
		rule, known := guard.RuleOf(finding.GetCode())
		if !known || finding.GetLevel() < rule.Level || finding.GetText() == "" {
			t.Errorf("%s at %s: %q", finding.GetCode(), finding.GetLevel(), finding.GetText())
		}
		if id := finding.GetFindingId(); id != "" && r.GetFacts().GetSession().GetId() != "" && seen[id] {
			t.Errorf("%s is there twice: %v", finding.GetCode(), finding.GetAbout())
		}
		seen[finding.GetFindingId()] = true
		if finding.GetLevel() == hold && finding.GetAnswer() == nil && response.GetMayInject() {
			t.Errorf("may inject with an open hold: %s", finding.GetText())
		}
	}
	if _, err := reckon.MarshalJSON(response); err != nil {
		t.Errorf("the answer cannot be written: %v", err)
	}
}
