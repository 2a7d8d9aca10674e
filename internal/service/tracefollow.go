package service

import (
	"bytes"
	"context"
	"errors"
	"maps"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// soughtLot is a lot that is traced.
type soughtLot struct {
	id      record.ID // of its record; zero when it has none
	record  *chartv1.Lot
	number  string
	numbers []string // its number, those in conflict too
	aliases []string
	// products and diluents are what it may be a batch of; both empty for anything.
	products, diluents []string
	alsoLike           bool
}

// soughtLot reads what a request names. A number that is an alias of a lot's record means that lot.
func (d *desk) soughtLot(ctx context.Context, m *tracev1.TraceLotRequest) (*soughtLot, error) {
	if label := m.GetLabel(); label != nil {
		lot := &soughtLot{number: label.GetNumber(), numbers: []string{label.GetNumber()}, alsoLike: m.GetAlsoLike()}
		if label.Product != nil {
			lot.products = []string{label.GetProduct()}
		}
		if label.Diluent != nil {
			lot.diluents = []string{label.GetDiluent()}
		}
		if len(lot.products) > 0 && len(lot.diluents) > 0 {
			return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "label.diluent", label.GetDiluent(), "a product or a diluent, not both")
		}
		k, err := d.lotRecord(ctx, lot)
		if err != nil || k.ID.IsZero() {
			return lot, err
		}
		return d.lotOf(ctx, k, m.GetAlsoLike())
	}
	k, err := readID(optionsv1.RecordKind_RECORD_KIND_LOT, "lot_id", m.GetLotId())
	if err != nil {
		return nil, err
	}
	return d.lotOf(ctx, k, m.GetAlsoLike())
}

// lotOf is the lot of a record; NOT_FOUND when there is none.
func (d *desk) lotOf(ctx context.Context, k record.Key, alsoLike bool) (*soughtLot, error) {
	r, err := d.ledger.Read(ctx, d.org, k)
	if err != nil {
		return nil, err
	}
	typed, err := chart.Typed(r.State)
	if err != nil {
		return nil, err
	}
	n := chart.NumbersOf(r.State)
	lot := &soughtLot{id: k.ID, record: typed.GetLot(), aliases: n.Aliases, alsoLike: alsoLike}
	for _, i := range n.Identities {
		lot.numbers = append(lot.numbers, i.GetNumber())
		if i.Product != nil {
			lot.products = append(lot.products, i.GetProduct())
		}
		if i.Diluent != nil {
			lot.diluents = append(lot.diluents, i.GetDiluent())
		}
	}
	if len(lot.numbers) > 0 {
		lot.number = lot.numbers[0]
	}
	return lot, nil
}

// lotRecord finds the record of a lot by its number or an alias; the zero key when there is none. Of several the one with the number itself is meant,
// then the one with the least id.
func (d *desk) lotRecord(ctx context.Context, lot *soughtLot) (best record.Key, err error) {
	var keys []record.Key
	err = d.Store.View(ctx, func(r store.Reader) error {
		return d.findTerm(r, chart.LotTerm(chart.TermLot, lot.number), func(k record.Key) { keys = append(keys, k) })
	})
	byNumber := false
	for _, k := range keys {
		r, err := d.ledger.Read(ctx, d.org, k)
		if err != nil {
			return best, err
		}
		n := chart.NumbersOf(r.State)
		itself := slices.ContainsFunc(n.Identities, func(i *chartv1.LotIdentity) bool { return i.GetNumber() == lot.number && lot.isOf(i) })
		alias := slices.Contains(n.Aliases, lot.number) && slices.ContainsFunc(n.Identities, lot.isOf)
		if itself && !byNumber || alias && best.ID.IsZero() {
			best, byNumber = k, byNumber || itself
		}
	}
	return best, err
}

// isOf reports whether a lot's identity is of what is sought.
func (l *soughtLot) isOf(i *chartv1.LotIdentity) bool {
	return (len(l.products) == 0 || slices.Contains(l.products, i.GetProduct())) && (len(l.diluents) == 0 || slices.Contains(l.diluents, i.GetDiluent()))
}

// findTerm calls fn with each record under a whole term. Where the index is not there yet it is UNAVAILABLE.
func (d *desk) findTerm(r store.Reader, term string, fn func(record.Key)) error {
	return noIndex(d.ledger.FindIn(r, d.org, term, func(_ string, k record.Key) error {
		fn(k)
		return nil
	}))
}

func noIndex(err error) error {
	if errors.Is(err, ledger.ErrNoTerms) {
		return fault.Wrap(faultv1.Reason_REASON_UNAVAILABLE, err)
	}
	return err
}

// trace is a lot followed to its vials and the sessions that they were used for.
type trace struct {
	*desk
	lot       *soughtLot
	sequence  uint64
	vials     []*tracedVial
	exposures []*exposed
}

