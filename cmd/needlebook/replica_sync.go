package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/device"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

const replicaSyncHelp = `
Sends what the server lacks and takes what is new, until both are in step. Each
answer is on the disk before the next request goes out: cut it off anywhere and
run it again.

Exit codes beyond the usual: 3 in step, and the server held an edit back (held
says which and what to do); 4 the server does not answer, and everything is
safe on this tablet.`

// clockTolerance is how far the clocks may differ before people are told.
const clockTolerance = 2 * time.Minute

type syncJSON struct {
	InStep        bool      `json:"in_step"`
	Away          bool      `json:"away"`
	Unsent        int       `json:"unsent_edits"`
	Up            int       `json:"edits_up"`
	Down          int       `json:"records_down"`
	Gone          int       `json:"records_gone"`
	Safety        int       `json:"safety_entries_down"`
	RoundTrips    int64     `json:"round_trips"`
	BytesUp       int64     `json:"bytes_up"`
	BytesDown     int64     `json:"bytes_down"`
	ClockOffsetMS int64     `json:"clock_offset_ms"`
	NewReplica    bool      `json:"new_replica"`
	Refused       []refusal `json:"refused"`
	Wiped         bool      `json:"wiped"`
	Error         string    `json:"error"`
}

// refusal is an edit that did not take effect as it came.
type refusal struct {
	Kind     string  `json:"kind"`
	RecordID string  `json:"record_id"`
	Dot      dotJSON `json:"dot"`
	Status   string  `json:"status"`
	Reason   string  `json:"reason"`
	Detail   string  `json:"detail"`
	Fix      string  `json:"fix"`
	Acts     string  `json:"acts"`
	Partial  bool    `json:"partial"`
}

// digestBytes is a digest, in JSON 64 hexadecimal digits.
type digestBytes record.Hash

// MarshalText implements encoding.TextMarshaler.
func (d digestBytes) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%x", d[:]), nil }

func runReplicaSync(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "sync")
	f.withKey()
	f.IntVar(&f.limits.PageEdits, "page", 0, "the most `edits` or records in one exchange, for bad lines; 0 for no bound")
	if _, err := f.parse(args); err != nil {
		return err
	}
	if f.limits.PageEdits < 0 || f.limits.PageEdits > 1000 {
		return usagef("%s: --page: read %d, want 0 to 1000", f.Name(), f.limits.PageEdits)
	}
	f.limits.Rows = uint32(f.limits.PageEdits)
	return f.withDevice(ctx, e, func(d *device.Device) error {
		rep, err := d.Sync(ctx)
		refused := refusalsOf(rep)
		if printErr := f.printSync(e, d, rep, refused, err); printErr != nil {
			return errors.Join(err, printErr)
		}
		if err == nil && len(refused) > 0 {
			return errHold
		}
		if errors.Is(err, device.ErrSignedOut) {
			return fmt.Errorf("%w; needlebook replica sign-in begins a new one", err)
		}
		return err
	})
}

// refusalsOf is the edits that were held back or that wait; those that took effect after all are none.
func refusalsOf(rep device.Report) []refusal {
	out := []refusal{}
	for _, h := range rep.Refused {
		if h.Status != syncv1.HeldStatus_HELD_STATUS_HELD && h.Status != syncv1.HeldStatus_HELD_STATUS_WAITING {
			continue
		}
		entry, _ := fault.Lookup(h.Reason)
		out = append(out, refusal{
			kindName(h.Edit.Key.Kind), h.Edit.Key.ID.String(), dotJSON{uuidText(h.Edit.Dot.Replica), h.Edit.Dot.Counter},
			strings.ToUpper(enumText(h.Status.Descriptor(), h.Status.Number())), fault.Name(h.Reason), h.Detail, entry.Fix, string(entry.Acts), h.Partial,
		})
	}
	return out
}

func (f *replicaFlags) printSync(e env, d *device.Device, rep device.Report, refused []refusal, err error) error {
	var away *device.AwayError
	isAway := errors.As(err, &away)
	if f.json {
		out := syncJSON{
			InStep: err == nil, Away: isAway, Unsent: d.Unsent(), Up: rep.Up, Down: rep.Down, Gone: rep.Gone, Safety: rep.Safety,
			RoundTrips: rep.Traffic.RoundTrips, BytesUp: rep.Traffic.BytesUp, BytesDown: rep.Traffic.BytesDown,
			ClockOffsetMS: d.Exchanges().OffsetMS, NewReplica: rep.Forked, Refused: refused, Wiped: rep.Wiped,
		}
		if err != nil {
			out.Error = err.Error()
		}
		return printAsJSON(e.stdout, out)
	}
	var t recordText
	t.wrapped("", syncHeading(d, err))
	t.row("up", counted(rep.Up, "edit", ""))
	t.row("down", counted(rep.Down, "record", "")+gone(rep))
	t.row("wire", fmt.Sprintf("%s, %s bytes up, %s bytes down", counted(int(rep.Traffic.RoundTrips), "round trip", ""),
		grouped(fmt.Sprint(rep.Traffic.BytesUp)), grouped(fmt.Sprint(rep.Traffic.BytesDown))))
	if rep.Forked {
		t.wrapped("  ", "This folder had been copied or restored. Its edits went on under a new replica; nothing is lost or doubled.")
	}
	if text := clockText(d.Exchanges()); text != "" {
		t.row("clock", text)
	}
	for _, r := range refused {
		t.line("")
		t.wrapped("", r.Status+" "+r.Kind+" "+r.RecordID)
		t.reason(r.Reason, r.Detail)
	}
	return t.write(e.stdout)
}

