package demo

import (
	"context"
	"fmt"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// traceFor is the server's TraceService for a person who signs in at a desk.
func (w *world) traceFor(ctx context.Context, p *person) (tracev1connect.TraceServiceClient, error) {
	token, err := w.signInAtDesk(ctx, p)
	if err != nil {
		return nil, err
	}
	return tracev1connect.NewTraceServiceClient(w.client(token, nil), w.url), nil
}

// closeDay has the medical lead close the day at Vellmouth while an addendum is still on a tablet.
func (p *play) closeDay(ctx context.Context) error {
	if err := p.goTo(ctx, clockTime(demoDay(), 18, 47)); err != nil {
		return err
	}
	desk, err := p.traceFor(ctx, p.staff[ines])
	if err != nil {
		return err
	}
	clinic := p.clinics[vellmouth].id.String()
	seen, err := desk.GetDayClose(ctx, &tracev1.GetDayCloseRequest{ClinicId: clinic, Day: date(demoDay())})
	if err != nil {
		return fmt.Errorf("read the day's close: %w", err)
	}
	p.closed, err = desk.CloseDay(ctx, &tracev1.CloseDayRequest{
		RequestId: p.dice.request(), ClinicId: clinic, Day: date(demoDay()), ReportDigest: seen.GetReportDigest(), Remark: "to be done tomorrow",
	})
	if err != nil {
		return fmt.Errorf("close the day: %w", err)
	}
	return nil
}

// tellClose says what was closed and what came after it.
func (p *play) tellClose(ctx context.Context) error {
	desk, err := p.traceFor(ctx, p.staff[ines])
	if err != nil {
		return err
	}
	now, err := desk.GetDayClose(ctx, &tracev1.GetDayCloseRequest{ClinicId: p.clinics[vellmouth].id.String(), Day: date(demoDay())})
	if err != nil {
		return fmt.Errorf("read the day's close: %w", err)
	}
	was, late := p.closed.GetDay(), now.GetReport().GetLateEntries()
	p.that(was.GetClosed() && !now.GetClosed() && len(late) > 0, "the day was closed, and what came later opens it")
	p.at(clockTime(demoDay(), 18, 47), "%s closes Vellmouth's day: %s, %s. What tablets bring later opens it again: %s.", p.staff[ines].given(),
		count(int(was.GetReport().GetSessions()), "visit", "visits"), count(int(was.GetOpenItems()), "open item", "open items"),
		count(len(late), "late entry", "late entries"))
	return nil
}

// friday is a recall of the lot that the shared vial was of, and the figures of the week.
func (p *play) friday(ctx context.Context) error {
	on := demoDay().AddDate(0, 0, 2)
	if err := p.goTo(ctx, clockTime(on, 9, 0)); err != nil {
		return err
	}
	desk, err := p.traceFor(ctx, p.staff[ines])
	if err != nil {
		return err
	}
	p.line("")
	p.line("Friday, " + on.Format("2 January 2006"))
	if err := p.recall(ctx, desk); err != nil {
		return err
	}
	return p.figures(ctx, desk)
}

func (p *play) recall(ctx context.Context, desk tracev1connect.TraceServiceClient) error {
	l, on := p.lotFor("onabotulinumtoxinA", demoDay()), p.clock.now()
	_, err := desk.RecallLot(ctx, &tracev1.RecallLotRequest{
		RequestId: p.dice.request(), Reason: "the cold chain was broken", Reference: "N-12", NoticedOn: date(on),
		Lot: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: &l.product, Number: l.number},
	})
	if err != nil {
		return fmt.Errorf("recall lot %s: %w", l.number, err)
	}
	list := &tracev1.ListCallsRequest{LotId: l.id.String(), PageSize: 1000}
	calls, err := desk.ListCalls(ctx, list)
	if err != nil {
		return fmt.Errorf("list calls: %w", err)
	}
	had, visits := p.exposed(l)
	p.that(int(calls.GetPeople()) == len(had), "%d people are to be called, the tablet knows %d", calls.GetPeople(), len(had))
	strangers := 0
	for _, c := range calls.GetCalls() {
		if !had[c.GetPatientId()] {
			strangers++
		}
	}
	p.that(strangers == 0, "%d on the call list had not the lot", strangers)
	if len(calls.GetCalls()) == 0 {
		return nil
	}
	first := calls.GetCalls()[0]
	_, err = desk.NoteCall(ctx, &tracev1.NoteCallRequest{
		RequestId: p.dice.request(), PatientId: first.GetPatientId(), LotId: l.id.String(), Way: "phone", Result: "told; she is well", Reached: true,
	})
	if err != nil {
		return fmt.Errorf("note a call: %w", err)
	}
	if calls, err = desk.ListCalls(ctx, list); err != nil {
		return fmt.Errorf("list calls: %w", err)
	}
	p.that(calls.GetReached() == 1, "one is reached")
	p.at(on, "Lot %s is recalled. %s of %s had it, in %s; each is on the call list. %s is called first: %d reached.", l.number,
		count(len(had), "person", "people"), thousands(len(p.patients)), count(visits, "visit", "visits"), first.GetName().GetFull(), calls.GetReached())
	return nil
}

// exposed is whom a lot was given to and in how many visits, by what a room's tablet holds: the twin of the server's trace.
func (p *play) exposed(l lot) (people map[string]bool, visits int) {
	of := map[string]bool{}
	for _, k := range p.room1.r.Keys(optionsv1.RecordKind_RECORD_KIND_VIAL) {
		if typed, err := chart.Typed(p.room1.r.View(k)); err == nil && typed.GetVial().GetLabelling().GetLotId() == l.id.String() {
			of[k.ID.String()] = true
		}
	}
	people = map[string]bool{}
	for _, k := range p.room1.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		s := p.session(p.room1, k)
		if fromVials(s, of) {
			people[s.GetPatientId()] = true
			visits++
		}
	}
	return people, visits
}

func fromVials(s *chartv1.Session, of map[string]bool) bool {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if of[g.GetGiven().GetVialId()] {
				return true
			}
		}
	}
	return false
}

// figures counts the week's visits, against what the records say.
func (p *play) figures(ctx context.Context, desk tracev1connect.TraceServiceClient) error {
	from, until := demoDay().AddDate(0, 0, -2), demoDay().AddDate(0, 0, 2)
	f, err := desk.GetFigures(ctx, &tracev1.GetFiguresRequest{From: date(from), Until: date(until)})
	if err != nil {
		return fmt.Errorf("read the week's figures: %w", err)
	}
	visits, people := 0, map[string]bool{}
	for _, k := range p.room1.r.Keys(optionsv1.RecordKind_RECORD_KIND_SESSION) {
		s := p.session(p.room1, record.Key{Kind: k.Kind, ID: k.ID})
		if on := day(s.GetOn()); !on.Before(from) && !on.After(until) {
			visits++
			people[s.GetPatientId()] = true
		}
	}
	said := 0
	for _, k := range f.GetKinds() {
		said += int(k.GetSessions())
	}
	p.that(said == visits && int(f.GetPatients()) == len(people), "the figures say %d visits of %d patients, the records %d of %d", said, f.GetPatients(),
		visits, len(people))
	p.at(clockTime(until, 17, 0), "The week's figures: %s of %s.", count(said, "visit", "visits"), count(int(f.GetPatients()), "patient", "patients"))
	return nil
}