// tracedVial is a vial of the lot, or one that its diluent was added to.
type tracedVial struct {
	key            record.Key
	match          tracev1.LotMatch
	number         string // as it was entered
	throughDiluent bool
	preparations   []record.ID // of the diluent; none when all of the vial counts
	row            *tracev1.TracedVial
}

// follow finds the vials of a lot and who had them.
func (d *desk) follow(ctx context.Context, lot *soughtLot) (*trace, error) {
	t := &trace{desk: d, lot: lot}
	var err error
	if t.sequence, err = d.ledger.Sequence(ctx); err != nil {
		return nil, err
	}
	uses := map[record.ID]*exposure{}
	err = d.Store.View(ctx, func(r store.Reader) error {
		keys, err := t.candidates(r)
		if err != nil {
			return err
		}
		for _, k := range keys {
			if err := t.vial(r, k, uses); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, session := range slices.SortedFunc(maps.Keys(uses), func(a, b record.ID) int { return bytes.Compare(a[:], b[:]) }) {
		t.addSession(session, uses[session])
	}
	return t, nil
}

// exposure is what is known of a session before its record is read.
type exposure struct {
	match tracev1.LotMatch
	vials []*tracedVial
}

// candidates is the vials that the index has under the lot's numbers and its record, and under those that look like them when these are wanted.
func (t *trace) candidates(r store.Reader) ([]record.Key, error) {
	keys := map[record.Key]bool{}
	add := func(k record.Key) { keys[k] = true }
	var terms []string
	for _, n := range slices.Concat(t.lot.numbers, t.lot.aliases) {
		terms = append(terms, chart.LotTerm(chart.TermVialLot, n), chart.LotTerm(chart.TermDiluentLot, n))
	}
	if !t.lot.id.IsZero() {
		terms = append(terms, chart.LotRecordTerm(t.lot.id))
	}
	if t.lot.alsoLike {
		like, err := t.likeTerms(r)
		if err != nil {
			return nil, err
		}
		terms = append(terms, like...)
	}
	for _, term := range terms {
		if err := t.findTerm(r, term, add); err != nil {
			return nil, err
		}
	}
	return slices.SortedFunc(maps.Keys(keys), record.Key.Compare), nil
}

// likeTerms is the terms of all numbers that look like one of the lot's.
func (t *trace) likeTerms(r store.Reader) (out []string, err error) {
	for _, prefix := range []string{chart.TermVialLot, chart.TermDiluentLot} {
		err := t.ledger.DistinctIn(r, t.org, prefix, func(term string) error {
			if t.lot.like(term[len(prefix) : len(term)-1]) {
				out = append(out, term)
			}
			return nil
		})
		if err != nil {
			return nil, noIndex(err)
		}
	}
	return out, nil
}

// like reports whether a key of a number looks like one of the lot's own numbers.
func (l *soughtLot) like(key string) bool {
	return slices.ContainsFunc(l.numbers, func(n string) bool { return chart.LikeLot(key, chart.LotKey(n)) })
}

// matchOf says how an entered number stands to the lot; unspecified when it has nothing to do with it.
func (l *soughtLot) matchOf(number, lotID string) tracev1.LotMatch {
	id, err := record.ParseID(lotID)
	switch {
	case err == nil && !l.id.IsZero() && id == l.id, slices.Contains(l.numbers, number):
		return tracev1.LotMatch_LOT_MATCH_SAME
	case slices.Contains(l.aliases, number):
		return tracev1.LotMatch_LOT_MATCH_ALIAS
	case l.alsoLike && l.like(chart.LotKey(number)):
		return tracev1.LotMatch_LOT_MATCH_LIKE
	}
	return tracev1.LotMatch_LOT_MATCH_UNSPECIFIED
}

// vial takes a candidate in if it is of the lot, with the sessions that it was used for.
func (t *trace) vial(r store.Reader, k record.Key, uses map[record.ID]*exposure) error {
	rec, err := t.ledger.ReadIn(r, t.org, k)
	if err != nil {
		return err
	}
	lots := chart.LotsOf(rec.State)
	if lots.Void || lots.Practice {
		return nil
	}
	v := t.lot.matched(k, lots)
	if v == nil {
		return nil
	}
	sessions := map[record.ID]bool{}
	for _, u := range chart.UsesOf(rec.State) {
		if len(v.preparations) == 0 || u.Preparation.IsZero() || slices.Contains(v.preparations, u.Preparation) {
			sessions[u.Session] = true
		}
	}
	if err := t.givenFrom(r, v, sessions); err != nil {
		return err
	}
	for id := range sessions {
		x := uses[id]
		if x == nil {
			x = &exposure{match: v.match}
			uses[id] = x
		}
		x.match, x.vials = min(x.match, v.match), append(x.vials, v)
	}
	v.row, err = vialRow(rec, v)
	v.row.Sessions = uint32(len(sessions))
	t.vials = append(t.vials, v)
	return err
}

// givenFrom adds the sessions whose own records say that they gave from the vial or drew up from it. Where only one of several preparations is of the lot,
// the session is read to see which.
func (t *trace) givenFrom(r store.Reader, v *tracedVial, sessions map[record.ID]bool) error {
	var keys []record.Key
	if err := t.findTerm(r, chart.VialTerm(v.key.ID), func(k record.Key) { keys = append(keys, k) }); err != nil {
		return err
	}
	for _, k := range keys {
		if sessions[k.ID] {
			continue
		}
		if len(v.preparations) > 0 {
			rec, err := t.ledger.ReadIn(r, t.org, k)
			if err != nil {
				return err
			}
			if len(chart.GivingsFrom(rec.State, v.key.ID, v.preparations)) == 0 && len(chart.GivingsFrom(rec.State, v.key.ID, nil)) > 0 {
				continue
			}
		}
		sessions[k.ID] = true
	}
	return nil
}

// matched is how a vial stands to the lot: by its own, or by its diluent's; nil when it has nothing to do with it. The nearest counts.
func (l *soughtLot) matched(k record.Key, lots chart.VialLots) *tracedVial {
	best := &tracedVial{key: k}
	toxin := len(l.diluents) == 0 && (len(l.products) == 0 || slices.ContainsFunc(lots.Products, func(p string) bool { return slices.Contains(l.products, p) }))
	for _, label := range lots.Labelling {
		if match := l.matchOf(label.GetLotNumber(), label.GetLotId()); toxin && nearer(match, best.match) {
			best.match, best.number = match, label.GetLotNumber()
		}
	}
	if best.match != tracev1.LotMatch_LOT_MATCH_UNSPECIFIED {
		return best
	}
	if len(l.products) > 0 {
		return nil
	}
	for id, options := range lots.Diluents {
		for _, diluent := range options {
			match := l.matchOf(diluent.GetLotNumber(), diluent.GetLotId())
			if match == tracev1.LotMatch_LOT_MATCH_UNSPECIFIED || len(l.diluents) > 0 && !slices.Contains(l.diluents, diluent.GetKind()) {
				continue
			}
			if best.throughDiluent = true; nearer(match, best.match) {
				best.match, best.number = match, diluent.GetLotNumber()
			}
			best.preparations = append(best.preparations, id)
		}
	}
	switch {
	case !best.throughDiluent:
		return nil
	case len(lots.Diluents) == 1:
		best.preparations = nil // all that left the vial is of it
	}
	return best
}

func nearer(a, than tracev1.LotMatch) bool {
	unspecified := tracev1.LotMatch_LOT_MATCH_UNSPECIFIED
	return a != unspecified && (than == unspecified || a < than)
}

// vialRow is a vial as the answer lists it.
func vialRow(rec ledger.Record, v *tracedVial) (*tracev1.TracedVial, error) {
	typed, err := chart.Typed(rec.State)
	if err != nil {
		return &tracev1.TracedVial{}, err
	}
	m, account := typed.GetVial(), chart.FoldVial(rec.State, rec.Held)
	row := &tracev1.TracedVial{
		VialId: v.key.ID.String(), ShortNumber: m.GetShortNumber(), Serial: m.GetLabelling().GetSerial(), ClinicId: m.GetClinicId(), Place: placeOf(m),
		Opened: len(m.GetPreparations())+len(m.GetDraws())+len(m.GetEntries()) > 0, Discarded: m.GetDiscarded() != nil, Blocked: m.GetBlocked() != nil,
		Number: v.number, Match: v.match, NumberSimilar: v.match == tracev1.LotMatch_LOT_MATCH_LIKE, ThroughDiluent: v.throughDiluent,
		Product: m.GetPresentation().GetProduct(),
	}
	if len(account.Preparations) == 1 {
		if p := account.Preparations[0]; p.Known && p.Content.Certain() && p.Drawn.Certain() && p.Drawn.Most <= p.Content.Least {
			left := dose.Volume(p.Content.Least - p.Drawn.Most).Decimal()
			row.LeftMl = &left
		}
	}
	return row, nil
}

// placeOf is where a vial was put last, by the moments that people's devices claim.
func placeOf(m *chartv1.Vial) string {
	place, last := "", int64(0)
	for _, s := range m.GetStorageMoves() {
		if at := s.GetMove().GetMoved().GetAt().AsTime().UnixNano(); place == "" || at >= last {
			place, last = s.GetMove().GetPlace(), at
		}
	}
	return place
}

// addSession adds the exposures of a session: one for each patient that it may be about.
func (t *trace) addSession(session record.ID, u *exposure) {
	facts := t.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: session})
	if facts != nil && t.practice(facts) {
		return
	}
	patients := []record.ID{{}}
	if facts != nil && len(facts.Patients) > 0 {
		patients = facts.Patients
	}
	for _, p := range patients {
		t.exposures = append(t.exposures, &exposed{patient: p, session: session, facts: facts, match: u.match, vials: u.vials})
	}
}