func gone(rep device.Report) string {
	text := ""
	if rep.Gone > 0 {
		text += ", " + counted(rep.Gone, "record", "left the tablet's scope")
	}
	if rep.Safety > 0 {
		text += ", " + counted(rep.Safety, "entry", "of the safety index")
	}
	return strings.ReplaceAll(text, "entrys", "entries")
}

// syncHeading says how things stand, in the words that the tablet's screens use.
func syncHeading(d *device.Device, err error) string {
	switch n := d.Unsent(); {
	case errors.Is(err, device.ErrWiped):
		return "This tablet was revoked. What it could read was removed from it. " + counted(n, "edit", "") +
			" not yet on the clinic server stay here, sealed; needlebook replica hand-in sends them."
	case err == nil && n == 0:
		return "On the clinic server: everything. In step with " + d.Identity().Server + "."
	case n == 0:
		return "Everything charted here is on the clinic server. What is new there could not be fetched."
	default:
		return "Saved on this tablet: " + counted(n, "edit", "") + " not yet on the clinic server. Nothing is lost; sync again later."
	}
}

// clockText warns of a clock that differs from the server's; empty while it does not, or was never compared.
func clockText(x device.Exchanges) string {
	off := time.Duration(x.OffsetMS) * time.Millisecond
	switch {
	case x.CheckedMS == 0 || off.Abs() <= clockTolerance:
		return ""
	case off > 0:
		return "this tablet's clock is " + off.Round(time.Second).String() + " ahead of the server's; set it right"
	}
	return "this tablet's clock is " + off.Abs().Round(time.Second).String() + " behind the server's; set it right"
}

func runReplicaHold(ctx context.Context, e env, args []string) error {
	return changeScope(ctx, e, args, "hold", (*device.Device).Hold, "The patient's records come with the next sync.")
}

func runReplicaUnhold(ctx context.Context, e env, args []string) error {
	return changeScope(ctx, e, args, "unhold", (*device.Device).Unhold,
		"The patient's records leave this tablet with the next sync. Edits not yet sent stay.")
}

func changeScope(ctx context.Context, e env, args []string, name string, change func(*device.Device, context.Context, record.ID) error,
	done string) error {
	f := newReplicaFlags(e, name)
	found, err := f.parse(args, "PATIENT-ID")
	if err != nil {
		return err
	}
	patient, err := readID("PATIENT-ID", found[0])
	if err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		if err := change(d, ctx, patient); err != nil {
			return err
		}
		if f.json {
			return printAsJSON(e.stdout, struct {
				PatientID string `json:"patient_id"`
			}{patient.String()})
		}
		_, err := fmt.Fprintln(e.stdout, done)
		return err
	})
}

type digestJSON struct {
	Digest  digestBytes        `json:"digest"`
	Records []recordDigestJSON `json:"records"`
}

type recordDigestJSON struct {
	Kind     string      `json:"kind"`
	RecordID string      `json:"record_id"`
	Digest   digestBytes `json:"digest"`
}

func runReplicaDigest(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "digest")
	if _, err := f.parse(args); err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		out := digestJSON{Digest: digestBytes(d.Digest()), Records: []recordDigestJSON{}}
		for _, k := range d.Keys(0) {
			out.Records = append(out.Records, recordDigestJSON{kindName(k.Kind), k.ID.String(), digestBytes(d.State(k).Digest())})
		}
		if f.json {
			return printAsJSON(e.stdout, out)
		}
		var p page
		p.line(fmt.Sprintf("%x", out.Digest))
		for _, r := range out.Records {
			p.broken(pad(r.Kind, 18), "", r.RecordID+fmt.Sprintf(" %x", r.Digest[:8]))
		}
		return p.write(e.stdout)
	})
}

