package service

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// act is the caller at a moment.
func (d *desk) act(at time.Time) *recordv1.Act {
	return &recordv1.Act{By: d.call.principal.Staff.String(), At: timestamppb.New(at.Truncate(time.Millisecond))}
}

// amend changes a record once for a request, from the state as it stands to what build makes of it, and enters that into the audit log. Asked again it
// answers the record as it is now; the same request for another change is ID_REUSED.
func (d *desk) amend(ctx context.Context, request string, key record.Key, t touched, build func(st *record.State, at time.Time) (chart.Change, error)) (done, error) {
	return d.editOnce(ctx, request, t, func(at time.Time, again bool) (chart.Change, error) {
		st, err := d.amended(ctx, request, key, again)
		if err != nil {
			return chart.Change{}, err
		}
		return build(st, at)
	})
}

// amended is the state that a request changes, or changed when it came before; an empty one for a record that is not there.
func (d *desk) amended(ctx context.Context, request string, key record.Key, again bool) (*record.State, error) {
	if again {
		id, err := record.ParseID(request)
		if err != nil {
			return nil, err
		}
		earlier, _, err := d.ledger.FindEdit(ctx, d.org, id)
		if err != nil {
			return nil, err
		}
		if earlier.Key != key {
			return nil, fault.New(faultv1.Reason_REASON_ID_REUSED, "request_id", request, "")
		}
		if len(earlier.Context) == 0 {
			return record.NewState(key), nil
		}
		return d.ledger.ReadAt(ctx, d.org, key, earlier.Context)
	}
	r, err := d.ledger.Read(ctx, d.org, key)
	if fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
		return record.NewState(key), nil
	}
	return r.State, err
}

// mayEdit decides whether one of the caller's roles may write records of a kind, wherever they are.
func (d *desk) mayEdit(kind record.Kind) error {
	if auth.MayEdit(d.call.principal.Roles(), kind) {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "", "", "")
}

// RecallLot marks a lot as recalled, and makes its record when there is none. Lots are held by every device of the organisation, so each has the recall at
// its next exchange.
func (h *tracing) RecallLot(ctx context.Context, m *tracev1.RecallLotRequest) (*tracev1.RecallLotResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	if err := checkRecall(m); err != nil {
		return nil, err
	}
	if err := d.mayEdit(optionsv1.RecordKind_RECORD_KIND_LOT); err != nil {
		return nil, err
	}
	key, err := d.recalledLot(ctx, m.GetLot())
	if err != nil {
		return nil, err
	}
	out, err := d.amend(ctx, m.GetRequestId(), key, d.touchedLot(key), func(st *record.State, at time.Time) (chart.Change, error) {
		lot := &chartv1.Lot{Id: key.ID.String(), Recalls: []*chartv1.LotRecall{{Id: m.GetRequestId(), Notice: &chartv1.RecallNotice{
			Reason: m.GetReason(), Reference: m.GetReference(), NoticedOn: m.GetNoticedOn(), Entered: d.act(at),
		}}}}
		if len(chart.NumbersOf(st).Identities) == 0 {
			lot.Identity = m.GetLot()
		}
		return d.chart.Change(st, &chartv1.Record{Kind: &chartv1.Record_Lot{Lot: lot}})
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.RecallLotResponse{View: out.view, RecallId: m.GetRequestId(), AlreadyApplied: out.again}, nil
}

func checkRecall(m *tracev1.RecallLotRequest) error {
	lot := m.GetLot()
	if err := checkDate("noticed_on", m.GetNoticedOn()); err != nil {
		return err
	}
	switch toxin := lot.GetKind() == chartv1.LotKind_LOT_KIND_TOXIN; {
	case toxin && (lot.Product == nil || lot.Diluent != nil):
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "lot.product", lot.GetProduct(), "the toxin, and no diluent")
	case !toxin && (lot.Diluent == nil || lot.Product != nil):
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "lot.diluent", lot.GetDiluent(), "the diluent, and no toxin")
	case strings.TrimSpace(lot.GetNumber()) == "":
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "lot.number", lot.GetNumber(), "the batch number as printed")
	}
	return nil
}

// recalledLot is the record of a lot; where there is none it is one whose id follows from the lot, so that two people who recall it at once make one.
func (d *desk) recalledLot(ctx context.Context, lot *chartv1.LotIdentity) (record.Key, error) {
	sought := &soughtLot{number: lot.GetNumber()}
	if lot.Product != nil {
		sought.products = []string{lot.GetProduct()}
	} else {
		sought.diluents = []string{lot.GetDiluent()}
	}
	key, err := d.lotRecord(ctx, sought)
	if err != nil || !key.ID.IsZero() {
		return key, err
	}
	return d.derivedKey(ctx, optionsv1.RecordKind_RECORD_KIND_LOT, "lot", lot.GetProduct(), lot.GetDiluent(), lot.GetNumber())
}

