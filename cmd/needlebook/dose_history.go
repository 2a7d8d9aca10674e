package main

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"strings"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const historyHelp = `
Answers what a patient had of each product, by muscle and side, when each
interval is met, and what was not checked: of a patient of a replica, or of the
facts of a GetToxinHistoryRequest as JSON on standard input. Products stand side
by side and are never summed.

  needlebook dose history -patient ID -dir room1 -on 2026-03-01
  needlebook dose history <<'EOF'
  {"on": {"year": 2026, "month": 3, "day": 1},
   "facts": {"patient": {"id": "p", "prior_treatments": [{"id": "t",
     "report": {"on": {"year": 2026, "month": 1}}}]}}}
  EOF

Exit code 3 says that the answer holds a hold: more than a limit was given.`

func runHistory(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose history")
	from := recordFlags(e, flags, "patient")
	editionFlag(flags)
	flags.String("on", "", "the `day` that intervals are counted to; today when absent")
	flags.String("from", "", "only treatments on or after this `day`")
	flags.String("until", "", "only treatments on or before this `day`")
	flags.String("market", "", "whose labels count, such as US or EU; every `market`'s when absent")
	flags.Bool("json", false, "print the response as JSON")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	edition, request, err := historyRequest(ctx, e, flags, from)
	if err != nil {
		return err
	}
	response, err := reckon.GetToxinHistory(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		err = printJSON(e.stdout, response)
	} else {
		err = printHistory(e.stdout, request, response)
	}
	if err != nil {
		return err
	}
	return holdAmong(response.GetFindings())
}

// historyRequest gathers from a replica, or reads standard input.
func historyRequest(
	ctx context.Context, e env, flags *flag.FlagSet, from fromRecords,
) (*formulary.Edition, *dosev1.GetToxinHistoryRequest, error) {
	request := &dosev1.GetToxinHistoryRequest{}
	asked, err := from.asked()
	if err != nil {
		return nil, nil, err
	}
	if !asked {
		for _, name := range []string{"on", "from", "until", "market"} {
			if set(flags, name) != nil {
				return nil, nil, usagef("%s: -%s belongs to -patient; a request on standard input says it itself", flags.Name(), name)
			}
		}
		edition, err := editionOf(flags)
		if err != nil {
			return nil, nil, err
		}
		return edition, request, readRequest(e, request)
	}
	if request.On, err = dayFlag(e, flags, "on"); err != nil {
		return nil, nil, err
	}
	if request.From, err = optionalDay(e, flags, "from"); err != nil {
		return nil, nil, err
	}
	if request.Until, err = optionalDay(e, flags, "until"); err != nil {
		return nil, nil, err
	}
	request.Formulary = choiceOf(flags)
	edition, facts, err := from.historyFacts(ctx, e)
	request.Subject = &dosev1.GetToxinHistoryRequest_Facts{Facts: facts}
	return edition, request, err
}

