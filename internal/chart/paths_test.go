package chart_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// TestPathsOf_WritesThePartAndNothingElse: the mask of a part writes the same as no mask does, and a record that held more keeps it.
func TestPathsOf_WritesThePartAndNothingElse(t *testing.T) {
	d := newDesk(t)
	part := d.given("onabotulinumtoxinA", 4000)
	part.OrderId = proto.String(patientID)
	r := sessionRecord(part)
	mask, err := chart.PathsOf(r)
	if want := []string{"order_id", "injections[" + otherID + "]"}; err != nil || !slices.Equal(mask, want) {
		t.Fatalf("%v, %v, want %v", mask, err, want)
	}
	before := d.put(record.NewState(sessionKey()), 'a', sessionRecord(&chartv1.Session{ClinicId: proto.String(patientID)}), "clinic_id")
	whole, masked := d.put(before, 'b', r), d.put(before, 'b', r, mask...)
	a, err := chart.Typed(whole)
	if err != nil {
		t.Fatal(err)
	}
	b, err := chart.Typed(masked)
	if err != nil || !proto.Equal(a, b) || b.GetSession().GetClinicId() != patientID {
		t.Errorf("%v\n%v, %v", a, b, err)
	}
}

func TestRecordOf(t *testing.T) {
	s := &chartv1.Session{Id: sessionID}
	if r := chart.RecordOf(s); !proto.Equal(r.GetSession(), s) {
		t.Errorf("record of a session: %v", r)
	}
	if r := chart.RecordOf(&chartv1.Stroke{}); r != nil {
		t.Errorf("record of a stroke: %v", r)
	}
}

// TestFoldIdentity_Practice: somebody who does not exist is nobody's other record.
func TestFoldIdentity_Practice(t *testing.T) {
	d := newDesk(t)
	for _, practice := range []*chartv1.PracticeMark{nil, {Set: &recordv1.Act{By: otherID, At: timestamppb.New(d.at)}}} {
		p := &chartv1.Patient{
			Id: patientID, Name: &recordv1.PersonName{Full: "Nobody"}, Birth: &chartv1.BirthDate{Date: &recordv1.Date{Year: 1980, Month: 1, Day: 1}},
			Practice: practice,
		}
		c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: chart.RecordOf(p)})
		if err != nil {
			t.Fatal(err)
		}
		e := record.Edit{Key: c.Key, Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, Context: c.Context, Writes: c.Writes}
		st := record.NewState(c.Key)
		st.Apply(&e)
		if got := chart.FoldIdentity(st).Void; got != (practice != nil) {
			t.Errorf("practice %v: does not count %v", practice != nil, got)
		}
	}
}