// derivedKey is the key of a record of which there is one by what it is about. Its id has the form of a random UUID (RFC 9562, version 4).
func (d *desk) derivedKey(ctx context.Context, kind record.Kind, purpose string, parts ...string) (record.Key, error) {
	o, err := d.organisation(ctx, d.call.principal.Org)
	if err != nil {
		return record.Key{}, err
	}
	var all [][]byte
	for _, p := range parts {
		all = append(all, []byte(p))
	}
	sum := o.derive("record "+purpose, all...)
	id := record.ID(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
	return record.Key{Kind: kind, ID: id}, nil
}

func (d *desk) touchedLot(key record.Key) touched {
	if f := d.index.get(key); f != nil {
		return touchedBy(f, auth.Subject{Relation: auth.OwnClinic})
	}
	return touched{kind: key.Kind, record: accountID(key.ID)}
}

// LiftRecall lifts a recall.
func (h *tracing) LiftRecall(ctx context.Context, m *tracev1.LiftRecallRequest) (*tracev1.LiftRecallResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	if err := d.mayEdit(optionsv1.RecordKind_RECORD_KIND_LOT); err != nil {
		return nil, err
	}
	key, err := readID(optionsv1.RecordKind_RECORD_KIND_LOT, "lot_id", m.GetLotId())
	if err != nil {
		return nil, err
	}
	if d.index.get(key) == nil {
		return nil, notFound()
	}
	out, err := d.amend(ctx, m.GetRequestId(), key, d.touchedLot(key), func(st *record.State, at time.Time) (chart.Change, error) {
		return d.chart.Void(st, "recalls["+m.GetRecallId()+"]", m.GetReason(), d.actAt(at))
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.LiftRecallResponse{View: out.view, AlreadyApplied: out.again}, nil
}

// calledPerson is one who had a lot, under any of the records that are hers.
type calledPerson struct {
	call *tracev1.Call
	last *exposed
	days []*recordv1.Date
	of   []touched
}

// ListCalls lists the people to reach about a lot. Numbers that only look like the lot's are not in it.
func (h *tracing) ListCalls(ctx context.Context, m *tracev1.ListCallsRequest) (*tracev1.ListCallsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	key, err := readID(optionsv1.RecordKind_RECORD_KIND_LOT, "lot_id", m.GetLotId())
	if err != nil {
		return nil, err
	}
	lot, err := d.lotOf(ctx, key, false)
	if err != nil {
		return nil, err
	}
	t, err := d.follow(ctx, lot)
	if err != nil {
		return nil, err
	}
	resp := &tracev1.ListCallsResponse{AsOf: d.asOf()}
	var rows []listed[*calledPerson]
	for id, p := range t.called() {
		if err := d.fillCall(ctx, lot, p); err != nil {
			return nil, err
		}
		resp.People++
		order := byte(0)
		if p.call.GetReached() {
			resp.Reached++
			order = 1
		}
		if order == 0 || !m.GetOpenOnly() {
			rows = append(rows, listed[*calledPerson]{append(append([]byte{order}, latestFirst(p.days)...), id[:]...), p})
		}
	}
	shown, next := page(rows, l.at, pageSize(m.GetPageSize()))
	var read []touched
	for _, p := range shown {
		resp.Calls, read = append(resp.Calls, p.call), append(read, p.of...)
	}
	resp.NextPageToken = l.token(next)
	return resp, d.enterAll(ctx, read)
}

// called is the people who had the lot, by the least id of their records.
func (t *trace) called() map[record.ID]*calledPerson {
	out := map[record.ID]*calledPerson{}
	for _, x := range t.exposures {
		if x.patient.IsZero() {
			continue
		}
		id := t.onePerson(x.patient)[0]
		p := out[id]
		if p == nil {
			p = &calledPerson{call: &tracev1.Call{}, last: x}
			out[id] = p
		}
		p.call.Sessions++
		p.days = append(p.days, x.facts.Days...)
		if latestFirst(x.facts.Days) < latestFirst(p.last.facts.Days) {
			p.last = x
		}
		for _, c := range x.facts.Clinics {
			if text := c.String(); !slices.Contains(p.call.ClinicIds, text) {
				p.call.ClinicIds = append(p.call.ClinicIds, text)
			}
		}
	}
	return out
}

// fillCall reads who the person is and what was done to reach her.
func (d *desk) fillCall(ctx context.Context, lot *soughtLot, p *calledPerson) error {
	slices.Sort(p.call.ClinicIds)
	p.call.PatientId = p.last.patient.String()
	p.call.LastOn = onlyDate(p.last.facts.Days)
	ids := d.onePerson(p.last.patient)
	slices.SortFunc(ids, func(a, b record.ID) int { // the one that had it last comes first
		if (a == p.last.patient) != (b == p.last.patient) {
			if a == p.last.patient {
				return -1
			}
			return 1
		}
		return bytes.Compare(a[:], b[:])
	})
	for i, id := range ids {
		key := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: id}
		r, err := d.typed(ctx, key)
		if err != nil {
			return err
		}
		m := r.GetPatient()
		if i == 0 {
			p.call.Name, p.call.Contact, p.call.Language = m.GetName(), m.GetContact(), m.GetLanguage()
		} else {
			p.call.LinkedPatientIds = append(p.call.LinkedPatientIds, id.String())
		}
		p.call.Deceased = p.call.Deceased || m.GetDeath() != nil
		p.call.Attempts = append(p.call.Attempts, contactsAbout(m, lot.id)...)
		if f := d.index.get(key); f != nil {
			s, err := d.subject(ctx, f)
			if err != nil {
				return err
			}
			p.of = append(p.of, touchedBy(f, s))
		}
	}
	p.call.Reached = slices.ContainsFunc(p.call.Attempts, func(c *chartv1.ContactMade) bool { return c.GetAttempt().GetReached() && c.GetUndone() == nil })
	return nil
}

// NoteCall writes an attempt into the patient's record.
func (h *tracing) NoteCall(ctx context.Context, m *tracev1.NoteCallRequest) (*tracev1.NoteCallResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	lot, err := readID(optionsv1.RecordKind_RECORD_KIND_LOT, "lot_id", m.GetLotId())
	if err != nil {
		return nil, err
	}
	if d.index.get(lot) == nil {
		return nil, fault.New(faultv1.Reason_REASON_NOT_FOUND, "lot_id", m.GetLotId(), "")
	}
	lotID := lot.ID.String()
	key, t, err := d.calledPatient(ctx, m.GetPatientId())
	if err != nil {
		return nil, err
	}
	out, err := d.amend(ctx, m.GetRequestId(), key, t, func(st *record.State, at time.Time) (chart.Change, error) {
		return d.chart.Add(st, "contacts_made", m.GetRequestId(), &chartv1.ContactMade{Id: m.GetRequestId(), Attempt: &chartv1.ContactAttempt{
			Purpose: "recall", LotId: &lotID, Way: m.GetWay(), Result: m.GetResult(), Made: d.act(at), Reached: m.GetReached(),
		}})
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.NoteCallResponse{Attempt: contactIn(out.view, m.GetRequestId()), AlreadyApplied: out.again}, nil
}

// calledPatient is a patient of the organisation, at whatever clinic: a recall stops at no clinic's door.
func (d *desk) calledPatient(ctx context.Context, id string) (record.Key, touched, error) {
	key, err := readID(optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", id)
	if err != nil {
		return key, touched{}, err
	}
	f := d.index.get(key)
	if f == nil {
		return key, touched{}, notFound()
	}
	if err := d.mayEdit(key.Kind); err != nil {
		return key, touched{}, err
	}
	t, err := d.decide(ctx, f)
	return key, t, err
}

func contactIn(v *chartv1.RecordView, id string) *chartv1.ContactMade {
	for _, c := range v.GetRecord().GetPatient().GetContactsMade() {
		if c.GetId() == id {
			return c
		}
	}
	return nil
}

// UndoCall takes an attempt back.
func (h *tracing) UndoCall(ctx context.Context, m *tracev1.UndoCallRequest) (*tracev1.UndoCallResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	key, t, err := d.calledPatient(ctx, m.GetPatientId())
	if err != nil {
		return nil, err
	}
	out, err := d.amend(ctx, m.GetRequestId(), key, t, func(st *record.State, at time.Time) (chart.Change, error) {
		return d.chart.Void(st, "contacts_made["+m.GetContactId()+"]", m.GetReason(), d.actAt(at))
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.UndoCallResponse{Attempt: contactIn(out.view, m.GetContactId()), AlreadyApplied: out.again}, nil
}
