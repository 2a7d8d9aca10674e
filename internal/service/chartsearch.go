package service

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// defaultSearch is how many patients a search answers when the request does not say.
const defaultSearch = 20

// SearchPatients finds patients of the whole organisation, so that someone who walks in is never a stranger. Each word of the text must begin a word
// of the name; those that are a whole word of it count more.
func (h *charting) SearchPatients(ctx context.Context, m *chartv1.SearchPatientsRequest) (*chartv1.SearchPatientsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	err = auth.Decide(d.call.principal, d.call.action, auth.Subject{Relation: auth.NoRecord, Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT})
	if err != nil {
		return nil, err
	}
	if err := checkDate("born_on", m.GetBornOn()); err != nil {
		return nil, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	size := int(m.GetPageSize())
	if size == 0 {
		size = defaultSearch
	}
	rows, next, err := afterPatient(d.matches(m, clinic), l.at, size)
	if err != nil {
		return nil, err
	}
	resp := &chartv1.SearchPatientsResponse{NextPageToken: l.token(next)}
	var read []touched
	for _, f := range rows {
		s, err := d.subject(ctx, f)
		if err != nil {
			return nil, err
		}
		summary, err := d.summary(ctx, f, s)
		if err != nil {
			return nil, err
		}
		resp.Patients, read = append(resp.Patients, summary), append(read, touchedBy(f, s))
	}
	return resp, d.enterAll(ctx, read)
}

// checkDate makes sure that a date is a day of the calendar.
func checkDate(field string, d *recordv1.Date) error {
	if d == nil {
		return nil
	}
	if !chart.ValidDate(d) {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, "", "a day of the calendar")
	}
	return nil
}

// listing is a list under way: its page tokens are good for the same request and the same caller's organisation only.
type listing struct {
	o    Organisation
	name string
	at   []byte // where the page before ended; nil at the beginning
}

