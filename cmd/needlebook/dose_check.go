package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

const checkHelp = `
Judges a session of a replica by what the replica holds of it, of its patient at
every clinic, its vials and lots, its order, its people, with the formulary that
the session began with; or by a CheckSessionRequest as JSON on standard input.
Answers what speaks against giving what it plans, holds first, then cautions,
then notes, each with who may lift it. What is missing counts as unknown, never
as clear. docs/guardrails.md lists every code.

  needlebook dose check -session ID -dir room1
  needlebook dose check -json <request.json

Exit code 3 says that a hold stands that nobody lifted.`

func runCheck(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose check")
	from := recordFlags(e, flags, "session")
	editionFlag(flags)
	flags.String("as-of", "", "the `time` to judge dates at, as 2026-03-01T09:30:00Z; now when absent")
	flags.String("market", "", "whose labels count, such as US or EU; every `market`'s when absent")
	flags.Bool("json", false, "print the response as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, request, err := checkRequest(ctx, e, flags, from)
	if err != nil {
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

// checkRequest gathers from a replica, or reads standard input.
func checkRequest(ctx context.Context, e env, flags *flag.FlagSet, from fromRecords) (*formulary.Edition, *dosev1.CheckSessionRequest, error) {
	asked, err := from.asked()
	if err != nil {
		return nil, nil, err
	}
	if !asked {
		if set(flags, "as-of") != nil || set(flags, "market") != nil {
			return nil, nil, usagef("%s: -as-of and -market belong to -session; a request on standard input says both itself", flags.Name())
		}
		edition, err := editionOf(flags)
		if err != nil {
			return nil, nil, err
		}
		request := &dosev1.CheckSessionRequest{}
		return edition, request, readRequest(e, request)
	}
	at := e.now()
	if text := set(flags, "as-of"); text != nil {
		if at, err = time.Parse(time.RFC3339, *text); err != nil {
			return nil, nil, usagef("-as-of: read %q, want a time such as 2026-03-01T09:30:00Z", *text)
		}
	}
	edition, request, err := from.sessionFacts(ctx, e, timestamppb.New(at))
	request.Formulary = choiceOf(flags)
	return edition, request, err
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
