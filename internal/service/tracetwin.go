package service

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// described is a person as far as she is known, by a record or before there is one.
type described struct {
	self        *chart.Facts // nil before there is a record
	words       []string
	births      []*recordv1.Date
	identifiers []*chartv1.IdentifierValue
}

// GetLikePatients finds records that may be of the person described.
func (h *tracing) GetLikePatients(ctx context.Context, m *tracev1.GetLikePatientsRequest) (*tracev1.GetLikePatientsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	err = auth.Decide(d.call.principal, d.call.action, auth.Subject{Relation: auth.NoRecord, Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT})
	if err != nil {
		return nil, err
	}
	who, err := d.described(ctx, m)
	if err != nil {
		return nil, err
	}
	found, err := d.likes(ctx, who)
	if err != nil {
		return nil, err
	}
	limit := int(m.GetLimit())
	if limit == 0 {
		limit = defaultSearch
	}
	resp := &tracev1.GetLikePatientsResponse{}
	var read []touched
	for _, l := range found[:min(limit, len(found))] {
		s, err := d.subject(ctx, l.facts)
		if err != nil {
			return nil, err
		}
		summary, err := d.summary(ctx, l.facts, s)
		if err != nil {
			return nil, err
		}
		resp.Patients = append(resp.Patients, &tracev1.LikePatient{Patient: summary, Reasons: l.reasons, Linked: l.linked})
		read = append(read, touchedBy(l.facts, s))
	}
	return resp, d.enterAll(ctx, read)
}

func (d *desk) described(ctx context.Context, m *tracev1.GetLikePatientsRequest) (*described, error) {
	if err := checkDate("born_on", m.GetBornOn()); err != nil {
		return nil, err
	}
	who := &described{words: chart.Tokens(m.GetName()), identifiers: m.GetIdentifiers()}
	if m.GetBornOn() != nil {
		who.births = append(who.births, m.GetBornOn())
	}
	if m.PatientId != nil {
		key, err := readID(optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", m.GetPatientId())
		if err != nil {
			return nil, err
		}
		if who.self = d.index.get(key); who.self == nil {
			return nil, notFound()
		}
		if _, err := d.decide(ctx, who.self); err != nil {
			return nil, err
		}
		r, err := d.typed(ctx, key)
		if err != nil {
			return nil, err
		}
		who.births = append(who.births, who.self.Births...)
		who.identifiers = append(who.identifiers, numbersOf(r.GetPatient())...)
		if len(who.words) == 0 {
			who.words = chart.Tokens(r.GetPatient().GetName().GetFull())
		}
	}
	if len(who.identifiers) == 0 && (len(who.words) == 0 || len(who.births) == 0) {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "name", fault.Withheld(m.GetName()), "a name and a date of birth, or an identifier")
	}
	return who, nil
}

// numbersOf is the identifiers of a patient that stand.
func numbersOf(p *chartv1.Patient) []*chartv1.IdentifierValue {
	var out []*chartv1.IdentifierValue
	for _, i := range p.GetIdentifiers() {
		if i.GetVoid() == nil && i.GetValue() != nil {
			out = append(out, i.GetValue())
		}
	}
	return out
}

// like is a record that may be of the same person.
type like struct {
	facts   *chart.Facts
	reasons []tracev1.LikeReason
	linked  bool
}

// likes finds the records that may be of the person, the strongest reason first, then by id.
func (d *desk) likes(ctx context.Context, who *described) ([]*like, error) {
	all := map[record.Key]*like{}
	add := func(f *chart.Facts, why tracev1.LikeReason) {
		l := all[f.Key]
		if l == nil {
			l = &like{facts: f}
			all[f.Key] = l
		}
		if !slices.Contains(l.reasons, why) {
			l.reasons = append(l.reasons, why)
		}
	}
	for _, on := range who.births {
		for _, c := range d.index.some(string(byBirth)+dateKey(on), "", math.MaxInt) {
			if who.may(c.facts) {
				if why, err := d.likeName(ctx, who, c.facts); err != nil {
					return nil, err
				} else if why != tracev1.LikeReason_LIKE_REASON_UNSPECIFIED {
					add(c.facts, why)
				}
			}
		}
	}
	for _, i := range who.identifiers {
		for _, c := range d.index.some(string(byIdentifier)+i.GetNumber()+"\x00", "", math.MaxInt) {
			if !who.may(c.facts) {
				continue
			}
			same, err := d.hasIdentifier(ctx, c.facts, i)
			if err != nil {
				return nil, err
			}
			if same {
				add(c.facts, tracev1.LikeReason_LIKE_REASON_SAME_IDENTIFIER)
			}
		}
	}
	var out []*like
	for _, l := range all {
		slices.Sort(l.reasons)
		l.linked = who.self != nil && slices.Contains(d.onePerson(who.self.Key.ID), l.facts.Key.ID)
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b *like) int {
		return cmp.Or(cmp.Compare(a.reasons[0], b.reasons[0]), a.facts.Key.Compare(b.facts.Key))
	})
	return out, nil
}

