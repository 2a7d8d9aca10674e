package visit_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/visit"
)

func questionnaire() *chartv1.Questionnaire {
	days := func(n int32) *int32 { return &n }
	return &chartv1.Questionnaire{
		Id: "0b9d6f5e-4c1a-4f0e-9a55-0000000000e1", Version: proto.String("1"), Published: &chartv1.TextPublication{},
		Questions: []*chartv1.Question{
			{Id: "q1", Body: &chartv1.QuestionText{Code: "pregnant", Position: 1, Form: chartv1.AnswerForm_ANSWER_FORM_YES_NO, MustBeAnswered: true}},
			{Id: "q2", Body: &chartv1.QuestionText{Code: "muscle_disease", Position: 2, Form: chartv1.AnswerForm_ANSWER_FORM_YES_NO, AskAgainDays: days(365)}},
			{Id: "q3", Body: &chartv1.QuestionText{Code: "which_disease", Position: 3, Form: chartv1.AnswerForm_ANSWER_FORM_TEXT, AskAgainDays: days(365),
				ShownIf: &chartv1.QuestionCondition{Question: "muscle_disease", YesNo: chartv1.YesNo_YES_NO_YES.Enum()}}},
			{Id: "q4", Body: &chartv1.QuestionText{Code: "allergies", Position: 4, Form: chartv1.AnswerForm_ANSWER_FORM_MANY_CHOICES, AskAgainDays: days(30),
				Choices: []*chartv1.QuestionChoice{{Code: "none", Text: "none"}, {Code: "toxin", Text: "toxin"}}}},
		},
	}
}

func states(q *chartv1.Questionnaire, s *chartv1.Session) (out []visit.QuestionState) {
	for _, x := range visit.QuestionsAt(q, s) {
		out = append(out, x.State)
	}
	return out
}

// TestCarryForward: what was answered before comes back to be confirmed, never as answered, and never older than the question allows.
func TestCarryForward(t *testing.T) {
	b, q := newBook(t), questionnaire()
	before := b.begin()
	before.On = &recordv1.Date{Year: 2025, Month: 11, Day: 2}
	no := chartv1.YesNo_YES_NO_NO.Enum()
	for _, a := range []*chartv1.Answer{{Question: "pregnant", YesNo: no}, {Question: "muscle_disease", YesNo: no}, {Question: "allergies", Choices: []string{"none"}}} {
		part, err := visit.TakeAnswer(b.hand(tom), before, q, a)
		b.ok(err)
		join(before, part)
	}
	if got := states(q, before); !slices.Equal(got, []visit.QuestionState{"answered", "answered", "not_asked", "answered"}) {
		t.Fatalf("before: %v", got)
	}
	s := b.begin()
	part, skipped, err := visit.CarryForward(b.hand(tom), s, before, q)
	b.ok(err)
	join(s, part)
	if got := states(q, s); !slices.Equal(got, []visit.QuestionState{"unanswered", "to_confirm", "unanswered", "unanswered"}) {
		t.Errorf("carried: %v", got)
	}
	if len(skipped) != 3 || skipped["pregnant"] != "it is asked each time" || skipped["allergies"] != "the answer is too old" {
		t.Errorf("skipped %v", skipped)
	}
	part, err = visit.ConfirmAnswer(b.hand(tom), s, s.GetScreening()[0].GetId())
	b.ok(err)
	join(s, part)
	if got := states(q, s); got[1] != visit.Answered || s.GetScreening()[0].GetCarried().GetSessionId() != before.GetId() {
		t.Errorf("confirmed: %v", got)
	}
	part, err = visit.TakeAnswer(b.hand(tom), s, q, &chartv1.Answer{Question: "muscle_disease", YesNo: chartv1.YesNo_YES_NO_UNSURE.Enum()})
	b.ok(err)
	join(s, part)
	if x := visit.QuestionsAt(q, s)[1]; x.Answer.GetAnswer().GetYesNo() != chartv1.YesNo_YES_NO_UNSURE || visit.QuestionsAt(q, s)[2].State != visit.Unanswered {
		t.Errorf("answered anew: %v", x)
	}
}

