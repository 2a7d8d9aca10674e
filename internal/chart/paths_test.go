package chart_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
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
