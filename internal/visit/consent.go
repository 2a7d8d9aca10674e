package visit

import (
	"bytes"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
)

// adultYears is the age from which a patient consents for herself, whatever the clinic's policies say.
const adultYears = 18

// TextFor picks the published text for a region and a product in a language: one that names the product before one for any, the newest publication of
// equals. It is nil where there is none that may be used.
func TextFor(texts []*chartv1.ConsentText, region, product, language string) *chartv1.ConsentText {
	var best *chartv1.ConsentText
	for _, t := range texts {
		products := t.GetScope().GetProducts()
		if t.GetPublished() == nil || t.GetWithdrawn() != nil || t.GetLanguage() != language || !slices.Contains(t.GetScope().GetRegions(), region) ||
			len(products) > 0 && !slices.Contains(products, product) {
			continue
		}
		if best == nil || better(t, best) {
			best = t
		}
	}
	return best
}

func better(a, b *chartv1.ConsentText) bool {
	if named := len(a.GetScope().GetProducts()) > 0; named != (len(b.GetScope().GetProducts()) > 0) {
		return named
	}
	if c := a.GetPublished().GetPublished().GetAt().AsTime().Compare(b.GetPublished().GetPublished().GetAt().AsTime()); c != 0 {
		return c > 0
	}
	return a.GetId() > b.GetId()
}

// ConsentWords is a consent text as it stands on the screen: title, version, paragraphs and risks in their order. A draft says that it is one.
func ConsentWords(t *chartv1.ConsentText) string {
	var b strings.Builder
	if t.GetPublished() == nil {
		b.WriteString("DRAFT: the medical lead has not adopted this text. Nobody may sign it.\n\n")
	}
	b.WriteString(t.GetTitle() + " (version " + t.GetVersion() + ")\n")
	paragraphs := slices.Clone(t.GetParagraphs())
	slices.SortStableFunc(paragraphs, func(x, y *chartv1.ConsentParagraph) int {
		return int(x.GetBody().GetPosition()) - int(y.GetBody().GetPosition())
	})
	for _, p := range paragraphs {
		b.WriteString("\n")
		if p.GetBody().GetHeading() != "" {
			b.WriteString(p.GetBody().GetHeading() + "\n")
		}
		b.WriteString(p.GetBody().GetText() + "\n")
	}
	if len(t.GetRisks()) > 0 {
		b.WriteString("\nRisks\n")
	}
	for _, r := range risksOf(t) {
		b.WriteString("- " + r.GetText() + "\n")
	}
	return b.String()
}

func risksOf(t *chartv1.ConsentText) (out []*chartv1.RiskText) {
	for _, r := range t.GetRisks() {
		if r.GetRisk() != nil {
			out = append(out, r.GetRisk())
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.RiskText) int { return int(a.GetPosition()) - int(b.GetPosition()) })
	return out
}

// ExplainText records that a text was explained for regions and a product, which is empty for any. The time to think runs from here; it is the longest that
// the text or the clinic gives. product must be one that the text covers.
func ExplainText(h Hand, s *chartv1.Session, t *chartv1.ConsentText, clinic *chartv1.Clinic, product string, regions ...string) (*chartv1.Session, error) {
	if err := May(Explain, s, h.Roles...); err != nil {
		return nil, err
	}
	scope := t.GetScope()
	switch {
	case t.GetPublished() == nil:
		return nil, wrong("consents.explained.consent_text_id", t.GetId(), "a text that the medical lead published; this one is a draft")
	case t.GetWithdrawn() != nil:
		return nil, wrong("consents.explained.consent_text_id", t.GetId(), "a text that is not withdrawn")
	case !IsAsPublished(t):
		return nil, wrong("consents.explained.digest", t.GetVersion(), "a text that says what it said when it was published; publish the new wording as another")
	case len(scope.GetProducts()) > 0 && !slices.Contains(scope.GetProducts(), product):
		return nil, wrong("consents.explained.product", product, "one of "+strings.Join(scope.GetProducts(), ", "))
	case len(regions) == 0:
		regions = scope.GetRegions()
	}
	for _, r := range regions {
		if !slices.Contains(scope.GetRegions(), r) {
			return nil, wrong("consents.explained.regions", r, "one of "+strings.Join(scope.GetRegions(), ", "))
		}
	}
	e := &chartv1.Explanation{
		ConsentTextId: t.GetId(), Version: t.GetVersion(), Digest: t.GetPublished().GetDigest(), Regions: regions,
		CoolingOffHours: max(t.GetCoolingOffHours(), clinic.GetPolicies().GetCoolingOffHours()), Explained: h.Act(),
	}
	setText(&e.Product, product)
	out := part(s)
	out.Consents = []*chartv1.Consent{{Id: h.NewID(), Explained: e}}
	return out, nil
}

