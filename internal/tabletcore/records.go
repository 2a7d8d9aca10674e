package tabletcore

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"slices"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

// Kinds of records, by short names.
const (
	kindPatient     = optionsv1.RecordKind_RECORD_KIND_PATIENT
	kindAppointment = optionsv1.RecordKind_RECORD_KIND_APPOINTMENT
	kindSession     = optionsv1.RecordKind_RECORD_KIND_SESSION
	kindVial        = optionsv1.RecordKind_RECORD_KIND_VIAL
	kindStaff       = optionsv1.RecordKind_RECORD_KIND_STAFF
	kindDevice      = optionsv1.RecordKind_RECORD_KIND_DEVICE
)

// messageJSON is a message as JSON: names as in the schema; what is absent is left out.
func messageJSON(m proto.Message) (json.RawMessage, error) {
	return protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
}

// messagesJSON is messages as a list.
func messagesJSON[M proto.Message](all []M) (json.RawMessage, error) {
	out := []byte{'['}
	for i, m := range all {
		if i > 0 {
			out = append(out, ',')
		}
		raw, err := messageJSON(m)
		if err != nil {
			return nil, err
		}
		out = append(out, raw...)
	}
	return append(out, ']'), nil
}

func messagesAnswer[M proto.Message](all []M) (answer, error) {
	raw, err := messagesJSON(all)
	return answer{json: raw}, err
}

// key reads the key of a record.
func readKey(field string, m *chartv1.RecordKey) (record.Key, error) {
	k, ok := chart.ReadKey(m)
	if !ok {
		return k, fault.New(faultv1.Reason_REASON_INVALID_FIELD, field, "", "the kind and the id of a record")
	}
	return k, nil
}

// viewOf is a record as a reader sees it; nil when this replica holds neither a value nor a held edit of it.
func (c *Core) viewOf(k record.Key) (*chartv1.RecordView, error) {
	st, held := c.replica.View(k), c.replica.Held(k)
	if st.Empty() && len(held) == 0 {
		return nil, nil
	}
	return c.chart.View(chart.Source{State: st, Held: held})
}