func TestTakeAnswer_Refuses(t *testing.T) {
	b, q := newBook(t), questionnaire()
	s := b.begin()
	for name, a := range map[string]*chartv1.Answer{
		"nothing to yes or no": {Question: "pregnant"}, "a choice that is none": {Question: "allergies", Choices: []string{"milk"}},
		"no choice": {Question: "allergies"}, "no words": {Question: "which_disease"},
	} {
		if part, err := visit.TakeAnswer(b.hand(tom), s, q, a); err == nil {
			t.Errorf("%s: %v", name, part)
		}
	}
	q.Published = nil
	if _, err := visit.TakeAnswer(b.hand(tom), s, q, &chartv1.Answer{Question: "pregnant", YesNo: chartv1.YesNo_YES_NO_NO.Enum()}); !refused(err, "questionnaire_id") {
		t.Errorf("a draft: %v", err)
	}
}

func lowerFaceText() *chartv1.ConsentText {
	t := &chartv1.ConsentText{
		Id: "0b9d6f5e-4c1a-4f0e-9a55-0000000000f1", Version: proto.String("3"), Language: proto.String("en"), Title: proto.String("Around the mouth"),
		Scope: &chartv1.ConsentScope{Regions: []string{"lower_face"}}, CoolingOffHours: proto.Int32(24),
		Risks: []*chartv1.NamedRisk{{Id: "r1", Risk: &chartv1.RiskText{Code: "crooked_mouth", Text: "The mouth may be crooked."}},
			{Id: "r2", Risk: &chartv1.RiskText{Code: "wears_off", Text: "It wears off.", Position: 1}}},
	}
	t.Published = &chartv1.TextPublication{Digest: visit.TextDigest(t)}
	return t
}

func TestConsent(t *testing.T) {
	b, text, who := newBook(t), lowerFaceText(), patient()
	s := b.begin()
	draft := proto.CloneOf(text)
	draft.Published = nil
	if _, err := visit.ExplainText(b.hand(mia), s, draft, nil, abo); !refused(err, "consents.explained.consent_text_id") {
		t.Errorf("a draft: %v", err)
	}
	if words := visit.ConsentWords(draft); !strings.HasPrefix(words, "DRAFT") {
		t.Errorf("a draft reads %q", words)
	}
	if _, err := visit.ExplainText(b.hand(mia), s, text, nil, abo, "upper_face"); !refused(err, "consents.explained.regions") {
		t.Errorf("another region: %v", err)
	}
	changed := proto.CloneOf(text)
	changed.Risks = changed.Risks[:1]
	if _, err := visit.ExplainText(b.hand(mia), s, changed, nil, abo); !refused(err, "consents.explained.digest") {
		t.Errorf("a text that was changed since it was published: %v", err)
	}
	clinic := &chartv1.Clinic{Policies: &chartv1.ClinicPolicies{CoolingOffHours: 48}}
	part, err := visit.ExplainText(b.hand(mia), s, text, clinic, abo)
	b.ok(err)
	join(s, part)
	c := s.GetConsents()[0]
	if until, ok := visit.ThinkUntil(c); !ok || until.Sub(c.GetExplained().GetExplained().GetAt().AsTime()).Hours() != 48 {
		t.Errorf("to think until %v", until)
	}
	stroke := []*chartv1.Stroke{{PointsMicrometers: []int32{1, 2, 3, 4}}}
	agreed := visit.Agreement{Given: true, Risks: []string{"crooked_mouth", "wears_off"}, Signer: "Anna Vale", Relation: "self", Strokes: stroke}
	field := "consents[" + c.GetId() + "]"
	young := proto.CloneOf(who)
	young.Birth.Date.Year = 2010
	for name, x := range map[string]struct {
		change  func(*visit.Agreement)
		patient *chartv1.Patient
		field   string
	}{
		"a risk left out":     {func(a *visit.Agreement) { a.Risks = a.Risks[:1] }, who, field + ".decision.risks_understood"},
		"half a point":        {func(a *visit.Agreement) { a.Strokes = []*chartv1.Stroke{{PointsMicrometers: []int32{1, 2, 3}}} }, who, field + ".signature.strokes"},
		"nobody signs":        {func(a *visit.Agreement) { a.Signer = "" }, who, field + ".signature.signer_name"},
		"a minor for herself": {func(*visit.Agreement) {}, young, field + ".signature.relation"},
		"of unknown age":      {func(*visit.Agreement) {}, &chartv1.Patient{}, field + ".signature.relation"},
	} {
		a := agreed
		x.change(&a)
		if part, err := visit.Decide(b.hand(mia), s, c.GetId(), text, x.patient, a); !refused(err, x.field) {
			t.Errorf("%s: %v, %v", name, part, err)
		}
	}
	other := proto.CloneOf(text)
	other.Version = proto.String("4")
	if _, err := visit.Decide(b.hand(mia), s, c.GetId(), other, who, agreed); !refused(err, field+".signature.text_digest") {
		t.Errorf("another version: %v", err)
	}
	part, err = visit.Decide(b.hand(mia), s, c.GetId(), text, who, agreed)
	b.ok(err)
	join(s, part)
	if got := s.GetConsents()[0]; got.GetDecision().GetAnswer() != chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN || len(got.GetSignature().GetStrokes()) != 1 ||
		string(got.GetSignature().GetTextDigest()) != string(text.GetPublished().GetDigest()) {
		t.Errorf("consent %v", got)
	}
	part, err = visit.WithdrawConsent(b.hand(tom), s, c.GetId(), "")
	b.ok(err)
	join(s, part)
	if _, err := visit.WithdrawConsent(b.hand(tom), s, c.GetId(), ""); err == nil {
		t.Error("taken back twice")
	}
}

