package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

const accessCodeHelp = `
Makes a code by which one device may enrol within ten minutes, and prints the
line to run on it. Make it when the device is beside you. Without --clinic it
is the organisation's only clinic; where there are more, they are listed.

  needlebook access code --server http://127.0.0.1:8740 --name ada \
    --password-file password`

const accessRevokeHelp = `
The device may exchange no more. This cannot be undone: a device that is found
again enrols anew. needlebook access devices shows the ids.

  needlebook access revoke --server http://127.0.0.1:8740 --name ada \
    --password-file password --reason 'left in a train' \
    --device 0190b5a0-0000-7000-8000-000000000001`

const kindNames = "command_line, tablet"

type codeJSON struct {
	Code      string `json:"code"`
	URL       string `json:"url"`
	ExpiresAt string `json:"expires_at"`
	ClinicID  string `json:"clinic_id"`
	Kind      string `json:"kind"`
}

func runAccessCode(ctx context.Context, e env, args []string) error {
	f := newOfficeFlags("code")
	at := f.String("clinic", "", "`id` of the clinic that the device will belong to")
	kind := accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE
	f.Func("kind", "what the device is: command_line (without it) or tablet", func(text string) error {
		n, err := enumFlag(text, "DEVICE_KIND_", accessv1.DeviceKind_value, kindNames)
		kind = accessv1.DeviceKind(n)
		return err
	})
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *at != "" {
		if _, err := readID(f.Name()+": --clinic", *at); err != nil {
			return err
		}
	}
	o, err := f.signIn(ctx)
	if err != nil {
		return err
	}
	if *at == "" {
		if *at, err = o.onlyClinic(ctx, f.Name()); err != nil {
			return err
		}
	}
	resp, err := ask(ctx, o, o.access.CreateEnrolmentCode, &accessv1.CreateEnrolmentCodeRequest{RequestId: uuid.NewString(), ClinicId: *at, Kind: kind})
	if err != nil {
		return err
	}
	return f.printCode(e, o, resp, codeJSON{
		resp.GetCode(), resp.GetUrl(), resp.GetExpiresAt().AsTime().Format(time.RFC3339), *at, deviceKindName(kind),
	})
}

// deviceKindName is a kind of device as people type it.
func deviceKindName(k accessv1.DeviceKind) string {
	return strings.ToLower(strings.TrimPrefix(k.String(), "DEVICE_KIND_"))
}

