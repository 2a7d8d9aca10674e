package guard

import (
	"strconv"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// leastYears is the age under which treatment is held whatever the formulary says.
const leastYears = 18

// mostYears is the greatest age that a limit or a policy may name.
const mostYears = 150

// afterYears is the day on which someone born on a day is so many years old; more than mostYears count as that.
func afterYears(born dose.Day, years int) dose.Day {
	return born.AddMonths(12 * min(max(years, 0), mostYears))
}

// patientKey is how findings name the patient's record.
func (c *checker) patientKey() string {
	return keyOf(optionsv1.RecordKind_RECORD_KIND_PATIENT, c.f.Session.GetPatientId())
}

// patient says who is treated, and whether that was checked.
func (c *checker) patient() {
	p := c.f.Patient
	switch {
	case c.f.Session.GetPatientId() == "" || p == nil:
		c.say(said{code: CodePatientUnknown, about: []string{"patient_id"}, text: "The record of the patient is not known here."})
	case p.GetId() != c.f.Session.GetPatientId():
		c.say(said{code: CodePatientUnknown, about: []string{"patient_id"}, text: "The patient's record is another person's than this visit's."})
	case p.GetVoid() != nil || p.GetErased() != nil:
		c.say(said{code: CodePatientUnknown, about: []string{"patient_id"}, text: "The patient's record was voided or erased."})
	}
	if p.GetDeath() != nil {
		c.say(said{code: CodePatientDead, about: []string{c.patientKey(), "death"},
			text: "A date of death is recorded for this patient. Check who the patient is."})
	}
	most := 0
	for _, check := range c.f.Session.GetIdentityChecks() {
		distinct := map[string]bool{}
		for _, id := range check.GetCheck().GetIdentifiers() {
			distinct[id] = true
		}
		most = max(most, len(distinct))
	}
	if most < 2 {
		c.say(said{code: CodeUnidentified, about: []string{"identity_checks"}, figures: []string{"matched_count", strconv.Itoa(most)},
			text: "The patient was not identified by two different identifiers, such as full name and date of birth."})
	}
}

// ages judges the age on the day, by the law of most places, the clinic's policies and the products' labels.
func (c *checker) ages() {
	birth := c.f.Patient.GetBirth()
	day, ok := dayOf(birth.GetDate())
	if !ok {
		c.say(said{code: CodeAgeUnknown, about: []string{c.patientKey(), "birth"}, text: "The date of birth is not known."})
		return
	}
	policies := c.f.Clinic.GetPolicies()
	if birth.GetProof() <= chartv1.BirthProof_BIRTH_PROOF_STATED && (policies == nil || policies.GetBirthProof()) {
		c.say(said{code: CodeAgeUnverified, about: []string{c.patientKey(), "birth"}, text: "The date of birth was only stated. See a document."})
	}
	youngest := max(int(policies.GetYoungestYears()), leastYears)
	if afterYears(day, youngest) > c.day {
		c.say(said{code: CodeAgeUnder, about: []string{c.patientKey(), "birth"}, figures: []string{"youngest_years", strconv.Itoa(youngest)},
			text: "The patient, born " + day.String() + ", is under " + strconv.Itoa(youngest) + " years old."})
	}
	for _, product := range c.named {
		for _, l := range c.e.AgeLimits(product, c.f.Market) {
			under := l.YoungestYears != nil && afterYears(day, int(l.GetYoungestYears())) > c.day
			over := l.BelowYears != nil && afterYears(day, int(l.GetBelowYears())) <= c.day
			if under && l.GetYoungestYears() > leastYears || over {
				c.say(said{code: CodeAgeLabel, level: l.GetLevel(), about: []string{c.patientKey(), "birth"}, of: l.GetCode(), source: l.GetProvenance(),
					figures: ageFigures(l), text: product + " is labelled for patients " + agesText(l) + inMarket(l.GetMarket()) + "; this patient was born " +
						day.String() + "."})
			}
		}
	}
}

func ageFigures(l *formularyv1.AgeLimit) []string {
	var figures []string
	if l.YoungestYears != nil {
		figures = append(figures, "youngest_years", strconv.Itoa(int(l.GetYoungestYears())))
	}
	if l.BelowYears != nil {
		figures = append(figures, "below_years", strconv.Itoa(int(l.GetBelowYears())))
	}
	return figures
}

func agesText(l *formularyv1.AgeLimit) string {
	text := ""
	if l.YoungestYears != nil {
		text = "from " + strconv.Itoa(int(l.GetYoungestYears())) + " years"
	}
	if l.BelowYears != nil {
		if text != "" {
			text += " and "
		}
		text += "under " + strconv.Itoa(int(l.GetBelowYears())) + " years"
	}
	return text
}

func inMarket(market string) string {
	if market == "" {
		return ""
	}
	return " (" + market + ")"
}
