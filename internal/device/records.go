package device

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// Chart makes views and writes of the device's records, with the names of people and devices as this device knows them.
func (d *Device) Chart() *chart.Chart { return d.chart }

// Keys is the records that the device shows, of a kind or of all when kind is 0, ascending.
func (d *Device) Keys(kind record.Kind) []record.Key { return d.replica.Keys(kind) }

// State is a record as the device shows it; empty for one that it does not hold. The caller must not change it.
func (d *Device) State(k record.Key) *record.State { return d.replica.View(k) }

// View is a record with its conflicts, held edits and late entries. NOT_FOUND when the device holds neither a value nor a held edit of it.
func (d *Device) View(k record.Key) (*chartv1.RecordView, error) {
	st, h := d.replica.View(k), d.replica.Held(k)
	if st.Empty() && len(h) == 0 {
		return nil, fault.New(faultv1.Reason_REASON_NOT_FOUND, "id", k.ID.String(), "a record that this device holds")
	}
	return d.chart.View(chart.Source{State: st, Held: h})
}

// Held is every edit that the server holds back or that waits there, and those judged since when all is true, oldest first by their
// authors' clocks.
func (d *Device) Held(all bool) []*chartv1.HeldRecordEdit {
	var out []*chartv1.HeldRecordEdit
	for _, k := range d.replica.HeldKeys() {
		for _, h := range d.replica.Held(k) {
			waits := h.Status == syncv1.HeldStatus_HELD_STATUS_HELD || h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING
			if waits || all {
				out = append(out, d.chart.Held(&h, nil))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.HeldRecordEdit) int {
		return a.GetAuthorship().GetAuthoredAt().AsTime().Compare(b.GetAuthorship().GetAuthoredAt().AsTime())
	})
	return out
}

// Conflicts is every field with more than one value, by record and path.
func (d *Device) Conflicts() []*chartv1.Conflict {
	var out []*chartv1.Conflict
	for _, k := range d.replica.Keys(0) {
		out = append(out, d.chart.Conflicts(d.replica.View(k))...)
	}
	return out
}

// Edit makes an edit of a change in the name of who works on the device. It is on the disk when Edit returns. STALE_READ when part of the record left the
// device and the change was made from what is still shown of it; a signature is such a change.
func (d *Device) Edit(ctx context.Context, c chart.Change) (record.Edit, error) {
	return d.edit(ctx, c, nil)
}

// CheckWhole refuses to sign a record of which part left the device: STALE_READ. Edit asks the same.
func (d *Device) CheckWhole(k record.Key) error {
	return d.replica.CheckWhole(k, d.replica.View(k).Seen)
}

// edit makes an edit, and stores with it what also gives besides.
func (d *Device) edit(ctx context.Context, c chart.Change, also func() replica.Changes) (record.Edit, error) {
	if err := d.replica.CheckWhole(c.Key, c.Context); err != nil {
		return record.Edit{}, err
	}
	author, at, err := d.author()
	if err != nil {
		return record.Edit{}, err
	}
	id, err := uuid.NewV7FromReader(d.cfg.Random)
	if err != nil {
		return record.Edit{}, fmt.Errorf("make id of the edit: %w", err)
	}
	e, ch, err := d.replica.Edit(replica.Draft{
		ID: record.ID(id), Key: c.Key, Context: c.Context, Author: author, AuthoredAt: at.UnixMilli(), Writes: c.Writes,
	})
	if err != nil {
		return record.Edit{}, err
	}
	if also != nil {
		ch = joined(ch, also())
	}
	seals, err := d.sealUnsent(false)
	if err != nil {
		return record.Edit{}, errors.Join(err, d.load(ctx)) // the replica in memory has an edit that is not stored
	}
	return e, d.commit(ctx, joined(ch, seals))
}

// Act is who works on the device, now.
func (d *Device) Act() (chart.Act, error) {
	author, at, err := d.author()
	return chart.Act{Staff: author, At: at}, err
}

// Recovered is a value that a restore of the server lost.
type Recovered struct {
	// Ref names it on this device.
	Ref string `json:"ref"`
	// Key, Path and ValueJSON say what it is; Cleared that the field was emptied on purpose.
	Key       record.Key `json:"-"`
	Path      string     `json:"path"`
	ValueJSON string     `json:"value_json"`
	Cleared   bool       `json:"cleared"`
	// StaffID and StaffName are the author's; AuthoredAtMS is the device's claim of when.
	StaffID      string `json:"staff_id"`
	StaffName    string `json:"staff_name"`
	AuthoredAtMS int64  `json:"authored_at_unix_ms"`

	value replica.Recovered
}

// Recovered is the values that a restore of the server lost and that nobody took yet.
func (d *Device) Recovered() []Recovered {
	var out []Recovered
	for _, rec := range d.replica.Recovered() {
		path := d.schema.RegisterText(rec.Key.Kind, rec.Register)
		sum := sha256.Sum256([]byte(rec.Key.String() + "\x00" + path + "\x00" + rec.Sibling.Dot.Replica.String() + fmt.Sprint(rec.Sibling.Dot.Counter)))
		r := Recovered{
			Ref: hex.EncodeToString(sum[:4]), Key: rec.Key, Path: path, Cleared: rec.Sibling.Cleared, StaffID: rec.Info.Author.String(),
			StaffName: people{d}.StaffName(rec.Info.Author), AuthoredAtMS: rec.Info.AuthoredAt, value: rec,
		}
		if !r.Cleared {
			r.ValueJSON = chart.ValueJSON(rec.Key.Kind, rec.Register, rec.Sibling.Value)
		}
		out = append(out, r)
	}
	return out
}

// Take writes a recovered value again, with a new edit on what is there now.
func (d *Device) Take(ctx context.Context, r Recovered) (record.Edit, error) {
	reg := r.value.Register
	w := record.Write{Path: reg.Path, Set: slices.Clone(r.value.Sibling.Value)}
	if r.Cleared {
		w = record.Write{Path: reg.Path, Clear: []uint32{reg.Field}}
	}
	c := chart.Change{Key: r.Key, Context: d.replica.View(r.Key).Seen, Writes: []record.Write{w}}
	return d.edit(ctx, c, func() replica.Changes { return d.replica.Dismiss(r.value) })
}

// Dismiss forgets a recovered value that a person decided against.
func (d *Device) Dismiss(ctx context.Context, r Recovered) error {
	return d.commit(ctx, d.replica.Dismiss(r.value))
}

// Hold asks, at the next exchange, for the whole records of a patient; Unhold to hold them no longer.
func (d *Device) Hold(ctx context.Context, patient record.ID) error {
	return d.commit(ctx, d.replica.Hold(patient))
}

// Unhold asks to hold a patient's records no longer. Edits that the server lacks stay.
func (d *Device) Unhold(ctx context.Context, patient record.ID) error {
	return d.commit(ctx, d.replica.Unhold(patient))
}

// Safety is what the device knows of patients whose records it does not hold. It is no all-clear.
func (d *Device) Safety() []*syncv1.SafetyEntry { return d.replica.Safety() }

// Digest is over every record: equal on devices that hold the same edits of the same records.
func (d *Device) Digest() record.Hash { return d.replica.Digest() }

// people knows the names that the device's own records hold.
type people struct{ d *Device }

// StaffName implements chart.People.
func (p people) StaffName(id record.ID) string {
	m := &accessv1.Staff{}
	st := p.d.replica.View(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, ID: id})
	if proto.Unmarshal(st.Message(), m) != nil {
		return ""
	}
	if m.GetName().GetFull() == "" && id == record.ID(p.d.person.Staff) {
		return p.d.person.Name
	}
	return m.GetName().GetFull()
}

// Device implements chart.People.
func (p people) Device(r causal.ReplicaID) (id record.ID, label string) {
	text := record.ID(r).String()
	for _, k := range p.d.replica.Keys(optionsv1.RecordKind_RECORD_KIND_DEVICE) {
		m := &accessv1.Device{}
		if proto.Unmarshal(p.d.replica.View(k).Message(), m) != nil {
			continue
		}
		if slices.ContainsFunc(m.GetReplicas(), func(x *accessv1.DeviceReplica) bool { return x.GetId() == text }) {
			return k.ID, m.GetLabel()
		}
	}
	if r == p.d.replica.ID() {
		return record.ID(p.d.identity.Device), p.d.identity.Label
	}
	return record.ID{}, ""
}
