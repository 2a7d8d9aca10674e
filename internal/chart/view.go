package chart

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// Source is a record as a replica or the server holds it.
type Source struct {
	State *record.State
	// Held is its held edits, those that were judged too.
	Held []wire.Held
	// Later is the edits among which those are looked for that rewrote what a held edit writes; nil where no history is at hand.
	Later []record.Edit
}

// View is a record for a reader: the typed message without the fields in conflict, the context, and what waits for a person.
func (c *Chart) View(s Source) (*chartv1.RecordView, error) {
	typed, err := Typed(s.State)
	if err != nil {
		return nil, err
	}
	digest := s.State.Digest()
	v := &chartv1.RecordView{Record: typed, Context: WriteContext(s.State.Seen), Digest: digest[:]}
	v.Conflicts = c.Conflicts(s.State)
	v.LateEntries = c.LateEntries(s.State)
	for i := range s.Held {
		if waits(s.Held[i].Status) {
			v.HeldEdits = append(v.HeldEdits, c.Held(&s.Held[i], s.Later))
		}
	}
	slices.SortStableFunc(v.HeldEdits, func(a, b *chartv1.HeldRecordEdit) int {
		return a.GetAuthorship().GetAuthoredAt().AsTime().Compare(b.GetAuthorship().GetAuthoredAt().AsTime())
	})
	return v, nil
}

// waits reports whether a held edit waits for a person or for other edits.
func waits(s syncv1.HeldStatus) bool {
	return s == syncv1.HeldStatus_HELD_STATUS_HELD || s == syncv1.HeldStatus_HELD_STATUS_WAITING
}

// Conflicts is the fields of a record with more than one value, by path. Who wrote the same value stands beside it once.
func (c *Chart) Conflicts(st *record.State) []*chartv1.Conflict {
	var out []*chartv1.Conflict
	for _, found := range st.Conflicts() {
		out = append(out, &chartv1.Conflict{
			Key: WriteKey(st.Key), Path: c.schema.RegisterText(st.Key.Kind, found.Register), Siblings: c.siblings(st, found), Context: WriteContext(st.Seen),
		})
	}
	return out
}

func (c *Chart) siblings(st *record.State, found record.Conflict) []*chartv1.Sibling {
	var out []*chartv1.Sibling
	var first []causal.Sibling // of each entry of out
	for _, x := range found.Siblings {
		author := c.authorOf(st.Info(x.Dot))
		if i := slices.IndexFunc(first, x.SameValue); i >= 0 {
			out[i].Authors = append(out[i].Authors, author)
			continue
		}
		s := &chartv1.Sibling{Authors: []*chartv1.Authorship{author}, Cleared: x.Cleared}
		if !x.Cleared {
			s.ValueJson = ValueJSON(st.Key.Kind, found.Register, x.Value)
		}
		out, first = append(out, s), append(first, x)
	}
	return out
}

// authorOf is who made an edit of which something is current. A state does not keep the ids of edits.
func (c *Chart) authorOf(n record.DotInfo) *chartv1.Authorship {
	a := &chartv1.Authorship{Dot: WriteDot(n.Dot), StaffId: n.Author.String(), AuthoredAt: timestamp(n.AuthoredAt)}
	if c.people == nil {
		return a
	}
	a.StaffName = c.people.StaffName(n.Author)
	device, label := c.people.Device(n.Dot.Replica)
	if !device.IsZero() {
		a.DeviceId, a.DeviceLabel = device.String(), label
	}
	return a
}

// Authorship is who made an edit.
func (c *Chart) Authorship(e *record.Edit) *chartv1.Authorship {
	a := c.authorOf(record.DotInfo{Dot: e.Dot, Author: e.Author, AuthoredAt: e.AuthoredAt})
	a.EditId = e.ID.String()
	return a
}

// timestamp is a device's claim as a message; absent when it is outside what a timestamp can say, which a clock gone wrong may well be.
func timestamp(ms int64) *timestamppb.Timestamp {
	t := timestamppb.New(time.UnixMilli(ms))
	if t.CheckValid() != nil {
		return nil
	}
	return t
}

// Held is a held edit. Those of its paths are marked as rewritten that an edit of later wrote whose author had seen it.
func (c *Chart) Held(h *wire.Held, later []record.Edit) *chartv1.HeldRecordEdit {
	out := &chartv1.HeldRecordEdit{
		Key: WriteKey(h.Edit.Key), Authorship: c.Authorship(&h.Edit), Status: h.Status, Reason: h.Reason, Detail: h.Detail, Partial: h.Partial,
		Writes: c.pathValues(h.Edit.Key.Kind, h.Edit.Writes),
	}
	_, rewritten := record.Release(&h.Edit, later, nil)
	for _, r := range rewritten {
		out.RewrittenPaths = append(out.RewrittenPaths, c.schema.RegisterText(h.Edit.Key.Kind, r))
	}
	return out
}

// pathValues is the registers of writes, ascending by path and field.
func (c *Chart) pathValues(kind record.Kind, writes []record.Write) []*chartv1.PathValue {
	var out []*chartv1.PathValue
	for i := range writes {
		writes[i].Each(func(r record.Register, value []byte, cleared bool) {
			out = append(out, c.pathValue(kind, r, value, cleared))
		})
	}
	return out
}

func (c *Chart) pathValue(kind record.Kind, r record.Register, value []byte, cleared bool) *chartv1.PathValue {
	v := &chartv1.PathValue{Path: c.schema.RegisterText(kind, r), Cleared: cleared}
	if !cleared {
		v.ValueJson = ValueJSON(kind, r, value)
	}
	return v
}

// LateEntries is what came after the newest signature and is covered by none, by edit.
func (c *Chart) LateEntries(st *record.State) []*chartv1.LateEntry {
	late := c.schema.LateEntries(st)
	if len(late) == 0 {
		return nil
	}
	newest := slices.MaxFunc(c.schema.Signatures(st), func(a, b record.Signature) int {
		return cmp.Or(cmp.Compare(a.Content.GetSignedAtUnixMs(), b.Content.GetSignedAtUnixMs()), cmp.Compare(a.Path, b.Path))
	})
	step, _ := newest.Path.Cut()
	slices.SortStableFunc(late, func(a, b record.LateEntry) int { return a.Sibling.Dot.Compare(b.Sibling.Dot) })
	var out []*chartv1.LateEntry
	last := causal.Dot{}
	for _, x := range late {
		if x.Sibling.Dot != last {
			out = append(out, &chartv1.LateEntry{SignatureId: step.Element.String(), Authorship: c.authorOf(st.Info(x.Sibling.Dot))})
			last = x.Sibling.Dot
		}
		entry := out[len(out)-1]
		entry.Writes = append(entry.Writes, c.pathValue(st.Key.Kind, x.Register, x.Sibling.Value, x.Sibling.Cleared))
	}
	return out
}

// History is one edit of a record's history: sequence is its place in the server's ledger, status what became of it if it was held.
func (c *Chart) History(e *record.Edit, sequence uint64, status syncv1.HeldStatus) *chartv1.HistoryEntry {
	return &chartv1.HistoryEntry{Authorship: c.Authorship(e), Sequence: sequence, Status: status, Writes: c.pathValues(e.Key.Kind, e.Writes)}
}