// onlyClinic is the organisation's clinic; where there are more, one must be named.
func (o *office) onlyClinic(ctx context.Context, name string) (string, error) {
	req := &chartv1.ListRecordsRequest{Kind: optionsv1.RecordKind_RECORD_KIND_CLINIC}
	var ids, texts []string
	for {
		resp, err := ask(ctx, o, o.chart.ListRecords, req)
		if err != nil {
			return "", err
		}
		for _, v := range resp.GetViews() {
			m := v.GetRecord().GetClinic()
			ids, texts = append(ids, m.GetId()), append(texts, m.GetId()+" ("+printable(m.GetName())+")")
		}
		if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	if len(ids) != 1 {
		return "", usagef("%s: --clinic is absent, want one of %s", name, strings.Join(texts, ", "))
	}
	return ids[0], nil
}

func (f *officeFlags) printCode(e env, o *office, m *accessv1.CreateEnrolmentCodeResponse, c codeJSON) error {
	if f.json {
		return printAsJSON(e.stdout, c)
	}
	var p page
	p.wrapped("", "One device may enrol with this code, once, until "+timeText(m.GetExpiresAt().AsTime().UnixMilli())+":")
	p.line("  " + printable(c.Code))
	p.row("clinic", c.ClinicID)
	p.row("kind", strings.ReplaceAll(c.Kind, "_", " "))
	p.line("")
	p.line("On the device:")
	p.line("  needlebook replica init --dir FOLDER \\")
	p.line("    --server " + shellWord(o.server) + " --code " + shellWord(c.Code) + f.authorityHint())
	return p.write(e.stdout)
}

// deviceJSON is how a device stands. Times are RFC 3339, empty for never.
type deviceJSON struct {
	DeviceID       string `json:"device_id"`
	Label          string `json:"label"`
	Kind           string `json:"kind"`
	HomeClinicID   string `json:"home_clinic_id"`
	LastExchangeAt string `json:"last_exchange_at"`
	Unsent         uint64 `json:"unsent_edits"`
	Held           uint32 `json:"held_edits"`
	ClientVersion  string `json:"client_version"`
	ClockOffsetMS  int64  `json:"clock_offset_ms"`
	Revoked        bool   `json:"revoked"`
	RevokedReason  string `json:"revoked_reason"`
}

func deviceOf(m *accessv1.DeviceStatus) deviceJSON {
	d := m.GetDevice()
	return deviceJSON{
		DeviceID: d.GetId(), Label: d.GetLabel(), Kind: deviceKindName(d.GetKind()), HomeClinicID: d.GetHomeClinicId(),
		LastExchangeAt: instantOf(m.GetLastExchangeAt()), Unsent: m.GetUnsentEdits(), Held: m.GetHeldEdits(), ClientVersion: m.GetClientVersion(),
		ClockOffsetMS: m.GetClockOffsetMs(), Revoked: d.GetRevoked() != nil, RevokedReason: d.GetRevoked().GetReason(),
	}
}

func instantOf(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return instant(t.AsTime().UnixMilli())
}

// device prints how a device stands.
func (p *page) device(m *accessv1.DeviceStatus) {
	d := deviceOf(m)
	p.wrapped("", cutWords(d.Label))
	p.row("device", d.DeviceID)
	p.row("kind", strings.ReplaceAll(d.Kind, "_", " "))
	p.row("clinic", d.HomeClinicID)
	last := "never"
	if t := m.GetLastExchangeAt(); t != nil {
		last = timeText(t.AsTime().UnixMilli())
	}
	p.row("exchanged", last)
	p.row("said then", counted(int(d.Unsent), "edit", "not yet sent")+"; "+counted(int(d.Held), "edit", "held here"))
	if d.Revoked {
		p.row("revoked", cutWords(d.RevokedReason))
	}
}

func runAccessDevices(ctx context.Context, e env, args []string) error {
	f := newOfficeFlags("devices")
	all := f.Bool("all", false, "also those that were revoked")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	o, err := f.signIn(ctx)
	if err != nil {
		return err
	}
	var devices []*accessv1.DeviceStatus
	for req := (&accessv1.ListDevicesRequest{IncludeRevoked: *all}); ; {
		resp, err := ask(ctx, o, o.access.ListDevices, req)
		if err != nil {
			return err
		}
		devices = append(devices, resp.GetDevices()...)
		if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
			return f.printDevices(e, devices)
		}
	}
}

func (f *officeFlags) printDevices(e env, devices []*accessv1.DeviceStatus) error {
	if f.json {
		out := struct {
			Devices []deviceJSON `json:"devices"`
		}{[]deviceJSON{}}
		for _, m := range devices {
			out.Devices = append(out.Devices, deviceOf(m))
		}
		return printAsJSON(e.stdout, out)
	}
	var p page
	p.line(counted(len(devices), "device", "") + ".")
	for _, m := range devices {
		p.line("")
		p.device(m)
	}
	return p.write(e.stdout)
}

func runAccessRevoke(ctx context.Context, e env, args []string) error {
	f := newOfficeFlags("revoke")
	id := f.String("device", "", "`id` of the device")
	reason := f.String("reason", "", "why: lost, stolen, replaced")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *id == "" || *reason == "" {
		return usagef("%s: want --device and --reason", f.Name())
	}
	if _, err := readID(f.Name()+": --device", *id); err != nil {
		return err
	}
	o, err := f.signIn(ctx)
	if err != nil {
		return err
	}
	resp, err := ask(ctx, o, o.access.RevokeDevice, &accessv1.RevokeDeviceRequest{RequestId: uuid.NewString(), DeviceId: *id, Reason: *reason})
	if err != nil {
		return err
	}
	if f.json {
		return printAsJSON(e.stdout, deviceOf(resp.GetStatus()))
	}
	var p page
	p.line(fmt.Sprintf("Revoked. It exchanges with %s no more.", o.server))
	p.line("")
	p.device(resp.GetStatus())
	return p.write(e.stdout)
}
