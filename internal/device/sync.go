package device

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	held "needlebook/internal/wire"
)

// Report is what a sync did.
type Report struct {
	// Up is edits that the server took, Down records that it sent, Gone those that left the device's scope, Safety entries of the safety index.
	Up, Down, Gone, Safety int
	// Refused is the edits of this device that did not take effect as they came, in the order of their answers.
	Refused []held.Held
	// Forked is true when the edits went on under a new replica, because the folder had been copied or restored.
	Forked bool
	// Wiped is true when the server said that the device was revoked: what it could read is removed, what it had not sent is kept sealed. Only Close may
	// be called on the device then; OpenWiped hands in what is sealed.
	Wiped bool
	// Traffic is what went over the wire.
	Traffic Traffic
}

// clockLife is how long a comparison of the clocks holds; then the next sync asks the server for the time.
const clockLife = 12 * time.Hour

// mostMended bounds how often in a row a refusal may be mended without an answer between; a server that refuses what it asked for is at fault.
const mostMended = 8

// Sync exchanges until the device is in step with the server. Each answer is stored before the next request is sent, so it may be cut off anywhere and
// goes on from there. With an error, the report says what was done before it.
func (d *Device) Sync(ctx context.Context) (Report, error) {
	var rep Report
	w, err := d.wire()
	if err != nil {
		return rep, err
	}
	if err := d.sealNow(ctx, false); err != nil {
		return rep, err
	}
	before := d.replica.ID()
	d.replica.Poll()
	err = d.exchangeAll(ctx, w, &rep)
	if err == nil {
		err = d.compareClocks(ctx, w)
	}
	rep.Traffic, rep.Forked = w.count.traffic(), d.replica.ID() != before
	if refusedFor(err, faultv1.Reason_REASON_DEVICE_REVOKED) {
		rep.Wiped = true
		err = d.wipedBy(ctx, err)
	}
	return rep, err
}

func (d *Device) exchangeAll(ctx context.Context, w *wire, rep *Report) error {
	for mended := 0; ; {
		s := d.replica.Next()
		var err error
		switch {
		case s.Hello != nil:
			err = d.hello(ctx, w, s)
		case s.Exchange != nil:
			err = d.exchange(ctx, w, s, rep)
		default:
			return nil
		}
		var refused *RefusedError
		switch {
		case err == nil && s.Exchange != nil:
			mended = 0
		case errors.As(err, &refused) && mended < mostMended:
			if d.replica.Refused(s, refused.Fault) != nil {
				return err
			}
			mended++
		case err != nil:
			return err
		}
	}
}

// noteEvery is how old the stored time of the last exchange may be when nothing moved: an exchange of nothing costs no write.
const noteEvery = time.Minute

// inStep notes the time when the device is in step with the server after an answer, to be stored with what the answer changed.
func (d *Device) inStep(ch *replica.Changes) []note {
	if !d.replica.InStep() {
		return nil
	}
	now := d.cfg.Now().UnixMilli()
	age := time.Duration(now-d.noted) * time.Millisecond
	d.exchanges.LastMS = now
	if ch.Empty() && age >= 0 && age < noteEvery {
		return nil
	}
	d.noted = now
	return []note{{exchangesName, d.exchanges}}
}

// hello asks where the server stands, and notes how the clocks differ.
func (d *Device) hello(ctx context.Context, w *wire, s replica.Step) error {
	m, err := d.askHello(ctx, w, s.Hello)
	if err != nil {
		return err
	}
	fresh, err := d.newID()
	if err != nil {
		return err
	}
	ch := d.replica.ReceiveHello(s, m, causal.ReplicaID(fresh))
	seals, err := d.sealUnsent(false) // of edits that go on under a new replica
	if err != nil {
		return errors.Join(err, d.load(ctx))
	}
	return d.commit(ctx, joined(ch, seals), note{exchangesName, d.exchanges})
}

// askHello says hello. The server's time is taken to be that of the middle of the call.
func (d *Device) askHello(ctx context.Context, w *wire, req *syncv1.HelloRequest) (*syncv1.HelloResponse, error) {
	began := d.cfg.Now()
	m, err := signed(ctx, d, w, w.sync.Hello, req)
	if err != nil {
		return nil, err
	}
	ended := d.cfg.Now()
	middle := (began.UnixMilli() + ended.UnixMilli()) / 2
	d.exchanges.CheckedMS, d.exchanges.OffsetMS = ended.UnixMilli(), middle-m.GetServerTimeUnixMs()
	return m, nil
}

// compareClocks asks for the time when the last comparison is old, or lies ahead because the clock was set back.
func (d *Device) compareClocks(ctx context.Context, w *wire) error {
	since := time.Duration(d.cfg.Now().UnixMilli()-d.exchanges.CheckedMS) * time.Millisecond
	if since >= 0 && since < clockLife {
		return nil
	}
	id := d.replica.ID()
	if _, err := d.askHello(ctx, w, &syncv1.HelloRequest{Replica: id[:]}); err != nil {
		return err
	}
	return d.commit(ctx, replica.Changes{}, note{exchangesName, d.exchanges})
}

func (d *Device) exchange(ctx context.Context, w *wire, s replica.Step, rep *Report) error {
	if s.Statement != nil {
		signature, err := d.signer.sign(s.Statement)
		if err != nil {
			return err
		}
		s.Exchange.Page.Signature = signature
	}
	m, err := signed(ctx, d, w, w.sync.Exchange, s.Exchange)
	if err != nil {
		return err
	}
	unsent := d.replica.Unsent()
	ch, err := d.replica.Receive(s, m)
	if err != nil {
		return fmt.Errorf("the server's answer cannot be read: %w", errors.Join(err, d.load(ctx)))
	}
	if err := d.commit(ctx, ch, d.inStep(&ch)...); err != nil {
		return err
	}
	rep.Up += max(0, unsent-d.replica.Unsent())
	rep.Down += len(m.GetRows())
	rep.Gone += len(m.GetGone())
	rep.Safety += len(m.GetSafety())
	rep.Refused = append(rep.Refused, d.refusals(s, m, ch.Records)...)
	return nil
}

// refusals is the edits of a page that the answer names as held or waiting.
func (d *Device) refusals(s replica.Step, m *syncv1.ExchangeResponse, changed []record.Key) []held.Held {
	var out []held.Held
	for _, v := range m.GetVerdicts() {
		if v.GetHeld() == nil {
			continue
		}
		dot := causal.Dot{Replica: causal.ReplicaID(s.Exchange.GetReplica()), Counter: v.GetCounter()}
		for _, k := range changed {
			list := d.replica.Held(k)
			if i := slices.IndexFunc(list, func(h held.Held) bool { return h.Edit.Dot == dot }); i >= 0 {
				out = append(out, list[i])
			}
		}
	}
	return out
}
