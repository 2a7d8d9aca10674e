package wire

import (
	"bytes"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// Held is an edit that did not take effect as it came.
type Held struct {
	Edit    record.Edit
	Reason  faultv1.Reason
	Detail  string // a sentence for a person; no patient data
	Status  syncv1.HeldStatus
	Partial bool // only the writes in Edit were held; the rest took effect
}

// Row is one record as it crosses the wire.
type Row struct {
	Key       record.Key
	Seen      causal.Vector
	Infos     []record.DotInfo // ascending by dot
	Fragments []record.Fragment
	Delta     bool // only the registers that changed are there
	Held      []Held
}

// State is the whole state of a row that is not a delta.
func (r *Row) State() (*record.State, error) {
	return record.FromParts(r.Key, r.Seen, r.Infos, r.Fragments)
}

// EncodeRow makes the message of a row; indexes go into t.
func (t *Tables) EncodeRow(r *Row) *syncv1.RecordRow {
	m := &syncv1.RecordRow{Kind: r.Key.Kind, RecordId: bytes.Clone(r.Key.ID[:]), Vector: t.pairs(r.Seen), Delta: r.Delta}
	m.Dots = make([]*syncv1.DotInfo, len(r.Infos))
	for i, n := range r.Infos {
		m.Dots[i] = &syncv1.DotInfo{
			Replica: uint32(r.Seen.Index(n.Dot.Replica)), Counter: n.Dot.Counter,
			Author: uint32(t.Author(n.Author)), AuthoredAtUnixMs: n.AuthoredAt,
		}
	}
	m.Fragments = make([]*syncv1.Fragment, len(r.Fragments))
	for i := range r.Fragments {
		f := &r.Fragments[i]
		m.Fragments[i] = &syncv1.Fragment{Dot: uint32(r.dotIndex(f.Dot)), Path: []byte(f.Path), Set: f.Set, Clear: f.Clear}
	}
	for i := range r.Held {
		m.Held = append(m.Held, t.EncodeHeld(&r.Held[i]))
	}
	return m
}

func (r *Row) dotIndex(d causal.Dot) int {
	for i := range r.Infos {
		if r.Infos[i].Dot == d {
			return i
		}
	}
	panic("wire: a fragment's edit is not described")
}

// EncodeHeld makes the message of a held edit; indexes go into t.
func (t *Tables) EncodeHeld(h *Held) *syncv1.HeldEdit {
	return &syncv1.HeldEdit{
		Replica: uint32(t.Replica(h.Edit.Dot.Replica)), Counter: h.Edit.Dot.Counter, Edit: t.edit(&h.Edit),
		Reason: h.Reason, Detail: h.Detail, Status: h.Status, Partial: h.Partial,
	}
}

// Reader decodes the rows and verdicts of one answer.
type Reader struct{ ids ids }

// NewReader checks the tables of an answer.
func NewReader(replicas, authors [][]byte) (Reader, error) {
	t, err := readTables(replicas, authors)
	return Reader{t}, err
}

// Row reads a row. It shares the message's slices. The fragments of a delta are in order but are no whole state.
func (rd Reader) Row(m *syncv1.RecordRow) (Row, error) {
	id, err := record.IDFromBytes(m.GetRecordId())
	if err != nil || m.GetKind() <= 0 || m.GetKind() > record.MaxKind {
		return Row{}, notCanonical("rows.record_id", "a kind and an id of 16 bytes")
	}
	r := Row{Key: record.Key{Kind: m.GetKind(), ID: id}, Delta: m.GetDelta()}
	if r.Seen, err = rd.ids.vector(m.GetVector()); err != nil {
		return Row{}, err
	}
	if err := rd.infos(&r, m.GetDots()); err != nil {
		return Row{}, err
	}
	for _, f := range m.GetFragments() {
		if uint64(f.GetDot()) >= uint64(len(r.Infos)) {
			return Row{}, notCanonical("rows.fragments", "an index into the row's dots")
		}
		r.Fragments = append(r.Fragments, record.Fragment{Dot: r.Infos[f.GetDot()].Dot, Path: record.Path(f.GetPath()), Set: f.GetSet(), Clear: f.GetClear()})
	}
	for _, h := range m.GetHeld() {
		held, err := rd.Held(h)
		if err != nil {
			return Row{}, err
		}
		r.Held = append(r.Held, held)
	}
	return r, nil
}

func (rd Reader) infos(r *Row, dots []*syncv1.DotInfo) error {
	r.Infos = make([]record.DotInfo, len(dots))
	for i, d := range dots {
		author, err := rd.ids.author(d.GetAuthor())
		if err != nil {
			return err
		}
		if uint64(d.GetReplica()) >= uint64(len(r.Seen)) {
			return notCanonical("rows.dots", "an index into the row's vector")
		}
		r.Infos[i] = record.DotInfo{
			Dot: causal.Dot{Replica: r.Seen[d.GetReplica()].Replica, Counter: d.GetCounter()}, Author: author, AuthoredAt: d.GetAuthoredAtUnixMs(),
		}
	}
	return nil
}

// Held reads a held edit.
func (rd Reader) Held(m *syncv1.HeldEdit) (Held, error) {
	replica, err := rd.ids.replica(m.GetReplica())
	if err != nil {
		return Held{}, err
	}
	if m.GetStatus() <= 0 || m.GetStatus() > maxEnum || m.GetReason() < 0 || m.GetReason() > maxEnum {
		return Held{}, notCanonical("held", "a status and a reason")
	}
	e, err := rd.ids.decodeEdit(m.GetEdit())
	if err != nil {
		return Held{}, notCanonical("held", err.Error())
	}
	e.Dot = causal.Dot{Replica: replica, Counter: m.GetCounter()}
	if err := e.Valid(); err != nil {
		return Held{}, notCanonical("held", err.Error())
	}
	return Held{Edit: e, Reason: m.GetReason(), Detail: m.GetDetail(), Status: m.GetStatus(), Partial: m.GetPartial()}, nil
}
