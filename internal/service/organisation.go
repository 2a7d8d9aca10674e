package service

import (
	"bytes"
	"context"
	"crypto/ecdh"
	"crypto/hmac"
	"crypto/hpke"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/store"
)

// Keys of this package, all under the table 'o'.
//
//	'o' 'o' org(16)                        an organisation
//	'o' 'r' org(16) staff(16) request(16)  a request that was done, so that it is not done again
//	'o' 'd' org(16) device(16)             when a device was last heard of
//	'o' 'b' org(16) sha256(32)             that an organisation has a photo (value: 1)
const (
	table           = 'o'
	keyOrganisation = 'o'
	keyRequest      = 'r'
	keySeen         = 'd'
	keyPhoto        = 'b'
)

func key(kind byte, parts ...[]byte) []byte {
	return append([]byte{table, kind}, bytes.Join(parts, nil)...)
}

// after is the first key behind all that begin with prefix.
func after(prefix []byte) []byte {
	end := bytes.Clone(prefix)
	for i := len(end) - 1; i >= 0; i-- {
		if end[i]++; end[i] != 0 {
			return end[:i+1]
		}
	}
	return nil
}

// Organisation is one organisation of the server.
type Organisation struct {
	ID   uuid.UUID `json:"id"`
	Name string    `json:"name"`
	// Clinic and Administrator are the records made with it.
	Clinic        uuid.UUID `json:"clinic"`
	ClinicName    string    `json:"clinic_name"`
	Administrator uuid.UUID `json:"administrator"`
	MadeAtMS      int64     `json:"made_at_unix_ms"`
	// Secret derives codes, element ids and the tags of page tokens; Sealing is the private half of the X25519 key that tablets seal unsent edits to.
	Secret  []byte `json:"secret"`
	Sealing []byte `json:"sealing"`
}

const valueVersion = 1

func putJSON(w store.Writer, k []byte, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return w.Put(k, append([]byte{valueVersion}, b...))
}

func getJSON[T any](r store.Reader, k []byte) (v T, err error) {
	b, err := r.Get(k)
	if err != nil {
		return v, err
	}
	if len(b) < 1 || b[0] != valueVersion || json.Unmarshal(b[1:], &v) != nil {
		return v, fmt.Errorf("%T: %w", v, store.ErrCorrupt)
	}
	return v, nil
}

// Organisations lists the organisations of a server, ascending by id.
func (s *Service) Organisations(ctx context.Context) (out []Organisation, err error) {
	prefix := key(keyOrganisation)
	err = s.Store.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(k, _ []byte) error {
			o, err := getJSON[Organisation](r, k)
			out = append(out, o)
			return err
		})
	})
	return out, err
}

// organisation returns one organisation. It is there for every principal.
func (s *Service) organisation(ctx context.Context, id uuid.UUID) (o Organisation, err error) {
	err = s.Store.View(ctx, func(r store.Reader) error {
		o, err = organisationIn(r, id)
		return err
	})
	return o, err
}

func organisationIn(r store.Reader, id uuid.UUID) (Organisation, error) {
	return getJSON[Organisation](r, key(keyOrganisation, id[:]))
}

// sealingKey is the public half, as it goes to a device.
func (o Organisation) sealingKey() ([]byte, error) {
	k, err := ecdh.X25519().NewPrivateKey(o.Sealing)
	if err != nil {
		return nil, fmt.Errorf("sealing key: %w", store.ErrCorrupt)
	}
	return k.PublicKey().Bytes(), nil
}

// sealingSecret is the private half, for opening what devices sealed.
func (o Organisation) sealingSecret() (hpke.PrivateKey, error) {
	k, err := hpke.DHKEM(ecdh.X25519()).NewPrivateKey(o.Sealing)
	if err != nil {
		return nil, fmt.Errorf("sealing key: %w", store.ErrCorrupt)
	}
	return k, nil
}

// derive is a value that only the server can make, the same each time for the same parts.
func (o Organisation) derive(purpose string, parts ...[]byte) [32]byte {
	h := hmac.New(sha256.New, o.Secret)
	h.Write([]byte(purpose + "\x00"))
	for _, p := range parts {
		h.Write(binary.BigEndian.AppendUint32(nil, uint32(len(p))))
		h.Write(p)
	}
	return [32]byte(h.Sum(nil))
}

// deriveID is an id made so, in the form of a UUIDv7 of that time: asking again makes the same edit, and the ledger takes it once.
func (o Organisation) deriveID(at time.Time, purpose string, parts ...[]byte) uuid.UUID {
	sum := o.derive(purpose, parts...)
	id := uuid.UUID(sum[:16])
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(at.UnixMilli()))
	copy(id[:6], ms[2:])
	id[6], id[8] = id[6]&0x0f|0x70, id[8]&0x3f|0x80
	return id
}

