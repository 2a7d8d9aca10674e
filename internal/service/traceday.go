package service

import (
	"cmp"
	"context"
	"crypto/sha256"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// silentHour is how long a device may be silent before it is named, while the day lasts.
const silentHour = time.Hour

// GetDayClose says how a clinic's day stands. The sessions of the day are entered into the audit log as read.
func (h *tracing) GetDayClose(ctx context.Context, m *tracev1.GetDayCloseRequest) (*tracev1.GetDayCloseResponse, error) {
	day, err := h.openDay(ctx, m.GetClinicId(), m.GetDay())
	if err != nil {
		return nil, err
	}
	resp, err := day.answer()
	if err != nil {
		return nil, err
	}
	return resp, day.enterAll(ctx, day.read)
}

// clinicDay is one clinic's day while it is put together.
type clinicDay struct {
	*desk
	tracing     *tracing
	ctx         context.Context
	clinic      record.ID
	on          *recordv1.Date
	from, until time.Time // the day by the clinic's zone
	sessions    []ledger.Record
	vials       []ledger.Record
	disputed    map[record.Key]bool
	held        int
	read        []touched
}

// openDay decides whether the caller may see the day, and reads its records.
func (h *tracing) openDay(ctx context.Context, clinic string, on *recordv1.Date) (*clinicDay, error) {
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	key, err := readID(kindClinic, "clinic_id", clinic)
	if err != nil {
		return nil, err
	}
	if err := checkDate("day", on); err != nil {
		return nil, err
	}
	if d.index.get(key) == nil {
		return nil, notFound()
	}
	p := d.call.principal
	at := auth.Subject{Kind: optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE, Relation: p.Relate(p.Org, accountID(key.ID)), Clinics: []uuid.UUID{accountID(key.ID)}}
	if err := auth.Decide(p, d.call.action, at); err != nil {
		return nil, err
	}
	zone, err := d.zone(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	day := &clinicDay{desk: d, tracing: h, ctx: ctx, clinic: key.ID, on: on, from: midnight(on, zone), disputed: map[record.Key]bool{}}
	day.until = midnight(dateAt(day.from.AddDate(0, 0, 1)), zone)
	if err := day.readSessions(); err != nil {
		return nil, err
	}
	return day, day.readVials()
}

// readSessions reads the sessions of the day at the clinic, by id, and notes what is open on their patients.
func (c *clinicDay) readSessions() error {
	prefix := string(byDay) + latestFirst([]*recordv1.Date{c.on})
	for at, more := "", true; more; {
		found := c.index.some(prefix, at, indexBatch)
		more = len(found) > 0
		for _, f := range found {
			at = f.key
			if c.practice(f.facts) || !slices.Contains(f.facts.Clinics, c.clinic) {
				continue
			}
			r, err := c.take(f.facts)
			if err != nil {
				return err
			}
			c.sessions = append(c.sessions, r)
			for _, p := range f.facts.Patients {
				if facts := c.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: p}); facts != nil && facts.Disputed {
					c.disputed[facts.Key] = true
				}
			}
		}
	}
	return nil
}

// take reads a record of the day.
func (c *clinicDay) take(f *chart.Facts) (ledger.Record, error) {
	r, err := c.ledger.Read(c.ctx, c.org, f.Key)
	if err != nil {
		return r, err
	}
	if f.Disputed {
		c.disputed[f.Key] = true
	}
	c.held += chart.Waiting(r.Held)
	if f.Key.Kind == optionsv1.RecordKind_RECORD_KIND_SESSION {
		s, err := c.subject(c.ctx, f)
		if err != nil {
			return r, err
		}
		c.read = append(c.read, touchedBy(f, s))
	}
	return r, nil
}

