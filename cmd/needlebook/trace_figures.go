package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/figure"
)

const traceFiguresHelp = `
Counts what was done in a time: a year to today without --from and --until. An
injector sees her own figures; a medical lead and an auditor see everybody's.
Units of two products are never summed. --csv writes a table for spreadsheets,
--svg a plot.

  needlebook trace figures --from 2026-01-01 --svg units.svg --plot units \
    --server http://127.0.0.1:8740 --name eve --password-file password`

func runTraceReviews(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("reviews")
	clinic, injector := f.idFlag("clinic", "only this clinic's, by its `id`"), f.idFlag("injector", "only this injector's, by her `id`")
	until, from := f.dayFlag("until", "due on or before this `day`; today without it"), f.dayFlag("treated-from", "only sessions on or after this `day`")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	req := &tracev1.ListReviewsDueRequest{ClinicId: *clinic, ResponsibleId: *injector, Until: *until, TreatedFrom: *from, PageSize: 500}
	all, err := ask(ctx, o.office, o.trace.ListReviewsDue, req)
	for last := all; err == nil && last.GetNextPageToken() != ""; {
		req.PageToken = last.GetNextPageToken()
		if last, err = ask(ctx, o.office, o.trace.ListReviewsDue, req); err == nil {
			all.Reviews = append(all.Reviews, last.GetReviews()...)
		}
	}
	if err != nil {
		return err
	}
	all.NextPageToken = ""
	if f.json {
		return printJSON(e.stdout, all)
	}
	var p page
	p.line(tallied(len(all.GetReviews()), "review", " due") + ".")
	for _, r := range all.GetReviews() {
		p.line("")
		p.review(r)
	}
	p.warn()
	return p.write(e.stdout)
}

func (p *page) review(r *tracev1.ReviewDue) {
	p.line(figure.DateText(r.GetReview().GetFrom()) + "  " + cutWords(r.GetPatient().GetName().GetFull()))
	switch {
	case r.GetOverdue():
		p.row("OVERDUE", tallied(int(r.GetOverdueDays()), "day", " past "+figure.DateText(r.GetReview().GetUntil())))
	case r.GetReview().GetUntil() != nil:
		p.row("until", figure.DateText(r.GetReview().GetUntil()))
	default:
		p.row("until", "no last day is set")
	}
	p.row("session", r.GetSessionId()+" on "+figure.DateText(r.GetTreatedOn()))
	p.row("reach", reachText(r.GetContact().GetPhone(), r.GetContact().GetEmail()))
	for _, g := range r.GetGiven() {
		p.row("had", strings.TrimSpace(spanWords(g.GetDose())+" units of "+g.GetProduct()+" "+g.GetMuscle()+" "+figure.SideText(g.Side)))
	}
	if r.GetAppointmentId() != "" {
		p.row("booked", r.GetAppointmentId())
	}
}

func runTraceFigures(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("figures")
	clinic, injector := f.idFlag("clinic", "only this clinic's, by its `id`"), f.idFlag("injector", "only this injector's, by her `id`")
	from, until := f.dayFlag("from", "the first `day`"), f.dayFlag("until", "the last `day`")
	table, picture := f.String("csv", "", "write the table to this `file`"), f.String("svg", "", "write the plot to this `file`")
	req := &tracev1.GetFiguresRequest{}
	f.Func("step", "month (without it), week or year", func(text string) error {
		n, err := enumFlag(text, "FIGURE_STEP_", tracev1.FigureStep_value, "month, week, year")
		req.Step = tracev1.FigureStep(n)
		return err
	})
	f.Func("plot", "units (without it), rates or intervals", func(text string) error {
		n, err := enumFlag(text, "FIGURE_PLOT_", tracev1.FigurePlot_value, "units, rates, intervals")
		req.Plot = tracev1.FigurePlot(n)
		return err
	})
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	path, flagName := *table, "--csv"
	switch {
	case *table != "" && *picture != "":
		return usagef("%s: read --csv %q and --svg %q, want one of them", f.Name(), *table, *picture)
	case *table != "":
		req.Form = tracev1.FigureForm_FIGURE_FORM_CSV
	case *picture != "":
		req.Form, path, flagName = tracev1.FigureForm_FIGURE_FORM_SVG, *picture, "--svg"
	}
	req.ClinicId, req.InjectorId, req.From, req.Until = *clinic, *injector, *from, *until
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	m, err := ask(ctx, o.office, o.trace.GetFigures, req)
	if err != nil {
		return err
	}
	if path != "" {
		if err := writeFile(f.Name(), flagName, path, m.GetFile()); err != nil {
			return err
		}
	}
	if f.json {
		return printJSON(e.stdout, m)
	}
	var p page
	p.figures(m)
	p.warn()
	return p.write(e.stdout)
}