// may reports whether a record can be of the person at all.
func (w *described) may(f *chart.Facts) bool {
	return !f.Void && !f.Practice && (w.self == nil || f.Key != w.self.Key)
}

// likeName compares the person's name with that of a record of the same date of birth.
func (d *desk) likeName(ctx context.Context, who *described, f *chart.Facts) (tracev1.LikeReason, error) {
	if len(who.words) == 0 || !slices.ContainsFunc(who.words, func(w string) bool {
		return slices.ContainsFunc(f.Words, func(o string) bool { return chart.LikeName([]string{w}, []string{o}) })
	}) {
		return tracev1.LikeReason_LIKE_REASON_UNSPECIFIED, nil
	}
	r, err := d.typed(ctx, f.Key)
	if err != nil {
		return tracev1.LikeReason_LIKE_REASON_UNSPECIFIED, err
	}
	name := r.GetPatient().GetName()
	words := chart.Tokens(name.GetFull())
	switch {
	case slices.Equal(words, who.words):
		return tracev1.LikeReason_LIKE_REASON_SAME_NAME_AND_BIRTH, nil
	case chart.LikeName(words, who.words), chart.LikeName(chart.Tokens(name.GetFormer()), who.words):
		return tracev1.LikeReason_LIKE_REASON_LIKE_NAME_AND_BIRTH, nil
	}
	return tracev1.LikeReason_LIKE_REASON_UNSPECIFIED, nil
}

func (d *desk) hasIdentifier(ctx context.Context, f *chart.Facts, want *chartv1.IdentifierValue) (bool, error) {
	r, err := d.typed(ctx, f.Key)
	return slices.ContainsFunc(numbersOf(r.GetPatient()), func(have *chartv1.IdentifierValue) bool { return proto.Equal(have, want) }), err
}

// twoPatients reads the two records of a link, and makes sure that the caller may write the first and read the second.
func (d *desk) twoPatients(ctx context.Context, patient, other string) (key, with record.Key, t touched, err error) {
	if key, err = readID(optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", patient); err != nil {
		return key, with, t, err
	}
	if with, err = readID(optionsv1.RecordKind_RECORD_KIND_PATIENT, "other_patient_id", other); err != nil {
		return key, with, t, err
	}
	if key == with {
		return key, with, t, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "other_patient_id", other, "another record than patient_id")
	}
	for _, k := range []record.Key{with, key} {
		f := d.index.get(k)
		if f == nil {
			return key, with, t, notFound()
		}
		if t, err = d.decide(ctx, f); err != nil {
			return key, with, t, err
		}
	}
	return key, with, t, nil
}

