package auth

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

const (
	// CodeLife is how long an enrolment code works.
	CodeLife = 10 * time.Minute
	// MaxReplicas bounds the replicas of one device.
	MaxReplicas = 1000
	// MaxDevices bounds the devices of one organisation, revoked ones too.
	MaxDevices = 10000
)

// Device is what the server knows of an enrolled device to let it in. Times are milliseconds since 1970 UTC, 0 for never.
type Device struct {
	ID     uuid.UUID           `json:"id"`
	Org    uuid.UUID           `json:"org"`
	Clinic uuid.UUID           `json:"clinic"`
	Label  string              `json:"label"`
	Kind   accessv1.DeviceKind `json:"kind"`
	Key    DeviceKey           `json:"key"`
	// EnrolledBy is the administrator who made the code.
	EnrolledBy   uuid.UUID `json:"enrolled_by"`
	EnrolledAtMS int64     `json:"enrolled_at_unix_ms"`
	RevokedBy    uuid.UUID `json:"revoked_by"`
	RevokedAtMS  int64     `json:"revoked_at_unix_ms"`
	// Revision grows with each change.
	Revision uint64 `json:"revision"`
	// Replicas counts the replicas that it owns.
	Replicas int `json:"replicas"`
}

// Revoked reports whether the device may no longer exchange.
func (d Device) Revoked() bool { return d.RevokedAtMS != 0 }

func errDeviceRevoked() *fault.Error {
	return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
}

// Enrolment is what a code opens: which device, where, and who made it.
type Enrolment struct {
	Org    uuid.UUID           `json:"org"`
	Clinic uuid.UUID           `json:"clinic"`
	Label  string              `json:"label"`
	Kind   accessv1.DeviceKind `json:"kind"`
	MadeBy uuid.UUID           `json:"made_by"`
	EndsMS int64               `json:"ends_unix_ms"`
	// Device is the one that used the code, or uuid.Nil.
	Device uuid.UUID `json:"device"`
}

// NewEnrolment stores an enrolment and returns its code, which is shown once and works for CodeLife. Only an administrator may ask for it
// (Decide with ACTION_MANAGE_DEVICES); label may be empty, then the device's own is taken.
func NewEnrolment(w store.Writer, random io.Reader, now time.Time, e Enrolment) (Code, time.Time, error) {
	if len(e.Label) > maxLabelBytes {
		return Code{}, time.Time{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "label", fault.Withheld(e.Label), "at most 120 characters")
	}
	c, err := NewCode(random)
	if err != nil {
		return Code{}, time.Time{}, err
	}
	ends := now.Add(CodeLife)
	e.EndsMS, e.Device = ends.UnixMilli(), uuid.Nil
	return c, time.UnixMilli(e.EndsMS).UTC(), put(w, codeKey(c.hash()), e)
}

// maxLabelBytes is 120 characters of four bytes, as access.v1 bounds a label.
const maxLabelBytes = 480

// EnrolStatement is what a device signs to prove that it holds the private half of its key.
func EnrolStatement(c Code, k DeviceKey) []byte {
	return statement("enrol", []byte(c.canonical()), k.point[:])
}

// Enrol makes a device by a code: key is its public half, proof its signature over EnrolStatement, replica its first replica. A code that is
// wrong, expired or used is BAD_CODE; a proof that does not fit is BAD_SIGNATURE and leaves the code good. The same code with the same key
// again, while the code lasts, answers the same device: the first answer was lost. random makes the device's id.
func Enrol(w store.Writer, random io.Reader, now time.Time, code, label string, key, proof []byte, replica uuid.UUID) (Device, error) {
	c, err := ParseCode(code)
	if err != nil {
		return Device{}, err
	}
	e, err := get[Enrolment](w, codeKey(c.hash()))
	if errors.Is(err, store.ErrNotFound) || err == nil && now.UnixMilli() >= e.EndsMS {
		return Device{}, errBadCode()
	} else if err != nil {
		return Device{}, err
	}
	k, err := ParseDeviceKey(key)
	if err != nil {
		return Device{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "public_key", fmt.Sprintf("%d bytes", len(key)),
			"a P-256 point of 65 bytes: 04, X, Y")
	}
	if err := k.Verify(EnrolStatement(c, k), proof); err != nil {
		return Device{}, err
	}
	if e.Device != uuid.Nil {
		return enrolledBefore(w, e, k)
	}
	return e.use(w, random, now, c, label, k, replica)
}

func enrolledBefore(r store.Reader, e Enrolment, k DeviceKey) (Device, error) {
	d, err := GetDevice(r, e.Org, e.Device)
	if err != nil || d.Key != k || d.Revoked() {
		return Device{}, errBadCode()
	}
	return d, nil
}

// use makes the device and marks the code as used by it.
func (e Enrolment) use(w store.Writer, random io.Reader, now time.Time, c Code, label string, k DeviceKey, replica uuid.UUID) (Device, error) {
	if len(label) > maxLabelBytes {
		return Device{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "label", fault.Withheld(label), "at most 120 characters")
	}
	if n, err := countDevices(w, e.Org); err != nil {
		return Device{}, err
	} else if n >= MaxDevices {
		return Device{}, fault.New(faultv1.Reason_REASON_TOO_LARGE, "device", fmt.Sprint(n),
			fmt.Sprintf("at most %d devices in an organisation", MaxDevices))
	}
	if e.Label != "" {
		label = e.Label
	}
	id, err := uuid.NewRandomFromReader(random)
	if err != nil {
		return Device{}, fmt.Errorf("make device id: %w", err)
	}
	d := Device{ID: id, Org: e.Org, Clinic: e.Clinic, Label: label, Kind: e.Kind, Key: k, EnrolledBy: e.MadeBy, EnrolledAtMS: now.UnixMilli()}
	if err := putDevice(w, &d); err != nil {
		return Device{}, err
	}
	if err := w.Put(orgDeviceKey(d.Org, d.ID), []byte{1}); err != nil {
		return Device{}, err
	}
	if err := OwnReplica(w, &d, replica); err != nil {
		return Device{}, err
	}
	e.Device = d.ID
	return d, put(w, codeKey(c.hash()), e)
}