// TestIsMinor: the day on which she is 18 is the first on which she is not.
func TestIsMinor(t *testing.T) {
	for _, c := range []struct {
		born  *recordv1.Date
		minor bool
	}{{&recordv1.Date{Year: 2008, Month: 3, Day: 2}, false}, {&recordv1.Date{Year: 2008, Month: 3, Day: 3}, true}, {nil, true}} {
		p := &chartv1.Patient{Birth: &chartv1.BirthDate{Date: c.born}}
		if got := visit.IsMinor(p, &chartv1.Session{On: today()}); got != c.minor {
			t.Errorf("born %v on %v: %v", c.born, today(), got)
		}
	}
}

func TestPhotos_PerPurpose(t *testing.T) {
	b := newBook(t)
	p := patient()
	s := b.begin()
	view := &chartv1.View{View: "front_at_rest", Region: "whole_face", Contraction: chartv1.Contraction_CONTRACTION_AT_REST}
	if _, _, err := visit.TakePhoto(b.hand(tom), s, p, &chartv1.Image{}, view); !refused(err, "purposes") {
		t.Errorf("without leave: %v", err)
	}
	allow := func(purpose string, given bool) {
		part, err := visit.AllowPhotos(b.hand(tom), p, purpose, given, nil)
		b.ok(err)
		proto.Merge(p, part)
	}
	allow("record", true)
	allow("teaching", true)
	allow("teaching", false)
	if _, _, err := visit.TakePhoto(b.hand(tom), s, p, &chartv1.Image{}, view, "teaching"); !refused(err, "purposes") {
		t.Errorf("for teaching, refused since: %v", err)
	}
	photo, part, err := visit.TakePhoto(b.hand(tom), s, p, &chartv1.Image{}, view)
	b.ok(err)
	join(s, part)
	p.PhotoConsents[0].Withdrawn = &chartv1.Withdrawal{Recorded: b.hand(tom).Act()}
	if visit.MayUsePhotos(p, "record") {
		t.Error("leave that was taken back holds")
	}
	b.plan(s, abo, 5000, "mentalis")
	var missing []string
	for _, v := range visit.MissingViews(b.e, s, []*chartv1.Photo{photo}) {
		missing = append(missing, v.GetCode())
	}
	if slices.Contains(missing, "front_at_rest") || !slices.Contains(missing, "mouth_front_lower_teeth") || slices.Contains(missing, "front_frown") {
		t.Errorf("missing %v", missing)
	}
	later := proto.CloneOf(s)
	later.Id, later.On = b.id(), &recordv1.Date{Year: 2026, Month: 3, Day: 16}
	second := proto.CloneOf(photo)
	second.Id, second.SessionId = b.id(), proto.String(later.GetId())
	pairs := visit.CompareByView([]*chartv1.Session{later, s}, []*chartv1.Photo{second, photo})
	if len(pairs) != 1 || len(pairs[0].Photos) != 2 || pairs[0].Photos[0].GetId() != photo.GetId() {
		t.Errorf("compared %v", pairs)
	}
}

