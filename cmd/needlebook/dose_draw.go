package main

import (
	"context"
	"flag"
	"strings"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

const drawHelp = `
Reads a PlanDrawRequest as JSON from standard input, or builds one from flags.
Answers the syringes, and the mark where the plunger stands after each
injection, rounded so that neither side of the face is favoured.

  needlebook dose draw -product onabotulinumtoxinA -content 100 -diluent 2.5 \
    -dose 4@right -dose 4@left
  needlebook dose draw -product abobotulinumtoxinA -content 300 -diluent 2.5 \
    -syringe insulin_u100_0_3_by_0_005 \
    -dose 6@right:mentalis -dose 6@left:mentalis
  needlebook dose draw -json <request.json

A dose is UNITS, or UNITS@SIDE, or UNITS@SIDE:MUSCLE, the side being right, left
or midline; doses are given in this order and are numbered from 1.
Exit code 3 says that the answer holds a hold: an injection that would deliver
nothing.`

// textList collects the texts of a flag that may be given several times.
type textList []string

// String is the texts, joined.
func (l *textList) String() string { return strings.Join(*l, " ") }

// Set appends one.
func (l *textList) Set(text string) error {
	*l = append(*l, text)
	return nil
}

func runDraw(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose draw")
	vialFlags(flags)
	var doses textList
	flags.Var(&doses, "dose", "one injection, such as `4@right`; give one flag for each")
	flags.String("syringe", "general_1_by_0_01", "its `code`, or capacity/graduation in mL")
	flags.String("priming", "", "what is pushed out after the needle change, in `mL`")
	flags.String("needle-dead-space", "", "what the drawing needle keeps, in `mL`")
	flags.String("most", "", "the greatest volume of an injection, in `mL`")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, err := clinicEditionOf(ctx, e, flags)
	if err != nil {
		return err
	}
	request, err := drawRequest(e, edition, flags, doses)
	if err != nil {
		return err
	}
	response, err := reckon.PlanDraw(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		err = printJSON(e.stdout, response)
	} else {
		err = printDraw(e.stdout, request, response)
	}
	if err != nil {
		return err
	}
	return holdAmong(response.GetFindings())
}

func drawRequest(e env, edition *formulary.Edition, flags *flag.FlagSet, doses textList) (*dosev1.PlanDrawRequest, error) {
	request := &dosev1.PlanDrawRequest{}
	given, err := fromFlags(flags)
	if err != nil {
		return nil, err
	}
	if !given {
		return request, readRequest(e, request)
	}
	request.Product, request.Vial, request.Formulary = *set(flags, "product"), vialOf(flags), choiceOf(flags)
	request.PrimingMl, request.NeedleDeadSpaceMl = set(flags, "priming"), set(flags, "needle-dead-space")
	request.MostMlPerInjection = set(flags, "most")
	if request.Syringe, err = syringeOf(edition, flags.Lookup("syringe").Value.String()); err != nil {
		return nil, err
	}
	request.Doses, err = dosesOf(doses)
	return request, err
}

// syringeOf reads a code of the formulary, whose figures it takes over, or CAPACITY/GRADUATION.
func syringeOf(edition *formulary.Edition, text string) (*dosev1.SyringeType, error) {
	if capacity, graduation, ok := strings.Cut(text, "/"); ok {
		return &dosev1.SyringeType{CapacityMl: capacity, GraduationMl: graduation}, nil
	}
	known, ok := edition.Syringe(text)
	if !ok {
		var codes []string
		for _, s := range edition.Syringes() {
			codes = append(codes, s.GetCode())
		}
		return nil, usagef("-syringe: read %q, want CAPACITY/GRADUATION in mL or one of %s", text, strings.Join(codes, ", "))
	}
	s := &dosev1.SyringeType{
		CapacityMl: dose.Volume(known.GetCapacityNanoliters()).Decimal(), GraduationMl: dose.Volume(known.GetGraduationNanoliters()).Decimal(),
		InsulinScale: known.GetInsulinScale(), Code: proto.String(text),
	}
	if known.DeadSpaceNanoliters != nil {
		s.DeadSpaceMl = proto.String(dose.Volume(known.GetDeadSpaceNanoliters()).Decimal())
	}
	return s, nil
}

// doseOf reads UNITS[@SIDE[:MUSCLE]].
func doseOf(text string) (*dosev1.PlannedDose, error) {
	units, place, placed := strings.Cut(text, "@")
	d := &dosev1.PlannedDose{DoseUnits: units}
	if !placed {
		return d, nil
	}
	side, muscle, named := strings.Cut(place, ":")
	switch side {
	case "right":
		d.Side = chartv1.Side_SIDE_RIGHT.Enum()
	case "left":
		d.Side = chartv1.Side_SIDE_LEFT.Enum()
	case "midline":
		d.Side = chartv1.Side_SIDE_MIDLINE.Enum()
	default:
		return nil, usagef("-dose: read %q, want a side right, left or midline behind the @, such as 4@right", text)
	}
	if named {
		d.Muscle = &muscle
	}
	return d, nil
}
