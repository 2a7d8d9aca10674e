package main

import (
	"context"
	"flag"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
	"needlebook/internal/figure"
)

const traceLotHelp = `
Who had a lot of toxin or diluent, at every clinic: the session, the muscle, the
side, the dose, and how the patient is reached; the vials and where they are;
and the devices that may hold more. Each patient listed is in the audit log.

  needlebook trace lot C4021 --like --server http://127.0.0.1:8740 \
    --name eve --password-file password

--like also finds numbers that may be this one mistyped. Each is marked, and
none is counted as the lot.`

func traceCommand() command {
	return command{name: "trace", short: "follow lots, close days, list reviews, count what was done", sub: []command{
		{name: "lot", usage: "LOT [flags]", short: "who had a lot, and where its vials are", long: traceLotHelp, run: runTraceLot},
		{name: "recall", short: "mark a lot as recalled, and keep whom to call", sub: recallCommands()},
		{name: "day", usage: "--on DAY [flags]", short: "how a clinic's day stands", long: traceDayHelp, run: runTraceDay},
		{name: "close", usage: "--on DAY [flags]", short: "close a clinic's day", long: traceCloseHelp, run: runTraceClose},
		{name: "reopen", usage: "--on DAY --closing ID --reason TEXT [flags]", short: "take a close back", run: runTraceReopen},
		{name: "reviews", usage: "[flags]", short: "reviews that are due, longest overdue first", run: runTraceReviews},
		{name: "figures", usage: "[flags]", short: "units, touch-ups, unlike sides and intervals", long: traceFiguresHelp, run: runTraceFigures},
		{name: "logbook", usage: "[flags]", short: "an injector's cases by region", run: runTraceLogbook},
		{name: "event", usage: "ID [flags]", short: "what a report of an adverse event asks for", run: runTraceEvent},
	}}
}

// tracer is a person who is signed in to trace.
type tracer struct {
	*office
	trace tracev1connect.TraceServiceClient
}

func (f *officeFlags) signInToTrace(ctx context.Context) (*tracer, error) {
	o, err := f.signIn(ctx)
	if err != nil {
		return nil, err
	}
	client := &http.Client{Transport: o, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return &tracer{o, tracev1connect.NewTraceServiceClient(client, o.server, connect.WithReadMaxBytes(mostAnswerBytes))}, nil
}

// newTraceFlags has the flags of a command of trace.
func newTraceFlags(name string) *officeFlags {
	f := newAccessFlags(name)
	f.Init("trace "+name, flag.ContinueOnError)
	f.StringVar(&f.server, "server", "", "`address` of the server, scheme and host")
	return f
}

// dayFlag is a flag that reads a day.
func (f *officeFlags) dayFlag(name, usage string) **recordv1.Date {
	var out *recordv1.Date
	f.Func(name, usage+", as 2026-03-11", func(text string) error {
		at, err := time.Parse(time.DateOnly, text)
		if err != nil {
			return usagef("read %q, want a day of the calendar such as 2026-03-11", text)
		}
		out = &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}
		return nil
	})
	return &out
}

// idFlag is a flag that reads an id; nil when it is not given.
func (f *officeFlags) idFlag(name, usage string) **string {
	var out *string
	f.Func(name, usage, func(text string) error {
		if _, err := uuid.Parse(text); err != nil || text != strings.ToLower(text) {
			return usagef("read %q, want a UUID in lower case", text)
		}
		out = &text
		return nil
	})
	return &out
}

// argument parses flags around one argument, wherever it stands among them.
func (f *officeFlags) argument(args []string, what string) (string, error) {
	rest, err := parseFlagsAnd(f.FlagSet, args)
	if err != nil {
		return "", err
	}
	if len(rest) == 0 || rest[0] == "" {
		return "", usagef("%s: want %s", f.Name(), what)
	}
	return rest[0], parseFlags(f.FlagSet, rest[1:])
}

// lotFlags says what a lot is a batch of.
type lotFlags struct{ product, diluent string }