func TestSheetOf(t *testing.T) {
	b, s := had(t)
	vial := mixed(abo, 300_000, 1_500_000)
	bare := visit.SheetOf(b.e, s, nil, nil, "en")
	if len(bare.Lacks) != 3 || len(bare.Emergency) == 0 {
		t.Errorf("lacks %v", bare.Lacks)
	}
	clinic := &chartv1.Clinic{Name: proto.String("Harbour"), Contact: &recordv1.Contact{Phone: "+30 210 0000000"}}
	from, until, err := visit.ReviewSpan(b.e, s)
	b.ok(err)
	s.Review = &chartv1.ReviewDate{From: from, Until: until}
	sheet := visit.SheetOf(b.e, s, clinic, []*chartv1.Vial{vial}, "el") // no Greek lines are there, so the English ones stand
	for _, want := range []string{"breathing", "swallowing", "speaking", "+30 210 0000000", abo + ", lot A17", "2025-11-16", "closing the lips"} {
		if !strings.Contains(sheet.Text, want) {
			t.Errorf("the sheet does not say %q:\n%s", want, sheet.Text)
		}
	}
	if len(sheet.Lacks) > 0 || strings.Contains(sheet.Text, visit.PracticeWord) || strings.Contains(sheet.Text, "lid or a brow") {
		t.Errorf("lacks %v:\n%s", sheet.Lacks, sheet.Text)
	}
	s.Practice = &chartv1.PracticeMark{}
	if text := visit.SheetOf(b.e, s, clinic, nil, "en").Text; !strings.HasPrefix(text, visit.PracticeWord) {
		t.Errorf("a sheet of a visit for practice:\n%s", text)
	}
	if _, err := visit.GiveAfterCare(b.hand(tom), s, visit.Sheet{}, "en", "paper", nil); !refused(err, "after_care") {
		t.Errorf("a sheet without the signs: %v", err)
	}
}

func TestSigning(t *testing.T) {
	b, s := had(t)
	const performed, supervised = syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED
	if err := visit.MaySign(b.hand(mia), s, performed); !refused(err, "states") {
		t.Errorf("under way: %v", err)
	}
	s.SupervisorId = proto.String(lena)
	part, err := visit.End(b.hand(mia), s, visit.Finish, "")
	b.ok(err)
	join(s, part)
	for name, c := range map[string]struct {
		who     string
		meaning syncv1.SignatureMeaning
		refused bool
	}{
		"who injected": {mia, performed, false}, "who did not": {lena, performed, true}, "the supervisor": {lena, supervised, false},
		"herself": {mia, supervised, true}, "nothing": {mia, 0, true},
	} {
		if err := visit.MaySign(b.hand(c.who), s, c.meaning); (err != nil) != c.refused {
			t.Errorf("%s: %v", name, err)
		}
	}
	owed := visit.OwedOf(s, 1)
	if len(owed) != 3 || owed[0].StaffID != mia || owed[1].StaffID != lena {
		t.Errorf("owed %v", owed)
	}
	s.Signatures = []*chartv1.Signature{{Content: &syncv1.SignedContent{Meaning: performed, SignerId: mia}}}
	if owed = visit.OwedOf(s, 0); len(owed) != 1 || owed[0].Meaning != supervised {
		t.Errorf("owed %v", owed)
	}
	if lacks := visit.Lacking(s); len(lacks) != 4 { // after-care, review, a reason for what was not given, a syringe in use
		t.Errorf("lacking %v", lacks)
	}
}
