package chart_test

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// desk is several replicas that chart on one record, in memory.
type desk struct {
	testing.TB
	schema   *record.Schema
	chart    *chart.Chart
	counters map[byte]uint64
	ids      uint64
	at       time.Time
}

func newDesk(t testing.TB) *desk {
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	return &desk{TB: t, schema: s, chart: chart.New(s, staff{}), counters: map[byte]uint64{}, at: time.UnixMilli(1_790_000_000_000).UTC()}
}

// staff names everybody by the first byte of the id, and puts replica n on device n.
type staff struct{}

func (staff) StaffName(id record.ID) string { return "Staff " + string(rune('A'+id[0])) }

func (staff) Device(r causal.ReplicaID) (record.ID, string) {
	if r[0] == 's' {
		return record.ID{}, ""
	}
	return record.ID{0: 0xd0, 15: r[0]}, "Tablet " + string(rune(r[0]))
}

func (d *desk) id() record.ID {
	d.ids++
	return record.ID(binary.BigEndian.AppendUint64([]byte{0xaa, 0, 0, 0, 0, 0, 0, 0}, d.ids))
}

// edit makes a change on a replica's state and returns the state after it. The state given is left as it is.
func (d *desk) edit(st *record.State, replica byte, c chart.Change) *record.State {
	d.Helper()
	e := d.makeEdit(replica, c)
	out := st.Clone()
	out.Apply(&e)
	return out
}

func (d *desk) makeEdit(replica byte, c chart.Change) record.Edit {
	d.Helper()
	d.counters[replica]++
	e := record.Edit{
		ID: d.id(), Dot: causal.Dot{Replica: causal.ReplicaID{0: replica}, Counter: d.counters[replica]}, Key: c.Key, Context: c.Context,
		Author: record.ID{0: 1, 15: replica}, AuthoredAt: d.at.UnixMilli(), Writes: c.Writes,
	}
	if err := e.Valid(); err != nil {
		d.Fatal(err)
	}
	if refusal := d.schema.Check(&e, record.FromDevice); refusal != nil {
		d.Fatal(refusal)
	}
	return e
}

// put edits by a typed message, from the state given.
func (d *desk) put(st *record.State, replica byte, r *chartv1.Record, mask ...string) *record.State {
	d.Helper()
	c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: r, UpdateMask: mask, Context: chart.WriteContext(st.Seen)})
	if err != nil {
		d.Fatal(err)
	}
	return d.edit(st, replica, c)
}

const (
	sessionID = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001"
	patientID = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a002"
	otherID   = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a003"
)

func sessionKey() record.Key {
	id, _ := record.ParseID(sessionID)
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: id}
}

func sessionRecord(s *chartv1.Session) *chartv1.Record {
	s.Id = sessionID
	return &chartv1.Record{Kind: &chartv1.Record_Session{Session: s}}
}

func planned(product string, milliunits int32) *chartv1.Session {
	return &chartv1.Session{Injections: []*chartv1.Injection{{
		Id: otherID, Muscle: proto.String("mentalis"), Planned: &chartv1.Dose{Product: product, DoseMilliunits: milliunits},
	}}}
}

// disputed is a session of which one dose was planned on two tablets that had not seen each other.
func (d *desk) disputed() *record.State {
	d.Helper()
	base := d.put(record.NewState(sessionKey()), 'a', sessionRecord(&chartv1.Session{PatientId: proto.String(patientID)}), "patient_id")
	left := d.put(base, 'a', sessionRecord(planned("onabotulinumtoxinA", 4000)))
	right := d.put(base, 'b', sessionRecord(planned("onabotulinumtoxinA", 2500)))
	return record.Join(left, right)
}

const dosePath = "injections[" + otherID + "].planned"

func TestView_ShowsAConflictAndNoneOfItsValues(t *testing.T) {
	d := newDesk(t)
	st := d.disputed()
	v, err := d.chart.View(chart.Source{State: st})
	if err != nil {
		t.Fatal(err)
	}
	in := v.GetRecord().GetSession().GetInjections()
	if len(in) != 1 || in[0].GetPlanned() != nil || in[0].GetMuscle() != "mentalis" {
		t.Errorf("injections are %v, want the muscle on which both agree and no dose", in)
	}
	if len(v.GetConflicts()) != 1 {
		t.Fatalf("conflicts: %v", v.GetConflicts())
	}
	c := v.GetConflicts()[0]
	if c.GetPath() != dosePath || len(c.GetSiblings()) != 2 || string(c.GetContext()) != string(v.GetContext()) {
		t.Errorf("conflict: %v", c)
	}
	if got := c.GetSiblings()[0].GetValueJson(); got != `{"product":"onabotulinumtoxinA","dose_milliunits":4000}` {
		t.Errorf("value as JSON: %s", got)
	}
	author := c.GetSiblings()[1].GetAuthors()[0]
	if author.GetStaffName() != "Staff B" || author.GetDeviceLabel() != "Tablet b" || author.GetDot().GetCounter() != 1 || !author.GetAuthoredAt().AsTime().Equal(d.at) {
		t.Errorf("author: %v", author)
	}
	digest := st.Digest()
	if string(v.GetDigest()) != string(digest[:]) {
		t.Error("the view's digest is not the state's")
	}
}