func (f *officeFlags) lotFlags() *lotFlags {
	var l lotFlags
	f.StringVar(&l.product, "product", "", "the toxin, by its nonproprietary `name`")
	f.StringVar(&l.diluent, "diluent", "", "the `kind` of diluent, such as sodium_chloride_9")
	return &l
}

func (l *lotFlags) check(f *officeFlags) error {
	if l.product != "" && l.diluent != "" {
		return usagef("%s: read --product %q and --diluent %q, want one of them", f.Name(), l.product, l.diluent)
	}
	return nil
}

func optional(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

func runTraceLot(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("lot")
	of := f.lotFlags()
	like := f.Bool("like", false, "also find numbers that look like it, each marked")
	from, until := f.dayFlag("from", "only sessions on or after this `day`"), f.dayFlag("until", "only sessions on or before this `day`")
	var since *timestamppb.Timestamp
	f.Func("since", "list devices that were silent since this `time`, as 2026-03-11T08:00:00Z", func(text string) error {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return usagef("read %q, want a time such as 2026-03-11T08:00:00Z", text)
		}
		since = timestamppb.New(at)
		return nil
	})
	number, err := f.argument(args, "the number of a lot")
	if err == nil {
		err = of.check(f)
	}
	if err != nil {
		return err
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	all, err := o.traced(ctx, &tracev1.TraceLotRequest{
		Lot:      &tracev1.TraceLotRequest_Label{Label: &tracev1.LotLabel{Number: number, Product: optional(of.product), Diluent: optional(of.diluent)}},
		AlsoLike: *like, From: *from, Until: *until, SilentSince: since, PageSize: 1000,
	})
	if err != nil {
		return err
	}
	if f.json {
		return printJSON(e.stdout, all)
	}
	var p page
	p.traced(number, all)
	p.warn()
	return p.write(e.stdout)
}

// traced is all pages of a trace as one.
func (o *tracer) traced(ctx context.Context, req *tracev1.TraceLotRequest) (*tracev1.TraceLotResponse, error) {
	all, err := ask(ctx, o.office, o.trace.TraceLot, req)
	for last := all; err == nil && last.GetNextPageToken() != ""; {
		req.PageToken = last.GetNextPageToken()
		if last, err = ask(ctx, o.office, o.trace.TraceLot, req); err == nil {
			all.Exposures = append(all.Exposures, last.GetExposures()...)
		}
	}
	if all != nil {
		all.NextPageToken = ""
	}
	return all, err
}

func (p *page) traced(number string, m *tracev1.TraceLotResponse) {
	p.wrapped("", "Lot "+printable(number)+": "+tallied(int(m.GetPatientCount()), "patient", " had it")+", as known here at "+stampText(m.GetAsOf())+".")
	if n := m.GetLikePatientCount(); n > 0 {
		p.wrapped("", tallied(int(n), "patient", " more")+" had a lot whose number only looks like it: "+strings.Join(m.GetLikeNumbers(), ", ")+".")
	}
	for _, r := range m.GetLot().GetRecalls() {
		state := "recalled"
		if r.GetLifted() != nil {
			state = "lifted"
		}
		p.row(state, figure.DateText(r.GetNotice().GetNoticedOn())+" "+r.GetNotice().GetReason())
	}
	for _, x := range m.GetExposures() {
		p.line("")
		p.exposure(x)
	}
	p.vialsAndDevices(m)
}

func (p *page) exposure(x *tracev1.Exposure) {
	name := cutWords(x.GetName().GetFull())
	if x.GetPatientId() == "" {
		name = "A session that is not known here yet"
	}
	on := figure.DateText(x.GetOn())
	if on == "" {
		on = "no day"
	}
	p.line(on + "  " + name)
	if x.GetMatchedNumber() != "" {
		p.row("entered as", x.GetMatchedNumber()+" ("+strings.ToLower(strings.TrimPrefix(x.GetMatch().String(), "LOT_MATCH_"))+")")
	}
	p.row("session", x.GetSessionId())
	if x.GetPatientId() != "" {
		p.row("patient", x.GetPatientId())
		p.row("reach", reachText(x.GetContact().GetPhone(), x.GetContact().GetEmail()))
	}
	if x.GetThroughDiluent() {
		p.row("through", "the diluent")
	}
	for _, g := range x.GetGivings() {
		side := figure.SideText(g.Side)
		p.row("given", strings.TrimSpace(spanWords(g.GetDose())+" units of "+g.GetProduct()+" "+g.GetMuscle()+" "+side))
	}
	if len(x.GetGivings()) == 0 {
		p.row("given", "nothing recorded; the vial was opened for it")
	}
}

func reachText(phone, email string) string {
	text := strings.TrimSpace(phone + " " + email)
	if text == "" {
		return "no telephone and no mail recorded"
	}
	return text
}

func (p *page) vialsAndDevices(m *tracev1.TraceLotResponse) {
	p.line("")
	p.line(tallied(len(m.GetVials()), "vial", "") + ".")
	for _, v := range m.GetVials() {
		state := "unopened"
		switch {
		case v.GetDiscarded():
			state = "discarded"
		case v.GetOpened():
			state = "opened"
		}
		if v.LeftMl != nil && !v.GetDiscarded() {
			state += ", " + v.GetLeftMl() + " mL left"
		}
		if v.GetPlace() != "" {
			state += ", in " + v.GetPlace()
		}
		if v.GetMatch() == tracev1.LotMatch_LOT_MATCH_LIKE {
			state += ", entered as " + v.GetNumber()
		}
		p.row("vial", v.GetVialId()+" "+state+", "+tallied(int(v.GetSessions()), "session", ""))
	}
	p.line("")
	p.line(tallied(len(m.GetSilentDevices()), "device", " silent since "+stampText(m.GetSilentSince())) + ".")
	p.devicesSilent(m.GetSilentDevices())
}

func (p *page) devicesSilent(devices []*tracev1.SilentDevice) {
	for _, d := range devices {
		call := strings.TrimSpace(d.GetCustodianName() + " " + d.GetCustodianPhone())
		if call == "" {
			call = "the clinic " + d.GetClinicPhone()
		}
		last := "never exchanged"
		if d.GetLastExchangeAt() != nil {
			last = "last exchanged " + stampText(d.GetLastExchangeAt())
		}
		p.row(cutWords(d.GetLabel()), last+"; telephone "+strings.TrimSpace(call))
	}
}

func stampText(t *timestamppb.Timestamp) string { return timeText(t.AsTime().UnixMilli()) }

// spanWords is a dose as a number, or from where to where.
func spanWords(s *dosev1.DoseSpan) string {
	if s.GetCertain() || s.GetMostUnits() == s.GetLeastUnits() {
		return s.GetLeastUnits()
	}
	return s.GetLeastUnits() + " to " + s.GetMostUnits()
}

// clinicOr is the clinic asked for, or the organisation's only one.
func (o *tracer) clinicOr(ctx context.Context, f *officeFlags, id *string) (string, error) {
	if id != nil {
		return *id, nil
	}
	return o.onlyClinic(ctx, f.Name())
}

// writeFile writes a file that the server made, or says where it could not.
func writeFile(name, flagName, path string, file *tracev1.FigureFile) error {
	if err := os.WriteFile(path, file.GetData(), 0o600); err != nil {
		return usagef("%s: %s: %v", name, flagName, err)
	}
	return nil
}

// tallied is a number with what it counts, and what follows.
func tallied(n int, noun, rest string) string {
	switch {
	case n == 1 || strings.HasSuffix(noun, "ed"):
	case noun == "person":
		noun = "people"
	case noun == "was":
		noun = "were"
	case strings.HasSuffix(noun, "y"):
		noun = strings.TrimSuffix(noun, "y") + "ies"
	default:
		noun += "s"
	}
	return strconv.Itoa(n) + " " + noun + rest
}

// warn prints the caution that stands under everything that shows a dose.
func (p *page) warn() {
	p.line("")
	p.wrapped("", "The licensed prescriber decides, and local rules come first. Units of one product are not units of another.")
}
