package service

import (
	"context"
	"slices"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/export"
	"needlebook/internal/fault"
	"needlebook/internal/figure"
	"needlebook/internal/plot"
	"needlebook/internal/record"
)

// counted is which sessions figures are of. Practice and voided ones never count.
type counted struct {
	clinic, injector record.ID // zero for any
	from, until      *recordv1.Date
}

// countedOf reads the conditions of a request. Who is neither lead nor auditor sees her own sessions alone.
func (d *desk) countedOf(ctx context.Context, clinic, injector *string, from, until *recordv1.Date) (q counted, err error) {
	if q.clinic, err = optionalID("clinic_id", clinic); err != nil {
		return q, err
	}
	if q.injector, err = optionalID("injector_id", injector); err != nil {
		return q, err
	}
	if err := checkDates("from", from, "until", until); err != nil {
		return q, err
	}
	own := recordID(d.call.principal.Staff)
	if !d.overlooks() {
		if !q.injector.IsZero() && q.injector != own {
			return q, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "", "", "")
		}
		q.injector = own
	}
	q.from, q.until = from, until
	if q.until == nil {
		at := q.clinic
		if at.IsZero() {
			if at, err = d.ownClinic(ctx); err != nil {
				return q, err
			}
		}
		if q.until, err = d.today(ctx, at); err != nil {
			return q, err
		}
	}
	if q.from == nil {
		q.from = dateAt(midnight(q.until, time.UTC).AddDate(-1, 0, 1))
	}
	return q, nil
}

// overlooks reports whether the caller sees the figures of everybody: a lead and an auditor do.
func (d *desk) overlooks() bool {
	return slices.ContainsFunc(d.call.principal.Roles(), func(r accessv1.Role) bool {
		return r == accessv1.Role_ROLE_MEDICAL_LEAD || r == accessv1.Role_ROLE_AUDITOR
	})
}

// eachCounted calls fn with the sessions that count, newest day first, then by id. It reads one after another; nothing is held while fn runs.
func (d *desk) eachCounted(q counted, fn func(*chart.Facts, *recordv1.Date) error) error {
	at := string(byDay) + latestFirst([]*recordv1.Date{q.until})
	end := string(byDay) + latestFirst([]*recordv1.Date{plusDays(q.from, -1)})
	for more := true; more; {
		found := d.index.between(at, end, indexBatch)
		more = len(found) > 0
		for _, f := range found {
			at = f.key
			x := f.facts
			if x.Void || d.practice(x) || !q.clinic.IsZero() && !slices.Contains(x.Clinics, q.clinic) || !q.injector.IsZero() && !slices.Contains(x.Responsible, q.injector) {
				continue
			}
			if err := fn(x, latestDay(x.Days)); err != nil {
				return err
			}
		}
	}
	return nil
}

// latestDay is the last of the days that a session may have been on; nil of none.
func latestDay(days []*recordv1.Date) *recordv1.Date {
	var out *recordv1.Date
	for _, d := range days {
		if out == nil || dateNumber(d) > dateNumber(out) {
			out = d
		}
	}
	return out
}

// visit folds a session.
func (d *desk) visit(ctx context.Context, f *chart.Facts, on *recordv1.Date) (*figure.Visit, error) {
	r, err := d.ledger.Read(ctx, d.org, f.Key)
	if err != nil {
		return nil, err
	}
	v, err := figure.Fold(r.State, midnight(on, time.UTC), f.Signed)
	return &v, err
}

// GetFigures counts what was done in a time.
func (h *tracing) GetFigures(ctx context.Context, m *tracev1.GetFiguresRequest) (*tracev1.GetFiguresResponse, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	q, err := d.countedOf(ctx, m.ClinicId, m.InjectorId, m.GetFrom(), m.GetUntil())
	if err != nil {
		return nil, err
	}
	tally := &figure.Tally{Step: m.GetStep()}
	people := map[record.ID]bool{}
	err = d.eachCounted(q, func(f *chart.Facts, on *recordv1.Date) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		v, err := d.visit(ctx, f, on)
		if err != nil {
			return err
		}
		tally.Add(v)
		for _, p := range f.Patients {
			people[d.onePerson(p)[0]] = true
		}
		if !v.Treats() {
			return nil
		}
		return d.followed(ctx, tally, f, v)
	})
	if err != nil {
		return nil, err
	}
	resp := &tracev1.GetFiguresResponse{From: q.from, Until: q.until, Patients: uint32(len(people)), AsOf: d.asOf()}
	tally.Fill(resp)
	resp.File, err = figuresFile(resp, m)
	return resp, err
}

// followed takes in what came of a treatment, and how long it was after the one before.
func (d *desk) followed(ctx context.Context, tally *figure.Tally, f *chart.Facts, v *figure.Visit) error {
	var by []*figure.Visit
	before := map[string]time.Time{}
	for _, p := range f.Patients {
		for _, o := range d.sessionsOf(p) {
			on := latestDay(o.Days)
			if o.Key == f.Key || o.Void || d.practice(o) || on == nil {
				continue
			}
			if slices.Contains(o.Parents, f.Key.ID) {
				of, err := d.visit(ctx, o, on)
				if err != nil {
					return err
				}
				by = append(by, of)
			}
			day := midnight(on, time.UTC)
			if slices.Contains(o.Kinds, chartv1.SessionKind_SESSION_KIND_TOUCH_UP) || !day.Before(v.On) {
				continue
			}
			for _, product := range o.Products {
				if slices.Contains(f.Products, product) && day.After(before[product]) {
					before[product] = day
				}
			}
		}
	}
	tally.Followed(v, by)
	for product, day := range before {
		tally.Interval(product, int(v.On.Sub(day)/(24*time.Hour)))
	}
	return nil
}

