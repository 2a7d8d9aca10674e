package service

import (
	"context"
	"slices"
	"strings"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
	"needlebook/internal/export"
	"needlebook/internal/fault"
	"needlebook/internal/figure"
	"needlebook/internal/record"
)

// GetEventReport fills the fields of FDA form 3500 (its sections as a public copy of the form shows them) from the records of an event.
func (h *tracing) GetEventReport(ctx context.Context, m *tracev1.GetEventReportRequest) (*tracev1.GetEventReportResponse, error) {
	if m.GetForm() == tracev1.FigureForm_FIGURE_FORM_SVG {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "form", m.GetForm().String(), "data or CSV")
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	key, err := readID(optionsv1.RecordKind_RECORD_KIND_ADVERSE_EVENT, "adverse_event_id", m.GetAdverseEventId())
	if err != nil {
		return nil, err
	}
	r, err := d.eventReport(ctx, key)
	if err != nil {
		return nil, err
	}
	resp := &tracev1.GetEventReportResponse{Fields: r.fields, AsOf: d.asOf()}
	if m.GetForm() == tracev1.FigureForm_FIGURE_FORM_CSV {
		b, err := figure.ReportCSV(r.fields)
		if err != nil {
			return nil, err
		}
		resp.File = &tracev1.FigureFile{MediaType: export.CSVMediaType, FileName: "event-report.csv", Data: b}
	}
	return resp, d.enterAll(ctx, r.read)
}

// eventReport is a report while it is filled in.
type eventReport struct {
	*desk
	ctx       context.Context
	event     *chartv1.AdverseEvent
	patient   *chartv1.Patient
	session   *chartv1.Session
	givings   *record.State // of the session; nil without one
	disputed  map[string]bool
	fields    []*tracev1.ReportField
	read      []touched
	suspected []*chartv1.SuspectedExposure
}

func (d *desk) eventReport(ctx context.Context, key record.Key) (*eventReport, error) {
	r := &eventReport{desk: d, ctx: ctx, disputed: map[string]bool{}}
	typed, _, err := r.open(key, "adverse_event")
	if err != nil {
		return nil, err
	}
	r.event = typed.GetAdverseEvent()
	if id, err := record.ParseID(r.event.GetPatientId()); err == nil {
		typed, _, err := r.open(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: id}, "patient")
		if err != nil {
			return nil, err
		}
		r.patient = typed.GetPatient()
	}
	if id, err := record.ParseID(r.event.GetSessionId()); err == nil {
		typed, st, err := r.open(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: id}, "session")
		if err != nil {
			return nil, err
		}
		r.session, r.givings = typed.GetSession(), st
	}
	if err := r.suspects(); err != nil {
		return nil, err
	}
	r.aboutPatient()
	r.aboutEvent()
	for i, s := range r.suspected {
		if err := r.aboutProduct(uint32(i+1), s); err != nil {
			return nil, err
		}
	}
	r.add("E", 0, "suspect device", "no device is suspected")
	r.add("F", 0, "other products in use", r.alerts(chartv1.AlertKind_ALERT_KIND_DRUG), "patient.alerts")
	return r, r.reporter()
}

// open reads a record for the report, with its fields in conflict.
func (r *eventReport) open(key record.Key, name string) (*chartv1.Record, *record.State, error) {
	rec, t, err := r.desk.read(r.ctx, key)
	if err != nil {
		return nil, nil, err
	}
	r.read = append(r.read, t)
	for _, c := range rec.State.Conflicts() {
		r.disputed[name+"."+r.schema.RegisterText(key.Kind, c.Register)] = true
	}
	typed, err := chart.Typed(rec.State)
	return typed, rec.State, err
}

// add fills in a field. from is the fields of records that the value comes from.
func (r *eventReport) add(section string, product uint32, label, value string, from ...string) {
	f := &tracev1.ReportField{Section: section, ProductNumber: product, Label: label, Value: value, From: from}
	f.InConflict = slices.ContainsFunc(from, func(path string) bool { return r.disputed[path] })
	f.Blank = value == "" && !f.InConflict
	r.fields = append(r.fields, f)
}

func (r *eventReport) aboutPatient() {
	r.add("A1", 0, "patient identifier", r.event.GetPatientId(), "adverse_event.patient_id")
	r.add("A2", 0, "date of birth", figure.DateText(r.patient.GetBirth().GetDate()), "patient.birth")
	r.add("A3", 0, "sex", r.patient.GetSex(), "patient.sex")
	r.add("A4", 0, "weight", "")
}

