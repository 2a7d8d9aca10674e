package service

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// defaultRecords is how many records a list answers when the request does not say.
const defaultRecords = 50

// indexBatch is how many keys of the index are looked at before the lock on it is let go.
const indexBatch = 512

// maxExamined bounds how many records one page of a list looks at, so that a condition that nothing meets cannot hold the server up. Such a page is
// short, or empty, and has a next one.
const maxExamined = 250_000

// candidates gives the next keys behind a place, at most n; none at the end.
type candidates func(after string, n int) []found

// keysUnder is the keys of the index that begin with prefix.
func (d *desk) keysUnder(prefix string) candidates {
	return func(after string, n int) []found { return d.index.some(prefix, after, n) }
}

// views is a page of views: of the candidates behind the page before, those that are wanted and that the caller may see. Each is entered into the
// audit log.
func (d *desk) views(ctx context.Context, from candidates, l listing, size int, want func(*chart.Facts) bool) ([]*chartv1.RecordView, string, error) {
	if size == 0 {
		size = defaultRecords
	}
	var out []*chartv1.RecordView
	var read []touched
	at, examined := string(l.at), 0
	for batch := from(at, indexBatch); len(batch) > 0; batch = from(at, indexBatch) {
		for _, f := range batch {
			if len(out) == size || examined == maxExamined {
				return out, l.token([]byte(at)), d.enterAll(ctx, read)
			}
			examined, at = examined+1, f.key
			if !want(f.facts) {
				continue
			}
			v, t, err := d.listedView(ctx, f.facts)
			if err != nil {
				return nil, "", err
			}
			if v != nil {
				out, read = append(out, v), append(read, t)
			}
		}
	}
	return out, "", d.enterAll(ctx, read)
}

// listedView is the view of a record in a list; nil when the caller may not see it.
func (d *desk) listedView(ctx context.Context, f *chart.Facts) (*chartv1.RecordView, touched, error) {
	s, err := d.may(ctx, f)
	if fault.Of(err) != nil {
		return nil, touched{}, nil
	}
	if err != nil {
		return nil, touched{}, err
	}
	r, err := d.ledger.Read(ctx, d.org, f.Key)
	if err != nil {
		return nil, touched{}, err
	}
	v, err := d.viewOf(ctx, r)
	return v, touchedBy(f, s), err
}

// ListSessions lists sessions, newest day first, then by id. Sessions that the caller may not see are left out.
func (h *charting) ListSessions(ctx context.Context, m *chartv1.ListSessionsRequest) (*chartv1.ListSessionsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	want, err := d.sessionFilter(m)
	if err != nil {
		return nil, err
	}
	from := d.keysUnder(string(byDay))
	if patient, _ := optionalID("patient_id", m.PatientId); !patient.IsZero() {
		from = sessionKeys(d.sessionsOf(patient))
	}
	views, token, err := d.views(ctx, from, l, int(m.GetPageSize()), want)
	return &chartv1.ListSessionsResponse{Views: views, NextPageToken: token}, err
}

// sessionKeys is sessions as the index has them by day.
func sessionKeys(sessions []*chart.Facts) candidates {
	var all []found
	for _, f := range sessions {
		all = append(all, found{string(byDay) + latestFirst(f.Days) + string(keyBytes(f.Key)), f})
	}
	slices.SortFunc(all, func(a, b found) int { return cmp.Compare(a.key, b.key) })
	all = slices.CompactFunc(all, func(a, b found) bool { return a.key == b.key })
	return func(after string, n int) []found {
		i, there := slices.BinarySearchFunc(all, after, func(f found, k string) int { return cmp.Compare(f.key, k) })
		if there {
			i++
		}
		return all[i:min(i+n, len(all))]
	}
}

