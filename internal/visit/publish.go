package visit

import (
	"bytes"
	"crypto/sha256"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// TextDigest is SHA-256 over what a consent text, a questionnaire, a protocol or an order says: its canonical values without that it was published, issued or
// withdrawn, without remarks and settlements. Elements count in the order of their ids, so that every replica reckons the same.
func TextDigest(m proto.Message) []byte {
	said := proto.Clone(m).ProtoReflect()
	for _, name := range []protoreflect.Name{"published", "issued", "withdrawn", "notes", "settlements", "changes"} {
		if fd := said.Descriptor().Fields().ByName(name); fd != nil {
			said.Clear(fd)
		}
	}
	said.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if fd.IsList() && fd.Message() != nil && fd.Message().Fields().ByName("id") != nil {
			sortByID(said.Mutable(fd).List(), fd.Message().Fields().ByName("id"))
		}
		return true
	})
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(said.Interface())
	if err != nil {
		b = nil // only text that is no UTF-8 does that, and no record holds such
	}
	sum := sha256.Sum256(b)
	return sum[:]
}

func sortByID(list protoreflect.List, id protoreflect.FieldDescriptor) {
	all := make([]protoreflect.Message, list.Len())
	for i := range all {
		all[i] = list.Get(i).Message()
	}
	slices.SortStableFunc(all, func(a, b protoreflect.Message) int { return strings.Compare(a.Get(id).String(), b.Get(id).String()) })
	for i := range all {
		list.Set(i, protoreflect.ValueOfMessage(all[i]))
	}
}

// IsAsPublished reports whether a text still says what it said when it was published. One that was changed since is signed by nobody.
func IsAsPublished(m proto.Message) bool {
	var p *chartv1.TextPublication
	switch x := m.(type) {
	case *chartv1.ConsentText:
		p = x.GetPublished()
	case *chartv1.Questionnaire:
		p = x.GetPublished()
	case *chartv1.Protocol:
		p = x.GetPublished()
	}
	return p != nil && bytes.Equal(p.GetDigest(), TextDigest(m))
}

// Publish makes a draft of a consent text, a questionnaire or a protocol one that may be used: the medical lead adopts it as it stands. Once published it
// never changes; a new wording is a new record of the same series.
func Publish(h Hand, m proto.Message) (proto.Message, error) {
	if !h.has(Lead) {
		return nil, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(h.Roles), "to publish a text: medical lead")
	}
	p := &chartv1.TextPublication{Digest: TextDigest(m), Published: h.Act()}
	switch x := m.(type) {
	case *chartv1.ConsentText:
		if err := publishable(x.GetPublished() != nil, x.GetSeries(), x.GetVersion(), x.GetLanguage(), len(x.GetParagraphs())); err != nil {
			return nil, err
		}
		if len(x.GetScope().GetRegions()) == 0 && len(x.GetScope().GetPhotoPurposes()) == 0 {
			return nil, wrong("scope", "", "the regions, or the purposes of photographs, that the text is about")
		}
		if len(x.GetScope().GetRegions()) > 0 && len(x.GetRisks()) == 0 {
			return nil, wrong("risks", "", "the risks by name")
		}
		return &chartv1.ConsentText{Id: x.GetId(), Published: p}, nil
	case *chartv1.Questionnaire:
		if err := publishable(x.GetPublished() != nil, x.GetSeries(), x.GetVersion(), x.GetLanguage(), len(x.GetQuestions())); err != nil {
			return nil, err
		}
		return &chartv1.Questionnaire{Id: x.GetId(), Published: p}, questionsFit(x)
	case *chartv1.Protocol:
		if err := publishable(x.GetPublished() != nil, x.GetTitle(), x.GetVersion(), "-", len(x.GetPoints())); err != nil {
			return nil, err
		}
		return &chartv1.Protocol{Id: x.GetId(), Published: p}, nil
	}
	return nil, wrong("kind", string(m.ProtoReflect().Descriptor().Name()), "a consent text, a questionnaire or a protocol")
}

func publishable(already bool, series, version, language string, parts int) error {
	switch {
	case already:
		return wrong("published", "", "a draft; this one is published already")
	case series == "" || version == "" || language == "":
		return wrong("version", version, "a name, a version and a language")
	case parts == 0:
		return wrong("published", "", "a text that says something")
	}
	return nil
}

// questionsFit refuses questions of one name, choices where there are none, and conditions that name no question before.
func questionsFit(q *chartv1.Questionnaire) error {
	seen := map[string]*chartv1.QuestionText{}
	for _, body := range questionsOf(q) {
		choices := body.GetForm() == chartv1.AnswerForm_ANSWER_FORM_ONE_CHOICE || body.GetForm() == chartv1.AnswerForm_ANSWER_FORM_MANY_CHOICES
		switch {
		case seen[body.GetCode()] != nil:
			return wrong("questions.body.code", body.GetCode(), "a name that no other question has")
		case choices != (len(body.GetChoices()) > 0):
			return wrong("questions.body.choices", body.GetCode(), "choices in a question that asks for one, and in no other")
		case body.GetShownIf() != nil && seen[body.GetShownIf().GetQuestion()] == nil:
			return wrong("questions.body.shown_if.question", body.GetShownIf().GetQuestion(), "a question that stands before")
		}
		seen[body.GetCode()] = body
	}
	return nil
}
