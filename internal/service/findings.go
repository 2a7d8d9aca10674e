package service

import (
	"context"
	"math"
	"slices"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// findings answers FindingService.
type findings struct{ *charting }

func newFindings(h *charting) *findings { return &findings{h} }

// defaultFindings is how many findings a page holds when the request does not say; maxAnchors is how many records one page looks at at most.
const (
	defaultFindings = 100
	maxAnchors      = 20_000
)

// ListFindings walks the records about which something can be found, in the order of the index.
func (h *findings) ListFindings(ctx context.Context, m *dosev1.ListFindingsRequest) (*dosev1.ListFindingsResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	f := finder{desk: d, ctx: ctx, shelf: newShelf(ctx, d)}
	f.shelf.open = true
	if f.edition, err = h.builtin(); err != nil {
		return nil, err
	}
	if f.clinic, err = optionalID("clinic_id", m.ClinicId); err != nil {
		return nil, err
	}
	size := int(m.GetPageSize())
	if size == 0 {
		size = defaultFindings
	}
	next := ""
	if m.GetKey() != nil {
		err = f.about(m)
	} else {
		next, err = f.walk(string(l.at), size)
	}
	if err != nil {
		return nil, err
	}
	return &dosev1.ListFindingsResponse{Findings: f.found, NextPageToken: l.token([]byte(next))}, d.enterAll(ctx, f.read)
}

// finder puts a page of findings together.
type finder struct {
	*desk
	ctx     context.Context
	edition *formulary.Edition
	shelf   *shelf
	clinic  record.ID // zero for any
	found   []*dosev1.Finding
	read    []touched
}

// The parts of the index that are walked, ascending: patients by date of birth, vials, records by patient.
func anchors() []string {
	vials := keyBytes(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL})[:2]
	return []string{string(byBirth), string(byIdentifier), string(byKey) + string(vials), string(byPatient)}
}

// walk finds what there is behind a place, until there are size findings. An anchor's findings are never parted, so a page may hold a few more.
func (f *finder) walk(at string, size int) (next string, err error) {
	examined := 0
	for _, prefix := range anchors() {
		for batch := f.index.some(prefix, at, indexBatch); len(batch) > 0; batch = f.index.some(prefix, at, indexBatch) {
			for _, a := range batch {
				if len(f.found) >= size || examined == maxAnchors {
					return at, nil
				}
				examined, at = examined+1, a.key
				if err := f.anchor(a); err != nil {
					return "", err
				}
			}
		}
	}
	return "", nil
}

// anchor finds what one key of the index stands for. Each finding has one anchor: of two records, the lesser.
func (f *finder) anchor(a found) error {
	greater := func(o *chart.Facts) bool { return o.Key.Compare(a.facts.Key) > 0 }
	switch a.key[0] {
	case byBirth:
		return f.twice(a.facts, a.key[:len(a.key)-len(keyBytes(a.facts.Key))], greater)
	case byIdentifier:
		return f.sameIdentifier(a.facts, a.key[:len(a.key)-len(keyBytes(a.facts.Key))], greater)
	case byKey:
		return f.vial(a.facts)
	}
	if a.facts.Key.Kind != optionsv1.RecordKind_RECORD_KIND_SESSION {
		return nil
	}
	return f.intervals(a.facts, record.ID([]byte(a.key[1:17])), greater)
}

// about finds what concerns one record.
func (f *finder) about(m *dosev1.ListFindingsRequest) error {
	key, err := readKey("key", m.GetKey())
	if err != nil {
		return err
	}
	facts := f.index.get(key)
	if facts == nil {
		return notFound()
	}
	if _, err := f.decide(f.ctx, facts); err != nil {
		return err
	}
	any := func(*chart.Facts) bool { return true }
	switch key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_VIAL:
		return f.vial(facts)
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		for _, p := range facts.Patients {
			if err := f.intervals(facts, p, any); err != nil {
				return err
			}
		}
		return nil
	case optionsv1.RecordKind_RECORD_KIND_PATIENT:
		return f.patient(facts, any)
	}
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "key.kind", key.Kind.String(), "a patient, a session or a vial")
}

func (f *finder) patient(p *chart.Facts, any func(*chart.Facts) bool) error {
	for _, on := range p.Births {
		if err := f.twice(p, string(byBirth)+dateKey(on), any); err != nil {
			return err
		}
	}
	for _, number := range p.Identifiers {
		if err := f.sameIdentifier(p, string(byIdentifier)+number+"\x00", any); err != nil {
			return err
		}
	}
	for _, s := range f.sessionsOf(p.Key.ID) {
		if err := f.intervals(s, p.Key.ID, func(o *chart.Facts) bool { return o.Key.Compare(s.Key) > 0 }); err != nil {
			return err
		}
	}
	return nil
}