// printHistory prints a history for people. What was not checked stands first, so that no history reads as an all-clear.
func printHistory(w io.Writer, q *dosev1.GetToxinHistoryRequest, r *dosev1.GetToxinHistoryResponse) error {
	var p page
	p.line("Toxin history, intervals counted to " + dayText(q.GetOn()))
	p.wrapped("", r.GetUncheckedText())
	for _, product := range r.GetProducts() {
		p.product(product)
	}
	if len(r.GetTreatments()) > 0 {
		p.line("")
		p.line("Treatments, newest first")
	}
	for _, t := range r.GetTreatments() {
		p.row(approximateText(t.GetOn()), treatmentText(t))
	}
	if r.GetNextPageToken() != "" {
		p.line("  More follow: ask with page_token " + r.GetNextPageToken() + ".")
	}
	if len(r.GetKnowledge()) > 0 {
		p.line("")
		p.line("What is known of clinics")
	}
	for _, k := range r.GetKnowledge() {
		until := "not checked"
		if k.GetCompleteUntil() != nil {
			until = "complete until " + k.GetCompleteUntil().AsTime().UTC().Format("2006-01-02 15:04 UTC")
		}
		p.wrapped("  ", cmp.Or(k.GetClinicName(), k.GetClinicId())+": "+until)
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}

func (p *page) product(h *dosev1.ProductHistory) {
	p.line("")
	p.wrapped("", productText(h.GetProduct()))
	p.row("given", spanText(h.GetTotal().GetGiven()))
	for _, t := range h.GetTotal().GetTargets() {
		p.row("", targetText(t)+": "+spanText(t.GetGiven()))
	}
	if h.GetLastOn() != nil {
		p.row("last", agoText(h.GetLastOn(), h.GetDaysSinceLast()))
	}
	if h.GetLastFullOn() != nil {
		p.row("last full", agoText(h.GetLastFullOn(), h.GetDaysSinceLastFull()))
	}
	for i, s := range h.GetIntervals() {
		p.row(map[bool]string{true: "intervals"}[i == 0], intervalText(h, s))
	}
	for i, window := range h.GetWindows() {
		p.row(map[bool]string{true: "windows"}[i == 0], windowText(window))
	}
}

func productText(name string) string {
	if name == "" {
		return "a product that is not known"
	}
	return name
}

// spanText is a sum for people: a figure, a range, or that something unknown is in it.
func spanText(s *dosev1.DoseSpan) string {
	switch {
	case s.MostUnits == nil:
		return "at least " + units(s.GetLeastUnits()) + " and an unknown dose"
	case s.GetCertain():
		return units(s.GetLeastUnits())
	default:
		return grouped(s.GetLeastUnits()) + " to " + units(s.GetMostUnits())
	}
}

func targetText(t *dosev1.TargetTotal) string {
	muscle := strings.ReplaceAll(t.GetMuscle(), "_", " ")
	if muscle == "" {
		muscle = "muscle not recorded"
	}
	if t.Side == nil {
		return muscle
	}
	return muscle + ", " + sideText(t.Side)
}

func agoText(on *recordv1.Date, days int32) string {
	return fmt.Sprintf("%s, %d days before", dayText(on), days)
}

func intervalText(h *dosev1.ProductHistory, s *dosev1.IntervalState) string {
	rule := fmt.Sprintf("%d days", s.GetDays())
	if s.GetMonths() > 0 {
		rule = fmt.Sprintf("%d calendar months", s.GetMonths())
	}
	if s.GetProduct() != h.GetProduct() {
		rule = productText(s.GetProduct()) + ", " + rule
	}
	met := "not met before"
	if s.GetMet() {
		met = "met since"
	}
	return rule + " from " + dayText(s.GetCountedFrom()) + ": " + met + " " + dayText(s.GetEarliestOn()) + sourceText(s.GetMarket(), s.GetSource())
}

func windowText(w *dosev1.WindowTotal) string {
	limit := "no limit is published"
	if w.GetLimitUnits() != "" {
		limit = "the limit is " + units(w.GetLimitUnits())
	}
	return dayText(w.GetFrom()) + " to " + dayText(w.GetUntil()) + ": " + spanText(w.GetGiven()) + "; " + limit + sourceText("", w.GetSource())
}

func treatmentText(t *dosev1.TreatmentEntry) string {
	parts := []string{"treatment"}
	switch {
	case t.GetElsewhere():
		parts[0] = "elsewhere"
	case t.GetTouchUp():
		parts[0] = "touch-up"
	case t.GetNotTouchUpText() != "":
		parts[0] = "treatment, declared a touch-up"
	}
	if t.GetTherapeutic() {
		parts[0] += ", therapeutic"
	}
	for _, total := range t.GetTotals() {
		parts = append(parts, productText(total.GetProduct())+" "+spanText(total.GetGiven()))
	}
	if t.GetInConflict() {
		parts = append(parts, "in conflict")
	}
	return strings.Join(parts, "; ")
}

func dayText(d *recordv1.Date) string {
	return fmt.Sprintf("%04d-%02d-%02d", d.GetYear(), d.GetMonth(), d.GetDay())
}

// approximateText is a day as far as it is known.
func approximateText(d *recordv1.ApproximateDate) string {
	switch {
	case d == nil:
		return "no day"
	case d.Month == nil:
		return fmt.Sprintf("%04d", d.GetYear())
	case d.Day == nil:
		return fmt.Sprintf("%04d-%02d", d.GetYear(), d.GetMonth())
	default:
		return fmt.Sprintf("%04d-%02d-%02d", d.GetYear(), d.GetMonth(), d.GetDay())
	}
}
