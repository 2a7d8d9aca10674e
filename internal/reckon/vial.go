package reckon

import (
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// defaultUse is the use that a label must be for, so that its dilution counts as labelled, where the request names none.
const defaultUse = "aesthetic"

// mixed is a vial as the formulary sees it: what is stated of exactly this mix.
type mixed struct {
	edition *formulary.Edition
	product dose.Product
	vial    dose.Vial
	diluent string
	market  string
	// use is the use that a label must be for.
	use string
	// stated are the entries of this mix that hold in the market; otherDiluent those that are for another kind of diluent.
	stated, otherDiluent []*formularyv1.Dilution
}

func newMixed(e *formulary.Edition, product dose.Product, vial dose.Vial, diluent, market, use string) mixed {
	m := mixed{edition: e, product: product, vial: vial, diluent: diluent, market: market, use: use}
	mix := formulary.Mix{Product: string(product), ContentMilliunits: vial.Content.Milliunits(), DiluentNanoliters: int64(vial.Diluent),
		LiquidNanoliters: int64(vial.Liquid)}
	for _, d := range e.Dilutions(mix) {
		switch {
		case !formulary.Holds(d.GetMarket(), market):
		case otherKind(d.GetDiluent(), diluent):
			m.otherDiluent = append(m.otherDiluent, d)
		default:
			m.stated = append(m.stated, d)
		}
	}
	return m
}

// otherKind reports whether an entry is for another diluent than the one named. "unstated" is an entry whose source does not say.
func otherKind(stated, named string) bool {
	return named != "" && stated != named && stated != "unstated" && stated != "none"
}

// labelled reports whether a label that may be relied on states this mix for this use.
func (m *mixed) labelled() bool {
	for _, d := range m.stated {
		if m.isLabelled(d) && formulary.Clears(d.GetProvenance()) {
			return true
		}
	}
	return false
}

func (m *mixed) isLabelled(d *formularyv1.Dilution) bool {
	return d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED && d.GetUse() == m.use
}

// adopted reports whether the clinic's lead stands for this mix in this use.
func (m *mixed) adopted() bool {
	for _, d := range m.stated {
		if d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED && d.GetUse() == m.use {
			return true
		}
	}
	return false
}

// statements sets what is printed of this mix beside what it exactly holds.
func (m *mixed) statements(c dose.Concentration) ([]*dosev1.LabelledStrength, error) {
	var all []*dosev1.LabelledStrength
	for _, d := range m.stated {
		s := &dosev1.LabelledStrength{Standing: d.GetStanding(), Market: d.GetMarket(), Source: cite(m.edition, d.GetProvenance())}
		all = append(all, s)
		if d.GetPrinted() == nil {
			continue
		}
		check, err := m.check(c, d.GetPrinted())
		if err != nil {
			return nil, err
		}
		exact := check.Exact.Number()
		s.PrintedUnits, s.PrintedMl = check.Printed.Units.Decimal(), check.Printed.Volume.Decimal()
		s.ExactUnits, s.ExactUnitsFraction = exact.Decimal, optionalText(exact.Fraction)
		s.DifferencePercent = check.PrintedOver.Number().Decimal
	}
	return all, nil
}

func (m *mixed) check(c dose.Concentration, printed *formularyv1.LabelStatement) (dose.StatementCheck, error) {
	units, err := dose.NewAmount(m.product, int64(printed.GetDoseMilliunits()))
	if err != nil {
		return dose.StatementCheck{}, err
	}
	return c.Check(dose.Statement{Units: units, Volume: dose.Volume(printed.GetVolumeNanoliters())})
}

// findings says what the formulary has to say of this mix.
func (m *mixed) findings(c dose.Concentration) ([]*dosev1.Finding, error) {
	found := m.presentationFindings()
	found = append(found, m.dilutionFindings()...)
	for _, d := range m.stated {
		if d.GetPrinted() == nil || d.GetStanding() != formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED {
			continue
		}
		check, err := m.check(c, d.GetPrinted())
		if err != nil {
			return nil, err
		}
		if !check.Equal {
			found = append(found, m.labelRounds(d, check))
		}
	}
	return found, nil
}

// name is the product's name and what is in the vial, for sentences.
func (m *mixed) name() string {
	if m.vial.Liquid != 0 {
		return string(m.product) + ", " + m.vial.Content.Display() + " in " + m.vial.Liquid.Display() + " ready liquid"
	}
	return string(m.product) + ", " + m.vial.Content.Display() + " in " + m.vial.Diluent.Display()
}

func (m *mixed) labelRounds(d *formularyv1.Dilution, check dose.StatementCheck) *dosev1.Finding {
	text := "The label prints " + check.Printed.Units.Display() + " in " + check.Printed.Volume.Display() + " for " + m.name() + "; exactly it is " +
		check.Exact.Display() + ", and " + check.Printed.Units.Display() + " need " + check.ExactVolume.Display() + ". The exact strength is what is reckoned with."
	return &dosev1.Finding{
		Code: CodeLabelRounds, Level: formularyv1.Level_LEVEL_NOTE, About: []string{"vial"}, Text: text,
		Figures: map[string]string{
			"printed_units": check.Printed.Units.Decimal(), "printed_ml": check.Printed.Volume.Decimal(),
			"exact_units": check.Exact.Number().Decimal, "difference_percent": check.PrintedOver.Number().Decimal,
		},
		Source: cite(m.edition, d.GetProvenance()),
	}
}

func (m *mixed) presentationFindings() []*dosev1.Finding {
	p, _ := m.edition.Product(string(m.product))
	if p.GetLiquid() != (m.vial.Liquid != 0) {
		text := string(m.product) + " comes as a powder: a diluent is added to it. The request names the volume of a ready liquid."
		if p.GetLiquid() {
			text = string(m.product) + " comes ready as a liquid and takes no diluent. The request names a diluent."
		}
		level := formulary.Weaker(formularyv1.Level_LEVEL_CAUTION, formulary.MostLevel(p.GetProvenance()))
		return []*dosev1.Finding{{Code: CodeLiquidDiffers, Level: level, About: []string{"vial"}, Text: text,
			Source: cite(m.edition, p.GetProvenance())}}
	}
	for _, known := range m.edition.Presentations(string(m.product)) {
		if int64(known.GetContentMilliunits()) == m.vial.Content.Milliunits() && known.GetLiquidNanoliters() == int64(m.vial.Liquid) {
			return nil
		}
	}
	text := "The formulary has no vial of " + string(m.product) + " with " + m.vial.Content.Display() + "."
	if m.vial.Liquid != 0 {
		text = "The formulary has no vial of " + m.name() + "."
	}
	return []*dosev1.Finding{{Code: CodeContentUnknown, Level: formularyv1.Level_LEVEL_CAUTION, About: []string{"vial.content_units"},
		Text: text + " Check what is printed on it.", Figures: map[string]string{"content_units": m.vial.Content.Decimal()}}}
}

// dilutionFindings says on whose word the mix stands where it is not a label's or the lead's.
func (m *mixed) dilutionFindings() []*dosev1.Finding {
	if m.labelled() || m.adopted() {
		return nil
	}
	about := []string{"vial"}
	for _, d := range m.otherDiluent {
		return []*dosev1.Finding{{Code: CodeDiluentDiffers, Level: formulary.Weaker(formularyv1.Level_LEVEL_CAUTION, formulary.MostLevel(d.GetProvenance())),
			About: []string{"vial.diluent"}, Text: "What is known of " + m.name() + " is for the diluent " + d.GetDiluent() + ", not for " + m.diluent + ".",
			Source: cite(m.edition, d.GetProvenance())}}
	}
	for _, d := range m.stated {
		if m.isLabelled(d) {
			return []*dosev1.Finding{{Code: CodeDilutionUnconfirmed, Level: formularyv1.Level_LEVEL_NOTE, About: about,
				Text: "A label is said to state " + m.name() + ", a figure " + formulary.ObtainedText(d.GetProvenance().GetObtained()) +
					", which permits nothing. Check the label in force.", Source: cite(m.edition, d.GetProvenance())}}
		}
	}
	f := &dosev1.Finding{Code: CodeDilutionNotLabelled, Level: formularyv1.Level_LEVEL_NOTE, About: about,
		Text: "No label in the formulary states " + m.name() + " for " + useText(m.use) + " use."}
	for _, d := range m.stated {
		f.Source = cite(m.edition, d.GetProvenance())
		break
	}
	return []*dosev1.Finding{f}
}

// useText is a use in words.
func useText(use string) string { return strings.ReplaceAll(use, "_", " ") }