// sessionFilter is the conditions of a request.
func (d *desk) sessionFilter(m *chartv1.ListSessionsRequest) (func(*chart.Facts) bool, error) {
	patient, err := optionalID("patient_id", m.PatientId)
	if err != nil {
		return nil, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return nil, err
	}
	responsible, err := optionalID("responsible_id", m.ResponsibleId)
	if err != nil {
		return nil, err
	}
	if err := cmp.Or(checkDate("from", m.GetFrom()), checkDate("until", m.GetUntil())); err != nil {
		return nil, err
	}
	person := d.onePerson(patient)
	return func(f *chart.Facts) bool {
		return (patient.IsZero() || slices.ContainsFunc(f.Patients, func(p record.ID) bool { return slices.Contains(person, p) })) &&
			(clinic.IsZero() || slices.Contains(f.Clinics, clinic)) &&
			(responsible.IsZero() || slices.Contains(f.Responsible, responsible)) &&
			(m.GetFrom() == nil || slices.ContainsFunc(f.Days, func(on *recordv1.Date) bool { return dateNumber(on) >= dateNumber(m.GetFrom()) })) &&
			(m.GetUntil() == nil || slices.ContainsFunc(f.Days, func(on *recordv1.Date) bool { return dateNumber(on) <= dateNumber(m.GetUntil()) })) &&
			(!m.GetUnsignedOnly() || !f.Signed)
	}, nil
}

// ListRecords lists the records of a kind, by id. Records that the caller may not see are left out.
func (h *charting) ListRecords(ctx context.Context, m *chartv1.ListRecordsRequest) (*chartv1.ListRecordsResponse, error) {
	kind := m.GetKind()
	dated := kind == optionsv1.RecordKind_RECORD_KIND_APPOINTMENT || kind == optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE
	switch {
	case kind == optionsv1.RecordKind_RECORD_KIND_PATIENT || kind == optionsv1.RecordKind_RECORD_KIND_SESSION:
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "kind", kind.String(), "another kind; use SearchPatients or ListSessions")
	case m.GetOn() != nil && !dated:
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "on", "", "no day for "+kind.String())
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	if err := auth.Decide(d.call.principal, d.call.action, auth.Subject{Relation: auth.NoRecord, Kind: kind}); err != nil {
		return nil, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return nil, err
	}
	patient, err := optionalID("patient_id", m.PatientId)
	if err != nil {
		return nil, err
	}
	if err := checkDate("on", m.GetOn()); err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	prefix := string(byKey)
	if !patient.IsZero() {
		prefix = string(byPatient) + string(patient[:])
	}
	prefix += string(binary.BigEndian.AppendUint16(nil, uint16(kind)))
	views, token, err := d.views(ctx, d.keysUnder(prefix), l, int(m.GetPageSize()), func(f *chart.Facts) bool {
		return (clinic.IsZero() || slices.Contains(f.Clinics, clinic)) &&
			(m.GetOn() == nil || slices.ContainsFunc(f.Days, func(on *recordv1.Date) bool { return dateNumber(on) == dateNumber(m.GetOn()) }))
	})
	return &chartv1.ListRecordsResponse{Views: views, NextPageToken: token}, err
}

// ListConflicts lists fields with more than one current value, by record and path.
func (h *charting) ListConflicts(ctx context.Context, m *chartv1.ListConflictsRequest) (*chartv1.ListConflictsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	c := conflictList{desk: d, size: int(m.GetPageSize())}
	if c.size == 0 {
		c.size = defaultHistory
	}
	if err := c.read(l.at); err != nil {
		return nil, err
	}
	if c.patient, err = optionalID("patient_id", m.PatientId); err != nil {
		return nil, err
	}
	if c.clinic, err = optionalID("clinic_id", m.ClinicId); err != nil {
		return nil, err
	}
	if m.GetKey() != nil {
		if c.key, err = readKey("key", m.GetKey()); err != nil {
			return nil, err
		}
	}
	next, err := c.collect(ctx)
	if err != nil {
		return nil, err
	}
	return &chartv1.ListConflictsResponse{Conflicts: c.conflicts, NextPageToken: l.token(next)}, d.enterAll(ctx, c.touched)
}