// Agreement is what a patient decided and how she signed.
type Agreement struct {
	Given bool
	// Questions is what she asked and was told.
	Questions string
	// Risks are the codes of the risks that she repeated or confirmed. To agree, every risk of the text is needed.
	Risks []string
	// Signer, Relation and Strokes are her signature; no strokes means that it is owed.
	Signer, Relation string
	Strokes          []*chartv1.Stroke
	// Interpreter is empty when nobody interpreted.
	Interpreter string
}

// Decide records what the patient decided about a text that was explained. To agree she must have confirmed every risk that the text names. A patient who is
// under age does not sign for herself. The signature holds the digest of the text that was on the screen.
func Decide(h Hand, s *chartv1.Session, consent string, t *chartv1.ConsentText, patient *chartv1.Patient, a Agreement) (*chartv1.Session, error) {
	if err := May(Consenting, s, h.Roles...); err != nil {
		return nil, err
	}
	c := consentOf(s, consent)
	field := "consents[" + consent + "]"
	switch {
	case c == nil:
		return nil, notThere("consents", consent)
	case c.GetWithdrawn() != nil:
		return nil, wrong(field, "", "a consent that was not taken back")
	case c.GetExplained().GetConsentTextId() != t.GetId() || c.GetExplained().GetVersion() != t.GetVersion() ||
		!bytes.Equal(c.GetExplained().GetDigest(), t.GetPublished().GetDigest()):
		return nil, wrong(field+".signature.text_digest", t.GetVersion(), "the text and the version that were explained")
	}
	x := &chartv1.Consent{Id: consent, Decision: &chartv1.ConsentDecision{
		Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED, Questions: a.Questions, RisksUnderstood: a.Risks, Taken: h.Act(),
	}}
	setText(&x.Interpreter, a.Interpreter)
	if a.Given {
		x.Decision.Answer = chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN
		if left := risksLeft(t, a.Risks); len(left) > 0 {
			return nil, wrong(field+".decision.risks_understood", strings.Join(a.Risks, ", "), "every risk that the text names; left are "+strings.Join(left, ", "))
		}
	}
	if len(a.Strokes) > 0 {
		if err := a.sign(h, s, x, t, patient); err != nil {
			return nil, err
		}
	}
	out := part(s)
	out.Consents = []*chartv1.Consent{x}
	return out, nil
}

func (a Agreement) sign(h Hand, s *chartv1.Session, x *chartv1.Consent, t *chartv1.ConsentText, patient *chartv1.Patient) error {
	field := "consents[" + x.GetId() + "].signature"
	switch {
	case a.Signer == "":
		return wrong(field+".signer_name", "", "who signs")
	case a.Relation == "":
		return wrong(field+".relation", "", "what the signer is to the patient: self, parent or guardian")
	case a.Relation == "self" && IsMinor(patient, s):
		return wrong(field+".relation", "self", "a parent or a guardian: the patient is under age, or her age is not known")
	case !legible(a.Strokes):
		return wrong(field+".strokes", "", "lines of at least two points")
	}
	x.Signature = &chartv1.ConsentSignature{SignerName: a.Signer, Relation: a.Relation, TextDigest: t.GetPublished().GetDigest(), Taken: h.Act()}
	for _, stroke := range a.Strokes {
		x.Signature.Strokes = append(x.Signature.Strokes, proto.CloneOf(stroke))
	}
	return nil
}

// legible reports whether every stroke has two points or more, as pairs of numbers.
func legible(strokes []*chartv1.Stroke) bool {
	return !slices.ContainsFunc(strokes, func(s *chartv1.Stroke) bool {
		return len(s.GetPointsMicrometers()) < 4 || len(s.GetPointsMicrometers())%2 != 0
	})
}

