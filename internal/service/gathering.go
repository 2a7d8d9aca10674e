package service

import (
	"context"
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// shelf is the ledger as one caller may read it, for gathering. What it showed of patients is in read, for the audit log. It is for one call.
type shelf struct {
	*desk
	ctx  context.Context
	read []touched
	// open is true for looking up what is no patient's and what everyone may read, in a call that is about something else, such as an edit.
	open bool
	// views are those that were read in this call.
	views map[record.Key]*chartv1.RecordView
	// chosen are the editions of clinics, as far as they were asked for.
	chosen map[string]*formulary.Edition
}

func newShelf(ctx context.Context, d *desk) *shelf {
	return &shelf{desk: d, ctx: ctx, views: map[record.Key]*chartv1.RecordView{}, chosen: map[string]*formulary.Edition{}}
}

// View implements gather.Records.
func (s *shelf) View(kind optionsv1.RecordKind, id string) (*chartv1.RecordView, error) {
	parsed, err := record.ParseID(id)
	if err != nil {
		return nil, gather.ErrNone
	}
	k := record.Key{Kind: kind, ID: parsed}
	if v := s.views[k]; v != nil {
		return v, nil
	}
	f := s.index.get(k)
	if f == nil {
		return nil, gather.ErrNone
	}
	if !s.open {
		t, err := s.allowed(f)
		if err != nil {
			return nil, err
		}
		if len(f.Patients) > 0 {
			s.read = append(s.read, t)
		}
	}
	r, err := s.ledger.Read(s.ctx, s.org, k)
	if err != nil {
		return nil, err
	}
	v, err := s.viewOf(s.ctx, r)
	if err == nil {
		s.views[k] = v
	}
	return v, err
}

// allowed is what the audit log keeps of a record that the caller may read; a *gather.WithheldError when she may not.
func (s *shelf) allowed(f *chart.Facts) (touched, error) {
	subject, err := s.may(s.ctx, f)
	if fault.Of(err) != nil {
		return touched{}, &gather.WithheldError{Clinics: idTexts(f.Clinics)}
	}
	return touchedBy(f, subject), err
}

func idTexts(ids []record.ID) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = id.String()
	}
	return out
}

// Person implements gather.Records.
func (s *shelf) Person(patient string) []string {
	id, err := record.ParseID(patient)
	if err != nil {
		return nil
	}
	return idTexts(s.onePerson(id))
}

// Sessions implements gather.Records.
func (s *shelf) Sessions(patient string) []string {
	id, err := record.ParseID(patient)
	if err != nil {
		return nil
	}
	return s.under(string(byPatient)+string(id[:]), optionsv1.RecordKind_RECORD_KIND_SESSION)
}

// List implements gather.Records.
func (s *shelf) List(kind optionsv1.RecordKind) []string { return s.under(string(byKey), kind) }

// under is the records of a kind that the index has behind a prefix.
func (s *shelf) under(prefix string, kind optionsv1.RecordKind) []string {
	var out []string
	for _, x := range s.index.some(prefix+string(keyBytes(record.Key{Kind: kind})[:2]), "", math.MaxInt) {
		out = append(out, x.facts.Key.ID.String())
	}
	return out
}

// Lots implements gather.LotFinder by the ledger's index of numbers.
func (s *shelf) Lots(number string) (ids []string, ok bool) {
	err := s.Store.View(s.ctx, func(r store.Reader) error {
		return s.ledger.FindIn(r, s.org, chart.LotTerm(chart.TermLot, number), func(_ string, k record.Key) error {
			ids = append(ids, k.ID.String())
			return nil
		})
	})
	return ids, err == nil
}

// Clock implements gather.Records: the server's clock is the one that others are compared with.
func (s *shelf) Clock() dosev1.ClockState { return dosev1.ClockState_CLOCK_STATE_CHECKED }

// CompleteUntil implements gather.Records. It is the moment when that device of the clinic was last heard of that was silent longest; nil while one was
// never heard of, or held edits back when it was. A device that belongs to no clinic may be at any. What is charted at the server is here at once.
func (s *shelf) CompleteUntil(clinic string) *timestamppb.Timestamp {
	until := s.Now()
	for _, id := range s.List(optionsv1.RecordKind_RECORD_KIND_DEVICE) {
		parsed, err := record.ParseID(id)
		if err != nil {
			continue
		}
		m, _, err := s.readDevice(s.ctx, accountID(s.org), accountID(parsed))
		if err != nil {
			return nil
		}
		if m.HomeClinicId != nil && m.GetHomeClinicId() != clinic {
			continue
		}
		heard, ok := s.seen.get(accountID(parsed))
		switch {
		case ok && heard.Unsent > 0 || !ok && m.GetRevoked() == nil:
			return nil
		case ok && m.GetRevoked() == nil:
			until = earlier(until, time.UnixMilli(heard.AtMS))
		}
	}
	return timestamppb.New(until)
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// callersClinic is where the caller works: her device's clinic, else her only one; empty when she works at several or at all.
func (d *desk) callersClinic() string {
	p := d.call.principal
	if !isNil(p.DeviceClinic) {
		return p.DeviceClinic.String()
	}
	if len(p.Positions) == 1 && !isNil(p.Positions[0].Clinic) && len(p.Positions[0].Roles) > 0 {
		return p.Positions[0].Clinic.String()
	}
	return ""
}

func isNil(id [16]byte) bool { return id == [16]byte{} }

// today is the date at a clinic, by its own time zone, or else in UTC.
func (s *shelf) today(clinic string) time.Time {
	v, err := s.View(optionsv1.RecordKind_RECORD_KIND_CLINIC, clinic)
	if err != nil {
		return s.Now().UTC()
	}
	zone, err := time.LoadLocation(v.GetRecord().GetClinic().GetTimeZone())
	if err != nil {
		zone = time.UTC
	}
	return s.Now().In(zone)
}