// LinkPatients links two records.
func (h *tracing) LinkPatients(ctx context.Context, m *tracev1.LinkPatientsRequest) (*tracev1.LinkPatientsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	key, with, t, err := d.twoPatients(ctx, m.GetPatientId(), m.GetOtherPatientId())
	if err != nil {
		return nil, err
	}
	out, err := d.amend(ctx, m.GetRequestId(), key, t, func(st *record.State, at time.Time) (chart.Change, error) {
		return d.chart.Add(st, "links", m.GetRequestId(), &chartv1.PatientLink{Id: m.GetRequestId(), Claim: &chartv1.LinkClaim{
			PatientId: with.ID.String(), Grounds: m.GetGrounds(), Made: d.act(at),
		}})
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.LinkPatientsResponse{View: out.view, LinkId: m.GetRequestId(), AlreadyApplied: out.again}, nil
}

// UnlinkPatients takes the link between two records back, whichever of the two it stands in. Where both hold one it is asked for twice: each answer shows
// what is left.
func (h *tracing) UnlinkPatients(ctx context.Context, m *tracev1.UnlinkPatientsRequest) (*tracev1.UnlinkPatientsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	key, with, t, err := d.twoPatients(ctx, m.GetPatientId(), m.GetOtherPatientId())
	if err != nil {
		return nil, err
	}
	in, path, err := d.linkBetween(ctx, m.GetRequestId(), key, with)
	if err != nil {
		return nil, err
	}
	if in != key {
		t.record, t.patient = accountID(in.ID), accountID(in.ID)
	}
	out, err := d.amend(ctx, m.GetRequestId(), in, t, func(st *record.State, at time.Time) (chart.Change, error) {
		return d.chart.Void(st, path, m.GetReason(), d.actAt(at))
	})
	if err != nil {
		return nil, err
	}
	return &tracev1.UnlinkPatientsResponse{View: out.view, AlreadyApplied: out.again}, nil
}

// linkBetween finds the link of two records that stands, or the one that this request took back before: the record that it is in, and its path.
func (d *desk) linkBetween(ctx context.Context, request string, a, b record.Key) (record.Key, string, error) {
	id, err := record.ParseID(request)
	if err != nil {
		return a, "", fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request_id", fault.Withheld(request), "a UUID in lower case")
	}
	earlier, _, err := d.ledger.FindEdit(ctx, d.org, id)
	done := err == nil
	if err != nil && !fault.Has(err, faultv1.Reason_REASON_NOT_FOUND) {
		return a, "", err
	}
	for _, pair := range [][2]record.Key{{a, b}, {b, a}} {
		r, err := d.typed(ctx, pair[0])
		if err != nil {
			return a, "", err
		}
		for _, l := range r.GetPatient().GetLinks() {
			path := "links[" + l.GetId() + "]"
			took := done && earlier.Key == pair[0] && len(earlier.Writes) == 1 && l.GetUndone() != nil && earlier.Writes[0].Path != "" &&
				lastElement(earlier.Writes[0].Path).String() == l.GetId()
			if l.GetClaim().GetPatientId() == pair[1].ID.String() && (took || !done && l.GetUndone() == nil) {
				return pair[0], path, nil
			}
		}
	}
	return a, "", fault.New(faultv1.Reason_REASON_NOT_FOUND, "other_patient_id", b.ID.String(), "")
}

// lastElement is the id of the element that a path leads to.
func lastElement(p record.Path) record.ID { return record.ID([]byte(p[len(p)-16:])) }

// apart reports whether two records are known not to be a question: one does not count, or they are linked already.
func apart(a, b *chart.Facts) bool {
	return a.Void || b.Void || a.Practice != b.Practice || slices.Contains(a.Linked, b.Key.ID) || slices.Contains(b.Linked, a.Key.ID)
}

// likeName is the finding about two records of one date of birth whose names are almost alike; none when they are not.
func (f *finder) likeName(a, b *chart.Facts) ([]*dosev1.Finding, error) {
	if apart(a, b) {
		return nil, nil
	}
	var words [2][]string
	for i, x := range []*chart.Facts{a, b} {
		r, err := f.typed(f.ctx, x.Key)
		if err != nil {
			return nil, err
		}
		words[i] = chart.Tokens(r.GetPatient().GetName().GetFull())
	}
	if !chart.LikeName(words[0], words[1]) {
		return nil, nil
	}
	return []*dosev1.Finding{chart.LikeFinding(a.Key, b.Key, chart.LikeNameText)}, nil
}

// sameIdentifier finds patients who have a number of the patient's, of the same kind and issuer.
func (f *finder) sameIdentifier(p *chart.Facts, prefix string, which func(*chart.Facts) bool) error {
	others := f.index.some(prefix, "", math.MaxInt)
	if len(others) < 2 {
		return nil
	}
	mine, err := f.typed(f.ctx, p.Key)
	if err != nil {
		return err
	}
	for _, o := range others {
		if o.facts.Key == p.Key || !which(o.facts) || apart(p, o.facts) {
			continue
		}
		for _, i := range numbersOf(mine.GetPatient()) {
			same, err := f.hasIdentifier(f.ctx, o.facts, i)
			if err != nil {
				return err
			}
			if !same {
				continue
			}
			if err := f.add([]*dosev1.Finding{chart.LikeFinding(p.Key, o.facts.Key, chart.SameIdentifierText)}, p, o.facts); err != nil {
				return err
			}
		}
	}
	return nil
}
