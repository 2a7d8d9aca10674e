package device

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/x509"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/replica"
)

// Enrolment is how a device comes to a server.
type Enrolment struct {
	// Server is the server's address: scheme and host, such as https://needlebook.local:8740.
	Server string
	// Code is the one-time code of an administrator.
	Code string
	// Label is what people will call the device, at most 120 characters; empty means the machine's name.
	Label string
	// Authority is certificates in PEM that the server's is to be signed by; empty for those that the system trusts.
	Authority string
	// LimitScope makes the device hold whole only the patients it asks for or edits. It cannot be changed later.
	LimitScope bool
}

// Create makes the folder of a device, its key and its first replica, and enrols it. Where an earlier try was cut off or the code was not good it goes on
// with the same key. ErrExists when the folder holds an enrolled device. Everything is on the disk before the code is sent, so that a lost answer
// loses nothing.
func Create(ctx context.Context, cfg Config, e Enrolment) (*Device, error) {
	code, err := e.check()
	if err != nil {
		return nil, err
	}
	d, err := openFolder(ctx, cfg)
	if err != nil {
		return nil, err
	}
	if err := d.create(ctx, e, code); err != nil {
		_ = d.Close() // the folder is as it should be; only the enrolment is not
		return nil, err
	}
	return d, nil
}

func (d *Device) create(ctx context.Context, e Enrolment, code auth.Code) error {
	if d.identity.Enrolled() || d.identity.WipedMS != 0 {
		return fmt.Errorf("%s: %w", d.cfg.Dir, ErrExists)
	}
	if err := d.signer.makeKey(); err != nil {
		return err
	}
	if err := d.prepare(ctx, e, code); err != nil {
		return err
	}
	return d.enrol(ctx, code)
}

// check refuses what can be seen to be wrong before anything is made.
func (e *Enrolment) check() (auth.Code, error) {
	e.Server = strings.TrimSuffix(e.Server, "/")
	u, err := url.Parse(e.Server)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return auth.Code{}, invalid("server", e.Server, "an address such as https://needlebook.local:8740")
	}
	if u.Scheme == "http" && !isLoopback(u.Hostname()) {
		return auth.Code{}, invalid("server", e.Server, "https, since this is another machine")
	}
	if e.Authority != "" && !x509.NewCertPool().AppendCertsFromPEM([]byte(e.Authority)) {
		return auth.Code{}, invalid("ca", fault.Withheld(e.Authority), "a certificate in PEM")
	}
	if e.Label == "" {
		e.Label = machineName()
	}
	if n := utf8.RuneCountInString(e.Label); n > 120 || !utf8.ValidString(e.Label) {
		return auth.Code{}, invalid("label", fault.Withheld(e.Label), "1 to 120 characters")
	}
	code, err := auth.ParseCode(e.Code)
	if err != nil {
		return auth.Code{}, invalid("code", fault.Withheld(e.Code), "the code as the administrator's screen shows it")
	}
	return code, nil
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func invalid(field, read, want string) error {
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, read, want)
}

func machineName() string {
	if name, err := os.Hostname(); err == nil && name != "" {
		return name
	}
	return "command line"
}

// prepare stores what the enrolment needs to be asked again: the request's id and the first replica. With another code than before the device comes as
// a new one, and the replica of the first try may be the first one's: it gets a new replica. None has made edits before the device is enrolled.
func (d *Device) prepare(ctx context.Context, e Enrolment, code auth.Code) error {
	request, err := d.newID()
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(code.String()))
	var ch replica.Changes
	if d.replica == nil || !bytes.Equal(d.identity.CodeHash, sum[:]) {
		if ch, err = d.begin(ctx); err != nil {
			return err
		}
	}
	if e.LimitScope {
		ch = joined(ch, d.replica.LimitScope())
	}
	i := &d.identity
	i.Server, i.Authority, i.Label, i.Request, i.CodeHash = e.Server, e.Authority, e.Label, request, sum[:]
	return d.commit(ctx, ch, note{identityName, d.identity})
}

// begin makes a new replica in place of any that is there.
func (d *Device) begin(ctx context.Context) (replica.Changes, error) {
	first, err := d.newID()
	if err != nil {
		return replica.Changes{}, err
	}
	old, err := d.rows(ctx)
	if err != nil {
		return replica.Changes{}, err
	}
	r, ch := replica.New(d.schema, causal.ReplicaID(first))
	for _, row := range old {
		ch.Delete = append(ch.Delete, row.Key)
	}
	r.Limits = d.cfg.Limits
	d.replica, d.identity.FirstReplica = r, first
	return ch, nil
}

func (d *Device) enrol(ctx context.Context, code auth.Code) error {
	public, err := d.signer.public()
	if err != nil {
		return err
	}
	proof, err := d.signer.sign(auth.EnrolStatement(code, public))
	if err != nil {
		return err
	}
	req := &accessv1.EnrolDeviceRequest{
		RequestId: d.identity.Request.String(), Code: code.String(), Label: d.identity.Label, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
		PublicKey: public.Bytes(), ReplicaId: d.identity.FirstReplica.String(), Proof: proof,
	}
	w, err := d.wire()
	if err != nil {
		return err
	}
	resp, err := again(ctx, w, w.access.EnrolDevice, req)
	if err != nil {
		return err
	}
	return d.enrolled(ctx, resp)
}

func (d *Device) enrolled(ctx context.Context, m *accessv1.EnrolDeviceResponse) error {
	device, err := uuid.Parse(m.GetDevice().GetId())
	if err != nil {
		return fmt.Errorf("answer to the enrolment: device id: %w", err)
	}
	organisation, err := uuid.Parse(m.GetOrganisationId())
	if err != nil {
		return fmt.Errorf("answer to the enrolment: organisation id: %w", err)
	}
	i := &d.identity
	i.Device, i.Organisation, i.OrganisationName = device, organisation, m.GetOrganisationName()
	i.Label, i.Fingerprint, i.SealingKey = m.GetDevice().GetLabel(), m.GetKeyFingerprint(), m.GetSealingKey()
	i.Clinic, i.CodeHash = m.GetDevice().GetHomeClinicId(), nil
	return d.commit(ctx, replica.Changes{}, note{identityName, d.identity})
}