func TestView_EqualValuesStandOnceWithAllTheirAuthors(t *testing.T) {
	d := newDesk(t)
	empty := record.NewState(sessionKey())
	one := d.put(empty, 'a', sessionRecord(&chartv1.Session{OrderId: proto.String(patientID)}), "order_id")
	two := d.put(empty, 'b', sessionRecord(&chartv1.Session{OrderId: proto.String(patientID)}), "order_id")
	three := d.put(empty, 's', sessionRecord(&chartv1.Session{}), "order_id")
	conflicts := d.chart.Conflicts(record.Join(record.Join(one, two), three))
	if len(conflicts) != 1 || len(conflicts[0].GetSiblings()) != 2 {
		t.Fatalf("conflicts: %v", conflicts)
	}
	s := conflicts[0].GetSiblings()
	if len(s[0].GetAuthors()) != 2 || s[0].GetValueJson() != `"`+patientID+`"` || !s[1].GetCleared() || s[1].GetValueJson() != "" {
		t.Errorf("siblings: %v", s)
	}
	if s[1].GetAuthors()[0].GetDeviceId() != "" {
		t.Errorf("the server's edit names a device: %v", s[1])
	}
}

func TestEdit_AWholeElementSentBackSettlesNothing(t *testing.T) {
	d := newDesk(t)
	st := d.disputed()
	v, err := d.chart.View(chart.Source{State: st})
	if err != nil {
		t.Fatal(err)
	}
	after := d.put(st, 'a', v.GetRecord(), "injections["+otherID+"]")
	if n := len(after.Conflicts()); n != 1 {
		t.Errorf("%d conflicts after a view was sent back, want 1", n)
	}
}

func TestEdit_NormalisesText(t *testing.T) {
	d := newDesk(t)
	const decomposed, composed = "Ana\u00efs Le\u0301vi", "Ana\u00efs L\u00e9vi"
	r := &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patientID, Name: &recordv1.PersonName{Full: decomposed}}}}
	c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: r})
	if err != nil {
		t.Fatal(err)
	}
	typed, err := chart.Typed(d.edit(record.NewState(c.Key), 'a', c))
	if err != nil {
		t.Fatal(err)
	}
	if got := typed.GetPatient().GetName().GetFull(); got != composed {
		t.Errorf("name is %+q, want %+q", got, composed)
	}
	if r.GetPatient().GetName().GetFull() != decomposed {
		t.Error("the request was changed")
	}
}

// TestRow20_TextThatHidesOrTurns holds each character that no record may hold against the check, through an edit of a name.
func TestRow20_TextThatHidesOrTurns(t *testing.T) {
	d := newDesk(t)
	for name, text := range map[string]string{
		"NUL": "An\x00na", "escape": "An\x1bna", "DEL": "An\x7fna", "C1 control": "An\u0085na", "right-to-left override": "An\u202ena",
		"isolate": "An\u2066na", "zero-width space": "An\u200bna", "byte order mark": "An\ufeffna", "a name of 1 MB": strings.Repeat("a", 1<<20),
	} {
		r := &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patientID, Name: &recordv1.PersonName{Full: text}}}}
		c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: r, UpdateMask: []string{"name"}})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		refusal := d.schema.Check(&record.Edit{Key: c.Key, Writes: c.Writes}, record.FromDevice)
		if refusal == nil || refusal.Reason != faultv1.Reason_REASON_INVALID_FIELD || refusal.Field != "name.full" {
			t.Errorf("%s: %v", name, refusal)
		}
	}
	r := &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patientID, Name: &recordv1.PersonName{Full: "An\xffna"}}}}
	if c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: r, UpdateMask: []string{"name"}}); !fault.Has(err, faultv1.Reason_REASON_INVALID_FIELD) {
		t.Errorf("text that is not UTF-8: %v, %v", c, err)
	}
}

