package service

import (
	"bytes"
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

const (
	kindDevice = optionsv1.RecordKind_RECORD_KIND_DEVICE
	kindClinic = optionsv1.RecordKind_RECORD_KIND_CLINIC
	kindStaff  = optionsv1.RecordKind_RECORD_KIND_STAFF
)

// CreateEnrolmentCode makes a code. Asked again with the same request it answers the same code, and a code that was used stays used.
func (a *access) CreateEnrolmentCode(ctx context.Context, m *accessv1.CreateEnrolmentCodeRequest) (*accessv1.CreateEnrolmentCodeResponse, error) {
	c := callOf(ctx)
	o, clinic, err := a.ownClinic(ctx, m.GetClinicId())
	if err != nil {
		return nil, err
	}
	var code auth.Code
	var ends time.Time
	err = a.update(ctx, c, func(w store.Writer) error {
		done, again, err := a.once(w, c, m)
		if err != nil {
			return err
		}
		drawn := o.derive("enrolment code", c.principal.Staff[:], []byte(m.GetRequestId()))
		if again {
			code, err = auth.NewCode(bytes.NewReader(drawn[:]))
			ends = done.at().Add(auth.CodeLife)
			return err
		}
		e := auth.Enrolment{Org: o.ID, Clinic: clinic, Kind: m.GetKind(), MadeBy: c.principal.Staff}
		if code, ends, err = auth.NewEnrolment(w, bytes.NewReader(drawn[:]), done.at(), e); err != nil {
			return err
		}
		_, err = a.enter(w, c, touched{clinic: clinic})
		return err
	})
	if err != nil {
		return nil, err
	}
	return &accessv1.CreateEnrolmentCodeResponse{
		Code: code.String(), Url: auth.EnrolURL(a.PublicURL, code), ExpiresAt: timestamppb.New(ends),
	}, nil
}

// ownClinic is the caller's organisation and a clinic of it.
func (a *access) ownClinic(ctx context.Context, id string) (o Organisation, clinic uuid.UUID, err error) {
	if clinic, err = uuid.Parse(id); err != nil {
		return o, clinic, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "clinic_id", fault.Withheld(id), "a UUID")
	}
	if o, err = a.organisation(ctx, principalOf(ctx).Org); err != nil {
		return o, clinic, err
	}
	_, err = a.readRecord(ctx, o.ID, kindClinic, clinic)
	return o, clinic, err
}

// EnrolDevice makes a device known by a code. The same code with the same key again answers the same device.
func (a *access) EnrolDevice(ctx context.Context, m *accessv1.EnrolDeviceRequest) (*accessv1.EnrolDeviceResponse, error) {
	c := callOf(ctx)
	if err := a.limiter.TryAddress(a.Now(), c.from); err != nil {
		return nil, err
	}
	replica, err := uuid.Parse(m.GetReplicaId())
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "replica_id", fault.Withheld(m.GetReplicaId()), "a UUID")
	}
	// The code decides the kind; what the device says of itself is checked as a label is, and not believed.
	if err := a.checkValues(draft{kind: kindDevice}, &accessv1.Device{Label: &m.Label}); err != nil {
		return nil, err
	}
	var d auth.Device
	err = a.update(ctx, c, func(w store.Writer) (err error) {
		if d, err = auth.Enrol(w, a.Random, a.Now(), m.GetCode(), m.GetLabel(), m.GetPublicKey(), m.GetProof(), replica); err != nil {
			return err
		}
		if _, err = a.enter(w, c, touched{kind: kindDevice, record: d.ID, clinic: d.Clinic, org: d.Org, staff: d.EnrolledBy}); err != nil {
			return err
		}
		return a.recordDevice(w, d, replica)
	})
	if err != nil {
		return nil, err
	}
	return a.enrolled(ctx, d, replica)
}

func (a *access) enrolled(ctx context.Context, d auth.Device, replica uuid.UUID) (*accessv1.EnrolDeviceResponse, error) {
	o, err := a.organisation(ctx, d.Org)
	if err != nil {
		return nil, err
	}
	m, _, err := a.readDevice(ctx, o.ID, d.ID)
	if err != nil {
		return nil, err
	}
	sealing, err := o.sealingKey()
	if err != nil {
		return nil, err
	}
	hello, err := a.ledger.Hello(ctx, a.caller(ctx, o.ID, d.ID), &syncv1.HelloRequest{Replica: replica[:]})
	if err != nil {
		return nil, err
	}
	return &accessv1.EnrolDeviceResponse{
		Device: m, OrganisationId: o.ID.String(), OrganisationName: o.Name, Epoch: hello.GetEpoch(), SealingKey: sealing,
		KeyFingerprint: d.Key.Fingerprint(),
	}, nil
}

