package main

import (
	"fmt"
	"io"
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// printPrepared prints a preparation for people.
func printPrepared(w io.Writer, q *dosev1.PrepareRequest, r *dosev1.PrepareResponse) error {
	var p page
	p.wrapped("", vialText(q.GetProduct(), q.GetVial()))
	p.line("")
	c := r.GetConcentration()
	p.row("strength", withFraction(units(c.GetUnitsPerMl()), c.UnitsPerMlFraction)+" in 1 mL")
	p.row("", withFraction(units(c.GetUnitsPerTenthMl()), c.UnitsPerTenthMlFraction)+" in 0.1 mL")
	graduation := "0.01"
	if q.GraduationMl != nil {
		graduation = q.GetGraduationMl()
	}
	p.row("graduation", withFraction(units(r.GetUnitsPerGraduation()), r.UnitsPerGraduationFraction)+" in "+ml(graduation))
	p.row("labelled", map[bool]string{true: "yes, for " + useText(q.Use) + " use", false: "no"}[r.GetLabelled()])
	p.row("use by", useByText(r))
	for i, rule := range r.GetUseByRules() {
		p.row(map[bool]string{true: "use by rules"}[i == 0], hoursText(rule)+sourceText(rule.GetMarket(), rule.GetSource()))
	}
	if len(r.GetStatements()) > 0 {
		p.line("")
		p.line("Printed beside exact")
	}
	for _, s := range r.GetStatements() {
		p.wrapped("  ", statementText(s))
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

// useText is the use that labels must be for.
func useText(use *string) string {
	if use == nil {
		return "aesthetic"
	}
	return strings.ReplaceAll(*use, "_", " ")
}

func vialText(product string, v *dosev1.VialContent) string {
	if v.LiquidMl != nil {
		return product + ": " + units(v.GetContentUnits()) + " in " + ml(v.GetLiquidMl()) + ", a ready liquid"
	}
	return product + ": " + units(v.GetContentUnits()) + " with " + ml(v.GetDiluentMl()) + " of diluent added"
}

func useByText(r *dosev1.PrepareResponse) string {
	if r.GetUseBy() != nil {
		return r.GetUseBy().AsTime().UTC().Format("2006-01-02 15:04 UTC")
	}
	for _, rule := range r.GetUseByRules() {
		if obtained := rule.GetSource().GetObtained(); formulary.Clears(&formularyv1.Provenance{Obtained: obtained}) {
			return "by the rules below, from the time of mixing"
		}
	}
	return "discard after this session"
}

func hoursText(rule *dosev1.UseByStatement) string {
	time := fmt.Sprintf("%d minutes", rule.GetSeconds()/60)
	if rule.GetSeconds()%3600 == 0 {
		time = fmt.Sprintf("%d hours", rule.GetSeconds()/3600)
	}
	return time + ", storage " + rule.GetStorage()
}

func statementText(s *dosev1.LabelledStrength) string {
	standing := standingText(s.GetStanding())
	if s.GetPrintedUnits() == "" {
		return standing + sourceText(s.GetMarket(), s.GetSource())
	}
	text := units(s.GetPrintedUnits()) + " in " + ml(s.GetPrintedMl()) + " printed, " + withFraction(units(s.GetExactUnits()), s.ExactUnitsFraction) + " exact"
	if s.GetDifferencePercent() != "0" {
		text += " (" + s.GetDifferencePercent() + " %)"
	}
	return text + "; " + standing + sourceText(s.GetMarket(), s.GetSource())
}

// sourceText names market, sources and how a figure was come by, as "; US; S03, read in a copy".
func sourceText(market string, c *dosev1.Citation) string {
	var b strings.Builder
	if market != "" {
		b.WriteString("; " + market)
	}
	if c == nil {
		return b.String()
	}
	b.WriteString("; ")
	for _, s := range c.GetSources() {
		b.WriteString(s.GetCode() + ", ")
	}
	b.WriteString(formulary.ObtainedText(c.GetObtained()))
	return b.String()
}

// printDraw prints a plan for people.
func printDraw(w io.Writer, q *dosev1.PlanDrawRequest, r *dosev1.PlanDrawResponse) error {
	var p page
	c := r.GetConcentration()
	p.wrapped("", vialText(q.GetProduct(), q.GetVial()))
	p.row("strength", withFraction(units(c.GetUnitsPerTenthMl()), c.UnitsPerTenthMlFraction)+" in 0.1 mL")
	t := r.GetTotal()
	p.row("in all", units(t.GetDoseUnits())+" in "+withFraction(ml(t.GetVolumeMl()), t.VolumeMlFraction))
	need := r.GetVial()
	p.row("vials", fmt.Sprintf("%d, of which %s (%s) are needed", need.GetVials(), ml(need.GetNeededMl()), units(need.GetNeededUnits())))
	p.row("left over", ml(need.GetLeftMl())+" ("+units(need.GetLeftUnits())+")")
	if text := uncountedText(q); text != "" {
		p.row("not counted", text)
	}
	doses := make(map[string]*dosev1.PlannedDose, len(q.GetDoses()))
	for _, d := range q.GetDoses() {
		doses[d.GetRef()] = d
	}
	for i, s := range r.GetSyringes() {
		p.syringe(i+1, s, doses, q.GetSyringe().GetInsulinScale())
	}
	p.sides(r.GetSides())
	b := r.GetRounding()
	p.line("")
	p.wrapped("", "Rounding alone: a side is never off by more than "+ml(b.GetSideMl())+" ("+units(b.GetSideUnits())+
		"), an injection by less than "+ml(b.GetInjectionMl())+" ("+units(b.GetInjectionUnits())+"). The syringe and the hand add to that.")
	if b.GetSyringeTolerance() != "" {
		p.wrapped("", "Syringe: "+b.GetSyringeTolerance()+".")
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

// syringe prints one syringe as a table. A long name of an injection gets a line of its own, so that the columns stay.
func (p *page) syringe(number int, s *dosev1.SyringePlan, doses map[string]*dosev1.PlannedDose, insulin bool) {
	at := func(mark string) string { return markText(mark, insulin) }
	p.line("")
	switch {
	case s.GetContinued():
		p.wrapped("", fmt.Sprintf("Syringe %d, in hand, plunger at %s", number, at(s.GetDrawnMl())))
	case s.GetDrawToMl() != s.GetDrawnMl():
		p.wrapped("", fmt.Sprintf("Syringe %d: draw to %s, change the needle, prime to %s", number, at(s.GetDrawToMl()), at(s.GetDrawnMl())))
	default:
		p.wrapped("", fmt.Sprintf("Syringe %d: draw to %s", number, at(s.GetDrawnMl())))
	}
	rows := [][]string{{"", "side", "dose", "then plunger at", "delivers", "error"}}
	for _, m := range s.GetMarks() {
		d := doses[m.GetRef()]
		rows = append(rows, []string{refText(d), sideText(d.Side), units(d.GetDoseUnits()), at(m.GetMarkMl()), units(m.GetDeliveredUnits()), m.GetErrorPercent() + " %"})
	}
	p.table(rows)
	p.line("  left in it: plunger at " + at(s.GetLeftMl()))
}

// uncountedText names the dead space that is not in what the vial must hold, since nobody said it.
func uncountedText(q *dosev1.PlanDrawRequest) string {
	var unknown []string
	if q.GetSyringe().DeadSpaceMl == nil {
		unknown = append(unknown, "syringe")
	}
	if q.NeedleDeadSpaceMl == nil {
		unknown = append(unknown, "needle")
	}
	if len(unknown) == 0 {
		return ""
	}
	return "dead space of " + strings.Join(unknown, " and ") + ": " + formulary.NoFigure
}

// refText names an injection, with its muscle where one was named.
func refText(d *dosev1.PlannedDose) string {
	if d.Muscle == nil {
		return printable(d.GetRef())
	}
	return printable(d.GetRef() + ", " + strings.ReplaceAll(d.GetMuscle(), "_", " "))
}

// markText says where the plunger stands. An insulin scale's marks are volume and are never called units.
func markText(decimal string, insulin bool) string {
	mark, err := dose.ParseVolume(decimal)
	if err != nil || !insulin {
		return ml(decimal)
	}
	return dose.Syringe{MarkVolume: dose.Millilitre / 100}.MarkText(mark)
}

func (p *page) sides(sides []*dosev1.SidePlan) {
	p.line("")
	rows := [][]string{{"side", "planned", "delivered", "error", ""}}
	for _, s := range sides {
		rows = append(rows, []string{sideText(s.Side), units(s.GetPlanned().GetDoseUnits()), units(s.GetDeliveredUnits()), units(s.GetErrorUnits()), s.GetErrorPercent() + " %"})
	}
	p.table(rows)
}

func sideText(s *chartv1.Side) string {
	if s == nil {
		return "none"
	}
	return map[chartv1.Side]string{chartv1.Side_SIDE_RIGHT: "right", chartv1.Side_SIDE_LEFT: "left", chartv1.Side_SIDE_MIDLINE: "midline"}[*s]
}

// findings prints what the guardrails say, each with its source.
func (p *page) findings(findings []*dosev1.Finding) {
	if len(findings) == 0 {
		return
	}
	p.line("")
	p.line("Findings")
	for _, f := range findings {
		text := f.GetText()
		if f.GetSource() != nil {
			text += " [" + strings.TrimPrefix(sourceText("", f.GetSource()), "; ") + "]"
		}
		p.labelled(levelText(f.GetLevel()), text)
	}
}

// foot prints the caution that stands with every dose, and what the answer rests on.
func (p *page) foot(caution string, e *dosev1.EditionUsed) {
	p.line("")
	p.wrapped("", caution)
	p.wrapped("", "Formulary "+e.GetVersion()+", "+e.GetHash()[:12]+"; core "+e.GetCoreVersion()+".")
}
