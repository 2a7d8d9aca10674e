package service

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// draft is an edit that the server makes in a person's name.
type draft struct {
	kind    optionsv1.RecordKind
	record  uuid.UUID
	context causal.Vector
	author  uuid.UUID
	at      time.Time
	// purpose, with the request when there is one, names the edit: the same again is the same edit.
	purpose string
	request []byte
}

func (d draft) key() record.Key { return record.Key{Kind: d.kind, ID: record.ID(d.record)} }

// edit makes the edit that gives a record the values set in m, through the ledger, as the server's own replica.
func (s *Service) edit(ctx context.Context, o Organisation, d draft, m proto.Message) error {
	return s.Store.Update(ctx, func(w store.Writer) error { return s.editIn(w, o, d, m) })
}

// recordRefusedError is a refusal by the record: nothing of the edit was made.
type recordRefusedError struct{ error }

func (e recordRefusedError) Unwrap() error { return e.error }

// editIn makes it inside a transaction, with registers of the record itself cleared by field number, ascending, none of them set in m. The same draft
// again changes nothing. What the record refuses is a recordRefusedError.
func (s *Service) editIn(w store.Writer, o Organisation, d draft, m proto.Message, clear ...uint32) error {
	writes, err := s.writesOf(d.kind, m)
	if err != nil {
		return err
	}
	if len(clear) > 0 {
		if len(writes) == 0 || writes[0].Path != "" {
			writes = append([]record.Write{{}}, writes...)
		}
		writes[0].Clear = clear
	}
	if len(writes) == 0 {
		return nil
	}
	_, err = s.ledger.EditIn(w, record.ID(o.ID), ledger.Draft{
		ID: record.ID(o.editID(d)), Key: d.key(), Context: d.context, Author: record.ID(d.author), AuthoredAt: d.at.UnixMilli(), Writes: writes,
		Origin: record.FromServer,
	})
	if fault.Of(err) != nil {
		return recordRefusedError{err}
	}
	return err
}

func (o Organisation) editID(d draft) uuid.UUID {
	return o.deriveID(d.at, "edit "+d.purpose, d.record[:], d.request)
}

func (s *Service) writesOf(kind optionsv1.RecordKind, m proto.Message) ([]record.Write, error) {
	b, err := proto.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", kind, err)
	}
	return s.schema.Split(kind, b)
}

// checkValues holds the values set in m against the schema before anything is done.
func (s *Service) checkValues(d draft, m proto.Message) error {
	writes, err := s.writesOf(d.kind, m)
	if err != nil {
		return err
	}
	e := record.Edit{Key: d.key(), Writes: writes}
	if refusal := s.schema.Check(&e, record.FromServer); refusal != nil {
		return refusal
	}
	return nil
}

// readRecord is a record as it stands; NOT_FOUND when the organisation has none such.
func (s *Service) readRecord(ctx context.Context, org uuid.UUID, kind optionsv1.RecordKind, id uuid.UUID) (st *record.State, err error) {
	err = s.Store.View(ctx, func(r store.Reader) error {
		st, err = s.readRecordIn(r, org, kind, id)
		return err
	})
	return st, err
}

func (s *Service) readRecordIn(r store.Reader, org uuid.UUID, kind optionsv1.RecordKind, id uuid.UUID) (*record.State, error) {
	found, err := s.ledger.ReadIn(r, record.ID(org), record.Key{Kind: kind, ID: record.ID(id)})
	return found.State, err
}

// readStaff is a staff record, and its state for an edit. A person whose record is not made yet has only an id.
func (s *Service) readStaff(ctx context.Context, org, id uuid.UUID) (m *accessv1.Staff, st *record.State, err error) {
	err = s.Store.View(ctx, func(r store.Reader) error {
		m, st, err = s.readStaffIn(r, org, id)
		return err
	})
	return m, st, err
}

func (s *Service) readStaffIn(r store.Reader, org, id uuid.UUID) (*accessv1.Staff, *record.State, error) {
	m := &accessv1.Staff{}
	st, err := s.readRecordIn(r, org, kindStaff, id)
	if err != nil {
		return nil, nil, err
	}
	return m, st, decodeRecord(st, m)
}

func (s *Service) readDevice(ctx context.Context, org, id uuid.UUID) (m *accessv1.Device, st *record.State, err error) {
	err = s.Store.View(ctx, func(r store.Reader) error {
		m, st, err = s.readDeviceIn(r, org, id)
		return err
	})
	return m, st, err
}

func (s *Service) readDeviceIn(r store.Reader, org, id uuid.UUID) (*accessv1.Device, *record.State, error) {
	m := &accessv1.Device{}
	st, err := s.readRecordIn(r, org, kindDevice, id)
	if err != nil {
		return nil, nil, err
	}
	return m, st, decodeRecord(st, m)
}

func decodeRecord(st *record.State, m proto.Message) error {
	if err := proto.Unmarshal(st.Message(), m); err != nil {
		return fmt.Errorf("decode %s: %w", st.Key, err)
	}
	return nil
}

func actOf(by uuid.UUID, at time.Time) *recordv1.Act {
	return &recordv1.Act{By: by.String(), At: timestamppb.New(at.Truncate(time.Millisecond))}
}
