package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strconv"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const adviseHelp = `
Reads an AdviseDilutionRequest as JSON from standard input, or builds one from
flags. Answers a ranked list of dilutions and syringes with their figures: those
that a label states for this use or the lead adopted, and with -other-diluent
any other, marked so. It makes no choice.

  needlebook dose advise -product onabotulinumtoxinA -content 50 -content 100 \
    -dose 1@right:orbicularis_oris -dose 1@left:orbicularis_oris
  needlebook dose advise -product onabotulinumtoxinA -content 100 \
    -syringe 1/0.01 -other-diluent 2 -most 0.1 -dose 2.5@right -dose 2@left
  needlebook dose advise -json <request.json

Options are ranked by the worst error of an injection, then how much further
apart right and left get than planned, then what a slip of one graduation costs;
then fewer syringes, less left over, less diluent, the smaller syringe.
A dose is written as for dose draw.`

func runAdvise(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose advise")
	flags.String("product", "", "the product's nonproprietary `name`")
	flags.String("market", "", "whose labels count, such as US or EU; every `market`'s when absent")
	flags.String("use", "", "the `use` that labels must be for; aesthetic when absent")
	flags.String("most", "", "the greatest volume of an injection, in `mL`")
	flags.String("priming", "", "what is pushed out after the needle change, in `mL`")
	flags.String("needle-dead-space", "", "what the drawing needle keeps, in `mL`")
	flags.Uint("options", 0, "the most `options` to print; 10 when absent")
	flags.Bool("json", false, "print the response as JSON")
	clinicFlags(flags)
	var contents, doses, syringes, diluents textList
	flags.Var(&contents, "content", "what a vial at hand holds, in `units`; one flag for each")
	flags.Var(&doses, "dose", "one injection, such as `4@right`; one flag for each")
	flags.Var(&syringes, "syringe", "a syringe at hand: its `code`, or capacity/graduation in mL")
	flags.Var(&diluents, "other-diluent", "a diluent to consider though nobody adopted it, in `mL`")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, err := clinicEditionOf(ctx, e, flags)
	if err != nil {
		return err
	}
	request := &dosev1.AdviseDilutionRequest{ContentsUnits: contents, OtherDiluentsMl: diluents}
	if err := adviseRequest(e, edition, flags, request, doses, syringes); err != nil {
		return err
	}
	response, err := reckon.AdviseDilution(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		err = printJSON(e.stdout, response)
	} else {
		err = printAdvice(e.stdout, request, response)
	}
	if err != nil {
		return err
	}
	return holdAmong(response.GetFindings())
}

// adviseRequest fills the request from flags, or reads it.
func adviseRequest(e env, edition *formulary.Edition, flags *flag.FlagSet, request *dosev1.AdviseDilutionRequest, doses, syringes textList) error {
	given, err := fromFlags(flags)
	if err != nil {
		return err
	}
	if !given {
		return readRequest(e, request)
	}
	request.Product, request.Formulary, request.Use = *set(flags, "product"), choiceOf(flags), set(flags, "use")
	request.MostMlPerInjection, request.PrimingMl, request.NeedleDeadSpaceMl = set(flags, "most"), set(flags, "priming"), set(flags, "needle-dead-space")
	if text := set(flags, "options"); text != nil {
		n, err := strconv.ParseUint(*text, 10, 32)
		if err != nil {
			return usagef("-options: read %q, want 1 to 100", *text)
		}
		request.MostOptions = uint32(n)
	}
	for _, text := range syringes {
		s, err := syringeOf(edition, text)
		if err != nil {
			return err
		}
		request.Syringes = append(request.Syringes, s)
	}
	request.Doses, err = dosesOf(doses)
	return err
}

// dosesOf reads doses and numbers them from 1.
func dosesOf(texts textList) ([]*dosev1.PlannedDose, error) {
	var doses []*dosev1.PlannedDose
	for i, text := range texts {
		d, err := doseOf(text)
		if err != nil {
			return nil, err
		}
		d.Ref = strconv.Itoa(i + 1)
		doses = append(doses, d)
	}
	return doses, nil
}

// printAdvice prints a ranked list for people: a block for each option, since a table of so many figures is wider than a phone.
func printAdvice(w io.Writer, q *dosev1.AdviseDilutionRequest, r *dosev1.AdviseDilutionResponse) error {
	var p page
	p.wrapped("", q.GetProduct()+": "+countText(int32(len(q.GetDoses())), "injection")+"; "+countText(r.GetOptionCount(), "option")+", best first")
	for _, o := range r.GetOptions() {
		p.option(o)
	}
	if hidden := int(r.GetOptionCount()) - len(r.GetOptions()); hidden > 0 {
		p.line("")
		p.line(fmt.Sprintf("%d more options are not shown.", hidden))
	}
	if len(r.GetRejected()) > 0 {
		p.line("")
		p.line("Left out")
	}
	for _, x := range r.GetRejected() {
		text := mixText(x.GetContentUnits(), x.GetDiluentMl(), x.GetLiquidMl())
		if x.GetSyringe() != nil {
			text += ", " + advisedText(x.GetSyringe())
		}
		p.wrapped("  ", text+": "+x.GetReason())
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

func (p *page) option(o *dosev1.DilutionOption) {
	standing := "only asked for"
	if text := standingText(o.GetStanding()); text != "" {
		standing = text
	}
	p.line("")
	p.wrapped("", fmt.Sprintf("%d. %s; %s%s", o.GetRank(), mixText(o.GetContentUnits(), o.GetDiluentMl(), o.GetLiquidMl()), standing, sourceText("", o.GetSource())))
	p.row("syringe", advisedText(o.GetSyringe()))
	worst := withFraction(o.GetWorstErrorPercent()+"\u00a0%", o.WorstErrorPercentFraction)
	if o.GetWorstErrorPercent() != "0" {
		worst += ", injection " + o.GetWorstRef()
	}
	p.row("worst error", worst)
	p.row("sides", withFraction(units(o.GetSideDifferenceUnits()), o.SideDifferenceUnitsFraction)+" further apart than planned")
	p.row("a slip", "of one graduation costs "+withFraction(units(o.GetSlipUnits()), o.SlipUnitsFraction))
	p.row("needs", fmt.Sprintf("%s and %s", countText(o.GetSyringeCount(), "syringe"), countText(o.GetVials(), "vial")))
	p.row("left over", withFraction(units(o.GetLeftUnits()), o.LeftUnitsFraction))
	p.row("largest", withFraction(ml(o.GetGreatestInjectionMl()), o.GreatestInjectionMlFraction)+" in one injection")
	for _, f := range o.GetFindings() {
		p.labelled(levelText(f.GetLevel()), f.GetText())
	}
}

func countText(n int32, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(int(n)) + " " + what + "s"
}

func mixText(content, diluent, liquid string) string {
	switch {
	case liquid != "":
		return units(content) + " in " + ml(liquid) + ", a ready liquid"
	case diluent != "":
		return units(content) + " with " + ml(diluent) + " of diluent"
	default:
		return units(content)
	}
}

func advisedText(s *dosev1.AdvisedSyringe) string {
	text := ml(s.GetCapacityMl()) + " read to " + ml(s.GetGraduationMl())
	if s.GetInsulinScale() {
		text += ", insulin scale"
	}
	return text
}

// standingText says on whose word a dilution stands; empty for nobody's.
func standingText(s formularyv1.DilutionStanding) string {
	return map[formularyv1.DilutionStanding]string{
		formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED: "label", formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED: "adopted by the lead",
		formularyv1.DilutionStanding_DILUTION_STANDING_PUBLISHED: "published, no label",
	}[s]
}

func levelText(l formularyv1.Level) string {
	return map[formularyv1.Level]string{formularyv1.Level_LEVEL_HOLD: "HOLD", formularyv1.Level_LEVEL_CAUTION: "CAUTION", formularyv1.Level_LEVEL_NOTE: "NOTE"}[l]
}
