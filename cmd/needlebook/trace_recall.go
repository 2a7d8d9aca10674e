package main

import (
	"context"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/figure"
)

const recallMarkHelp = `
From its next exchange on every tablet of the organisation holds the lot: nobody
may lift that. The record says who marked it, why and by which notice.

  needlebook trace recall mark C4021 --product onabotulinumtoxinA \
    --reason 'cold chain broken' --reference N-12 --on 2026-03-11 \
    --server http://127.0.0.1:8740 --name eve --password-file password`

func recallCommands() []command {
	return []command{
		{name: "mark", usage: "LOT --product NAME --reason TEXT [flags]", short: "mark a lot as recalled", long: recallMarkHelp, run: runRecallMark},
		{name: "lift", usage: "--lot-id ID --recall ID [flags]", short: "say that a recall does not stand", run: runRecallLift},
		{name: "calls", usage: "--lot-id ID [flags]", short: "whom to call, and what was done about each", run: runRecallCalls},
		{name: "note", usage: "--lot-id ID --patient ID [flags]", short: "write down an attempt to reach a patient", run: runRecallNote},
		{name: "undo", usage: "--patient ID --attempt ID [flags]", short: "take an attempt back", run: runRecallUndo},
	}
}

func runRecallMark(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("recall mark")
	of := f.lotFlags()
	reason, reference := f.String("reason", "", "why"), f.String("reference", "", "the `number` of the notice")
	on := f.dayFlag("on", "the `day` of the notice")
	number, err := f.argument(args, "the number of a lot")
	if err == nil {
		err = of.check(f)
	}
	if err != nil {
		return err
	}
	if of.product == "" && of.diluent == "" || *reason == "" || *on == nil {
		return usagef("%s: want --product or --diluent, --reason and --on", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	kind := chartv1.LotKind_LOT_KIND_TOXIN
	if of.diluent != "" {
		kind = chartv1.LotKind_LOT_KIND_DILUENT
	}
	resp, err := ask(ctx, o.office, o.trace.RecallLot, &tracev1.RecallLotRequest{
		RequestId: uuid.NewString(), Reason: *reason, Reference: *reference, NoticedOn: *on,
		Lot: &chartv1.LotIdentity{Kind: kind, Product: optional(of.product), Diluent: optional(of.diluent), Number: number},
	})
	if err != nil {
		return err
	}
	return f.printLot(e, resp, resp.GetView(), "Lot "+printable(number)+" is recalled. Tablets have it at their next exchange.", resp.GetRecallId())
}

// printLot prints a lot after its recalls changed.
func (f *officeFlags) printLot(e env, m proto.Message, v *chartv1.RecordView, said, recall string) error {
	if f.json {
		return printJSON(e.stdout, m)
	}
	var p page
	p.wrapped("", said)
	p.row("lot", v.GetRecord().GetLot().GetId())
	p.row("recall", recall)
	return p.write(e.stdout)
}

func runRecallLift(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("recall lift")
	lot, recall := f.idFlag("lot-id", "`id` of the lot's record"), f.idFlag("recall", "`id` of the recall")
	reason := f.String("reason", "", "why")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *lot == nil || *recall == nil || *reason == "" {
		return usagef("%s: want --lot-id, --recall and --reason", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o.office, o.trace.LiftRecall, &tracev1.LiftRecallRequest{RequestId: uuid.NewString(), LotId: **lot, RecallId: **recall, Reason: *reason})
	if err != nil {
		return err
	}
	return f.printLot(e, resp, resp.GetView(), "The recall is lifted. It stays in the record.", **recall)
}

func runRecallCalls(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("recall calls")
	lot := f.idFlag("lot-id", "`id` of the lot's record")
	open := f.Bool("open", false, "only people who were not reached")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *lot == nil {
		return usagef("%s: want --lot-id", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	req := &tracev1.ListCallsRequest{LotId: **lot, OpenOnly: *open, PageSize: 1000}
	all, err := ask(ctx, o.office, o.trace.ListCalls, req)
	for last := all; err == nil && last.GetNextPageToken() != ""; {
		req.PageToken = last.GetNextPageToken()
		if last, err = ask(ctx, o.office, o.trace.ListCalls, req); err == nil {
			all.Calls = append(all.Calls, last.GetCalls()...)
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
	p.wrapped("", tallied(int(all.GetPeople()), "person", " had it")+"; "+tallied(int(all.GetReached()), "was", " reached")+", as known here at "+stampText(all.GetAsOf())+".")
	for _, c := range all.GetCalls() {
		p.line("")
		p.call(c)
	}
	return p.write(e.stdout)
}

func (p *page) call(c *tracev1.Call) {
	p.line(cutWords(c.GetName().GetFull()))
	p.row("patient", c.GetPatientId())
	for _, id := range c.GetLinkedPatientIds() {
		p.row("also", id)
	}
	p.row("reach", reachText(c.GetContact().GetPhone(), c.GetContact().GetEmail()))
	p.row("last had it", figure.DateText(c.GetLastOn())+", "+tallied(int(c.GetSessions()), "session", " in all"))
	state := "not reached"
	if c.GetReached() {
		state = "reached"
	}
	if c.GetDeceased() {
		state += "; recorded as dead"
	}
	p.row("state", state)
	for _, a := range c.GetAttempts() {
		text := stampText(a.GetAttempt().GetMade().GetAt()) + " by " + strings.ReplaceAll(a.GetAttempt().GetWay(), "_", " ") + ": " + a.GetAttempt().GetResult()
		if a.GetUndone() != nil {
			text += " (taken back: " + a.GetUndone().GetReason() + ")"
		}
		p.row("attempt", text)
	}
}

func runRecallNote(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("recall note")
	lot, patient := f.idFlag("lot-id", "`id` of the lot's record"), f.idFlag("patient", "`id` of the patient")
	way, result := f.String("way", "", "how, such as telephone, mail or letter"), f.String("result", "", "with what result")
	reached := f.Bool("reached", false, "the person was told")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *lot == nil || *patient == nil || *way == "" || *result == "" {
		return usagef("%s: want --lot-id, --patient, --way and --result", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o.office, o.trace.NoteCall, &tracev1.NoteCallRequest{
		RequestId: uuid.NewString(), PatientId: **patient, LotId: **lot, Way: *way, Result: *result, Reached: *reached,
	})
	if err != nil {
		return err
	}
	return f.printAttempt(e, resp, resp.GetAttempt(), "Written into the patient's record.")
}

func (f *officeFlags) printAttempt(e env, m proto.Message, a *chartv1.ContactMade, said string) error {
	if f.json {
		return printJSON(e.stdout, m)
	}
	var p page
	p.line(said)
	p.row("attempt", a.GetId())
	p.row("result", a.GetAttempt().GetResult())
	return p.write(e.stdout)
}

func runRecallUndo(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("recall undo")
	patient, attempt := f.idFlag("patient", "`id` of the patient"), f.idFlag("attempt", "`id` of the attempt")
	reason := f.String("reason", "", "why")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *patient == nil || *attempt == nil || *reason == "" {
		return usagef("%s: want --patient, --attempt and --reason", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o.office, o.trace.UndoCall, &tracev1.UndoCallRequest{RequestId: uuid.NewString(), PatientId: **patient, ContactId: **attempt, Reason: *reason})
	if err != nil {
		return err
	}
	return f.printAttempt(e, resp, resp.GetAttempt(), "Taken back. It stays in the record.")
}
