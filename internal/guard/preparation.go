package guard

import (
	"slices"
	"time"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// preparation judges what was done to a vial before it was drawn from.
func (c *checker) preparation(v *chartv1.Vial, about []string) {
	var mixed []*chartv1.Preparation
	for _, p := range v.GetPreparations() {
		if counts(p.GetVoid()) {
			mixed = append(mixed, p)
		}
	}
	liquid := isLiquid(v)
	switch {
	case len(mixed) > 1:
		c.say(said{code: CodeMixedTwice, about: about, text: "Diluent was added to the vial more than once: its strength is not what one of them says."})
	case len(mixed) == 0 && !liquid:
		c.say(said{code: CodeNotMixed, about: about, text: "The vial holds a powder, and no diluent is recorded: it has no strength yet."})
	case len(mixed) == 1 && liquid:
		c.say(said{code: CodeDiluentKind, about: about, text: "The vial holds a ready liquid, and a diluent was added to it."})
	}
	for _, p := range mixed {
		at := []string{about[0], "preparations[" + p.GetId() + "]"}
		c.solution(p, at)
		c.useBy(v, p, at)
		if !liquid {
			c.dilution(v, p, at)
		}
	}
	if liquid && len(mixed) == 0 {
		c.useBy(v, nil, about)
	}
	c.draws(v, about)
}

// solution judges how the solution looks, who checked it, and the diluent's own expiry.
func (c *checker) solution(p *chartv1.Preparation, at []string) {
	switch p.GetClarity().GetFinding() {
	case chartv1.ClarityFinding_CLARITY_FINDING_CLOUDY, chartv1.ClarityFinding_CLARITY_FINDING_PARTICLES:
		c.say(said{code: CodeCloudy, about: at, text: "The solution was seen to be cloudy, coloured or with particles. It must not be used."})
	}
	if policies := c.f.Clinic.GetPolicies(); p.GetChecked() == nil && (policies == nil || policies.GetPreparationCheck()) {
		c.say(said{code: CodeMixUnchecked, about: at, text: "Nobody checked the preparation, which this clinic wants, or whose policies are not known here."})
	}
	if until, ok := dayOf(p.GetDiluent().GetExpiresOn()); ok && c.day > until {
		c.say(said{code: CodeDiluentExpired, about: at, text: "The diluent expired: its last day of use was " + until.String() + "."})
	}
}

const unknownUseBy = "Until when the preparation may be used is not known from a source that permits it"

// useBy judges until when a preparation may be used. A time that rests on a rule that clears nothing counts as unknown, which means: discard after this
// session. p is nil for a ready liquid, whose opening is not recorded.
func (c *checker) useBy(v *chartv1.Vial, p *chartv1.Preparation, at []string) {
	set := p.GetUseBy()
	until, ok := moment(set.GetUntil())
	if ok && c.f.At.After(until) {
		c.say(said{code: CodePastUseBy, about: at, text: "The preparation was to be used until " + momentText(until) + "."})
	}
	if !ok || !c.relied(v, p, until, at) {
		if c.usedElsewhere(v, p) {
			c.say(said{code: CodeUseByReused, about: at,
				text: unknownUseBy + ", and it was used in another visit. Discard it."})
			return
		}
		c.say(said{code: CodeUseByUnknown, about: at, text: unknownUseBy + ": discard after this session."})
	}
}

// relied reports whether a use-by may be relied on: one that the lead set, or one by a rule that clears, no later than that rule says.
func (c *checker) relied(v *chartv1.Vial, p *chartv1.Preparation, until time.Time, at []string) bool {
	if p.GetUseBy().RuleCode == nil {
		return true
	}
	for _, r := range c.e.UseByRules(v.GetPresentation().GetProduct(), "") {
		if r.GetCode() != p.GetUseBy().GetRuleCode() || !formulary.Clears(r.GetProvenance()) {
			continue
		}
		mixed, ok := moment(p.GetMixed().GetAt())
		if latest := mixed.Add(time.Duration(r.GetSeconds()) * time.Second); ok && until.After(latest) {
			c.say(said{code: CodeUseByLonger, about: at, source: r.GetProvenance(), text: "The use-by of the preparation, " + momentText(until) +
				", is later than its rule allows, " + momentText(latest) + "."})
		}
		return ok
	}
	return false
}

// usedElsewhere reports whether another visit drew from the preparation.
func (c *checker) usedElsewhere(v *chartv1.Vial, p *chartv1.Preparation) bool {
	return slices.ContainsFunc(v.GetDraws(), func(d *chartv1.Draw) bool {
		a := d.GetAmount()
		return d.GetVoid() == nil && a != nil && a.GetSessionId() != c.f.Session.GetId() && (p == nil || a.GetPreparationId() == p.GetId() ||
			a.PreparationId == nil)
	})
}

// dilution says on whose word a mix stands, and whether its diluent is the one stated.
func (c *checker) dilution(v *chartv1.Vial, p *chartv1.Preparation, at []string) {
	content, diluent := v.GetPresentation(), p.GetDiluent()
	if diluent.GetAdditive() != "" {
		c.say(said{code: CodeDiluentKind, about: at, of: "additive",
			text: "Something was added to the solution beside the diluent: " + diluent.GetAdditive()})
	}
	var other *formularyv1.Dilution
	for _, d := range c.e.Dilutions(formulary.Mix{Product: content.GetProduct(), ContentMilliunits: int64(content.GetContentMilliunits()),
		DiluentNanoliters: diluent.GetVolumeNanoliters()}) {
		allowed := d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED ||
			d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED
		if !formulary.Holds(d.GetMarket(), c.f.Market) || !allowed || d.GetUse() == "therapeutic" || !formulary.Clears(d.GetProvenance()) {
			continue
		}
		if d.GetDiluent() == diluent.GetKind() || d.GetDiluent() == "unstated" {
			return
		}
		other = d
	}
	adopted, otherKind := c.adopted(content, diluent)
	switch {
	case adopted:
	case otherKind != "":
		c.say(said{code: CodeDiluentKind, about: at, text: "The lead adopted this dilution with " + wordText(otherKind) + ", and " +
			wordText(diluent.GetKind()) + " was added."})
	case other != nil:
		c.say(said{code: CodeDiluentKind, about: at, source: other.GetProvenance(),
			text: "What is stated of this dilution is for " + wordText(other.GetDiluent()) + ", and " + wordText(diluent.GetKind()) + " was added."})
	default:
		c.say(said{code: CodeDilution, about: at, figures: []string{"content_units", unitsDecimal(int64(content.GetContentMilliunits())), "diluent_ml",
			mlDecimal(diluent.GetVolumeNanoliters())},
			text: "No label that may be relied on states " + anyName(content.GetProduct()) + ", " + unitsText(content.GetProduct(),
				int64(content.GetContentMilliunits())) + " in " +
				mlText(diluent.GetVolumeNanoliters()) + ", and the lead did not adopt it."})
	}
}

// adopted reports whether the clinic's lead adopted a mix; otherKind is the diluent where she adopted it with another one only.
func (c *checker) adopted(content *chartv1.VialPresentation, diluent *chartv1.Diluent) (adopted bool, otherKind string) {
	for _, a := range c.f.Clinic.GetAdoptedDilutions() {
		d := a.GetDilution()
		if a.GetEnded() != nil || d.GetProduct() != content.GetProduct() || d.GetContentMilliunits() != content.GetContentMilliunits() ||
			d.GetDiluentNanoliters() != diluent.GetVolumeNanoliters() {
			continue
		}
		if d.GetDiluent() == diluent.GetKind() {
			return true, ""
		}
		otherKind = d.GetDiluent()
	}
	return false, otherKind
}

// draws compares the units and the volume of each draw of this visit with what the vial holds: to the milliunit, since one was reckoned from the other.
func (c *checker) draws(v *chartv1.Vial, about []string) {
	for _, d := range v.GetDraws() {
		a := d.GetAmount()
		if d.GetVoid() != nil || a.GetSessionId() != c.f.Session.GetId() {
			continue
		}
		mix, ok := c.strength(v, a.GetPreparationId())
		if !ok {
			continue
		}
		exact, err := mix.UnitsIn(dose.Volume(a.GetVolumeNanoliters()))
		if err != nil || !withinMilliunit(exact.Units(), int64(a.GetDoseMilliunits())) {
			c.say(said{code: CodeConcentration, about: []string{about[0], "draws[" + d.GetId() + "]"},
				figures: []string{"recorded_units", unitsDecimal(int64(a.GetDoseMilliunits())), "volume_ml", mlDecimal(a.GetVolumeNanoliters()), "exact_units",
					exact.Number().Decimal},
				text: mlText(a.GetVolumeNanoliters()) + " of " + mix.Display() + " hold " + exact.Display() + ", and the draw says " +
					unitsText(string(mix.Product()), int64(a.GetDoseMilliunits())) + "."})
		}
	}
}

// withinMilliunit reports whether an exact number of units is within a thousandth of a unit of so many milliunits.
func withinMilliunit(units dose.Fraction, milliunits int64) bool {
	recorded, err := dose.NewFraction(milliunits, 1000)
	if err != nil {
		return false
	}
	difference, err := units.Sub(recorded)
	if err != nil {
		return false
	}
	thousandth, err := dose.NewFraction(1, 1000)
	return err == nil && difference.Abs().Cmp(thousandth) <= 0
}