// add keeps findings about records of which the caller may read one, and which belong to the clinic asked for.
func (f *finder) add(found []*dosev1.Finding, of ...*chart.Facts) error {
	if len(found) == 0 || !f.clinic.IsZero() && !slices.ContainsFunc(of, func(r *chart.Facts) bool { return slices.Contains(r.Clinics, f.clinic) }) {
		return nil
	}
	for _, r := range of {
		s, err := f.may(f.ctx, r)
		if fault.Of(err) != nil {
			continue
		}
		if err != nil {
			return err
		}
		for _, x := range found {
			if !slices.ContainsFunc(f.found, func(y *dosev1.Finding) bool { return x.GetFindingId() == y.GetFindingId() }) {
				f.found = append(f.found, x)
			}
		}
		f.read = append(f.read, touchedBy(r, s))
		return nil
	}
	return nil
}

func (f *finder) state(k record.Key) (ledger.Record, error) { return f.ledger.Read(f.ctx, f.org, k) }

// twice finds patients who were born on the day of the prefix and have the patient's name.
func (f *finder) twice(p *chart.Facts, prefix string, which func(*chart.Facts) bool) error {
	for _, o := range f.index.some(prefix, "", math.MaxInt) {
		if o.facts.Key == p.Key || !which(o.facts) || !slices.ContainsFunc(p.Words, func(w string) bool {
			return slices.ContainsFunc(o.facts.Words, func(x string) bool { return chart.LikeName([]string{w}, []string{x}) })
		}) {
			continue
		}
		var both []chart.Identity
		for _, k := range []record.Key{p.Key, o.facts.Key} {
			r, err := f.state(k)
			if err != nil {
				return err
			}
			both = append(both, chart.FoldIdentity(r.State))
		}
		twice := chart.TwiceFindings(both)
		if len(twice) == 0 {
			var err error
			if twice, err = f.likeName(p, o.facts); err != nil {
				return err
			}
		}
		if err := f.add(twice, p, o.facts); err != nil {
			return err
		}
	}
	return nil
}

// intervals finds treatments of a session's patient, and of the records linked to hers, that are too close to it. What the index knows rules nearly all
// of them out.
func (f *finder) intervals(s *chart.Facts, patient record.ID, which func(*chart.Facts) bool) error {
	if f.practice(s) {
		return nil
	}
	for _, o := range f.sessionsOf(patient) {
		if o.Key == s.Key || f.practice(o) || !which(o) || slices.Equal(s.Clinics, o.Clinics) && len(s.Clinics) == 1 {
			continue
		}
		for _, product := range s.Products {
			if !slices.Contains(o.Products, product) {
				continue
			}
			if err := f.interval(s, o, product); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *finder) interval(s, o *chart.Facts, product string) error {
	var rule chart.IntervalRule
	ok := false
	clinics := idTexts(slices.Concat(s.Clinics, o.Clinics))
	if len(clinics) == 0 {
		clinics = []string{""} // of no clinic: the shipped edition
	}
	for _, clinic := range clinics {
		if r, there := longestInterval(f.shelf.editionAt(f.edition, clinic), product, earliest(s, o)); there && (!ok || r.Days > rule.Days) {
			rule, ok = r, true
		}
	}
	if !ok {
		return nil
	}
	var both []chart.Treatment
	for _, k := range []record.Key{s.Key, o.Key} {
		r, err := f.state(k)
		if err != nil {
			return err
		}
		both = append(both, chart.FoldTreatment(r.State))
	}
	return f.add(chart.IntervalFindings(both, rule), s, o)
}

// vial finds what was drawn too much from a vial, and from it with the records that it is linked to.
func (f *finder) vial(v *chart.Facts) error {
	r, err := f.state(v.Key)
	if err != nil {
		return err
	}
	own := chart.FoldVial(r.State, r.Held)
	if err := f.add(chart.OverdrawnFindings(own), v); err != nil {
		return err
	}
	together, err := f.sameVial(own, r.State)
	if err != nil || len(together) < 2 {
		return err
	}
	about := func(x *dosev1.Finding) bool { return len(x.GetAbout()) != len(together) } // those of one record have that as their anchor
	return f.add(slices.DeleteFunc(chart.OverdrawnFindings(together...), about), v)
}

// sameVial is the ledgers of a vial and of those that its record says are the same; none when a lesser one of them says so, too, and is the anchor.
func (f *finder) sameVial(own chart.VialLedger, st *record.State) ([]chart.VialLedger, error) {
	out := []chart.VialLedger{own}
	links, err := sameVials(st)
	if err != nil {
		return nil, err
	}
	for _, id := range links {
		k := record.Key{Kind: st.Key.Kind, ID: id}
		if f.index.get(k) == nil || k == st.Key {
			continue
		}
		r, err := f.state(k)
		if err != nil {
			return nil, err
		}
		back, err := sameVials(r.State)
		if err != nil {
			return nil, err
		}
		if k.Compare(st.Key) < 0 && slices.Contains(back, st.Key.ID) {
			return nil, nil
		}
		out = append(out, chart.FoldVial(r.State, r.Held))
	}
	return out, nil
}

// sameVials is the records that a vial's says are of the same vial.
func sameVials(st *record.State) (out []record.ID, err error) {
	typed, err := chart.Typed(st)
	if err != nil {
		return nil, err
	}
	for _, link := range typed.GetVial().GetSameVials() {
		if id, err := record.ParseID(link.GetClaim().GetVialId()); err == nil && link.GetUndone() == nil {
			out = append(out, id)
		}
	}
	return out, nil
}
