package service

import (
	"context"
	"encoding/binary"
	"math"
	"slices"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// ListReviewsDue lists reviews that are due. Sessions that the caller may not see are left out.
func (h *tracing) ListReviewsDue(ctx context.Context, m *tracev1.ListReviewsDueRequest) (*tracev1.ListReviewsDueResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	q, err := d.reviewQuery(ctx, m)
	if err != nil {
		return nil, err
	}
	if q.rules, err = h.reviewRules(ctx); err != nil {
		return nil, err
	}
	found, err := d.reviews(ctx, q)
	if err != nil {
		return nil, err
	}
	var rows []listed[*review]
	for _, r := range found {
		if _, err := d.may(ctx, r.facts); fault.Of(err) != nil {
			continue
		} else if err != nil {
			return nil, err
		}
		rows = append(rows, listed[*review]{append([]byte(dateKey(r.last())), r.facts.Key.ID[:]...), r})
	}
	shown, next := page(rows, l.at, pageSize(m.GetPageSize()))
	resp := &tracev1.ListReviewsDueResponse{NextPageToken: l.token(next)}
	var read []touched
	for _, r := range shown {
		row, t, err := d.reviewRow(ctx, r, q.today)
		if err != nil {
			return nil, err
		}
		resp.Reviews, read = append(resp.Reviews, row), append(read, t)
	}
	return resp, d.enterAll(ctx, read)
}

// reviewQuery is which reviews are meant.
type reviewQuery struct {
	clinic, responsible record.ID // zero for any
	treatedFrom, until  *recordv1.Date
	today               *recordv1.Date
	rules               []*formularyv1.ReviewRule
	// after is a day behind which the review must come to its last day, or to its first where there is no last; nil for any.
	after *recordv1.Date
}

func (d *desk) reviewQuery(ctx context.Context, m *tracev1.ListReviewsDueRequest) (q reviewQuery, err error) {
	if q.clinic, err = optionalID("clinic_id", m.ClinicId); err != nil {
		return q, err
	}
	if q.responsible, err = optionalID("responsible_id", m.ResponsibleId); err != nil {
		return q, err
	}
	if err := checkDates("treated_from", m.GetTreatedFrom(), "until", m.GetUntil()); err != nil {
		return q, err
	}
	at := q.clinic
	if at.IsZero() {
		if at, err = d.ownClinic(ctx); err != nil {
			return q, err
		}
	}
	if q.today, err = d.today(ctx, at); err != nil {
		return q, err
	}
	q.until, q.treatedFrom = m.GetUntil(), m.GetTreatedFrom()
	if q.until == nil {
		q.until = q.today
	}
	if q.treatedFrom == nil {
		q.treatedFrom = plusDays(q.until, -365)
	}
	return q, nil
}

// plusDays is the day so many days after.
func plusDays(d *recordv1.Date, days int) *recordv1.Date {
	return dateAt(midnight(d, time.UTC).AddDate(0, 0, days))
}

// reviewRules is the rules of the edition that counts for the caller.
func (h *tracing) reviewRules(ctx context.Context) ([]*formularyv1.ReviewRule, error) {
	e, err := h.dosing.edition(ctx, nil)
	if err != nil {
		return nil, err
	}
	return e.ReviewRules(), nil
}

// review is a session whose result nobody has looked at yet.
type review struct {
	facts       *chart.Facts
	on          *recordv1.Date // the day of the session
	from, until *recordv1.Date // until is nil where nobody says when it is overdue
	rule        string         // the rule's code; empty when the days were set in the session
}

// last is the day by which reviews are ordered: the last day, or the first where there is no last.
func (r *review) last() *recordv1.Date {
	if r.until != nil {
		return r.until
	}
	return r.from
}

// reviews finds the sessions that gave something and that nobody looked back on since, whose review falls due by the day asked for.
func (d *desk) reviews(ctx context.Context, q reviewQuery) ([]*review, error) {
	var out []*review
	at := string(byDay) + latestFirst([]*recordv1.Date{q.until})
	end := string(byDay) + latestFirst([]*recordv1.Date{plusDays(q.treatedFrom, -1)})
	for from, more := at, true; more; {
		found := d.index.between(from, end, indexBatch)
		more = len(found) > 0
		for _, f := range found {
			from = f.key
			r, err := d.reviewOf(ctx, f.facts, q)
			if err != nil {
				return nil, err
			}
			if r != nil {
				out = append(out, r)
			}
		}
	}
	return out, nil
}

// reviewOf is the review that a session waits for; nil when it waits for none.
func (d *desk) reviewOf(ctx context.Context, f *chart.Facts, q reviewQuery) (*review, error) {
	if f.Void || len(f.Products) == 0 || len(f.Days) == 0 || d.practice(f) ||
		!q.clinic.IsZero() && !slices.Contains(f.Clinics, q.clinic) || !q.responsible.IsZero() && !slices.Contains(f.Responsible, q.responsible) {
		return nil, nil
	}
	r := &review{facts: f, on: f.Days[0]}
	if err := d.window(ctx, r, q.rules); err != nil || r.from == nil || dateNumber(r.from) > dateNumber(q.until) {
		return nil, err
	}
	if q.after != nil && (dateNumber(r.last()) <= dateNumber(q.after) || dateNumber(r.last()) > dateNumber(q.until)) || d.lookedBack(f) {
		return nil, nil
	}
	return r, nil
}

// window says from when and until when the result is to be seen: as set in the session, the earliest of days in conflict, else by the rule that says
// the most about what was given.
func (d *desk) window(ctx context.Context, r *review, rules []*formularyv1.ReviewRule) error {
	for _, set := range r.facts.Reviews {
		if set.GetFrom() != nil && (r.from == nil || dateNumber(set.GetFrom()) < dateNumber(r.from)) {
			r.from, r.until = set.GetFrom(), set.GetUntil()
		}
	}
	if r.from != nil {
		return nil
	}
	rule, err := d.reviewRule(ctx, r.facts, rules)
	if err != nil || rule == nil {
		return err
	}
	day, err := dose.NewDay(int(r.on.GetYear()), int(r.on.GetMonth()), int(r.on.GetDay()))
	if err != nil {
		return nil //nolint:nilerr // no calendar has the day, so nothing falls due by it
	}
	r.rule, r.from = rule.GetCode(), periodAfter(rule.GetEarliest(), day)
	if p := rule.GetLatest(); p.GetDays() > 0 || p.GetMonths() > 0 {
		r.until = periodAfter(p, day)
	}
	return nil
}

func periodAfter(p *formularyv1.Period, from dose.Day) *recordv1.Date {
	y, m, d := dose.Period{Days: int(p.GetDays()), Months: int(p.GetMonths())}.After(from).Date()
	return &recordv1.Date{Year: int32(y), Month: int32(m), Day: int32(d)}
}

// reviewRule is the rule for a session that names the most of product and region; nil when none fits.
func (d *desk) reviewRule(ctx context.Context, f *chart.Facts, rules []*formularyv1.ReviewRule) (*formularyv1.ReviewRule, error) {
	var best *formularyv1.ReviewRule
	var regions []string
	score := -1
	for _, r := range rules {
		n := 0
		if r.Product != nil {
			if n++; !slices.Contains(f.Products, r.GetProduct()) {
				continue
			}
		}
		if r.Region != nil {
			if regions == nil {
				given, err := d.given(ctx, f)
				if err != nil {
					return nil, err
				}
				regions = regionsOf(given)
			}
			if n++; !slices.Contains(regions, r.GetRegion()) {
				continue
			}
		}
		if n > score {
			best, score = r, n
		}
	}
	return best, nil
}

func (d *desk) given(ctx context.Context, f *chart.Facts) (chart.Given, error) {
	r, err := d.ledger.Read(ctx, d.org, f.Key)
	if err != nil {
		return chart.Given{}, err
	}
	return chart.FoldSession(r.State, r.Held), nil
}

// regionOf is the region of a muscle; empty for one that the anatomy does not have.
func regionOf(muscle string) string {
	m, _ := anatomy.MuscleByCode(muscle)
	return string(m.Region)
}

// regionsOf is the regions that something was given to, ascending.
func regionsOf(g chart.Given) []string {
	var out []string
	for _, t := range g.Targets() {
		if region := regionOf(t.Muscle); region != "" {
			out = append(out, region)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// lookedBack reports whether somebody has seen the patient's result since: a review or a touch-up that names the session, or any session of hers on a
// later day that is a review or gave something.
func (d *desk) lookedBack(f *chart.Facts) bool {
	last := latestFirst(f.Days)
	for _, p := range f.Patients {
		for _, o := range d.sessionsOf(p) {
			if o.Key == f.Key || o.Void || d.practice(o) {
				continue
			}
			if slices.Contains(o.Parents, f.Key.ID) {
				return true
			}
			sees := len(o.Products) > 0 || slices.Contains(o.Kinds, chartv1.SessionKind_SESSION_KIND_REVIEW)
			if sees && len(o.Days) > 0 && latestFirst(o.Days) < last {
				return true
			}
		}
	}
	return false
}

// reviewRow is a review as the list shows it.
func (d *desk) reviewRow(ctx context.Context, r *review, today *recordv1.Date) (*tracev1.ReviewDue, touched, error) {
	s, err := d.subject(ctx, r.facts)
	if err != nil {
		return nil, touched{}, err
	}
	t := touchedBy(r.facts, s)
	given, err := d.given(ctx, r.facts)
	if err != nil {
		return nil, t, err
	}
	out := &tracev1.ReviewDue{
		SessionId: r.facts.Key.ID.String(), Review: &chartv1.ReviewDate{From: r.from, Until: r.until}, Regions: regionsOf(given), TreatedOn: r.on,
		ResponsibleId: onlyID(r.facts.Responsible), ClinicId: onlyID(r.facts.Clinics), RuleCode: r.rule,
	}
	for _, target := range given.Targets() {
		out.Given = append(out.Given, &tracev1.SideGiven{Product: target.Product, Muscle: target.Muscle, Side: sideOf(target.Side), Dose: doseSpan(given.To(target))})
	}
	if r.until != nil {
		out.OverdueDays = int32(midnight(today, time.UTC).Sub(midnight(r.until, time.UTC)) / (24 * time.Hour))
		out.Overdue = out.OverdueDays > 0
	}
	if len(r.facts.Patients) != 1 {
		return out, t, nil
	}
	return out, t, d.reviewedPatient(ctx, r.facts.Patients[0], today, out)
}

// reviewedPatient fills in who it is and what is booked.
func (d *desk) reviewedPatient(ctx context.Context, patient record.ID, today *recordv1.Date, out *tracev1.ReviewDue) error {
	f := d.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient})
	if f == nil {
		return nil
	}
	s, err := d.subject(ctx, f)
	if err != nil {
		return err
	}
	if out.Patient, err = d.summary(ctx, f, s); err != nil {
		return err
	}
	r, err := d.typed(ctx, f.Key)
	if err != nil {
		return err
	}
	out.Contact = r.GetPatient().GetContact()
	kind := binary.BigEndian.AppendUint16(nil, uint16(optionsv1.RecordKind_RECORD_KIND_APPOINTMENT))
	var next *chart.Facts
	for _, id := range d.onePerson(patient) {
		for _, a := range d.index.some(string(byPatient)+string(id[:])+string(kind), "", math.MaxInt) {
			if a.facts.Void || len(a.facts.Days) == 0 || dateNumber(a.facts.Days[0]) < dateNumber(today) {
				continue
			}
			if next == nil || dateNumber(a.facts.Days[0]) < dateNumber(next.Days[0]) {
				next = a.facts
			}
		}
	}
	if next != nil {
		out.AppointmentId = next.Key.ID.String()
	}
	return nil
}

// reviewsInWeekAfter counts the reviews of the clinic that come to their last day in the week after the day, or to their first where there is no last.
func (c *clinicDay) reviewsInWeekAfter() (uint32, error) {
	rules, err := c.tracing.reviewRules(c.ctx)
	if err != nil {
		return 0, err
	}
	end := plusDays(c.on, 7)
	found, err := c.reviews(c.ctx, reviewQuery{clinic: c.clinic, treatedFrom: plusDays(c.on, -365), until: end, rules: rules, after: c.on})
	return uint32(len(found)), err
}

// between is the first n keys of the index behind from and before end, in order.
func (o *orgIndex) between(from, end string, n int) []found {
	o.mu.RLock()
	defer o.mu.RUnlock()
	var out []found
	o.keys.Ascend(from, func(k string, f *chart.Facts) bool {
		if k >= end || len(out) == n {
			return false
		}
		if k != from {
			out = append(out, found{k, f})
		}
		return true
	})
	return out
}
