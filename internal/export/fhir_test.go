package export_test

import (
	"bytes"
	"encoding/json"
	"math/big"
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/export"
)

const organisationID = "6f1b1a52-0000-4000-8000-000000000001"

func mustNew(t testing.TB, views []*chartv1.RecordView, patients ...string) *export.Export {
	t.Helper()
	x, err := export.New(export.Scope{Organisation: export.Organisation{ID: organisationID, Name: "Oreth Sound Clinics"}, Patients: patients}, views)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func mustNDJSON(t testing.TB, x *export.Export) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := x.WriteNDJSON(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// checkExport holds every resource of an export against the schema and the rules, and returns it parsed.
func checkExport(t testing.TB, x *export.Export) parsed {
	t.Helper()
	schema, ndjson := mustR4(t), mustNDJSON(t, x)
	for line := range bytes.Lines(ndjson) {
		if err := schema.validate(line); err != nil {
			t.Errorf("%v\n%s", err, line)
		}
	}
	p := parse(t, ndjson)
	checkRules(t, p)
	return p
}

// Records of every kind with any part missing come out valid, whole and for each patient.
func TestFHIR_GeneratedRecords(t *testing.T) {
	seeds, records, resources := uint64(24), 0, map[string]int{}
	for seed := range seeds {
		d := newDrawer(seed)
		views := d.records(2)
		records += len(views)
		for _, r := range checkExport(t, mustNew(t, views)).resources {
			resources[r["resourceType"].(string)]++
		}
		one := checkExport(t, mustNew(t, views, d.pool["patient"][0]))
		for _, r := range one.of("Patient") {
			if r["id"] != d.pool["patient"][0] {
				t.Errorf("seed %d: the export of one patient holds another: %v", seed, r["id"])
			}
		}
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
	t.Logf("%d records, %v", records, resources)
	for _, kind := range []string{
		"Organization", "Location", "Practitioner", "Patient", "Medication", "MedicationRequest", "Encounter", "Procedure",
		"MedicationAdministration", "AdverseEvent", "Consent", "Media", "Provenance", "OperationOutcome",
	} {
		if resources[kind] == 0 {
			t.Errorf("no %s was made", kind)
		}
	}
}

// The Bundle is valid as a whole, and every reference of its own is the full URL of an entry.
func TestFHIR_Bundle(t *testing.T) {
	schema := mustR4(t)
	for seed := range uint64(2) {
		d := newDrawer(seed)
		b, err := mustNew(t, d.records(1)).Bundle()
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.validate(b); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		var bundle struct {
			Entry []struct {
				FullURL  string          `json:"fullUrl"`
				Resource json.RawMessage `json:"resource"`
			} `json:"entry"`
		}
		if err := json.Unmarshal(b, &bundle); err != nil {
			t.Fatal(err)
		}
		known := parsed{byName: map[string]map[string]any{}}
		for _, e := range bundle.Entry {
			if known.byName[e.FullURL] != nil {
				t.Errorf("seed %d: %s stands twice", seed, e.FullURL)
			}
			known.byName[e.FullURL] = map[string]any{"": ""}
		}
		for _, e := range bundle.Entry {
			var v any
			if err := json.Unmarshal(e.Resource, &v); err != nil {
				t.Fatal(err)
			}
			checkParts(t, e.FullURL, v, known, codes(t))
		}
	}
}

// The same records in any order give the same bytes, in every form.
func TestExport_Deterministic(t *testing.T) {
	for seed := range uint64(6) {
		d := newDrawer(seed)
		views := d.records(2)
		a, b := mustNew(t, views), mustNew(t, d.shuffled(views))
		if !bytes.Equal(mustNDJSON(t, a), mustNDJSON(t, b)) {
			t.Errorf("seed %d: two orders, two NDJSON files", seed)
		}
		first, err := a.Bundle()
		if err != nil {
			t.Fatal(err)
		}
		second, err := b.Bundle()
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, second) {
			t.Errorf("seed %d: two orders, two bundles", seed)
		}
		for _, table := range export.Tables() {
			if !bytes.Equal(mustCSV(t, a, table), mustCSV(t, b, table)) {
				t.Errorf("seed %d: two orders, two tables of %s", seed, table)
			}
		}
	}
}

// Nothing given is lost and no dose changes: each giving is an administration with exactly its dose and status, or is listed as left out.
func TestFHIR_GivingsAreWhole(t *testing.T) {
	exact := 0
	for seed := range uint64(16) {
		views := newDrawer(seed).records(6)
		p := parse(t, mustNDJSON(t, mustNew(t, views)))
		made := map[string]map[string]any{}
		for _, a := range p.of("MedicationAdministration") {
			made[text(a, "identifier", "value")] = a
		}
		listed := map[string]bool{}
		for _, o := range p.of("OperationOutcome") {
			for _, i := range o["issue"].([]any) {
				e := get(i, "extension").([]any)
				name := text(e[0], "valueString")
				if len(e) > 1 {
					name += "/" + text(e[1], "valueString")
				}
				listed[name] = true
			}
		}
		for _, v := range views {
			s := v.GetRecord().GetSession()
			if s == nil {
				continue
			}
			for _, i := range s.GetInjections() {
				for _, g := range i.GetGivings() {
					path := "session/" + s.GetId() + "/injections[" + i.GetId() + "].givings[" + g.GetId() + "]"
					a := made[path]
					if a == nil {
						session := "session/" + s.GetId() // listed whole when its patient is for practice or in conflict
						if !listed[path+".given"] && !listed[path+".done"] && !listed[session] && !listed[session+"/patient_id"] {
							t.Errorf("seed %d: %s is neither exported nor listed", seed, path)
						}
						continue
					}
					got, ok := new(big.Rat).SetString(get(a, "dosage", "dose", "value").(json.Number).String())
					if want := big.NewRat(int64(g.GetGiven().GetDose().GetDoseMilliunits()), 1000); !ok || got.Cmp(want) != 0 {
						t.Errorf("seed %d: %s: %v units, want %v", seed, path, get(a, "dosage", "dose", "value"), want)
					}
					if voided := g.Void != nil || s.Void != nil; voided != (a["status"] == "entered-in-error") {
						t.Errorf("seed %d: %s: status %v, voided %t", seed, path, a["status"], voided)
					}
					exact++
				}
			}
		}
	}
	if exact < 50 {
		t.Errorf("only %d givings were compared", exact)
	}
}

// What the views hold is left as it was.
func TestExport_LeavesTheViews(t *testing.T) {
	views := newDrawer(4).records(2)
	before := make([]proto.Message, len(views))
	for i, v := range views {
		before[i] = proto.Clone(v)
	}
	x := mustNew(t, views)
	mustNDJSON(t, x)
	for _, table := range export.Tables() {
		mustCSV(t, x, table)
	}
	for i, v := range views {
		if !proto.Equal(v, before[i]) {
			t.Errorf("view %d was changed", i)
		}
	}
}
