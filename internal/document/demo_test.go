package document_test

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
	"needlebook/internal/demo"
	"needlebook/internal/document"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/server"
)

// The demo's years come out for everybody who was treated.
func TestWrite_TheDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("plays a day on a server")
	}
	dir := filepath.Join(t.TempDir(), "demo")
	d, err := demo.Play(t.Context(), demo.Config{Seed: 1, Patients: demo.FewestPatients, Dir: dir, Listen: "127.0.0.1:0", Out: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	views := demoViews(t, dir)
	most, written := 0, 0
	for _, v := range views {
		p := v.GetRecord().GetPatient()
		if p == nil {
			continue
		}
		in := document.Input{Organisation: "Demo", At: time.Date(2026, 6, 1, 9, 30, 0, 0, time.UTC), Patients: []string{p.GetId()}}
		visits := 0
		for _, o := range views {
			s := o.GetRecord().GetSession()
			if s != nil && s.GetPatientId() != p.GetId() || o.GetRecord().GetPatient() != nil && o != v || o.GetRecord().GetAdverseEvent() != nil && o.GetRecord().GetAdverseEvent().GetPatientId() != p.GetId() {
				continue
			}
			if s != nil {
				visits++
			}
			in.Views = append(in.Views, o)
		}
		if visits <= most {
			continue
		}
		most = visits
		data, err := document.Write(in)
		if err != nil {
			t.Fatal(err)
		}
		written++
		if dir := os.Getenv("DOCUMENT_DIR"); dir != "" { // to be looked at
			if err := os.WriteFile(filepath.Join(dir, "demo.pdf"), data, 0o600); err != nil {
				t.Error(err)
			}
		}
	}
	if written == 0 {
		t.Error("nobody was written")
	}
}

func demoViews(t *testing.T, dir string) (out []*chartv1.RecordView) {
	c := server.Default()
	c.Data, c.Listen, c.MinFreeBytes = dir, "127.0.0.1:0", -1
	s, err := server.Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	orgs, err := s.Service().Organisations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	ch := chart.New(sch, nil)
	for _, kind := range sch.Kinds() {
		err := s.Service().Ledger().Scan(t.Context(), record.ID(orgs[0].ID), kind, func(st *record.State) error {
			v, err := ch.View(chart.Source{State: st})
			out = append(out, v)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}
