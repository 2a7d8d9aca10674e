package service

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// ListHeldEdits lists edits that wait for a person, oldest first by the claim of the devices that made them.
func (h *charting) ListHeldEdits(ctx context.Context, m *chartv1.ListHeldEditsRequest) (*chartv1.ListHeldEditsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return nil, err
	}
	device, err := optionalID("device_id", m.DeviceId)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	list := d.ledger.ListHeld
	if m.GetIncludeJudged() {
		list = d.ledger.HeldEver
	}
	held, err := list(ctx, d.org)
	if err != nil {
		return nil, err
	}
	names := &people{ctx: ctx, desk: d}
	var all []listed[*wire.Held]
	for i := range held {
		if d.heldAt(&held[i], clinic) && (device.IsZero() || deviceOf(names, held[i].Edit.Dot) == device) {
			all = append(all, listed[*wire.Held]{heldSort(&held[i]), &held[i]})
		}
	}
	rows, next := page(all, l.at, cmp.Or(int(m.GetPageSize()), defaultHistory))
	resp := &chartv1.ListHeldEditsResponse{NextPageToken: l.token(next)}
	var read []touched
	for _, x := range rows {
		shown, t, err := d.showHeld(ctx, x)
		if err != nil {
			return nil, err
		}
		resp.HeldEdits, read = append(resp.HeldEdits, shown), append(read, t)
	}
	return resp, d.enterAll(ctx, read)
}

// heldSort orders by the claimed time, then by dot.
func heldSort(h *wire.Held) []byte {
	b := binary.BigEndian.AppendUint64(nil, uint64(h.Edit.AuthoredAt)^1<<63)
	b = append(b, h.Edit.Dot.Replica[:]...)
	return binary.BigEndian.AppendUint64(b, h.Edit.Dot.Counter)
}

func deviceOf(p *people, dot causal.Dot) record.ID {
	id, _ := p.Device(dot.Replica)
	return id
}

// heldAt reports whether a held edit is of a record of the clinic, or would make one there.
func (d *desk) heldAt(h *wire.Held, clinic record.ID) bool {
	if clinic.IsZero() {
		return true
	}
	return slices.Contains(d.heldFacts(h).Clinics, clinic)
}

// heldFacts is what the record of a held edit is about; of a record that only held edits made, what this one says.
func (d *desk) heldFacts(h *wire.Held) *chart.Facts {
	if f := d.index.get(h.Edit.Key); f != nil && len(f.Clinics)+len(f.Patients) > 0 {
		return f
	}
	st := record.NewState(h.Edit.Key)
	st.Apply(&record.Edit{Key: h.Edit.Key, Dot: h.Edit.Dot, Writes: h.Edit.Writes})
	f := d.chart.FoldFacts(st)
	return &f
}

// showHeld is a held edit with the paths that were rewritten since.
func (d *desk) showHeld(ctx context.Context, h *wire.Held) (*chartv1.HeldRecordEdit, touched, error) {
	f := d.heldFacts(h)
	s, err := d.subject(ctx, f)
	if err != nil {
		return nil, touched{}, err
	}
	later, err := d.edits(ctx, h.Edit.Key)
	return d.chart.Held(h, later), touchedBy(f, s), err
}

func (d *desk) edits(ctx context.Context, k record.Key) ([]record.Edit, error) {
	entries, err := d.ledger.History(ctx, d.org, k)
	out := make([]record.Edit, len(entries))
	for i := range entries {
		out[i] = entries[i].Edit
	}
	return out, err
}

// findHeld is the held edit with a dot, judged or not.
func (d *desk) findHeld(ctx context.Context, m *chartv1.Dot) (wire.Held, touched, error) {
	dot, err := chart.ReadDot("dot", m)
	if err != nil {
		return wire.Held{}, touched{}, err
	}
	held, err := d.ledger.HeldEver(ctx, d.org)
	if err != nil {
		return wire.Held{}, touched{}, err
	}
	i := slices.IndexFunc(held, func(h wire.Held) bool { return h.Edit.Dot == dot })
	if i < 0 {
		return wire.Held{}, touched{}, notFound()
	}
	t, err := d.decide(ctx, d.heldFacts(&held[i]))
	return held[i], t, err
}

// ReleaseHeldEdit makes a held edit's writes again, in its author's name. Asked again it answers what became of the first.
func (h *charting) ReleaseHeldEdit(ctx context.Context, m *chartv1.ReleaseHeldEditRequest) (*chartv1.ReleaseHeldEditResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	held, t, err := d.findHeld(ctx, m.GetDot())
	if err != nil {
		return nil, err
	}
	t.remark = m.GetReason()
	j := ledger.Judgement{Org: d.org, By: recordID(d.call.principal.Staff), Key: held.Edit.Key, Dot: held.Edit.Dot, Reason: m.GetReason()}
	for _, path := range m.GetTakePaths() {
		r, err := d.schema.ParseRegister(held.Edit.Key.Kind, path)
		if err != nil {
			return nil, err
		}
		if r.Field == record.WholeElement {
			return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "take_paths", path, "a field")
		}
		j.Take = append(j.Take, r)
	}
	if held.Status != syncv1.HeldStatus_HELD_STATUS_RELEASED {
		if _, err := d.ledger.Release(ctx, j); err != nil {
			return nil, err
		}
	}
	resp := &chartv1.ReleaseHeldEditResponse{}
	edits, err := d.edits(ctx, held.Edit.Key)
	if err != nil {
		return nil, err
	}
	for i := range edits {
		if isRelease(&edits[i], &held.Edit) {
			resp.Edit = d.chart.Authorship(&edits[i])
		}
	}
	r, err := d.ledger.Read(ctx, d.org, held.Edit.Key)
	if err != nil {
		return nil, err
	}
	if resp.View, err = d.viewOf(ctx, r); err != nil {
		return nil, err
	}
	return resp, d.enterRead(ctx, d.call, t)
}

// isRelease reports whether e is the edit that made a held one's writes again: in its author's name, of its time, with its context, under another
// dot.
func isRelease(e, held *record.Edit) bool {
	return e.Dot != held.Dot && e.ID != held.ID && e.Author == held.Author && e.AuthoredAt == held.AuthoredAt &&
		e.Context.Compare(held.Context) == causal.Equal
}

// GiveUpHeldEdit ends a held edit without effect. Asked again it answers what became of the first.
func (h *charting) GiveUpHeldEdit(ctx context.Context, m *chartv1.GiveUpHeldEditRequest) (*chartv1.GiveUpHeldEditResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	held, t, err := d.findHeld(ctx, m.GetDot())
	if err != nil {
		return nil, err
	}
	t.remark = m.GetReason()
	if held.Status != syncv1.HeldStatus_HELD_STATUS_GIVEN_UP {
		err := d.ledger.GiveUp(ctx, ledger.Judgement{
			Org: d.org, By: recordID(d.call.principal.Staff), Key: held.Edit.Key, Dot: held.Edit.Dot, Reason: m.GetReason(),
		})
		if err != nil {
			return nil, err
		}
		again, _, err := d.findHeld(ctx, m.GetDot())
		if err != nil {
			return nil, err
		}
		held = again
	}
	shown, _, err := d.showHeld(ctx, &held)
	if err != nil {
		return nil, err
	}
	return &chartv1.GiveUpHeldEditResponse{HeldEdit: shown}, d.enterRead(ctx, d.call, t)
}