// recordDevice makes the record of a device, unless it was made before.
func (a *access) recordDevice(w store.Writer, d auth.Device, replica uuid.UUID) error {
	if _, err := a.readRecordIn(w, d.Org, kindDevice, d.ID); !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
		return err
	}
	o, err := organisationIn(w, d.Org)
	if err != nil {
		return err
	}
	at := time.UnixMilli(d.EnrolledAtMS)
	clinic := d.Clinic.String()
	m := &accessv1.Device{
		Label: &d.Label, Kind: &d.Kind, HomeClinicId: &clinic, PublicKey: d.Key.Bytes(), Enrolled: actOf(d.EnrolledBy, at),
		Replicas: []*accessv1.DeviceReplica{beginning(replica, at, accessv1.ReplicaCause_REPLICA_CAUSE_ENROLLED)},
	}
	return a.editIn(w, o, draft{kind: kindDevice, record: d.ID, author: d.EnrolledBy, at: at, purpose: "enrol"}, m)
}

func beginning(replica uuid.UUID, at time.Time, cause accessv1.ReplicaCause) *accessv1.DeviceReplica {
	return &accessv1.DeviceReplica{
		Id: replica.String(), Began: &accessv1.ReplicaBeginning{Cause: cause, At: timestamppb.New(at.Truncate(time.Millisecond))},
	}
}

// RevokeDevice ends a device's right to come in, from its next call on.
func (a *access) RevokeDevice(ctx context.Context, m *accessv1.RevokeDeviceRequest) (*accessv1.RevokeDeviceResponse, error) {
	c := callOf(ctx)
	id, err := uuid.Parse(m.GetDeviceId())
	if err != nil {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "device_id", fault.Withheld(m.GetDeviceId()), "a UUID")
	}
	o, err := a.organisation(ctx, c.principal.Org)
	if err != nil {
		return nil, err
	}
	var d auth.Device
	revoke := func(w store.Writer) error {
		var err error
		if d, err = auth.RevokeDevice(w, a.Now(), o.ID, id, c.principal.Staff); err != nil {
			return err
		}
		_, err = a.enter(w, c, touched{kind: kindDevice, record: id, clinic: d.Clinic, remark: m.GetReason()})
		return err
	}
	err = a.update(ctx, c, func(w store.Writer) error {
		if _, _, err := a.once(w, c, m); err != nil {
			return err
		}
		if err := revoke(w); err != nil {
			return err
		}
		return a.recordRevoked(w, o, d, m.GetReason())
	})
	if err = a.evenSo(ctx, err, revoke); err != nil {
		return nil, err
	}
	statuses, err := a.statuses(ctx, o, []auth.Device{d})
	if err != nil {
		return nil, err
	}
	return &accessv1.RevokeDeviceResponse{Status: statuses[0]}, nil
}

// evenSo does what takes a right away when the record refuses to say so: nobody may keep a right by filling a record up. The refusal is told; asked
// again the record is tried again.
func (a *access) evenSo(ctx context.Context, err error, takeAway func(store.Writer) error) error {
	var refused recordRefusedError
	if !errors.As(err, &refused) {
		return err
	}
	return errors.Join(err, a.update(ctx, callOf(ctx), takeAway))
}

func (a *access) recordRevoked(w store.Writer, o Organisation, d auth.Device, reason string) error {
	m, st, err := a.readDeviceIn(w, o.ID, d.ID)
	if err != nil || m.GetRevoked() != nil {
		return err
	}
	at := time.UnixMilli(d.RevokedAtMS)
	void := &recordv1.Void{Reason: reason, By: d.RevokedBy.String(), At: timestamppb.New(at)}
	edit := draft{kind: kindDevice, record: d.ID, context: st.Seen, author: d.RevokedBy, at: at, purpose: "revoke"}
	return a.editIn(w, o, edit, &accessv1.Device{Revoked: void})
}

