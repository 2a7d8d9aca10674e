package service

import (
	"cmp"
	"context"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// TraceLot follows a lot. Every patient who is listed is entered into the audit log.
func (h *tracing) TraceLot(ctx context.Context, m *tracev1.TraceLotRequest) (*tracev1.TraceLotResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	if err := checkDates("from", m.GetFrom(), "until", m.GetUntil()); err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	lot, err := d.soughtLot(ctx, m)
	if err != nil {
		return nil, err
	}
	t, err := d.follow(ctx, lot)
	if err != nil {
		return nil, err
	}
	rows := t.rows(m.GetFrom(), m.GetUntil())
	shown, next := page(rows, l.at, pageSize(m.GetPageSize()))
	resp := &tracev1.TraceLotResponse{Lot: lot.record, AsOf: d.asOf(), Sequence: t.sequence, LikeNumbers: t.likeNumbers(), NextPageToken: l.token(next)}
	resp.PatientCount, resp.LikePatientCount = t.people(rows)
	var read []touched
	for _, x := range shown {
		e, by, err := d.exposure(ctx, t, x)
		if err != nil {
			return nil, err
		}
		resp.Exposures, read = append(resp.Exposures, e), append(read, by...)
	}
	since, err := d.silentSince(ctx, m.GetSilentSince(), lot.record)
	if err != nil {
		return nil, err
	}
	resp.SilentSince = timestamppb.New(since)
	if len(l.at) == 0 {
		resp.Vials = t.vialRows()
		if resp.SilentDevices, err = d.silentDevices(ctx, record.ID{}, since); err != nil {
			return nil, err
		}
	}
	return resp, d.enterAll(ctx, read)
}

// exposed is a patient in one session with a lot; the zero patient while the session is not known here, or names none.
type exposed struct {
	patient, session record.ID
	facts            *chart.Facts // of the session; nil while it is not known here
	match            tracev1.LotMatch
	vials            []*tracedVial
}

// rows is the exposures within the days, as they sort: the newest day first. A session without a day is always among them.
func (t *trace) rows(from, until *recordv1.Date) []listed[*exposed] {
	var out []listed[*exposed]
	for _, x := range t.exposures {
		if x.facts != nil && len(x.facts.Days) > 0 && !slices.ContainsFunc(x.facts.Days, func(on *recordv1.Date) bool {
			return (from == nil || dateNumber(on) >= dateNumber(from)) && (until == nil || dateNumber(on) <= dateNumber(until))
		}) {
			continue
		}
		var days []*recordv1.Date
		if x.facts != nil {
			days = x.facts.Days
		}
		sort := append([]byte(latestFirst(days)), x.session[:]...)
		out = append(out, listed[*exposed]{append(sort, x.patient[:]...), x})
	}
	return out
}

// people counts the persons among exposures: those who had the lot, and those who only had one that looks like it.
func (t *trace) people(rows []listed[*exposed]) (had, like uint32) {
	seen := map[record.ID]bool{} // true for who had the lot itself
	for _, r := range rows {
		if r.row.patient.IsZero() {
			continue
		}
		person := t.onePerson(r.row.patient)[0]
		seen[person] = seen[person] || r.row.match != tracev1.LotMatch_LOT_MATCH_LIKE
	}
	for _, itself := range seen {
		if itself {
			had++
		} else {
			like++
		}
	}
	return had, like
}

// likeNumbers is the numbers that only look like the one sought, ascending.
func (t *trace) likeNumbers() []string {
	var out []string
	for _, v := range t.vials {
		if v.match == tracev1.LotMatch_LOT_MATCH_LIKE {
			out = append(out, v.number)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// exposure is one line of the answer, with what was read for it.
func (d *desk) exposure(ctx context.Context, t *trace, x *exposed) (*tracev1.Exposure, []touched, error) {
	out := &tracev1.Exposure{SessionId: x.session.String(), Match: x.match, ThroughDiluent: true}
	var st *record.State
	var read []touched
	if x.facts != nil {
		r, err := d.ledger.Read(ctx, d.org, x.facts.Key)
		if err != nil {
			return nil, nil, err
		}
		st, out.On, out.ClinicId = r.State, onlyDate(x.facts.Days), onlyID(x.facts.Clinics)
		s, err := d.subject(ctx, x.facts)
		if err != nil {
			return nil, nil, err
		}
		read = append(read, touchedBy(x.facts, s))
	}
	for _, v := range x.vials {
		out.VialIds = append(out.VialIds, v.key.ID.String())
		out.ThroughDiluent = out.ThroughDiluent && v.throughDiluent
		if v.number != t.lot.number {
			out.MatchedNumber = v.number
		}
		if st != nil {
			out.Givings = append(out.Givings, exposedGivings(st, v)...)
		}
	}
	if x.patient.IsZero() {
		return out, read, nil
	}
	return out, read, d.exposedPatient(ctx, t.lot, x.patient, out)
}

// exposedPatient fills in who it is.
func (d *desk) exposedPatient(ctx context.Context, lot *soughtLot, patient record.ID, out *tracev1.Exposure) error {
	out.PatientId = patient.String()
	for _, id := range d.onePerson(patient) {
		if id != patient {
			out.LinkedPatientIds = append(out.LinkedPatientIds, id.String())
		}
	}
	r, err := d.typed(ctx, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient})
	if err != nil {
		return err
	}
	out.Name, out.Contact = r.GetPatient().GetName(), r.GetPatient().GetContact()
	out.ContactsMade = contactsAbout(r.GetPatient(), lot.id)
	return nil
}

// contactsAbout is the attempts to reach a patient about a lot, oldest first.
func contactsAbout(p *chartv1.Patient, lot record.ID) []*chartv1.ContactMade {
	var out []*chartv1.ContactMade
	for _, c := range p.GetContactsMade() {
		if id, err := record.ParseID(c.GetAttempt().GetLotId()); err == nil && id == lot {
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.ContactMade) int {
		return a.GetAttempt().GetMade().GetAt().AsTime().Compare(b.GetAttempt().GetMade().GetAt().AsTime())
	})
	return out
}

// exposedGivings is what a session gave from a vial.
func exposedGivings(st *record.State, v *tracedVial) []*tracev1.ExposedGiving {
	var out []*tracev1.ExposedGiving
	for _, g := range chart.GivingsFrom(st, v.key.ID, v.preparations) {
		e := &tracev1.ExposedGiving{InjectionId: g.Injection.String(), GivingId: g.Giving.String(), InConflict: g.InConflict, Dose: doseSpan(g.Dose)}
		if len(g.Targets) == 1 {
			t := g.Targets[0]
			e.Muscle, e.Side, e.Product = t.Muscle, sideOf(t.Side), t.Product
		}
		if g.Dose.Certain() {
			e.DoseUnits = chart.Units(g.Dose.Most)
		}
		out = append(out, e)
	}
	return out
}

// onlyDate is the day; nil while there is none, or more than one in conflict.
func onlyDate(days []*recordv1.Date) *recordv1.Date {
	if len(days) != 1 {
		return nil
	}
	return days[0]
}

func onlyID(ids []record.ID) string {
	if len(ids) != 1 {
		return ""
	}
	return ids[0].String()
}

// vialRows is the vials as the answer lists them: those of the lot first, then by clinic, place and number.
func (t *trace) vialRows() []*tracev1.TracedVial {
	var out []*tracev1.TracedVial
	for _, v := range t.vials {
		out = append(out, v.row)
	}
	slices.SortFunc(out, func(a, b *tracev1.TracedVial) int {
		return cmp.Or(cmp.Compare(a.GetMatch(), b.GetMatch()), cmp.Compare(a.GetClinicId(), b.GetClinicId()), cmp.Compare(a.GetPlace(), b.GetPlace()),
			cmp.Compare(a.GetVialId(), b.GetVialId()))
	})
	return out
}