type statusJSON struct {
	ReplicaID        string `json:"replica_id"`
	DeviceID         string `json:"device_id"`
	Label            string `json:"label"`
	Server           string `json:"server"`
	OrganisationName string `json:"organisation_name"`
	StaffID          string `json:"staff_id"`
	StaffName        string `json:"staff_name"`
	SignedIn         bool   `json:"signed_in"`
	Unsent           int    `json:"unsent_edits"`
	OldestUnsentAt   string `json:"oldest_unsent_at"`
	OnServer         int    `json:"on_clinic_server_edits"`
	BackedUp         int    `json:"backed_up_edits"`
	NeedsYou         int    `json:"needs_you"`
	Held             int    `json:"held_edits"`
	Conflicts        int    `json:"conflicts"`
	Recovered        int    `json:"recovered_values"`
	Records          int    `json:"records"`
	SafetyEntries    int    `json:"safety_entries"`
	LastExchangeAt   string `json:"last_exchange_at"`
	ClockCheckedAt   string `json:"clock_checked_at"`
	ClockOffsetMS    int64  `json:"clock_offset_ms"`
}

func runReplicaStatus(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "status")
	if _, err := f.parse(args); err != nil {
		return err
	}
	err := f.withDevice(ctx, e, func(d *device.Device) error {
		s := statusOf(d)
		if f.json {
			return printAsJSON(e.stdout, s)
		}
		return printStatus(e, s, d.Exchanges())
	})
	if errors.Is(err, device.ErrWiped) {
		return f.printWiped(ctx, e)
	}
	return err
}

func statusOf(d *device.Device) statusJSON {
	i, p, x, standing := d.Identity(), d.Person(), d.Exchanges(), d.Standing()
	s := statusJSON{
		ReplicaID: uuidText(d.ReplicaID()), DeviceID: i.Device.String(), Label: i.Label, Server: i.Server, OrganisationName: i.OrganisationName,
		StaffName: p.Name, SignedIn: p.SignedIn(), Unsent: standing.Saved, OnServer: standing.OnServer,
		BackedUp: standing.BackedUp, OldestUnsentAt: instant(standing.OldestUnsentMS), Held: len(d.Held(false)), Conflicts: len(d.Conflicts()),
		Recovered: len(d.Recovered()), Records: len(d.Keys(0)), SafetyEntries: len(d.Safety()),
		LastExchangeAt: instant(x.LastMS), ClockCheckedAt: instant(x.CheckedMS), ClockOffsetMS: x.OffsetMS,
	}
	s.NeedsYou = s.Held + s.Conflicts + s.Recovered
	if p.Staff != uuid.Nil {
		s.StaffID = p.Staff.String()
	}
	return s
}

// instant is a time as JSON has it, empty for never.
func instant(ms int64) string {
	if ms == 0 {
		return ""
	}
	return time.UnixMilli(ms).UTC().Format(time.RFC3339)
}

func printStatus(e env, s statusJSON, x device.Exchanges) error {
	var p page
	p.wrapped("", fmt.Sprintf("%s at %s, %s", s.Label, s.Server, s.OrganisationName))
	p.row("replica", s.ReplicaID)
	p.row("works here", workerText(s))
	p.row("saved here", counted(s.Unsent, "edit", "not yet on the clinic server")+oldestText(e, s))
	p.row("on server", counted(s.OnServer, "edit", "on the clinic server, in no backup yet"))
	p.row("backed up", counted(s.BackedUp, "edit", "in the clinic server's newest backup"))
	p.row("needs you", fmt.Sprintf("%s, %s, %s recovered", counted(s.Conflicts, "field", "in conflict"), counted(s.Held, "edit", "held"),
		counted(s.Recovered, "value", "")))
	p.row("holds", counted(s.Records, "record", "")+", a safety index of "+counted(s.SafetyEntries, "patient", ""))
	last := "never"
	if x.LastMS != 0 {
		last = timeText(x.LastMS)
	}
	p.row("last in step", last)
	if text := clockText(x); text != "" {
		p.row("clock", text)
	}
	return p.write(e.stdout)
}

// oldestText says since when the oldest unsent edit waits, by this tablet's clock; empty when all are sent.
func oldestText(e env, s statusJSON) string {
	made, err := time.Parse(time.RFC3339, s.OldestUnsentAt)
	if err != nil {
		return ""
	}
	age := max(0, e.now().Sub(made))
	switch {
	case age < time.Minute:
		return ", the oldest from just now"
	case age < 2*time.Hour:
		return fmt.Sprintf(", the oldest from %s ago", counted(int(age/time.Minute), "minute", ""))
	case age < 48*time.Hour:
		return fmt.Sprintf(", the oldest from %s ago", counted(int(age/time.Hour), "hour", ""))
	}
	return fmt.Sprintf(", the oldest from %s ago", counted(int(age/(24*time.Hour)), "day", ""))
}

func workerText(s statusJSON) string {
	switch {
	case s.StaffID == "":
		return "nobody yet"
	case !s.SignedIn:
		return s.StaffName + "; the sign-in has ended, which only sync needs"
	}
	return s.StaffName
}