func (r *eventReport) aboutEvent() {
	e := r.event
	r.add("B1", 0, "kind of report", "adverse event")
	r.add("B2", 0, "outcome that makes it serious", seriousText(e.GetSeriousness()), "adverse_event.seriousness")
	r.add("B3", 0, "date of event", approximate(e.GetEvent().GetOnset()), "adverse_event.event")
	r.add("B4", 0, "date of report", dateText(dateAt(r.Now().UTC())))
	r.add("B5", 0, "what happened", r.narrative(), "adverse_event.event", "adverse_event.actions", "adverse_event.follow_ups", "adverse_event.outcome")
	r.add("B6", 0, "relevant tests, with dates", "")
	r.add("B7", 0, "other history", r.alerts(chartv1.AlertKind_ALERT_KIND_ALLERGY, chartv1.AlertKind_ALERT_KIND_DISEASE, chartv1.AlertKind_ALERT_KIND_REACTION,
		chartv1.AlertKind_ALERT_KIND_RESISTANCE, chartv1.AlertKind_ALERT_KIND_FAINTING, chartv1.AlertKind_ALERT_KIND_OTHER), "patient.alerts")
}

func seriousText(s *chartv1.SeriousnessList) string {
	if s == nil {
		return ""
	}
	var out []string
	for _, x := range s.GetReasons() {
		out = append(out, enumText(x.String(), "SERIOUSNESS_"))
	}
	if len(out) == 0 {
		return "not serious"
	}
	return strings.Join(out, ", ")
}

func enumText(name, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", " ")
}

// approximate is a day as far as it is known.
func approximate(d *recordv1.ApproximateDate) string {
	if d == nil {
		return ""
	}
	at := time.Date(int(d.GetYear()), time.Month(max(d.GetMonth(), 1)), int(max(d.GetDay(), 1)), 0, 0, 0, 0, time.UTC)
	switch {
	case d.Month == nil:
		return at.Format("2006")
	case d.Day == nil:
		return at.Format("2006-01")
	}
	return at.Format(time.DateOnly)
}

// narrative is what happened, what was done, how it went on and how it ended, in the words of the record.
func (r *eventReport) narrative() string {
	e := r.event
	lines := []string{e.GetEvent().GetText()}
	where := strings.Join(e.GetEvent().GetRegions(), ", ")
	if e.GetEvent() != nil {
		if e.GetEvent().Side != nil {
			where = strings.TrimSpace(where + " " + enumText(e.GetEvent().GetSide().String(), "SIDE_"))
		}
		lines = append([]string{strings.TrimSuffix(strings.ReplaceAll(e.GetEvent().GetKind(), "_", " ")+": "+where, ": ")}, lines...)
	}
	for _, a := range e.GetActions() {
		lines = append(lines, dayOf(a.GetAction().GetDone())+" done: "+a.GetAction().GetText())
	}
	for _, f := range e.GetFollowUps() {
		lines = append(lines, dayOf(f.GetState().GetSeen())+" seen: "+f.GetState().GetText())
	}
	if o := e.GetOutcome(); o != nil {
		lines = append(lines, strings.TrimSpace("ended: "+enumText(o.GetEnd().String(), "EVENT_END_")+" "+approximate(o.GetOn())))
	}
	return strings.TrimSpace(strings.Join(lines, "\n"))
}

func dayOf(a *recordv1.Act) string { return a.GetAt().AsTime().UTC().Format(time.DateOnly) }

// alerts is the alerts of some kinds that stand, in their words.
func (r *eventReport) alerts(kinds ...chartv1.AlertKind) string {
	var out []string
	for _, a := range r.patient.GetAlerts() {
		if a.GetEnded() == nil && slices.Contains(kinds, a.GetContent().GetKind()) {
			out = append(out, a.GetContent().GetText())
		}
	}
	return strings.Join(out, "; ")
}

// suspects is the products suspected, as the event names them; where it names none, what its session gave from each vial.
func (r *eventReport) suspects() error {
	for _, s := range r.event.GetSuspected() {
		if s.GetVoid() == nil && s.GetExposure() != nil {
			r.suspected = append(r.suspected, s.GetExposure())
		}
	}
	if len(r.suspected) > 0 || r.givings == nil {
		return nil
	}
	for _, id := range chart.VialsOf(r.givings) {
		var sum chart.Range
		product, text := "", id.String()
		for _, g := range chart.GivingsFrom(r.givings, id, nil) {
			sum.Most += g.Dose.Most
			if len(g.Targets) > 0 {
				product = g.Targets[0].Product
			}
		}
		r.suspected = append(r.suspected, &chartv1.SuspectedExposure{VialId: &text, Dose: &chartv1.Dose{Product: product, DoseMilliunits: int32(min(sum.Most, 10_000_000))}})
	}
	return nil
}