// list opens the page token of a request. The request without its token and its page size names the list.
func (d *desk) list(ctx context.Context, m proto.Message, token string) (listing, error) {
	o, err := d.organisation(ctx, d.call.principal.Org)
	if err != nil {
		return listing{}, err
	}
	bare := proto.Clone(m).ProtoReflect()
	for _, name := range []string{"page_token", "page_size"} {
		bare.Clear(bare.Descriptor().Fields().ByTextName(name))
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(bare.Interface())
	if err != nil {
		return listing{}, err
	}
	sum := sha256.Sum256(b)
	l := listing{o: o, name: d.call.procedure + "\x00" + string(sum[:])}
	l.at, err = o.unseal(l.name, token)
	return l, err
}

// token asks for the page after a place; empty when there is none.
func (l listing) token(next []byte) string {
	if len(next) == 0 {
		return ""
	}
	return l.o.seal(l.name, next)
}

// afterPatient is the patients after the one at which the page before ended, at most size, and the one at which these end; nothing when there are no
// more. A token holds the patient's id alone: a name has no place in it.
func afterPatient(all []*chart.Facts, at []byte, size int) (rows []*chart.Facts, next []byte, err error) {
	from := 0
	if at != nil {
		from = 1 + slices.IndexFunc(all, func(f *chart.Facts) bool { return bytes.Equal(f.Key.ID[:], at) })
		if from == 0 {
			return nil, nil, badPage() // she does not match any more; the list must be asked for anew
		}
	}
	to := min(from+size, len(all))
	if to < len(all) {
		next = bytes.Clone(all[to-1].Key.ID[:])
	}
	return all[from:to], next, nil
}

// matches is the patients that a request means: the best match first, then by name, then by id.
func (d *desk) matches(m *chartv1.SearchPatientsRequest, clinic record.ID) []*chart.Facts {
	words := chart.Tokens(m.GetText())
	if m.GetText() != "" && len(words) == 0 {
		return nil
	}
	var all []match
	seen := map[record.ID]bool{}
	for _, f := range d.index.some(rarest(m, words), "", math.MaxInt) {
		if !seen[f.facts.Key.ID] && matchesAll(f.facts, m, words, clinic) {
			seen[f.facts.Key.ID] = true
			all = append(all, newMatch(f.facts, words))
		}
	}
	slices.SortFunc(all, func(a, b match) int {
		return cmp.Or(b.whole-a.whole, slices.Compare(a.facts.Words, b.facts.Words), a.facts.Key.Compare(b.facts.Key))
	})
	out := make([]*chart.Facts, len(all))
	for i := range all {
		out[i] = all[i].facts
	}
	return out
}

// match is a patient who is meant by a search.
type match struct {
	facts *chart.Facts
	whole int // how many of the words are whole words of the name
}

func newMatch(f *chart.Facts, words []string) match {
	m := match{facts: f}
	for _, w := range words {
		if slices.Contains(f.Words, w) {
			m.whole++
		}
	}
	return m
}

// rarest is the keys to begin with: those that the fewest patients are likely to have.
func rarest(m *chartv1.SearchPatientsRequest, words []string) string {
	switch {
	case m.GetIdentifier() != "":
		return string(byIdentifier) + m.GetIdentifier() + "\x00"
	case m.GetBornOn() != nil:
		return string(byBirth) + dateKey(m.GetBornOn())
	}
	longest := ""
	for _, w := range words {
		if len(w) > len(longest) {
			longest = w
		}
	}
	return string(byWord) + longest
}

func matchesAll(f *chart.Facts, m *chartv1.SearchPatientsRequest, words []string, clinic record.ID) bool {
	if f.Key.Kind != optionsv1.RecordKind_RECORD_KIND_PATIENT || !clinic.IsZero() && !slices.Contains(f.Clinics, clinic) {
		return false
	}
	if m.GetIdentifier() != "" && !slices.Contains(f.Identifiers, m.GetIdentifier()) {
		return false
	}
	if m.GetBornOn() != nil && !slices.ContainsFunc(f.Births, func(d *recordv1.Date) bool { return proto.Equal(d, m.GetBornOn()) }) {
		return false
	}
	for _, w := range words {
		if !slices.ContainsFunc(f.Words, func(of string) bool {
			return strings.HasPrefix(of, w) || slices.ContainsFunc(parts(of), func(p string) bool { return strings.HasPrefix(p, w) })
		}) {
			return false
		}
	}
	return true
}

// summary is a line of a list of patients.
func (d *desk) summary(ctx context.Context, f *chart.Facts, s auth.Subject) (*chartv1.PatientSummary, error) {
	r, err := d.ledger.Read(ctx, d.org, f.Key)
	if err != nil {
		return nil, err
	}
	typed, err := chart.Typed(r.State)
	if err != nil {
		return nil, err
	}
	p := typed.GetPatient()
	out := &chartv1.PatientSummary{
		PatientId: f.Key.ID.String(), Name: p.GetName(), Birth: p.GetBirth(), HomeClinicId: p.GetHomeClinicId(), OwnClinic: s.Relation == auth.OwnClinic,
		LastTreatments: d.lastTreatments(f),
	}
	for _, a := range p.GetAlerts() {
		if a.GetEnded() == nil && a.GetContent() != nil {
			out.Alerts = append(out.Alerts, a.GetContent())
		}
	}
	for _, id := range d.onePerson(f.Key.ID) {
		if id != f.Key.ID {
			out.LinkedPatientIds = append(out.LinkedPatientIds, id.String())
		}
	}
	return out, nil
}

// lastTreatments is the last session with each product that reached this server, those of linked records included.
func (d *desk) lastTreatments(f *chart.Facts) []*chartv1.LastTreatment {
	last := map[string]*chartv1.LastTreatment{}
	var products []string
	for _, s := range d.sessionsOf(f.Key.ID) {
		for _, product := range s.Products {
			for _, on := range s.Days {
				if have := last[product]; have != nil && dateNumber(have.GetOn()) >= dateNumber(on) {
					continue
				}
				if last[product] == nil {
					products = append(products, product)
				}
				last[product] = &chartv1.LastTreatment{Product: product, On: on}
				if len(s.Clinics) == 1 {
					last[product].ClinicId = s.Clinics[0].String()
				}
			}
		}
	}
	slices.Sort(products)
	var out []*chartv1.LastTreatment
	for _, p := range products {
		out = append(out, last[p])
	}
	return out
}

// sessionsOf is the sessions of a patient and of the records linked to hers.
func (d *desk) sessionsOf(patient record.ID) []*chart.Facts {
	var out []*chart.Facts
	kind := binary.BigEndian.AppendUint16(nil, uint16(optionsv1.RecordKind_RECORD_KIND_SESSION))
	for _, id := range d.onePerson(patient) {
		for _, s := range d.index.some(string(byPatient)+string(id[:])+string(kind), "", math.MaxInt) {
			out = append(out, s.facts)
		}
	}
	return out
}

// onePerson is a patient with the records linked to hers, whichever of the two the link stands in, and those linked to these.
func (d *desk) onePerson(patient record.ID) []record.ID {
	out := []record.ID{patient}
	for i := 0; i < len(out); i++ {
		for _, id := range d.index.linked(out[i]) {
			if !slices.Contains(out, id) {
				out = append(out, id)
			}
		}
	}
	slices.SortFunc(out, func(a, b record.ID) int { return bytes.Compare(a[:], b[:]) })
	return out
}

// read is a record that is there and that the caller may see.
func (d *desk) read(ctx context.Context, k record.Key) (ledger.Record, touched, error) {
	f := d.index.get(k)
	if f == nil {
		return ledger.Record{}, touched{}, notFound()
	}
	t, err := d.decide(ctx, f)
	if err != nil {
		return ledger.Record{}, t, err
	}
	r, err := d.ledger.Read(ctx, d.org, k)
	return r, t, err
}
