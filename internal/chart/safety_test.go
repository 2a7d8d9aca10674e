package chart_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// stateOf is a record that one edit made.
func stateOf(t *testing.T, k record.Key, m proto.Message) *record.State {
	t.Helper()
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	b, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	writes, err := sch.Split(k.Kind, b)
	if err != nil {
		t.Fatal(err)
	}
	e := record.Edit{ID: record.ID{1}, Key: k, Author: record.ID{2}, Dot: causal.Dot{Replica: causal.ReplicaID{3}, Counter: 1}, Writes: writes}
	return record.Fold(k, []record.Edit{e})
}

func sessionOn(t *testing.T, id byte, on *recordv1.Date, product string, void bool) *record.State {
	t.Helper()
	giving := &chartv1.Giving{Id: record.ID{id, 2}.String(), Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: product, DoseMilliunits: 2000}}}
	if void {
		giving.Void = &recordv1.Void{Reason: "entered on the wrong patient"}
	}
	return stateOf(t, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: record.ID{id}}, &chartv1.Session{
		On: on, Injections: []*chartv1.Injection{{Id: record.ID{id, 1}.String(), Givings: []*chartv1.Giving{giving}}},
	})
}

func TestSafety_SaysTheLatestTreatmentOfEachProductAndTheAlertsThatStand(t *testing.T) {
	patient := record.ID{9}
	p := stateOf(t, record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient}, &chartv1.Patient{
		Name: &recordv1.PersonName{Full: "Ilse Marrow"},
		Alerts: []*chartv1.Alert{
			{Id: record.ID{7, 1}.String(), Content: &chartv1.AlertContent{Text: "cow's milk protein"}},
			{Id: record.ID{7, 2}.String(), Content: &chartv1.AlertContent{Text: "no longer"}, Ended: &recordv1.Void{Reason: "retested"}},
		},
	})
	got := chart.Safety(patient, []*record.State{
		p,
		sessionOn(t, 1, &recordv1.Date{Year: 2026, Month: 3, Day: 1}, "onabotulinumtoxinA", false),
		sessionOn(t, 2, &recordv1.Date{Year: 2026, Month: 9, Day: 30}, "onabotulinumtoxinA", false),
		sessionOn(t, 3, &recordv1.Date{Year: 2026, Month: 10, Day: 30}, "onabotulinumtoxinA", true),
		sessionOn(t, 4, nil, "abobotulinumtoxinA", false),
	})
	if len(got.GetAlerts()) != 1 || got.GetAlerts()[0] != "cow's milk protein" || got.GetName().GetFull() != "Ilse Marrow" {
		t.Errorf("alerts and name: %v", got)
	}
	if len(got.GetTreatments()) != 2 {
		t.Fatalf("treatments: %v", got.GetTreatments())
	}
	if abo := got.GetTreatments()[0]; abo.GetProduct() != "abobotulinumtoxinA" || abo.GetOn() != nil {
		t.Errorf("a treatment on an unknown day is listed without one: %v", abo)
	}
	if ona := got.GetTreatments()[1]; ona.GetOn().GetMonth() != 9 {
		t.Errorf("the voided giving counts, or an older one won: %v", ona)
	}
}
