package service

import (
	"context"
	"encoding/binary"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// GetPatient reads a patient's record.
func (h *charting) GetPatient(ctx context.Context, m *chartv1.GetPatientRequest) (*chartv1.GetPatientResponse, error) {
	v, err := h.view(ctx, optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", m.GetPatientId())
	return &chartv1.GetPatientResponse{View: v}, err
}

// GetSession reads a session's record.
func (h *charting) GetSession(ctx context.Context, m *chartv1.GetSessionRequest) (*chartv1.GetSessionResponse, error) {
	v, err := h.view(ctx, optionsv1.RecordKind_RECORD_KIND_SESSION, "session_id", m.GetSessionId())
	return &chartv1.GetSessionResponse{View: v}, err
}

// GetRecord reads a record of any kind.
func (h *charting) GetRecord(ctx context.Context, m *chartv1.GetRecordRequest) (*chartv1.GetRecordResponse, error) {
	v, err := h.view(ctx, m.GetKey().GetKind(), "key.record_id", m.GetKey().GetRecordId())
	return &chartv1.GetRecordResponse{View: v}, err
}

// view reads one record for its caller, and enters that into the audit log.
func (h *charting) view(ctx context.Context, kind record.Kind, field, id string) (*chartv1.RecordView, error) {
	key, err := readID(kind, field, id)
	if err != nil {
		return nil, err
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	r, t, err := d.read(ctx, key)
	if err != nil {
		return nil, err
	}
	v, err := d.viewOf(ctx, r)
	if err != nil {
		return nil, err
	}
	return v, d.enterRead(ctx, d.call, t)
}

// readID reads the id of a record.
func readID(kind record.Kind, field, text string) (record.Key, error) {
	id, err := optionalID(field, &text)
	return record.Key{Kind: kind, ID: id}, err
}

func (d *desk) viewOf(ctx context.Context, r ledger.Record) (*chartv1.RecordView, error) {
	s, err := d.source(ctx, r)
	if err != nil {
		return nil, err
	}
	return d.chart.View(s)
}

// defaultHistory is how many edits a page of history holds when the request does not say.
const defaultHistory = 100

// GetRecordHistory reads every edit of a record as the ledger holds it, newest first. An edit that came again under another dot had no effect and is
// left out.
func (h *charting) GetRecordHistory(ctx context.Context, m *chartv1.GetRecordHistoryRequest) (*chartv1.GetRecordHistoryResponse, error) {
	key, err := readID(m.GetKey().GetKind(), "key.record_id", m.GetKey().GetRecordId())
	if err != nil {
		return nil, err
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	only, err := d.pathFilter(key.Kind, m.GetPath())
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	r, t, err := d.read(ctx, key)
	if err != nil {
		return nil, err
	}
	entries, err := d.ledger.History(ctx, d.org, key)
	if err != nil {
		return nil, err
	}
	size := int(m.GetPageSize())
	if size == 0 {
		size = defaultHistory
	}
	resp := &chartv1.GetRecordHistoryResponse{}
	resp.Entries, resp.NextPageToken = d.history(r, entries, only, l, size)
	return resp, d.enterRead(ctx, d.call, t)
}

// history is a page of the entries, newest first.
func (d *desk) history(
	r ledger.Record, entries []ledger.Entry, only func(record.Register) bool, l listing, size int,
) (out []*chartv1.HistoryEntry, token string) {
	slices.Reverse(entries)
	for i := range entries {
		e := &entries[i]
		if len(l.at) == 8 && e.Sequence >= binary.BigEndian.Uint64(l.at) || e.Effect == "duplicate" {
			continue
		}
		e.Edit.Writes = keepRegisters(e.Edit.Writes, only)
		if len(e.Edit.Writes) == 0 {
			continue
		}
		if len(out) == size {
			return out, l.token(binary.BigEndian.AppendUint64(nil, out[size-1].GetSequence()))
		}
		entry := d.chart.History(&e.Edit, e.Sequence, statusOf(r, &e.Edit))
		if e.ReceivedAtMS != 0 {
			entry.ReceivedAt = timestamppb.New(time.UnixMilli(e.ReceivedAtMS))
		}
		out = append(out, entry)
	}
	return out, ""
}

// statusOf is what became of an edit if it was held.
func statusOf(r ledger.Record, e *record.Edit) syncv1.HeldStatus {
	for i := range r.Held {
		if r.Held[i].Edit.Dot == e.Dot {
			return r.Held[i].Status
		}
	}
	return syncv1.HeldStatus_HELD_STATUS_UNSPECIFIED
}

// pathFilter says which registers a path means: a field, or all in an element; all when it is empty.
func (d *desk) pathFilter(kind record.Kind, path string) (func(record.Register) bool, error) {
	if path == "" {
		return func(record.Register) bool { return true }, nil
	}
	want, err := d.schema.ParseRegister(kind, path)
	if err != nil {
		return nil, err
	}
	return func(r record.Register) bool {
		return r == want || want.Field == record.WholeElement && strings.HasPrefix(string(r.Path), string(want.Path))
	}, nil
}

// keepRegisters is the writes without the registers that are not wanted.
func keepRegisters(writes []record.Write, wanted func(record.Register) bool) []record.Write {
	var out []record.Write
	for i := range writes {
		kept := record.Write{Path: writes[i].Path}
		writes[i].Each(func(r record.Register, value []byte, cleared bool) {
			switch {
			case !wanted(r):
			case cleared:
				kept.Clear = append(kept.Clear, r.Field)
			default:
				kept.Set = append(kept.Set, value...)
			}
		})
		if len(kept.Set)+len(kept.Clear) > 0 {
			out = append(out, kept)
		}
	}
	return out
}

// readKey reads a key of a request that may lack it.
func readKey(field string, k *chartv1.RecordKey) (record.Key, error) {
	key, ok := chart.ReadKey(k)
	if !ok {
		return record.Key{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, fault.Withheld(k.GetRecordId()), "the kind and the UUID of a record")
	}
	return key, nil
}