func putDevice(w store.Writer, d *Device) error {
	d.Revision++
	return put(w, deviceKey(d.ID), *d)
}

// GetDevice returns a device of an organisation, or NOT_FOUND, also when it belongs to another.
func GetDevice(r store.Reader, org, id uuid.UUID) (Device, error) {
	d, err := get[Device](r, deviceKey(id))
	return deviceOf(org, d, err)
}

// deviceOf is a device as an organisation sees it.
func deviceOf(org uuid.UUID, d Device, err error) (Device, error) {
	if errors.Is(err, store.ErrNotFound) || err == nil && d.Org != org {
		return Device{}, errNotFound()
	}
	return d, err
}

// ListDevices returns the devices of an organisation after an id (uuid.Nil for the first), at most limit, ascending by id.
func ListDevices(r store.Reader, org, afterID uuid.UUID, limit int) ([]Device, error) {
	var out []Device
	lo := append(orgDeviceKey(org, afterID), 0)
	err := r.Scan(lo, after(makeKey(keyOrgDevice, org[:])), func(k, _ []byte) error {
		if len(out) >= limit {
			return store.Stop
		}
		parsed, err := parseKey(k)
		if err != nil {
			return err
		}
		d, err := GetDevice(r, org, parsed.ids[1])
		out = append(out, d)
		return err
	})
	return out, err
}

func countDevices(r store.Reader, org uuid.UUID) (n int, err error) {
	prefix := makeKey(keyOrgDevice, org[:])
	err = r.Scan(prefix, after(prefix), func(_, _ []byte) error { n++; return nil })
	return n, err
}

// RevokeDevice ends a device's right to come in, for good and from the next call on. Revoking again changes nothing. NOT_FOUND for a device
// of another organisation.
func RevokeDevice(w store.Writer, now time.Time, org, id, by uuid.UUID) (Device, error) {
	d, err := GetDevice(w, org, id)
	if err != nil || d.Revoked() {
		return d, err
	}
	d.RevokedAtMS, d.RevokedBy = now.UnixMilli(), by
	return d, putDevice(w, &d)
}

// OwnReplica makes a replica the device's own, and the device's count right. Owned already by it, nothing changes; owned by another device
// it is ACTOR_NOT_YOURS; beyond MaxReplicas it is TOO_LARGE.
func OwnReplica(w store.Writer, d *Device, replica uuid.UUID) error {
	if replica == uuid.Nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "replica", replica.String(), "a random UUID")
	}
	owner, err := ReplicaOwner(w, replica)
	switch {
	case err == nil && owner == d.ID:
		return nil
	case err == nil:
		return fault.New(faultv1.Reason_REASON_ACTOR_NOT_YOURS, "", "", "")
	case !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND):
		return err
	case d.Replicas >= MaxReplicas:
		return fault.New(faultv1.Reason_REASON_TOO_LARGE, "replica", fmt.Sprint(d.Replicas), fmt.Sprintf("at most %d replicas of a device", MaxReplicas))
	}
	d.Replicas++
	if err := put(w, replicaKey(replica), d.ID); err != nil {
		return err
	}
	return putDevice(w, d)
}

// ReplicaOwner returns the device that owns a replica, or NOT_FOUND.
func ReplicaOwner(r store.Reader, replica uuid.UUID) (uuid.UUID, error) {
	id, err := get[uuid.UUID](r, replicaKey(replica))
	if errors.Is(err, store.ErrNotFound) {
		return uuid.Nil, errNotFound()
	}
	return id, err
}

// SignInStatement is what a device signs when a person signs in at it: the name and the id of the request, so that a sign-in is bound to the
// device (and counted as its own by Limiter) only when the device takes part.
func SignInStatement(name, request string) []byte {
	return statement("sign-in", []byte(name), []byte(request))
}

// ProveDevice returns the device that signed a statement. UNAUTHENTICATED when it is unknown or the signature is not its own, DEVICE_REVOKED
// when it was revoked. It is what makes a claimed device id a Source or the device of a sign-in.
func ProveDevice(r store.Reader, id uuid.UUID, signed, proof []byte) (Device, error) {
	d, err := get[Device](r, deviceKey(id))
	switch {
	case errors.Is(err, store.ErrNotFound) || err == nil && d.Key.Verify(signed, proof) != nil:
		return Device{}, errUnauthenticated()
	case err != nil:
		return Device{}, err
	case d.Revoked():
		return Device{}, errDeviceRevoked()
	}
	return d, nil
}

// HandInStatement is what a device signs to hand in its own sealed edits, which it may after it was revoked: sum is SHA-256 of the edits in the form of a file.
func HandInStatement(device uuid.UUID, sum [32]byte) []byte {
	return statement("hand-in", device[:], sum[:])
}

// ProveHandIn returns the device that signed a hand-in, also when it was revoked. UNAUTHENTICATED when it is unknown or the signature is not its own.
func ProveHandIn(r store.Reader, id uuid.UUID, sum [32]byte, proof []byte) (Device, error) {
	d, err := get[Device](r, deviceKey(id))
	if errors.Is(err, store.ErrNotFound) || err == nil && d.Key.Verify(HandInStatement(id, sum), proof) != nil {
		return Device{}, errUnauthenticated()
	}
	return d, err
}
