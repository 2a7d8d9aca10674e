package guard

import (
	"slices"
	"strconv"
	"time"

	"needlebook/internal/anatomy"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// consents holds each region and product that no consent covers that stands.
func (c *checker) consents() {
	unset := c.f.Clinic.GetPolicies() == nil
	for _, region := range c.regions() {
		for _, product := range c.named {
			if n, any := c.sum(product, func(i *injection) bool { return i.known && i.about.Region == region }); n > 0 || any > 0 {
				c.consent(region, product)
			}
		}
	}
	if unset {
		c.say(said{code: CodeCoolingUnset, about: []string{"consents"}, text: "The clinic's time to think before a treatment is not known here."})
	}
	for _, consent := range c.f.Session.GetConsents() {
		if consent.GetExplained() != nil && consent.GetWithdrawn() == nil {
			c.consentText(consent)
		}
	}
}

// consent says what the best consent for a region lacks. One that stands suffices; of those that do not, the one that lacks least is named.
func (c *checker) consent(region anatomy.Region, product string) {
	best := said{code: CodeConsentMissing, about: []string{"consents"}, of: string(region) + "/" + product,
		text: "No consent covers " + product + " in the " + c.body.text(string(region)) + "."}
	rank := -1
	for _, consent := range c.f.Session.GetConsents() {
		e := consent.GetExplained()
		if e == nil || e.Product != nil && e.GetProduct() != product || !slices.ContainsFunc(e.GetRegions(),
			func(r string) bool { return c.coversRegion(r, region, product) }) {
			continue
		}
		code, text, r := c.lacks(consent)
		if code == "" {
			return
		}
		if r > rank {
			rank = r
			best.code, best.text, best.about = code, text+" It is for the "+c.body.text(string(region))+".", []string{"consents[" + consent.GetId() + "]"}
		}
	}
	c.say(best)
}

// coversRegion reports whether what a consent names covers every muscle that is treated in the region with the product.
func (c *checker) coversRegion(named string, region anatomy.Region, product string) bool {
	if named == string(region) {
		return true
	}
	covered := false
	for k := range c.injections {
		i := &c.injections[k]
		if i.product != product || !i.known || i.about.Region != region {
			continue
		}
		if !c.body.covers(named, i.muscle) {
			return false
		}
		covered = true
	}
	return covered
}

// lacks says what a consent lacks, with a rank that grows the nearer it is to standing; an empty code when it stands.
func (c *checker) lacks(consent *chartv1.Consent) (code, text string, rank int) {
	switch {
	case consent.GetWithdrawn() != nil:
		return CodeConsentWithdrawn, "The patient withdrew her consent.", 0
	case consent.GetDecision().GetAnswer() == chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED:
		return CodeConsentRefused, "The patient refused.", 1
	case consent.GetDecision().GetAnswer() != chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN:
		return CodeConsentOpen, "The patient has not decided yet.", 2
	case consent.GetSignature() == nil:
		return CodeConsentUnsigned, "The patient's signature under the consent is owed.", 3
	}
	hours := c.thinkingHours(consent)
	if hours == 0 {
		return "", "", 0
	}
	explained, ok := moment(consent.GetExplained().GetExplained().GetAt())
	if !ok {
		return CodeCoolingOff, "It is not recorded when the consent was explained, and " + strconv.Itoa(hours) + " hours to think are wanted.", 4
	}
	if over := explained.Add(time.Duration(hours) * time.Hour); c.f.At.Before(over) {
		return CodeCoolingOff, "The time to think of " + strconv.Itoa(hours) + " hours lasts until " + momentText(over) + ".", 4
	}
	return "", "", 0
}

// thinkingHours is the longest time to think that the clinic, the text or the explanation gives, at most a year.
func (c *checker) thinkingHours(consent *chartv1.Consent) int {
	const most = 8760
	hours := max(c.f.Clinic.GetPolicies().GetCoolingOffHours(), consent.GetExplained().GetCoolingOffHours())
	if t := c.consentTextOf(consent); t != nil {
		hours = max(hours, t.GetCoolingOffHours())
	}
	return int(min(hours, most))
}

func (c *checker) consentTextOf(consent *chartv1.Consent) *chartv1.ConsentText {
	for _, t := range c.f.ConsentTexts {
		if t.GetId() == consent.GetExplained().GetConsentTextId() {
			return t
		}
	}
	return nil
}

// consentText holds where the text that was explained is not known, since it may ask for time to think, and where it is not the published one.
func (c *checker) consentText(consent *chartv1.Consent) {
	s := said{code: CodeConsentText, about: []string{"consents[" + consent.GetId() + "]"},
		of: keyOf(optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT, consent.GetExplained().GetConsentTextId())}
	switch t := c.consentTextOf(consent); {
	case t == nil:
		s.text = "The text that was explained is not known here."
	case t.GetPublished() == nil:
		s.text = "The text that was explained was never published."
	case t.GetVersion() != consent.GetExplained().GetVersion():
		s.text = "The text that was explained is of another version than the one known here."
	case t.GetWithdrawn() != nil:
		s.level, s.text = caution, "The text that was explained is not to be used any more."
	default:
		return
	}
	c.say(s)
}