func (p *page) figures(m *tracev1.GetFiguresResponse) {
	p.line(figure.DateText(m.GetFrom()) + " to " + figure.DateText(m.GetUntil()) + ": " + tallied(int(m.GetPatients()), "patient", "") + ".")
	for _, k := range m.GetKinds() {
		p.row(strings.ToLower(strings.TrimPrefix(k.GetKind().String(), "SESSION_KIND_")), tallied(int(k.GetSessions()), "session", ""))
	}
	if n := m.GetInConflict(); n > 0 {
		p.row("in conflict", tallied(int(n), "session", "; sums are ranges"))
	}
	rows := [][]string{{"from", "product", "muscle", "side", "units", "sessions"}}
	for _, u := range m.GetUnits() {
		rows = append(rows, []string{figure.DateText(u.GetStepFrom()), u.GetProduct(), u.GetMuscle(), figure.SideText(u.Side), spanWords(u.GetDose()), number(u.GetSessions())})
	}
	if len(rows) > 1 {
		p.line("")
		p.table(rows)
	}
	for _, r := range m.GetRates() {
		p.line("")
		p.line(regionText(r.GetRegion()) + ": " + tallied(int(r.GetTreatments()), "treatment", ""))
		p.row("touched up", fmt.Sprintf("%d of %d%s", r.GetTouchedUp(), r.GetTreatments(), percentText(r.GetTouchedUpPercent())))
		p.row("sides unlike", fmt.Sprintf("%d of %d seen again%s", r.GetUnlike(), r.GetReviewed(), percentText(r.GetUnlikePercent())))
	}
	for _, i := range m.GetIntervals() {
		p.row("intervals", fmt.Sprintf("%s: %d, of %d to %d days, median %d", i.GetProduct(), i.GetCount(), i.GetLeastDays(), i.GetMostDays(), i.GetMedianDays()))
	}
}

func number(n uint32) string { return strconv.FormatUint(uint64(n), 10) }

func percentText(percent string) string {
	if percent == "" {
		return ""
	}
	return ", " + percent + " per cent"
}

func regionText(region string) string {
	if region == "" {
		return "no known region"
	}
	return strings.ReplaceAll(region, "_", " ")
}

func runTraceLogbook(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("logbook")
	clinic, injector := f.idFlag("clinic", "only cases at this clinic, by its `id`"), f.idFlag("injector", "whose, by her `id`; your own without it")
	from, until := f.dayFlag("from", "the first `day`; a year before the last without it"), f.dayFlag("until", "the last `day`; today without it")
	region, table := f.String("region", "", "only cases in this `region`"), f.String("csv", "", "write the table to this `file`")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	req := &tracev1.GetLogbookRequest{ClinicId: *clinic, InjectorId: *injector, From: *from, Until: *until, Region: optional(*region), PageSize: 1000}
	if *table != "" {
		req.Form = tracev1.FigureForm_FIGURE_FORM_CSV
	}
	all, err := ask(ctx, o.office, o.trace.GetLogbook, req)
	for last := all; err == nil && last.GetNextPageToken() != ""; {
		req.PageToken = last.GetNextPageToken()
		if last, err = ask(ctx, o.office, o.trace.GetLogbook, req); err == nil {
			all.Cases = append(all.Cases, last.GetCases()...)
		}
	}
	if err != nil {
		return err
	}
	all.NextPageToken = ""
	if *table != "" {
		if err := writeFile(f.Name(), "--csv", *table, all.GetFile()); err != nil {
			return err
		}
	}
	if f.json {
		return printJSON(e.stdout, all)
	}
	var p page
	p.logbook(all)
	p.warn()
	return p.write(e.stdout)
}

func (p *page) logbook(m *tracev1.GetLogbookResponse) {
	who := cutWords(m.GetInjectorName())
	if who == "" {
		who = m.GetInjectorId()
	}
	p.wrapped("", who+", "+figure.DateText(m.GetFrom())+" to "+figure.DateText(m.GetUntil())+": "+tallied(len(m.GetCases()), "case", "")+".")
	for _, r := range m.GetRegions() {
		p.row(regionText(r.GetRegion()), tallied(int(r.GetCases()), "case", "")+", "+tallied(int(r.GetSupervised()), "supervised", "")+", "+tallied(int(r.GetInjections()), "injection", ""))
	}
	rows := [][]string{{"on", "regions", "product", "units", "injections", "signed"}}
	for _, c := range m.GetCases() {
		for _, x := range c.GetProducts() {
			signed := "no"
			if c.GetSigned() {
				signed = "yes"
			}
			rows = append(rows, []string{figure.DateText(c.GetOn()), strings.Join(c.GetRegions(), " "), x.GetProduct(), spanWords(x.GetDose()), number(c.GetInjections()), signed})
		}
	}
	if len(rows) > 1 {
		p.line("")
		p.table(rows)
	}
}

func runTraceEvent(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("event")
	table := f.String("csv", "", "write the table to this `file`")
	id, err := f.argument(args, "the id of an adverse event")
	if err != nil {
		return err
	}
	if _, err := readID(f.Name(), id); err != nil {
		return err
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	req := &tracev1.GetEventReportRequest{AdverseEventId: id}
	if *table != "" {
		req.Form = tracev1.FigureForm_FIGURE_FORM_CSV
	}
	m, err := ask(ctx, o.office, o.trace.GetEventReport, req)
	if err != nil {
		return err
	}
	if *table != "" {
		if err := writeFile(f.Name(), "--csv", *table, m.GetFile()); err != nil {
			return err
		}
	}
	if f.json {
		return printJSON(e.stdout, m)
	}
	var p page
	for _, x := range m.GetFields() {
		value := x.GetValue()
		switch {
		case x.GetBlank():
			value = "not recorded"
		case x.GetInConflict():
			value = "IN CONFLICT " + value
		}
		section := x.GetSection()
		if x.GetProductNumber() > 0 {
			section += "." + number(x.GetProductNumber())
		}
		p.row(section, x.GetLabel()+": "+value)
	}
	p.warn()
	return p.write(e.stdout)
}