// Founding is what a first start makes.
type Founding struct {
	// Organisation and Clinic are the names of the organisation and its first clinic.
	Organisation, Clinic string
	// Administrator is the first administrator's name; empty means "Administrator".
	Administrator string
}

// Found makes an organisation with a clinic and an administrator who has yet to come in by an invitation, in one transaction.
func (s *Service) Found(ctx context.Context, f Founding) (Organisation, error) {
	if f.Administrator == "" {
		f.Administrator = "Administrator"
	}
	o := Organisation{Name: f.Organisation, ClinicName: f.Clinic, MadeAtMS: s.Now().UnixMilli(), Secret: make([]byte, 32), Sealing: make([]byte, 32)}
	for _, id := range []*uuid.UUID{&o.ID, &o.Clinic, &o.Administrator} {
		var err error
		if *id, err = uuid.NewRandomFromReader(s.Random); err != nil {
			return Organisation{}, err
		}
	}
	for _, secret := range [][]byte{o.Secret, o.Sealing} {
		if _, err := io.ReadFull(s.Random, secret); err != nil {
			return Organisation{}, err
		}
	}
	err := s.Store.Update(ctx, func(w store.Writer) error {
		if err := putJSON(w, key(keyOrganisation, o.ID[:]), o); err != nil {
			return err
		}
		administrator := []auth.Position{{Roles: []accessv1.Role{accessv1.Role_ROLE_ADMINISTRATOR}}}
		if _, err := auth.SetPositions(w, o.ID, o.Administrator, administrator, false); err != nil {
			return err
		}
		return s.foundRecords(w, o, f.Administrator)
	})
	if err != nil {
		return Organisation{}, fmt.Errorf("found organisation: %w", err)
	}
	return o, nil
}

// foundRecords makes the records of the first clinic and of the first administrator.
func (s *Service) foundRecords(w store.Writer, o Organisation, administrator string) error {
	at := time.UnixMilli(o.MadeAtMS)
	clinic := draft{kind: kindClinic, record: o.Clinic, author: o.Administrator, at: at, purpose: "found clinic"}
	if err := s.editIn(w, o, clinic, &chartv1.Clinic{Name: &o.ClinicName}); err != nil {
		return err
	}
	person := draft{kind: kindStaff, record: o.Administrator, author: o.Administrator, at: at, purpose: "found administrator"}
	position := &accessv1.Position{
		Id: o.deriveID(at, "found position").String(),
		Assignment: &accessv1.Assignment{
			Roles: []accessv1.Role{accessv1.Role_ROLE_ADMINISTRATOR}, Granted: actOf(o.Administrator, at),
		},
	}
	return s.editIn(w, o, person, &accessv1.Staff{Name: &recordv1.PersonName{Full: administrator}, Positions: []*accessv1.Position{position}})
}

// Unclaimed reports whether the first administrator has not come in yet.
func (s *Service) Unclaimed(ctx context.Context, o Organisation) (bool, error) {
	var a auth.Account
	err := s.Store.View(ctx, func(r store.Reader) (err error) {
		a, err = auth.GetAccount(r, o.Administrator)
		return err
	})
	return a.Name == "", err
}

// ErrNotAdministrator says that the staff id given is not of someone who administers.
var ErrNotAdministrator = errors.New("not an administrator of the organisation")

// Recover makes a one-time link for an administrator, from the server's console: for the first one, and for one who lost the password.
// uuid.Nil means the first
// administrator of the organisation. An administrator who was suspended is let in again.
func (s *Service) Recover(ctx context.Context, o Organisation, staff uuid.UUID) (link string, ends time.Time, err error) {
	if staff == uuid.Nil {
		staff = o.Administrator
	}
	err = s.Store.Update(ctx, func(w store.Writer) error {
		a, err := auth.GetAccount(w, staff)
		if err != nil || a.Org != o.ID {
			return errors.Join(ErrNotAdministrator, err)
		}
		if !administers(a.Positions) {
			return ErrNotAdministrator
		}
		if a.Suspended {
			if _, err := auth.SetPositions(w, o.ID, staff, a.Positions, false); err != nil {
				return err
			}
		}
		var code auth.Code
		if code, ends, err = auth.Invite(w, s.Random, s.Now(), staff); err != nil {
			return err
		}
		link = auth.InvitationURL(s.PublicURL, code)
		_, _, err = audit.Append(w, audit.Entry{
			AtMS: s.Now().UnixMilli(), Org: o.ID, Staff: staff, Action: optionsv1.Action_ACTION_MANAGE_STAFF, Procedure: "console/invite",
			Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, Record: staff, Outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_DONE,
		})
		return err
	})
	return link, ends, err
}