// readVials reads the vials that the day's sessions name, and those of the clinic that something happened to on the day.
func (c *clinicDay) readVials() error {
	ids := map[record.ID]bool{}
	for _, s := range c.sessions {
		for _, id := range chart.VialsOf(s.State) {
			ids[id] = true
		}
	}
	named := len(ids)
	err := c.Store.View(c.ctx, func(r store.Reader) error {
		for day := c.from.UTC().Truncate(24 * time.Hour); day.Before(c.until); day = day.Add(24 * time.Hour) {
			if err := c.findTerm(r, chart.VialDayTerm(c.clinic, day), func(k record.Key) {
				if !ids[k.ID] {
					ids[k.ID] = false
				}
			}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil || len(ids) == 0 {
		return err
	}
	keys := make([]record.Key, 0, named)
	for id := range ids {
		keys = append(keys, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: id})
	}
	slices.SortFunc(keys, record.Key.Compare)
	for _, k := range keys {
		f := c.index.get(k)
		if f == nil || f.Practice || f.Void {
			continue
		}
		r, err := c.ledger.Read(c.ctx, c.org, k)
		if err != nil {
			return err
		}
		if !ids[k.ID] && !chart.HappenedWithin(r.State, c.from, c.until) {
			continue
		}
		if r, err = c.take(f); err != nil {
			return err
		}
		c.vials = append(c.vials, r)
	}
	return nil
}

// report is the day as it stands.
func (c *clinicDay) report() (*tracev1.DayReport, error) {
	out := &tracev1.DayReport{ClinicId: c.clinic.String(), Day: c.on, HeldEdits: uint32(c.held)}
	for _, s := range c.sessions {
		if err := c.addSession(out, s); err != nil {
			return nil, err
		}
	}
	for _, v := range c.vials {
		balance, err := c.balance(v)
		if err != nil {
			return nil, err
		}
		out.Vials = append(out.Vials, balance)
		out.Findings = append(out.Findings, chart.OverdrawnFindings(chart.FoldVial(v.State, v.Held))...)
		out.Seen = append(out.Seen, seenOf(v.State))
	}
	for _, k := range sortedKeys(c.disputed) {
		out.Conflicts = append(out.Conflicts, chart.WriteKey(k))
	}
	var err error
	if out.SilentDevices, err = c.silentDevices(c.ctx, c.clinic, earlier(c.until, c.Now().Add(-silentHour))); err != nil {
		return nil, err
	}
	if out.UnsyncedDevices, err = c.unsyncedDevices(c.ctx, c.clinic); err != nil {
		return nil, err
	}
	out.ReviewsDue, err = c.reviewsInWeekAfter()
	return out, err
}

func sortedKeys(set map[record.Key]bool) []record.Key {
	var out []record.Key
	for k := range set {
		out = append(out, k)
	}
	slices.SortFunc(out, record.Key.Compare)
	return out
}

// seenOf is how much is seen of a record.
func seenOf(st *record.State) *tracev1.SeenRecord {
	return &tracev1.SeenRecord{Key: chart.WriteKey(st.Key), Context: chart.WriteContext(st.Seen)}
}

// addSession takes a session into the report.
func (c *clinicDay) addSession(out *tracev1.DayReport, s ledger.Record) error {
	out.Seen = append(out.Seen, seenOf(s.State))
	f := c.index.get(s.State.Key)
	for _, decision := range chart.LiftedHolds(s.State) {
		lifted := &tracev1.LiftedHold{SessionId: s.State.Key.ID.String(), Decision: decision}
		if by, err := record.ParseID(decision.GetDecided().GetBy()); err == nil {
			lifted.DecidedByName = c.index.nameOf(record.Key{Kind: kindStaff, ID: by})
		}
		out.LiftedHolds = append(out.LiftedHolds, lifted)
	}
	if f.Void {
		return nil
	}
	out.Sessions++
	late := len(c.schema.LateEntries(s.State))
	if f.Signed && late == 0 {
		out.SignedSessions++
		return nil
	}
	if f.Signed {
		out.SignedSessions++
	}
	typed, err := chart.Typed(s.State)
	out.Unsigned = append(out.Unsigned, &tracev1.OpenSession{
		SessionId: s.State.Key.ID.String(), PatientId: typed.GetSession().GetPatientId(), ResponsibleId: typed.GetSession().GetResponsibleId(),
		LateEntries: uint32(late),
	})
	return err
}

// balance is a vial's account with all sessions that gave from it.
func (c *clinicDay) balance(v ledger.Record) (*tracev1.VialBalance, error) {
	sessions, err := c.sessionsFrom(v.State.Key.ID)
	if err != nil {
		return nil, err
	}
	typed, err := chart.Typed(v.State)
	if err != nil {
		return nil, err
	}
	a := chart.FoldAccount(v.State, v.Held, sessions)
	var drawn int64
	overdrawn := false
	for _, p := range a.Preparations {
		drawn += p.Drawn.Most
		maybe, _ := p.Overdrawn()
		overdrawn = overdrawn || maybe
	}
	m := typed.GetVial()
	return &tracev1.VialBalance{
		VialId: v.State.Key.ID.String(), Product: m.GetPresentation().GetProduct(), LotNumber: m.GetLabelling().GetLotNumber(),
		ContentUnits: chart.Units(a.Content.Most), Given: doseSpan(a.Given), Wasted: doseSpan(a.WastedUnits), Left: doseSpan(a.Left), Drawn: doseSpan(a.Drawn),
		Unaccounted: doseSpan(a.Unaccounted), WasteUnknown: a.WasteUnknown, DrawnMl: dose.Volume(drawn).Decimal(), Overdrawn: overdrawn, CountedMl: c.counted(v.State.Key.ID),
	}, nil
}

// sessionsFrom is the sessions that gave from a vial, whenever.
func (c *clinicDay) sessionsFrom(vial record.ID) (out []*record.State, err error) {
	err = c.Store.View(c.ctx, func(r store.Reader) error {
		var keys []record.Key
		if err := c.findTerm(r, chart.VialTerm(vial), func(k record.Key) { keys = append(keys, k) }); err != nil {
			return err
		}
		for _, k := range keys {
			rec, err := c.ledger.ReadIn(r, c.org, k)
			if err != nil {
				return err
			}
			out = append(out, rec.State)
		}
		return nil
	})
	return out, err
}

// counted is what was counted of a vial by hand on the day; nil when nobody counted it.
func (c *clinicDay) counted(vial record.ID) *string {
	var out *string
	for _, k := range c.closeKeys() {
		r, err := c.typed(c.ctx, k)
		if err != nil {
			continue
		}
		for _, n := range r.GetDayClose().GetCounts() {
			if n.GetVoid() == nil && n.GetCounted().GetVialId() == vial.String() && n.GetCounted().LeftNanoliters != nil {
				ml := dose.Volume(n.GetCounted().GetLeftNanoliters()).Decimal()
				out = &ml
			}
		}
	}
	return out
}

// closeKeys is the records of closes of the day, by id: usually none or one, more where devices that did not know of each other made them.
func (c *clinicDay) closeKeys() []record.Key {
	prefix := string(byKey) + string(keyBytes(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE})[:2])
	var out []record.Key
	for at, more := "", true; more; {
		found := c.index.some(prefix, at, indexBatch)
		more = len(found) > 0
		for _, f := range found {
			at = f.key
			if slices.Contains(f.facts.Clinics, c.clinic) && slices.ContainsFunc(f.facts.Days, func(on *recordv1.Date) bool { return dateNumber(on) == dateNumber(c.on) }) {
				out = append(out, f.facts.Key)
			}
		}
	}
	return out
}

// canonical is a report in the form that is hashed and kept: deterministic protobuf, without what came after a close before.
func canonical(r *tracev1.DayReport) ([]byte, error) {
	bare := proto.CloneOf(r)
	bare.LateEntries = nil
	return proto.MarshalOptions{Deterministic: true}.Marshal(bare)
}

// answer is the day with its close.
func (c *clinicDay) answer() (*tracev1.GetDayCloseResponse, error) {
	report, err := c.report()
	if err != nil {
		return nil, err
	}
	b, err := canonical(report)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	resp := &tracev1.GetDayCloseResponse{Report: report, ReportDigest: sum[:], AsOf: c.asOf(), OpenItems: openItems(report)}
	stands, err := c.standing()
	if err != nil {
		return nil, err
	}
	if stands.key.ID.IsZero() {
		return resp, nil
	}
	r, err := c.ledger.Read(c.ctx, c.org, stands.key)
	if err != nil {
		return nil, err
	}
	if resp.View, err = c.viewOf(c.ctx, r); err != nil || stands.closing == nil {
		return resp, err
	}
	resp.Closing, report.LateEntries = stands.closing, stands.late
	if by, err := record.ParseID(stands.closing.GetSeen().GetClosed().GetBy()); err == nil {
		resp.ClosedByName = c.index.nameOf(record.Key{Kind: kindStaff, ID: by})
	}
	resp.Closed = len(stands.late) == 0
	return resp, nil
}

func openItems(r *tracev1.DayReport) uint32 {
	return uint32(len(r.GetUnsigned())+len(r.GetConflicts())+len(r.GetSilentDevices())+len(r.GetUnsyncedDevices())) + r.GetHeldEdits()
}

// standingClose is the record of a day's close, and the close in it that stands: of those not taken back the one that saw the most, which no clock decides.
type standingClose struct {
	key     record.Key
	closing *chartv1.Closing
	late    []*tracev1.LateEntry // what it had not seen
}

// standing finds the close that stands. The key is zero when the day has no record of one.
func (c *clinicDay) standing() (out standingClose, err error) {
	for _, k := range c.closeKeys() {
		r, err := c.typed(c.ctx, k)
		if err != nil {
			return out, err
		}
		if out.key.ID.IsZero() {
			out.key = k
		}
		for _, x := range r.GetDayClose().GetClosings() {
			if x.GetTakenBack() != nil || x.GetSeen() == nil {
				continue
			}
			late, err := c.late(x)
			if err != nil {
				return out, err
			}
			if out.closing == nil || cmp.Or(cmp.Compare(len(late), len(out.late)), cmp.Compare(x.GetId(), out.closing.GetId())) < 0 {
				out = standingClose{k, x, late}
			}
		}
	}
	return out, nil
}