// figuresFile is the figures in the form that was asked for; nil for data alone.
func figuresFile(resp *tracev1.GetFiguresResponse, m *tracev1.GetFiguresRequest) (*tracev1.FigureFile, error) {
	name := "figures-" + dateText(resp.GetFrom()) + "-to-" + dateText(resp.GetUntil())
	switch m.GetForm() {
	case tracev1.FigureForm_FIGURE_FORM_CSV:
		b, err := figure.FiguresCSV(resp)
		return &tracev1.FigureFile{MediaType: export.CSVMediaType, FileName: name + ".csv", Data: b}, err
	case tracev1.FigureForm_FIGURE_FORM_SVG:
		b, err := plot.Figures(resp, m.GetPlot())
		return &tracev1.FigureFile{MediaType: plot.MediaType, FileName: name + ".svg", Data: b}, err
	}
	return nil, nil
}

// GetLogbook lists an injector's cases.
func (h *tracing) GetLogbook(ctx context.Context, m *tracev1.GetLogbookRequest) (*tracev1.GetLogbookResponse, error) {
	if m.GetForm() == tracev1.FigureForm_FIGURE_FORM_SVG {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "form", m.GetForm().String(), "data or CSV")
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	injector := m.InjectorId
	if injector == nil {
		own := d.call.principal.Staff.String()
		injector = &own
	}
	q, err := d.countedOf(ctx, m.ClinicId, injector, m.GetFrom(), m.GetUntil())
	if err != nil {
		return nil, err
	}
	resp := &tracev1.GetLogbookResponse{
		InjectorId: q.injector.String(), InjectorName: d.index.nameOf(record.Key{Kind: kindStaff, ID: q.injector}), From: q.from, Until: q.until,
	}
	rows, err := d.cases(ctx, q, m.GetRegion(), resp)
	if err != nil {
		return nil, err
	}
	if m.GetForm() == tracev1.FigureForm_FIGURE_FORM_CSV {
		all, _ := page(rows, nil, len(rows)+1)
		names := func(id string) string { return d.clinicName(ctx, id) }
		b, err := figure.LogbookCSV(resp.GetInjectorName(), all, names)
		if err != nil {
			return nil, err
		}
		resp.File = &tracev1.FigureFile{MediaType: export.CSVMediaType, FileName: "logbook-" + dateText(q.from) + "-to-" + dateText(q.until) + ".csv", Data: b}
	}
	var next []byte
	resp.Cases, next = page(rows, l.at, pageSize(m.GetPageSize()))
	resp.NextPageToken = l.token(next)
	return resp, nil
}

// clinicName is a clinic's name; empty when it has none that is known.
func (d *desk) clinicName(ctx context.Context, id string) string {
	key, err := record.ParseID(id)
	if err != nil {
		return ""
	}
	c, err := d.clinic(ctx, key)
	if err != nil {
		return ""
	}
	return c.GetName()
}

// cases is the sessions in which the injector gave something, with the totals of their regions filled in.
func (d *desk) cases(ctx context.Context, q counted, region string, resp *tracev1.GetLogbookResponse) ([]listed[*tracev1.LogbookCase], error) {
	var rows []listed[*tracev1.LogbookCase]
	totals := map[string]*tracev1.RegionTotal{}
	err := d.eachCounted(q, func(f *chart.Facts, on *recordv1.Date) error {
		if len(f.Products) == 0 {
			return nil
		}
		v, err := d.visit(ctx, f, on)
		if err != nil {
			return err
		}
		regions := v.Regions()
		if region != "" && !slices.Contains(regions, region) {
			return nil
		}
		c := d.logbookCase(f, on, v)
		for _, r := range regions {
			if totals[r] == nil {
				totals[r] = &tracev1.RegionTotal{Region: r}
			}
			totals[r].Cases++
			totals[r].Injections += injectionsIn(v, r)
			if c.GetSupervisorId() != "" {
				totals[r].Supervised++
			}
		}
		rows = append(rows, listed[*tracev1.LogbookCase]{append([]byte(latestFirst([]*recordv1.Date{on})), f.Key.ID[:]...), c})
		return nil
	})
	for _, r := range sortedText(totals) {
		resp.Regions = append(resp.Regions, totals[r])
	}
	return rows, err
}

func sortedText[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// injectionsIn counts the givings of a visit into a region.
func injectionsIn(v *figure.Visit, region string) uint32 {
	n := uint32(0)
	for _, i := range v.Message.GetInjections() {
		for _, g := range i.GetGivings() {
			if g.GetVoid() == nil && figure.RegionOf(i.GetMuscle()) == region {
				n++
			}
		}
	}
	return n
}

func (d *desk) logbookCase(f *chart.Facts, on *recordv1.Date, v *figure.Visit) *tracev1.LogbookCase {
	c := &tracev1.LogbookCase{
		SessionId: f.Key.ID.String(), On: on, ClinicId: onlyID(f.Clinics), Kind: v.Kind, Regions: v.Regions(), Injections: uint32(v.Given.Givings()),
		SupervisorId: v.Message.GetSupervisorId(), Signed: f.Signed, InConflict: f.Disputed,
	}
	if id, err := record.ParseID(c.GetSupervisorId()); err == nil {
		c.SupervisorName = d.index.nameOf(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, ID: id})
	}
	for _, product := range v.Given.Products() {
		c.Products = append(c.Products, &tracev1.ProductUnits{Product: product, Dose: figure.Span(v.Given.Of(product))})
	}
	return c
}
