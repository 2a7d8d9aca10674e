package demo

import (
	"context"
	"crypto/ecdsa"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"connectrpc.com/connect"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// tablet is an enrolled device with a replica. It lives as long as the demo, so what a tablet would store is left to the memory.
type tablet struct {
	w     *world
	label string
	id    record.ID
	key   *ecdsa.PrivateKey
	r     *replica.Replica
	dice  *dice
	count traffic
	// made is every edit made on it, in order.
	made []madeEdit
	sync syncv1connect.SyncServiceClient
}

type madeEdit struct {
	id  record.ID
	key record.Key
}

// enrol makes a device of the server's by a one-time code, as an administrator hands it to whoever sets a tablet up.
func (w *world) enrol(ctx context.Context, label string, at int, kind accessv1.DeviceKind) (*tablet, error) {
	t := &tablet{w: w, label: label, dice: newDice(w.seed, "tablet "+label)}
	resp, err := w.access(w.admin).CreateEnrolmentCode(ctx, &accessv1.CreateEnrolmentCodeRequest{
		RequestId: w.dice.request(), ClinicId: w.clinics[at].id.String(), Kind: kind,
	})
	if err != nil {
		return nil, fmt.Errorf("make a code for %s: %w", label, err)
	}
	code, err := auth.ParseCode(resp.GetCode())
	if err != nil {
		return nil, err
	}
	if t.key, err = t.dice.key(); err != nil {
		return nil, err
	}
	public, _ := auth.DeviceKeyOf(&t.key.PublicKey)
	first := t.dice.id()
	m := &accessv1.EnrolDeviceRequest{
		RequestId: t.dice.request(), Code: resp.GetCode(), Label: label, Kind: kind, PublicKey: public.Bytes(), ReplicaId: first.String(),
	}
	if m.Proof, err = auth.SignP256(rand.Reader, t.key, auth.EnrolStatement(code, public)); err != nil {
		return nil, err
	}
	device, err := w.access("").EnrolDevice(ctx, m)
	if err != nil {
		return nil, fmt.Errorf("enrol %s: %w", label, err)
	}
	if t.id, err = record.ParseID(device.GetDevice().GetId()); err != nil {
		return nil, err
	}
	t.r, _ = replica.New(w.schema, causal.ReplicaID(first))
	w.tablets = append(w.tablets, t)
	return t, nil
}

// signIn lets a person in on the tablet. The device signs it.
func (t *tablet) signIn(ctx context.Context, p *person) error {
	request := t.dice.request()
	proof, err := auth.SignP256(rand.Reader, t.key, auth.SignInStatement(p.signIn, request))
	if err != nil {
		return err
	}
	resp, err := t.w.access("").SignIn(ctx, &accessv1.SignInRequest{
		SignInName: p.signIn, Password: Password, DeviceId: new(t.id.String()), RequestId: &request, Proof: proof,
	})
	if err != nil {
		return fmt.Errorf("sign %s in on %s: %w", p.name, t.label, err)
	}
	t.sync = syncv1connect.NewSyncServiceClient(t.w.client(resp.GetTokens().GetAccessToken(), &t.count), t.w.url)
	return nil
}

// exchange signs a person in and syncs until the replica is in step with the server.
func (t *tablet) exchange(ctx context.Context, p *person) error {
	if err := t.signIn(ctx, p); err != nil {
		return err
	}
	t.r.Poll()
	for range 1000 {
		more, err := t.step(ctx)
		if err != nil {
			return fmt.Errorf("sync %s: %w", t.label, err)
		}
		if !more {
			return nil
		}
	}
	return fmt.Errorf("sync %s: it does not come to an end", t.label)
}

func (t *tablet) step(ctx context.Context) (more bool, err error) {
	s := t.r.Next()
	switch {
	case s.Hello != nil:
		m, err := t.sync.Hello(ctx, s.Hello)
		if err != nil {
			return false, err
		}
		t.r.ReceiveHello(s, m, causal.ReplicaID(t.dice.id()))
		return true, nil
	case s.Exchange == nil:
		return false, nil
	}
	if s.Statement != nil {
		if s.Exchange.Page.Signature, err = auth.SignP256(rand.Reader, t.key, s.Statement); err != nil {
			return false, err
		}
	}
	m, err := t.sync.Exchange(ctx, s.Exchange)
	if err != nil {
		if t.r.Refused(s, fault.New(reasonOf(err), "", "", "")) != nil {
			return false, err
		}
		return true, nil
	}
	_, err = t.r.Receive(s, m)
	return true, err
}

// reasonOf is the reason that an error from the wire carries.
func reasonOf(err error) faultv1.Reason {
	var wire *connect.Error
	if !errors.As(err, &wire) {
		return faultv1.Reason_REASON_UNSPECIFIED
	}
	for _, d := range wire.Details() {
		if m, err := d.Value(); err == nil {
			if info, ok := m.(*errdetails.ErrorInfo); ok {
				return faultv1.Reason(faultv1.Reason_value["REASON_"+info.GetReason()])
			}
		}
	}
	return faultv1.Reason_REASON_UNSPECIFIED
}

// write makes an edit that gives a record the values set in m.
func (t *tablet) write(by *person, at time.Time, k record.Key, m proto.Message) error {
	b, err := proto.Marshal(m)
	if err != nil {
		return err
	}
	writes, err := t.w.schema.Split(k.Kind, b)
	if err != nil {
		return fmt.Errorf("%s: %w", k, err)
	}
	return t.change(by, at, chart.Change{Key: k, Writes: writes})
}

// change makes the edit of a change. A nil context stands for what the tablet shows.
func (t *tablet) change(by *person, at time.Time, c chart.Change) error {
	e, _, err := t.r.Edit(replica.Draft{
		ID: t.dice.timedID(at), Key: c.Key, Context: c.Context, Author: by.id, AuthoredAt: at.UnixMilli(), Writes: c.Writes,
	})
	if err != nil {
		return fmt.Errorf("edit %s on %s: %w", c.Key, t.label, err)
	}
	t.made = append(t.made, madeEdit{e.ID, e.Key})
	return nil
}