// aboutProduct fills in a product, from the event where it says, else from the vial's record.
func (r *eventReport) aboutProduct(n uint32, s *chartv1.SuspectedExposure) error {
	vial := &chartv1.Vial{}
	if id, err := record.ParseID(s.GetVialId()); err == nil && r.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: id}) != nil {
		typed, _, err := r.open(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: id}, "vial")
		if err != nil {
			return err
		}
		vial = typed.GetVial()
	}
	available := ""
	if vial.GetId() != "" {
		available = "the vial is kept"
		if vial.GetDiscarded() != nil {
			available = "the vial was discarded"
		}
	}
	r.add("C", n, "product available for evaluation", available, "vial.discarded")
	name := s.GetDose().GetProduct()
	if p := vial.GetPresentation(); p != nil {
		name = strings.TrimSpace(name + ", " + chart.Units(int64(p.GetContentMilliunits())) + " units a vial")
	}
	r.add("D1", n, "name and strength", name, "adverse_event.suspected", "vial.presentation")
	r.add("D1", n, "manufacturer", "")
	r.add("D2", n, "dose and route", r.doseText(s), "adverse_event.suspected")
	given := approximate(s.GetGivenOn())
	if given == "" {
		given = figure.DateText(r.session.GetOn())
	}
	r.add("D3", n, "date of use", given, "adverse_event.suspected", "session.on")
	r.add("D4", n, "reason for use", r.reason(), "session.injections")
	r.add("D5", n, "event abated after use stopped", "")
	lot, expires := s.GetLotNumber(), s.GetExpiresOn()
	if lot == "" {
		lot = vial.GetLabelling().GetLotNumber()
	}
	if expires == nil {
		expires = vial.GetLabelling().GetExpiresOn()
	}
	r.add("D6", n, "lot number", lot, "adverse_event.suspected", "vial.labelling")
	r.add("D7", n, "expiration date", figure.DateText(expires), "adverse_event.suspected", "vial.labelling")
	r.add("D8", n, "event reappeared after reintroduction", "")
	r.add("D9", n, "trade item and serial number", strings.TrimSpace(vial.GetLabelling().GetGtin()+" "+vial.GetLabelling().GetSerial()), "vial.labelling")
	return nil
}

// doseText is the dose with the layers that the session's injections went into.
func (r *eventReport) doseText(s *chartv1.SuspectedExposure) string {
	if s.GetDose().GetProduct() == "" {
		return ""
	}
	text := chart.Units(int64(s.GetDose().GetDoseMilliunits())) + " units, once"
	var layers []string
	for _, i := range r.session.GetInjections() {
		if l := i.GetDepth().GetLayer(); l != chartv1.DepthLayer_DEPTH_LAYER_UNSPECIFIED && len(i.GetGivings()) > 0 {
			layers = append(layers, enumText(l.String(), "DEPTH_LAYER_"))
		}
	}
	slices.Sort(layers)
	if layers = slices.Compact(layers); len(layers) > 0 {
		text += ", " + strings.Join(layers, " and ")
	}
	return text
}

// reason is what was treated.
func (r *eventReport) reason() string {
	if r.givings == nil {
		return ""
	}
	regions := regionsOf(chart.FoldSession(r.givings, nil))
	if len(regions) == 0 {
		return ""
	}
	return "treatment of the " + strings.ReplaceAll(strings.Join(regions, ", "), "_", " ")
}

// reporter fills in who reported the event.
func (r *eventReport) reporter() error {
	id, err := record.ParseID(r.event.GetEvent().GetReported().GetBy())
	if err != nil {
		r.add("G", 0, "reporter", "")
		return nil
	}
	p, err := r.person(r.ctx, id)
	if err != nil {
		return err
	}
	r.add("G", 0, "reporter", strings.TrimSpace(strings.Join([]string{p.GetName().GetFull(), p.GetProfession(), p.GetContact().GetPhone(), p.GetContact().GetEmail()}, " ")))
	return nil
}
