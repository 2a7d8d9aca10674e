package main

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

func testMap(t testing.TB) *importMap {
	m, err := readImportMap([]byte(`{"system": "Old book", "date_formats": ["DD.MM.YYYY", "MM/YYYY", "YYYY"], "patients": {"id": "nr", "full_name": "name", "birth_date": "born"},
 "treatments": {"id": "no", "patient_id": "pat", "date": "day", "product": "drug", "dose_units": "units"}, "products": {"ona": "onabotulinumtoxinA"}}`))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func someAct() *recordv1.Act {
	return &recordv1.Act{By: uuid.NewString(), At: &timestamppb.Timestamp{Seconds: 1}}
}

// treatmentsOf reads a table of treatments.
func treatmentsOf(t testing.TB, text string) (out []*chartv1.PriorTreatment, misfits []misfit, err error) {
	m := testMap(t)
	s := &sheet{importMap: m, name: "treatments", columns: m.Treatments}
	err = s.read([]byte(text), func(r *row) {
		if _, p := r.treatment(someAct()); p != nil {
			out = append(out, p)
		}
	})
	return out, s.misfits, err
}

// What a table does not say stays unknown: no zero, no day that nobody wrote.
func TestImportRows_WhatIsNotSaidIsNotKnown(t *testing.T) {
	out, misfits, err := treatmentsOf(t, "no,pat,day,drug,units\r\n1,7,05/2024,ona,\r\n2,7,2023,,\r\n3,7,03.05.2025,ona,2.50\r\n")
	if err != nil || len(misfits) > 0 || len(out) != 3 {
		t.Fatalf("%v, %v, %d", err, misfits, len(out))
	}
	first, second, third := out[0].GetReport(), out[1].GetReport(), out[2].GetReport()
	if first.DoseMilliunits != nil || first.GetOn().GetMonth() != 5 || first.GetOn().Day != nil || first.GetProduct() != "onabotulinumtoxinA" {
		t.Errorf("read %v", first)
	}
	if second.Product != nil || second.GetOn().Month != nil || second.GetOn().GetYear() != 2023 {
		t.Errorf("read %v", second)
	}
	if third.GetDoseMilliunits() != 2500 || third.GetOn().GetDay() != 3 || !strings.Contains(third.GetPlace(), "Old book, 3") {
		t.Errorf("read %v", third)
	}
}

// A treatment that was brought in counts in the toxin history, its unknown dose as unknown.
func TestImportRows_CountInTheToxinHistory(t *testing.T) {
	out, _, err := treatmentsOf(t, "no,pat,day,drug,units\n1,7,03.05.2025,ona,\n")
	if err != nil {
		t.Fatal(err)
	}
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	h, err := reckon.GetToxinHistory(e, &dosev1.GetToxinHistoryRequest{On: &recordv1.Date{Year: 2025, Month: 6, Day: 1},
		Subject: &dosev1.GetToxinHistoryRequest_Facts{Facts: &dosev1.HistoryFacts{Patient: &chartv1.Patient{Id: uuid.NewString(), PriorTreatments: out}}}})
	if err != nil {
		t.Fatal(err)
	}
	unknown := slices.ContainsFunc(h.GetFindings(), func(f *dosev1.Finding) bool { return f.GetCode() == reckon.CodeDoseUnknown })
	if len(h.GetProducts()) != 1 || h.GetProducts()[0].GetProduct() != "onabotulinumtoxinA" || !unknown {
		t.Errorf("read %v", h)
	}
}

func TestImportRows_EveryMisfitHasItsRowAndColumn(t *testing.T) {
	_, misfits, err := treatmentsOf(t, "no,pat,day,drug,units\n1,7,soon,ona,1\n2,7,2024,ona,-1\n3,7,2024,,5\n4,7,2024,ona\n,,2024,ona,1\n5,7,2024,\"o\"na,1\n6,7,2024,ona,0\n")
	if err != nil {
		t.Fatal(err)
	}
	type cell struct {
		row    int
		column string
	}
	var got []cell
	for _, m := range misfits {
		got = append(got, cell{m.Row, m.Column})
		if m.Want == "" {
			t.Errorf("%v wants nothing", m)
		}
	}
	if want := []cell{{2, "day"}, {3, "units"}, {4, "units"}, {5, ""}, {6, "no"}, {6, "pat"}, {7, ""}, {8, "units"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("read %v, want %v", got, want)
	}
}

// The ids are those of before, so that a second import finds what the first made; of another system they are others.
func TestBroughtID(t *testing.T) {
	m, other := testMap(t), testMap(t)
	other.System = "Other book"
	id := m.broughtID("patient", "7")
	if id != m.broughtID("patient", "7") || id == m.broughtID("treatment", "7") || id == other.broughtID("patient", "7") {
		t.Error("ids are not by system, what and id")
	}
	if u, err := uuid.Parse(id); err != nil || u.Version() != 8 || u.Variant() != uuid.RFC4122 {
		t.Errorf("%s: %v", id, err)
	}
}

func FuzzImportRows(f *testing.F) {
	f.Add("no,pat,day,drug,units\n1,7,03.05.2025,ona,2.5\n")
	f.Add("\ufeffno,pat,day,drug,units\n\"1\n\",7,2024,ona,\n")
	f.Fuzz(func(t *testing.T, text string) {
		out, misfits, err := treatmentsOf(t, text)
		if err != nil {
			return
		}
		for _, p := range out {
			if r := p.GetReport(); r.GetOn() == nil || r.DoseMilliunits != nil && (r.GetDoseMilliunits() < 1 || r.Product == nil) || utf8.RuneCountInString(r.GetPlace()) > 200 {
				t.Errorf("read %v", r)
			}
		}
		for _, m := range misfits {
			if m.Row < 2 || m.Want == "" {
				t.Errorf("%v", m)
			}
		}
	})
}

func FuzzImportMap(f *testing.F) {
	f.Add(`{"system": "x", "date_formats": ["YYYY"], "patients": {"id": "a", "full_name": "b"}}`)
	f.Fuzz(func(t *testing.T, text string) {
		m, err := readImportMap([]byte(text))
		if err != nil {
			return
		}
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := readImportMap(b); err != nil || !reflect.DeepEqual(again.Patients, m.Patients) || again.System != m.System {
			t.Errorf("%s: %v", b, err)
		}
	})
}