// ListDevices lists devices by label.
func (a *access) ListDevices(ctx context.Context, m *accessv1.ListDevicesRequest) (*accessv1.ListDevicesResponse, error) {
	o, err := a.organisation(ctx, principalOf(ctx).Org)
	if err != nil {
		return nil, err
	}
	at, err := o.unseal("devices", m.GetPageToken())
	if err != nil {
		return nil, err
	}
	devices, err := a.devices(ctx, o.ID)
	if err != nil {
		return nil, err
	}
	var all []listed[auth.Device]
	for _, d := range devices {
		if (m.ClinicId == nil || d.Clinic.String() == m.GetClinicId()) && (m.GetIncludeRevoked() || !d.Revoked()) {
			all = append(all, listed[auth.Device]{sortKey(d.Label, d.ID[:]), d})
		}
	}
	rows, next := page(all, at, pageSize(m.GetPageSize()))
	resp := &accessv1.ListDevicesResponse{}
	if resp.Devices, err = a.statuses(ctx, o, rows); err != nil {
		return nil, err
	}
	if next != nil {
		resp.NextPageToken = o.seal("devices", next)
	}
	return resp, nil
}

// devices are all devices of an organisation; there are at most auth.MaxDevices.
func (s *Service) devices(ctx context.Context, org uuid.UUID) (out []auth.Device, err error) {
	err = s.Store.View(ctx, func(r store.Reader) error {
		out, err = auth.ListDevices(r, org, uuid.Nil, auth.MaxDevices)
		return err
	})
	return out, err
}

// statuses are how devices stand.
func (a *access) statuses(ctx context.Context, o Organisation, devices []auth.Device) ([]*accessv1.DeviceStatus, error) {
	held, err := a.heldByDevice(ctx, o.ID)
	if err != nil {
		return nil, err
	}
	out := make([]*accessv1.DeviceStatus, 0, len(devices))
	for _, d := range devices {
		m, _, err := a.readDevice(ctx, o.ID, d.ID)
		if err != nil && !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
			return nil, err
		}
		status := &accessv1.DeviceStatus{Device: m, HeldEdits: held[d.ID]}
		if last, ok := a.seen.get(d.ID); ok {
			status.LastExchangeAt = timestamppb.New(time.UnixMilli(last.AtMS))
			status.AcknowledgedCounter, status.UnsentEdits = last.Acknowledged, last.Unsent
			if last.OldestUnsentMS != 0 {
				status.OldestUnsentAt = timestamppb.New(time.UnixMilli(last.OldestUnsentMS))
			}
		}
		if err := a.holdings(ctx, o.ID, d.ID, status); err != nil {
			return nil, err
		}
		out = append(out, status)
	}
	return out, nil
}

// mostKeptListed is how many of a device's unopened sealed edits are named.
const mostKeptListed = 100

// holdings fills in what a device holds, and what of its sealed work the server keeps unopened.
func (a *access) holdings(ctx context.Context, org, device uuid.UUID, status *accessv1.DeviceStatus) error {
	all, patients, err := a.ledger.ScopeOf(ctx, record.ID(device))
	if err != nil {
		return err
	}
	status.HoldsAllPatients, status.BookedPatients = all, uint32(patients)
	kept, total, err := a.ledger.ListKeptSealed(ctx, record.ID(org), record.ID(device), mostKeptListed)
	status.KeptSealed = uint32(total)
	for i := range kept {
		k := &kept[i]
		status.KeptSealedEdits = append(status.KeptSealedEdits, &accessv1.KeptSealed{
			ReplicaId: uuid.UUID(k.Dot.Replica).String(), Counter: k.Dot.Counter, Reason: k.Reason, ReceivedAt: timestamppb.New(time.UnixMilli(k.AtMS)),
			HandedInBy: idText(uuid.UUID(k.By)), Size: uint32(len(k.Bytes)),
		})
	}
	return err
}

// heldByDevice counts held edits by the device that sent them.
func (s *Service) heldByDevice(ctx context.Context, org uuid.UUID) (map[uuid.UUID]uint32, error) {
	held, err := s.ledger.ListHeld(ctx, record.ID(org))
	if err != nil {
		return nil, err
	}
	counts := map[uuid.UUID]uint32{}
	err = s.Store.View(ctx, func(r store.Reader) error {
		for i := range held {
			owner, err := auth.ReplicaOwner(r, uuid.UUID(held[i].Edit.Dot.Replica))
			if err != nil && !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
				return err
			}
			counts[owner]++
		}
		return nil
	})
	return counts, err
}