// TestRow9_FieldsThatAnEditMayNotSet tries what only the server or another call sets.
func TestRow9_FieldsThatAnEditMayNotSet(t *testing.T) {
	d := newDesk(t)
	practice := &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: patientID, Practice: &chartv1.PracticeMark{}}}}
	c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: practice, UpdateMask: []string{"practice"}})
	if err != nil {
		t.Fatal(err)
	}
	if refusal := d.schema.Check(&record.Edit{Key: c.Key, Writes: c.Writes}, record.FromDevice); refusal == nil || refusal.Reason != faultv1.Reason_REASON_OUTPUT_ONLY {
		t.Errorf("a field of the server's: %v", refusal)
	}
	signed := sessionRecord(&chartv1.Session{Signatures: []*chartv1.Signature{{Id: otherID, Statement: proto.String("mine")}}})
	for _, path := range []string{"signatures[" + otherID + "]", "signatures[" + otherID + "].content"} {
		if c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: signed, UpdateMask: []string{path}}); !fault.Has(err, faultv1.Reason_REASON_OUTPUT_ONLY) {
			t.Errorf("%s: %v, %v", path, c, err)
		}
	}
	if c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: signed}); !fault.Has(err, faultv1.Reason_REASON_OUTPUT_ONLY) {
		t.Errorf("a signature without a mask: %v, %v", c, err)
	}
	if c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: signed, UpdateMask: []string{"id"}}); !fault.Has(err, faultv1.Reason_REASON_INVALID_FIELD) {
		t.Errorf("the id: %v, %v", c, err)
	}
}

func TestEdit_Refuses(t *testing.T) {
	d := newDesk(t)
	for name, c := range map[string]struct {
		req   *chartv1.EditRecordRequest
		field string
	}{
		"no record":       {&chartv1.EditRecordRequest{}, "record"},
		"no id":           {&chartv1.EditRecordRequest{Record: &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: &chartv1.Vial{}}}}, "record.vial.id"},
		"half a context":  {&chartv1.EditRecordRequest{Record: sessionRecord(&chartv1.Session{}), Context: []byte{1, 2}}, "context"},
		"more than one":   {&chartv1.EditRecordRequest{Record: sessionRecord(&chartv1.Session{}), Context: []byte{0, 0}}, "context"},
		"a path unknown":  {&chartv1.EditRecordRequest{Record: sessionRecord(&chartv1.Session{}), UpdateMask: []string{"colour"}}, "update_mask"},
		"in a register":   {&chartv1.EditRecordRequest{Record: sessionRecord(&chartv1.Session{}), UpdateMask: []string{"on.year"}}, "update_mask"},
		"only an element": {&chartv1.EditRecordRequest{Record: sessionRecord(&chartv1.Session{}), UpdateMask: []string{"injections"}}, "update_mask"},
	} {
		change, err := d.chart.Edit(c.req)
		if f := fault.Of(err); f == nil || f.Reason != faultv1.Reason_REASON_INVALID_FIELD || f.Field != c.field {
			t.Errorf("%s: %v, %v", name, change, err)
		}
	}
}

// TestRow11_TimesThatNoMessageCarries reads a record that a tablet with a clock gone wrong wrote past every check, and refuses such times at the door.
func TestRow11_TimesThatNoMessageCarries(t *testing.T) {
	d := newDesk(t)
	wrong := &recordv1.Void{Reason: "x", By: patientID, At: &timestamppb.Timestamp{Seconds: 1 << 60, Nanos: -1}}
	b, err := proto.Marshal(&chartv1.Session{Void: wrong, PatientId: proto.String(patientID)})
	if err != nil {
		t.Fatal(err)
	}
	writes, err := d.schema.Split(sessionKey().Kind, b)
	if err != nil {
		t.Fatal(err)
	}
	st := record.NewState(sessionKey())
	st.Apply(&record.Edit{ID: d.id(), Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, Key: sessionKey(), Author: record.ID{1},
		AuthoredAt: math.MinInt64, Writes: writes})
	v, err := d.chart.View(chart.Source{State: st})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := protojson.Marshal(v); err != nil {
		t.Errorf("one time keeps the record from its readers: %v", err)
	}
	if got := v.GetRecord().GetSession().GetVoid().GetAt().AsTime().Year(); got != 9999 {
		t.Errorf("the time is shown as of the year %d, want 9999", got)
	}
	for field, s := range map[string]*chartv1.Session{
		"void.at": {Void: wrong}, "on": {On: &recordv1.Date{Year: 2026, Month: 2, Day: 29}},
	} {
		_, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: sessionRecord(s), UpdateMask: []string{"void", "on"}})
		if f := fault.Of(err); f == nil || f.Reason != faultv1.Reason_REASON_INVALID_FIELD || f.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}
