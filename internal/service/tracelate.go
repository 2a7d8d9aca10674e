package service

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// late is the edits that a close had not seen, of the records that it saw and of those that are the day's by now, by record and sequence.
func (c *clinicDay) late(closing *chartv1.Closing) ([]*tracev1.LateEntry, error) {
	seen, err := seenBy(closing)
	if err != nil {
		return nil, err
	}
	keys := map[record.Key]bool{}
	for k := range seen {
		keys[k] = true
	}
	for _, r := range c.sessions {
		keys[r.State.Key] = true
	}
	for _, r := range c.vials {
		keys[r.State.Key] = true
	}
	names := &people{ctx: c.ctx, desk: c.desk}
	var out []*tracev1.LateEntry
	for _, k := range sortedKeys(keys) {
		entries, err := c.lateOf(k, seen[k], names)
		if err != nil {
			return nil, err
		}
		out = append(out, entries...)
	}
	return out, nil
}

// seenBy is the vectors that a close kept, by record.
func seenBy(closing *chartv1.Closing) (map[record.Key]causal.Vector, error) {
	report := &tracev1.DayReport{}
	if err := proto.Unmarshal(closing.GetSeen().GetReport(), report); err != nil {
		return nil, fmt.Errorf("read the report of a close: %w", err)
	}
	out := map[record.Key]causal.Vector{}
	for _, s := range report.GetSeen() {
		k, ok := chart.ReadKey(s.GetKey())
		v, err := chart.ReadContext(s.GetContext())
		if !ok || err != nil {
			return nil, fmt.Errorf("read the report of a close: what was seen of %s: %w", s.GetKey().GetRecordId(), err)
		}
		out[k] = v
	}
	return out, nil
}

// lateOf is the edits of a record that v has not seen.
func (c *clinicDay) lateOf(k record.Key, v causal.Vector, names *people) ([]*tracev1.LateEntry, error) {
	if c.index.get(k) == nil {
		return nil, nil
	}
	entries, err := c.ledger.History(c.ctx, c.org, k)
	if err != nil {
		return nil, err
	}
	var out []*tracev1.LateEntry
	for i := range entries {
		e := &entries[i].Edit
		if entries[i].Effect == "duplicate" || v.Covers(e.Dot) {
			continue
		}
		late := &tracev1.LateEntry{
			Key: chart.WriteKey(k), EditId: e.ID.String(), AuthorId: e.Author.String(), AuthorName: names.StaffName(e.Author),
			AuthoredAt: timestamppb.New(time.UnixMilli(e.AuthoredAt)), Sequence: entries[i].Sequence,
		}
		if device, label := names.Device(e.Dot.Replica); !device.IsZero() {
			late.DeviceId, late.DeviceLabel = device.String(), label
		}
		for j := range e.Writes {
			e.Writes[j].Each(func(r record.Register, _ []byte, _ bool) {
				late.Paths = append(late.Paths, c.schema.RegisterText(k.Kind, r))
			})
		}
		out = append(out, late)
	}
	return out, nil
}
