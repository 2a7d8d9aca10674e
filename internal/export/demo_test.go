//go:build !js

package export_test

import (
	"flag"
	"io"
	"path/filepath"
	"testing"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
	"needlebook/internal/demo"
	"needlebook/internal/export"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/server"
)

// demoPatients is how many patients the demo has whose records are exported. The default is the fewest; the proof over a thousand is
//
//	go test ./internal/export -run TestDemo -v -patients 1000
var demoPatients = flag.Int("patients", demo.FewestPatients, "how many patients the demo has whose records are exported")

// demoViews is every record of a demo's day, as the server holds it.
func demoViews(t *testing.T, patients int) []*chartv1.RecordView {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo")
	d, err := demo.Play(t.Context(), demo.Config{Seed: 1, Patients: patients, Dir: dir, Listen: "127.0.0.1:0", Out: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	c := server.Default()
	c.Data, c.Listen, c.MinFreeBytes = dir, "127.0.0.1:0", -1
	s, err := server.Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	orgs, err := s.Service().Organisations(t.Context())
	if err != nil || len(orgs) != 1 {
		t.Fatalf("%v, %v", orgs, err)
	}
	return allViews(t, s.Service().Ledger(), record.ID(orgs[0].ID))
}

func allViews(t *testing.T, l *ledger.Ledger, org record.ID) (out []*chartv1.RecordView) {
	t.Helper()
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	c := chart.New(sch, nil)
	for _, kind := range sch.Kinds() {
		err := l.Scan(t.Context(), org, kind, func(st *record.State) error {
			v, err := c.View(chart.Source{State: st})
			out = append(out, v)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// The years and the day of the demo's clinics come out valid, whole and for a patient; nothing given is missing.
func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("plays a day on a server")
	}
	views := demoViews(t, *demoPatients)
	began := time.Now()
	x := mustNew(t, views)
	size, wrote := len(mustNDJSON(t, x)), time.Since(began)
	p := checkExport(t, x)
	t.Logf("%d records became %d resources, %d bytes, in %v", len(views), len(p.resources), size, wrote)
	given, patients, vials := 0, 0, 0
	var somebody string
	for _, v := range views {
		for _, i := range v.GetRecord().GetSession().GetInjections() {
			given += len(i.GetGivings())
		}
		if id := v.GetRecord().GetPatient().GetId(); id != "" {
			patients++
			somebody = id
		}
		if v.GetRecord().GetVial() != nil {
			vials++
		}
	}
	for kind, want := range map[string]int{"MedicationAdministration": given, "Patient": patients, "Medication": vials} {
		if got := len(p.of(kind)); got != want || want == 0 {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	if rows := records(t, mustCSV(t, x, export.Injections)); len(rows) != given {
		t.Errorf("%d rows of injections, want %d", len(rows), given)
	}
	checkExport(t, mustNew(t, views, somebody))
}