func risksLeft(t *chartv1.ConsentText, confirmed []string) (left []string) {
	for _, r := range risksOf(t) {
		if !slices.Contains(confirmed, r.GetCode()) {
			left = append(left, r.GetCode())
		}
	}
	return left
}

func consentOf(s *chartv1.Session, id string) *chartv1.Consent {
	for _, c := range s.GetConsents() {
		if c.GetId() == id {
			return c
		}
	}
	return nil
}

// IsMinor reports whether the patient is under 18 on the day of the visit, or may be: without a date of birth nobody knows.
func IsMinor(patient *chartv1.Patient, s *chartv1.Session) bool {
	born, err := dayOf("birth.date", patient.GetBirth().GetDate())
	if err != nil {
		return true
	}
	on, err := dayOf("on", s.GetOn())
	return err != nil || born.AddMonths(12*adultYears) > on
}

// WithdrawConsent records that the patient took a consent back. A reason is not needed. It may be done at any time, after the visit too.
func WithdrawConsent(h Hand, s *chartv1.Session, consent, said string) (*chartv1.Session, error) {
	if err := May(Withdraw, s, h.Roles...); err != nil {
		return nil, err
	}
	switch c := consentOf(s, consent); {
	case c == nil:
		return nil, notThere("consents", consent)
	case c.GetWithdrawn() != nil:
		return nil, wrong("consents["+consent+"].withdrawn", "", "a consent that was not taken back already")
	}
	out := part(s)
	out.Consents = []*chartv1.Consent{{Id: consent, Withdrawn: &chartv1.Withdrawal{Recorded: h.Act(), Reason: said}}}
	return out, nil
}

// ThinkUntil is the moment from which the time to think is over; ok is false where nobody recorded when it began.
func ThinkUntil(c *chartv1.Consent) (at time.Time, ok bool) {
	began := c.GetExplained().GetExplained().GetAt()
	if began == nil {
		return time.Time{}, false
	}
	return began.AsTime().Add(time.Duration(c.GetExplained().GetCoolingOffHours()) * time.Hour), true
}

// AllowPhotos records what a patient's photographs may be used for, one purpose at a time. It is a part of the patient's record.
func AllowPhotos(h Hand, p *chartv1.Patient, purpose string, given bool, text *chartv1.ConsentText) (*chartv1.Patient, error) {
	if !h.has(Injector, Lead, Assistant) {
		return nil, MayAt(Consenting, Standing{Step: Open}, h.Roles...)
	}
	if purpose == "" {
		return nil, wrong("photo_consents.grant.purpose", "", "what for, such as record, teaching or publication")
	}
	grant := &chartv1.PhotoGrant{Purpose: purpose, Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED, Taken: h.Act()}
	if given {
		grant.Answer = chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN
	}
	if text != nil {
		if text.GetPublished() == nil || !slices.Contains(text.GetScope().GetPhotoPurposes(), purpose) {
			return nil, wrong("photo_consents.grant.consent_text_id", text.GetId(), "a published text that is about photographs for "+purpose)
		}
		grant.ConsentTextId = new(text.GetId())
	}
	return &chartv1.Patient{Id: p.GetId(), PhotoConsents: []*chartv1.PhotoConsent{{Id: h.NewID(), Grant: grant}}}, nil
}

// MayUsePhotos reports whether the patient allows photographs for a purpose: the newest answer that was not withdrawn says so; of answers of one time the
// refusal counts.
func MayUsePhotos(p *chartv1.Patient, purpose string) bool {
	var last *chartv1.PhotoGrant
	for _, c := range p.GetPhotoConsents() {
		g := c.GetGrant()
		if g.GetPurpose() != purpose {
			continue
		}
		if c.GetWithdrawn() != nil {
			g = &chartv1.PhotoGrant{Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED, Taken: c.GetWithdrawn().GetRecorded()}
		}
		order := g.GetTaken().GetAt().AsTime().Compare(last.GetTaken().GetAt().AsTime())
		if last == nil || order > 0 || order == 0 && g.GetAnswer() == chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED {
			last = g
		}
	}
	return last.GetAnswer() == chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN
}

// dayAt is the day of a moment, by universal time.
func dayAt(t time.Time) dose.Day {
	t = t.UTC()
	day, err := dose.NewDay(t.Year(), int(t.Month()), t.Day())
	if err != nil {
		return dose.FirstDay
	}
	return day
}
