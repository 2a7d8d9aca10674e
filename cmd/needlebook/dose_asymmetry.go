package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const asymmetryHelp = `
Sets the right and the left of each paired muscle side by side over time: dose,
place, and how each side was graded before and at reviews. It describes; it
names no side to treat and proposes no dose. The facts are a patient of a
replica, or a GetAsymmetryRequest as JSON on standard input.

  needlebook dose asymmetry -patient ID -dir room1
  needlebook dose asymmetry -patient ID -dir room1 -muscle depressor_anguli_oris
  needlebook dose asymmetry -json <request.json`

func runAsymmetry(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose asymmetry")
	from := recordFlags(e, flags, "patient")
	editionFlag(flags)
	flags.String("from", "", "only treatments on or after this `day`, such as 2026-03-01")
	flags.String("until", "", "only treatments on or before this `day`")
	var muscles, regions textList
	flags.Var(&muscles, "muscle", "only this `muscle`; one flag for each")
	flags.Var(&regions, "region", "only the grades of this `region`; one flag for each")
	flags.Bool("json", false, "print the response as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, request, err := asymmetryRequest(ctx, e, flags, from)
	if err != nil {
		return err
	}
	request.Muscles, request.Regions = append(request.Muscles, muscles...), append(request.Regions, regions...)
	response, err := reckon.GetAsymmetry(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		return printJSON(e.stdout, response)
	}
	return printAsymmetry(e.stdout, response)
}

func asymmetryRequest(ctx context.Context, e env, flags *flag.FlagSet, from fromRecords) (*formulary.Edition, *dosev1.GetAsymmetryRequest, error) {
	request := &dosev1.GetAsymmetryRequest{}
	asked, err := from.asked()
	if err != nil {
		return nil, nil, err
	}
	edition, err := editionOf(flags)
	if err != nil {
		return nil, nil, err
	}
	if !asked {
		if err := readRequest(e, request); err != nil {
			return nil, nil, err
		}
	} else {
		var facts *dosev1.HistoryFacts
		edition, facts, err = from.historyFacts(ctx, e)
		request.Subject = &dosev1.GetAsymmetryRequest_Facts{Facts: facts}
	}
	if err != nil {
		return nil, nil, err
	}
	for name, day := range map[string]**recordv1.Date{"from": &request.From, "until": &request.Until} {
		if on, err := optionalDay(e, flags, name); err != nil {
			return nil, nil, err
		} else if on != nil {
			*day = on
		}
	}
	return edition, request, nil
}

// printAsymmetry prints right beside left for people, the newest treatment first.
func printAsymmetry(w io.Writer, r *dosev1.GetAsymmetryResponse) error {
	var p page
	p.line("Right and left")
	p.wrapped("", r.GetView().GetStatement())
	if len(r.GetView().GetTreatments()) == 0 {
		p.line("")
		p.wrapped("", "No treatment of a paired muscle is known here, which does not say that there was none.")
	}
	for _, t := range r.GetView().GetTreatments() {
		p.treatmentSides(t)
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

func (p *page) treatmentSides(t *dosev1.TreatmentSides) {
	day := "no day, or days in conflict"
	if t.GetOn() != nil {
		day = dayText(t.GetOn())
	}
	if t.GetParentSessionId() != "" {
		day += ", declared a touch-up"
	}
	if t.GetInConflict() {
		day += ", in conflict"
	}
	p.line("")
	p.wrapped("", day)
	for _, m := range t.GetMuscles() {
		p.wrapped("  ", muscleText(m.GetMuscle())+", "+m.GetProduct())
		p.row("right", sideDoseText(m.GetRight()))
		p.row("left", sideDoseText(m.GetLeft()))
		p.row("difference", differenceText(m))
		for i, pair := range m.GetPairs() {
			p.row(map[bool]string{true: "places"}[i == 0], pairText(pair))
		}
		if m.GetUnpairedText() != "" {
			p.row("places", m.GetUnpairedText())
		}
	}
	for _, g := range t.GetResponses() {
		p.row("graded", gradeText(g))
	}
	for _, j := range t.GetJudgements() {
		p.row("judged", judgementText(j))
	}
}

func muscleText(code string) string { return strings.ReplaceAll(code, "_", " ") }

func sideDoseText(d *dosev1.SideDose) string {
	text := spanText(d.GetGiven())
	if d.GetInjections() == 1 {
		return text + " in 1 injection"
	}
	return fmt.Sprintf("%s in %d injections", text, d.GetInjections())
}

func differenceText(m *dosev1.MuscleSides) string {
	if m.GetDifference() == nil {
		return "not known while a dose is not known"
	}
	text := spanText(m.GetDifference()) + ", right less left"
	if m.DifferencePercent != nil {
		text += ", " + m.GetDifferencePercent() + "\u00a0% of the larger"
	}
	return text
}

func pairText(pair *dosev1.PlacePair) string {
	mm := func(decimal string) string { return decimal + "\u00a0mm" }
	return "right " + mm(pair.GetRightLateralMm()) + " from the midline and " + mm(pair.GetRightHeightMm()) + " up; left " + mm(pair.GetLeftLateralMm()) +
		" and " + mm(pair.GetLeftHeightMm()) + "; " + mm(pair.GetDistanceMm()) + " apart when mirrored (" + pair.GetFrame() + ")"
}

// gradeText is what a scale said of both sides, before and after.
func gradeText(g *dosev1.SideResponse) string {
	text := muscleText(g.GetRegion()) + ", " + termText(g.GetContraction().String(), "CONTRACTION_") + ": right " + fromTo(g.RightBefore, g.RightAfter) +
		", left " + fromTo(g.LeftBefore, g.LeftAfter)
	if g.DaysAfter != nil {
		text += fmt.Sprintf(", after %d days", g.GetDaysAfter())
	}
	return text + "; " + muscleText(g.GetScale()) + directionText(g.GetDirection())
}

func fromTo(before, after *int32) string {
	grade := func(n *int32) string {
		if n == nil {
			return "not graded"
		}
		return fmt.Sprint(*n)
	}
	if after == nil {
		return grade(before)
	}
	return grade(before) + " to " + grade(after)
}

func directionText(d formularyv1.ScaleDirection) string {
	text := termText(d.String(), "SCALE_DIRECTION_")
	if text == "unspecified" {
		return ""
	}
	return ", " + text
}

func judgementText(j *dosev1.SideJudgement) string {
	parts := []string{termText(j.GetJudge().String(), "JUDGE_")}
	if j.Side != nil {
		parts = append(parts, termText(j.GetSide().String(), "SIDE_"))
	}
	for _, word := range []string{j.GetRegion(), j.GetResponse()} {
		if word != "" {
			parts = append(parts, muscleText(word))
		}
	}
	return strings.Join(parts, ", ")
}

// termText is an enum's value in people's words.
func termText(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}
