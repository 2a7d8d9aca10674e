package main

import (
	"context"
	"encoding/hex"
	"strings"

	"github.com/google/uuid"

	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/figure"
)

const traceDayHelp = `
What is open on a clinic's day: sessions that nobody signed, fields in conflict,
edits held, tablets that are silent or have edits to send; what left each vial;
the holds that were lifted, by whom and why; and what came after a close.

  needlebook trace day --on 2026-03-11 --server http://127.0.0.1:8740 \
    --name eve --password-file password

Without --clinic it is the organisation's only clinic.`

const traceCloseHelp = `
Closes the day in your name over exactly what trace day shows. With --digest,
which trace day prints, it is refused when the day has changed since. Say with
--remark what is to be done about what is open. What comes later is shown as
late, and the day as open again.`

func runTraceDay(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("day")
	clinic, on := f.idFlag("clinic", "`id` of the clinic"), f.dayFlag("on", "the `day`")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *on == nil {
		return usagef("%s: want --on", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	at, err := o.clinicOr(ctx, f, *clinic)
	if err != nil {
		return err
	}
	m, err := ask(ctx, o.office, o.trace.GetDayClose, &tracev1.GetDayCloseRequest{ClinicId: at, Day: *on})
	if err != nil {
		return err
	}
	return f.printDay(e, m)
}

func (f *officeFlags) printDay(e env, m *tracev1.GetDayCloseResponse) error {
	if f.json {
		return printJSON(e.stdout, m)
	}
	var p page
	p.day(m)
	p.warn()
	return p.write(e.stdout)
}

func (p *page) day(m *tracev1.GetDayCloseResponse) {
	r := m.GetReport()
	state := "open"
	if m.GetClosing() != nil {
		state = "closed by " + cutWords(m.GetClosedByName()) + " " + stampText(m.GetClosing().GetSeen().GetClosed().GetAt())
		if !m.GetClosed() {
			state += ", open again: " + tallied(len(r.GetLateEntries()), "late edit", "")
		}
	}
	p.wrapped("", figure.DateText(r.GetDay())+" is "+state+". "+tallied(int(m.GetOpenItems()), "item", " open")+".")
	p.row("sessions", tallied(int(r.GetSessions()), "session", "")+", "+tallied(int(r.GetSignedSessions()), "signed", ""))
	for _, s := range r.GetUnsigned() {
		text := s.GetSessionId()
		if s.GetLateEntries() > 0 {
			text += ", signed, " + tallied(int(s.GetLateEntries()), "late entry", " to countersign")
		}
		p.row("unsigned", text)
	}
	for _, k := range r.GetConflicts() {
		p.row("conflict", strings.ToLower(strings.TrimPrefix(k.GetKind().String(), "RECORD_KIND_"))+" "+k.GetRecordId())
	}
	p.row("held edits", tallied(int(r.GetHeldEdits()), "edit", ""))
	p.row("reviews", tallied(int(r.GetReviewsDue()), "review", " due in the week after"))
	p.dayVials(r)
	for _, h := range r.GetLiftedHolds() {
		p.row("hold lifted", h.GetDecision().GetCode()+" by "+h.GetDecidedByName()+": "+h.GetDecision().GetReason())
	}
	for _, x := range r.GetFindings() {
		p.row("finding", x.GetText())
	}
	if n := len(r.GetSilentDevices()); n > 0 {
		p.line(tallied(n, "silent device", "") + ":")
		p.devicesSilent(r.GetSilentDevices())
	}
	if n := len(r.GetUnsyncedDevices()); n > 0 {
		p.line(tallied(n, "device", " with edits to send") + ":")
		p.devicesSilent(r.GetUnsyncedDevices())
	}
	for _, x := range r.GetLateEntries() {
		from := x.GetDeviceLabel()
		if from == "" {
			from = "the server"
		}
		p.row("late", stampText(x.GetAuthoredAt())+" by "+x.GetAuthorName()+", from "+from+", "+x.GetKey().GetRecordId()+": "+strings.Join(x.GetPaths(), ", "))
	}
	p.row("digest", hex.EncodeToString(m.GetReportDigest()))
	if c := m.GetClosing(); c != nil {
		p.row("closing", c.GetId())
	}
}

func (p *page) dayVials(r *tracev1.DayReport) {
	for _, v := range r.GetVials() {
		text := v.GetVialId() + " " + v.GetProduct() + " lot " + v.GetLotNumber() + ": drawn " + spanWords(v.GetDrawn()) + ", given " + spanWords(v.GetGiven()) +
			", wasted " + spanWords(v.GetWasted())
		if v.GetWasteUnknown() {
			text += " and some not measured"
		}
		text += ", left " + spanWords(v.GetLeft()) + " of " + v.GetContentUnits() + " units"
		if u := v.GetUnaccounted(); u.GetMostUnits() != "0" {
			text += "; " + spanWords(u) + " drawn and not accounted for"
		}
		if v.GetOverdrawn() {
			text += "; MORE DRAWN THAN IT HELD"
		}
		p.row("vial", text)
	}
}

func runTraceClose(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("close")
	clinic, on := f.idFlag("clinic", "`id` of the clinic"), f.dayFlag("on", "the `day`")
	remark := f.String("remark", "", "what is to be done about what is open")
	digest := f.String("digest", "", "the digest that trace day printed; without it, that of the day as it stands")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *on == nil {
		return usagef("%s: want --on", f.Name())
	}
	seen, err := hex.DecodeString(*digest)
	if err != nil || len(seen) != 0 && len(seen) != 32 {
		return usagef("%s: --digest: read %q, want 64 digits of hexadecimal", f.Name(), *digest)
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	at, err := o.clinicOr(ctx, f, *clinic)
	if err != nil {
		return err
	}
	if len(seen) == 0 {
		m, err := ask(ctx, o.office, o.trace.GetDayClose, &tracev1.GetDayCloseRequest{ClinicId: at, Day: *on})
		if err != nil {
			return err
		}
		seen = m.GetReportDigest()
	}
	resp, err := ask(ctx, o.office, o.trace.CloseDay, &tracev1.CloseDayRequest{RequestId: uuid.NewString(), ClinicId: at, Day: *on, ReportDigest: seen, Remark: *remark})
	if err != nil {
		return err
	}
	return f.printDay(e, resp.GetDay())
}

func runTraceReopen(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("reopen")
	clinic, on := f.idFlag("clinic", "`id` of the clinic"), f.dayFlag("on", "the `day`")
	closing, reason := f.idFlag("closing", "`id` of the close"), f.String("reason", "", "why")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *on == nil || *closing == nil || *reason == "" {
		return usagef("%s: want --on, --closing and --reason", f.Name())
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	at, err := o.clinicOr(ctx, f, *clinic)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o.office, o.trace.ReopenDay, &tracev1.ReopenDayRequest{RequestId: uuid.NewString(), ClinicId: at, Day: *on, ClosingId: **closing, Reason: *reason})
	if err != nil {
		return err
	}
	return f.printDay(e, resp.GetDay())
}
