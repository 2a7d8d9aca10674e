package service

import (
	"cmp"
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// silentSince is the moment that a trace asks devices about: the one asked for, else the latest recall that stands, else the beginning of today.
func (d *desk) silentSince(ctx context.Context, asked *timestamppb.Timestamp, lot *chartv1.Lot) (time.Time, error) {
	if asked != nil {
		if asked.CheckValid() != nil {
			return time.Time{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "silent_since", "", "a time from the year 1 to 9999")
		}
		return asked.AsTime(), nil
	}
	var since time.Time
	for _, r := range lot.GetRecalls() {
		if at := r.GetNotice().GetEntered().GetAt().AsTime(); r.GetNotice() != nil && r.GetLifted() == nil && at.After(since) {
			since = at
		}
	}
	if !since.IsZero() {
		return since, nil
	}
	clinic, err := d.ownClinic(ctx)
	if err != nil {
		return since, err
	}
	zone, err := d.zone(ctx, clinic)
	if err != nil {
		return since, err
	}
	return midnight(dateAt(d.Now().In(zone)), zone), nil
}

// silentDevices is the devices that have not exchanged since a moment, by label; of one clinic, or of all when it is zero. A revoked one is not among them:
// what it still holds comes sealed, if it comes.
func (d *desk) silentDevices(ctx context.Context, clinic record.ID, since time.Time) ([]*tracev1.SilentDevice, error) {
	return d.devicesWhere(ctx, clinic, func(h heard, known bool) bool { return !known || time.UnixMilli(h.AtMS).Before(since) })
}

// unsyncedDevices is the devices that said, when they last exchanged, that they had edits to send.
func (d *desk) unsyncedDevices(ctx context.Context, clinic record.ID) ([]*tracev1.SilentDevice, error) {
	return d.devicesWhere(ctx, clinic, func(h heard, known bool) bool { return known && h.Unsent > 0 })
}

func (d *desk) devicesWhere(ctx context.Context, clinic record.ID, want func(h heard, known bool) bool) ([]*tracev1.SilentDevice, error) {
	devices, err := d.devices(ctx, d.call.principal.Org)
	if err != nil {
		return nil, err
	}
	var out []*tracev1.SilentDevice
	for _, of := range devices {
		h, known := d.seen.get(of.ID)
		if of.Revoked() || !clinic.IsZero() && recordID(of.Clinic) != clinic || !want(h, known) {
			continue
		}
		row := &tracev1.SilentDevice{DeviceId: of.ID.String(), Label: of.Label, ClinicId: of.Clinic.String(), UnsentEdits: h.Unsent}
		if known {
			row.LastExchangeAt = timestamppb.New(time.UnixMilli(h.AtMS))
		}
		if err := d.custodian(ctx, recordID(of.ID), recordID(of.Clinic), row); err != nil {
			return nil, err
		}
		out = append(out, row)
	}
	slices.SortFunc(out, func(a, b *tracev1.SilentDevice) int {
		return cmp.Or(cmp.Compare(a.GetLabel(), b.GetLabel()), cmp.Compare(a.GetDeviceId(), b.GetDeviceId()))
	})
	return out, nil
}

// custodian fills in whom to telephone: who keeps the device, and its clinic.
func (d *desk) custodian(ctx context.Context, device, clinic record.ID, row *tracev1.SilentDevice) error {
	r, err := d.typed(ctx, record.Key{Kind: kindDevice, ID: device})
	if err != nil {
		return err
	}
	if label := r.GetDevice().GetLabel(); label != "" {
		row.Label = label
	}
	if id, err := record.ParseID(r.GetDevice().GetCustodianId()); err == nil {
		person, err := d.person(ctx, id)
		if err != nil {
			return err
		}
		row.CustodianName, row.CustodianPhone = person.GetName().GetFull(), person.GetContact().GetPhone()
	}
	c, err := d.clinic(ctx, clinic)
	row.ClinicPhone = c.GetContact().GetPhone()
	return err
}

// person is a person of the staff; nil when there is none.
func (d *desk) person(ctx context.Context, id record.ID) (*accessv1.Staff, error) {
	r, err := d.typed(ctx, record.Key{Kind: kindStaff, ID: id})
	return r.GetStaff(), err
}
