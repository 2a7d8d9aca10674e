package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const checkHelp = `
Reads a CheckSessionRequest as JSON from standard input: a session with the
facts that it is judged by, and the moment that dates are judged at. Answers
what speaks against giving what it plans, holds first, then cautions, then
notes, each with who may lift it. What is missing counts as unknown, never as
clear. docs/guardrails.md lists every code.

  needlebook dose check <request.json
  needlebook dose check -json <request.json

Exit code 3 says that a hold stands that nobody lifted.`

func runCheck(_ context.Context, e env, args []string) error {
	flags := newFlags("dose check")
	flags.Bool("json", false, "print the response as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, err := formulary.Builtin()
	if err != nil {
		return err
	}
	request := &dosev1.CheckSessionRequest{}
	if err := readRequest(e, request); err != nil {
		return err
	}
	response, err := reckon.CheckSession(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		err = printJSON(e.stdout, response)
	} else {
		err = printChecked(e.stdout, response)
	}
	if err != nil {
		return err
	}
	return standingHold(response.GetFindings())
}

// standingHold returns errHold when a hold stands that nobody lifted.
func standingHold(findings []*dosev1.Finding) error {
	for _, f := range findings {
		if f.GetLevel() == formularyv1.Level_LEVEL_HOLD && !isLifted(f) {
			return errHold
		}
	}
	return nil
}

func isLifted(f *dosev1.Finding) bool {
	return f.GetAnswer().GetDecision() == chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED
}

// printChecked prints the findings of a session for people, each with its code and, for a hold, who may lift it.
func printChecked(w io.Writer, r *dosev1.CheckSessionResponse) error {
	var p page
	p.wrapped("", map[bool]string{true: "Nothing holds this visit.", false: "This visit may not go on yet."}[r.GetMayInject()])
	for _, total := range r.GetTotals() {
		p.row("planned", spanOf(total.GetProduct(), total.GetPlanned()))
		p.row("given", spanOf(total.GetProduct(), total.GetGiven()))
	}
	for i, level := range []formularyv1.Level{formularyv1.Level_LEVEL_HOLD, formularyv1.Level_LEVEL_CAUTION, formularyv1.Level_LEVEL_NOTE} {
		title := []string{"Holds", "Cautions", "Notes"}[i]
		for _, f := range r.GetFindings() {
			if f.GetLevel() != level {
				continue
			}
			if title != "" {
				p.line("")
				p.line(title)
				title = ""
			}
			p.finding(f)
		}
	}
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

func spanOf(product string, s *dosev1.DoseSpan) string {
	switch {
	case s == nil:
		return product + ", nothing"
	case s.MostUnits == nil:
		return product + ", at least " + units(s.GetLeastUnits()) + " and an unknown dose more"
	case s.GetMostUnits() != s.GetLeastUnits():
		return product + ", " + grouped(s.GetLeastUnits()) + " to " + units(s.GetMostUnits())
	default:
		return product + ", " + units(s.GetLeastUnits())
	}
}

// finding prints one finding: its sentence, then its code and its source, then who may lift it or did.
func (p *page) finding(f *dosev1.Finding) {
	p.broken("  ", "  ", f.GetText())
	tail := f.GetCode()
	if f.GetSource() != nil {
		tail += "; " + strings.TrimPrefix(sourceText("", f.GetSource()), "; ")
	}
	p.broken("    ", "    ", tail)
	if f.GetLevel() == formularyv1.Level_LEVEL_HOLD {
		p.broken("    ", "    ", lifted(f))
	}
}

func lifted(f *dosev1.Finding) string {
	if isLifted(f) {
		return fmt.Sprintf("lifted by %s as %s: %s", f.GetAnswer().GetDecided().GetBy(), roleName(f.GetAnswer().GetRole()), f.GetAnswer().GetReason())
	}
	if len(f.GetLiftableBy()) == 0 {
		return "nobody may lift it"
	}
	var roles []string
	for _, role := range f.GetLiftableBy() {
		roles = append(roles, roleName(role))
	}
	return "may be lifted by: " + strings.Join(roles, ", ")
}

func roleName(r accessv1.Role) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_")), "_", " ")
}