// view shows one record: {"kind", "record_id"}; null when there is nothing of it.
func view(c *Core, r request) (answer, error) {
	m := &chartv1.RecordKey{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	k, err := readKey("key", m)
	if err != nil {
		return answer{}, err
	}
	raw, err := c.viewJSON(k)
	if err != nil || raw == nil {
		return answer{json: json.RawMessage("null")}, err
	}
	return answer{json: raw}, nil
}

func (c *Core) views(keys []record.Key) (answer, error) {
	out := []byte{'['}
	for _, k := range keys {
		raw, err := c.viewJSON(k)
		if err != nil {
			return answer{}, err
		}
		if raw == nil {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		out = append(out, raw...)
	}
	return answer{json: json.RawMessage(append(out, ']'))}, nil
}

// list shows the records of a kind, by id, as ListRecords of ChartService does: the request is its request.
func list(c *Core, r request) (answer, error) {
	m := &chartv1.ListRecordsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return answer{}, err
	}
	patient, err := optionalID("patient_id", m.PatientId)
	if err != nil {
		return answer{}, err
	}
	var keys []record.Key
	for _, k := range c.replica.Keys(m.GetKind()) {
		f := c.factsOf(k)
		if (clinic.IsZero() || slices.Contains(f.Clinics, clinic)) && (patient.IsZero() || slices.Contains(f.Patients, patient)) &&
			(m.GetOn() == nil || hasDay(f, m.GetOn())) {
			keys = append(keys, k)
		}
	}
	return c.views(keys)
}

func optionalID(field string, text *string) (record.ID, error) {
	if text == nil {
		return record.ID{}, nil
	}
	return readID(field, *text)
}

func hasDay(f *chart.Facts, on *recordv1.Date) bool {
	return slices.ContainsFunc(f.Days, func(d *recordv1.Date) bool { return dayNumber(d) == dayNumber(on) })
}

// dayNumber orders days; the parts of a date that is no day of the calendar are in their places, too.
func dayNumber(d *recordv1.Date) int {
	return int(d.GetYear())*10_000 + int(d.GetMonth())*100 + int(d.GetDay())
}

// lastDay is the latest of a record's days; 0 for none.
func lastDay(f *chart.Facts) (last int) {
	for _, d := range f.Days {
		last = max(last, dayNumber(d))
	}
	return last
}

// defaultSessions is how many sessions a list has when the request does not say.
const defaultSessions = 50

// sessions shows sessions, newest day first, as ListSessions of ChartService does: the request is its request.
func sessions(c *Core, r request) (answer, error) {
	m := &chartv1.ListSessionsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	clinic, err := optionalID("clinic_id", m.ClinicId)
	if err != nil {
		return answer{}, err
	}
	patient, err := optionalID("patient_id", m.PatientId)
	if err != nil {
		return answer{}, err
	}
	responsible, err := optionalID("responsible_id", m.ResponsibleId)
	if err != nil {
		return answer{}, err
	}
	one := c.onePerson(patient)
	var keys []record.Key
	for _, k := range c.replica.Keys(kindSession) {
		f := c.factsOf(k)
		if (patient.IsZero() || overlap(f.Patients, one)) && (clinic.IsZero() || slices.Contains(f.Clinics, clinic)) &&
			(responsible.IsZero() || slices.Contains(f.Responsible, responsible)) && (!m.GetUnsignedOnly() || !f.Signed) && within(f, m.GetFrom(), m.GetUntil()) {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b record.Key) int { return cmp.Or(lastDay(c.factsOf(b))-lastDay(c.factsOf(a)), a.Compare(b)) })
	most := int(m.GetPageSize())
	if most == 0 {
		most = defaultSessions
	}
	return c.views(keys[:min(most, len(keys))])
}

func within(f *chart.Facts, from, until *recordv1.Date) bool {
	return (from == nil || slices.ContainsFunc(f.Days, func(d *recordv1.Date) bool { return dayNumber(d) >= dayNumber(from) })) &&
		(until == nil || slices.ContainsFunc(f.Days, func(d *recordv1.Date) bool { return dayNumber(d) <= dayNumber(until) }))
}

func overlap(a, b []record.ID) bool {
	return slices.ContainsFunc(a, func(id record.ID) bool { return slices.Contains(b, id) })
}

// conflicts shows the fields with more than one value: of a record, of a patient's records, or all: {"key", "patient_id"}, as ListConflicts asks.
func conflicts(c *Core, r request) (answer, error) {
	m := &chartv1.ListConflictsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	patient, err := optionalID("patient_id", m.PatientId)
	if err != nil {
		return answer{}, err
	}
	keys := c.replica.Keys(0)
	if m.GetKey() != nil {
		k, err := readKey("key", m.GetKey())
		if err != nil {
			return answer{}, err
		}
		keys = []record.Key{k}
	}
	var out []*chartv1.Conflict
	for _, k := range keys {
		if patient.IsZero() || slices.Contains(c.factsOf(k).Patients, patient) {
			out = append(out, c.chart.Conflicts(c.replica.View(k))...)
		}
	}
	return messagesAnswer(out)
}

func waits(s syncv1.HeldStatus) bool {
	return s == syncv1.HeldStatus_HELD_STATUS_HELD || s == syncv1.HeldStatus_HELD_STATUS_WAITING
}

// held shows the edits that the server holds back or that wait there, oldest first by their authors' clocks: {"include_judged"}.
func held(c *Core, r request) (answer, error) {
	m := &chartv1.ListHeldEditsRequest{}
	if err := reckon.UnmarshalJSON(r.json, m); err != nil {
		return answer{}, err
	}
	var out []*chartv1.HeldRecordEdit
	for _, k := range c.replica.HeldKeys() {
		for _, h := range c.replica.Held(k) {
			if waits(h.Status) || m.GetIncludeJudged() {
				out = append(out, c.chart.Held(&h, nil))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.HeldRecordEdit) int {
		return a.GetAuthorship().GetAuthoredAt().AsTime().Compare(b.GetAuthorship().GetAuthoredAt().AsTime())
	})
	return messagesAnswer(out)
}

// shownRecovered is a value that a restore of the server lost.
type shownRecovered struct {
	Ref          string          `json:"ref"`
	Key          json.RawMessage `json:"key"`
	Path         string          `json:"path"`
	ValueJSON    string          `json:"value_json"`
	Cleared      bool            `json:"cleared"`
	StaffID      string          `json:"staff_id"`
	StaffName    string          `json:"staff_name"`
	AuthoredAtMS int64           `json:"authored_at_unix_ms"`
}

// refOf names a recovered value on this tablet.
func (c *Core) refOf(rec replica.Recovered) string {
	b := []byte(rec.Key.String() + "\x00" + c.schema.RegisterText(rec.Key.Kind, rec.Register) + "\x00")
	b = append(b, rec.Sibling.Dot.Replica[:]...)
	sum := sha256.Sum256(binary.BigEndian.AppendUint64(b, rec.Sibling.Dot.Counter))
	return hex.EncodeToString(sum[:8])
}

// recovered shows the values that a restore of the server lost and that nobody took yet.
func recovered(c *Core, _ request) (answer, error) {
	out := []shownRecovered{}
	for _, rec := range c.replica.Recovered() {
		key, err := messageJSON(chart.WriteKey(rec.Key))
		if err != nil {
			return answer{}, err
		}
		s := shownRecovered{
			Ref: c.refOf(rec), Key: key, Path: c.schema.RegisterText(rec.Key.Kind, rec.Register), Cleared: rec.Sibling.Cleared,
			StaffID: rec.Info.Author.String(), StaffName: people{c}.StaffName(rec.Info.Author), AuthoredAtMS: rec.Info.AuthoredAt,
		}
		if !s.Cleared {
			s.ValueJSON = chart.ValueJSON(rec.Key.Kind, rec.Register, rec.Sibling.Value)
		}
		out = append(out, s)
	}
	return answer{json: out}, nil
}

// digest is over every record: equal on replicas that hold the same edits.
func digest(c *Core, _ request) (answer, error) {
	d := c.replica.Digest()
	return answer{json: map[string]string{"digest": hex.EncodeToString(bytes.Clone(d[:]))}}, nil
}
