package export_test

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// r4 is the JSON schema of FHIR R4 (4.0.1), compiled once for all tests, a definition at a time.
type r4 struct {
	compiler *jsonschema.Compiler
	compiled map[string]*jsonschema.Schema
}

const schemaURL = "http://hl7.org/fhir/json-schema/4.0"

var openR4 = sync.OnceValues(func() (*r4, error) {
	packed, err := os.Open("testdata/fhir.schema.json.gz")
	if err != nil {
		return nil, err
	}
	defer packed.Close()
	text, err := gzip.NewReader(packed)
	if err != nil {
		return nil, err
	}
	doc, err := jsonschema.UnmarshalJSON(text)
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft6)
	return &r4{c, map[string]*jsonschema.Schema{}}, c.AddResource(schemaURL, doc)
})

func mustR4(t testing.TB) *r4 {
	t.Helper()
	s, err := openR4()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// validate holds a resource, as JSON, against the schema's definition of its type.
func (s *r4) validate(resource []byte) error {
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(resource))
	if err != nil {
		return err
	}
	m, _ := v.(map[string]any)
	kind, _ := m["resourceType"].(string)
	if kind == "" {
		return fmt.Errorf("no resourceType")
	}
	if s.compiled[kind] == nil {
		if s.compiled[kind], err = s.compiler.Compile(schemaURL + "#/definitions/" + kind); err != nil {
			return err
		}
	}
	return s.compiled[kind].Validate(v)
}

const ucumSystem = "http://unitsofmeasure.org"

// codes is the codes of each system of testdata/fhir_codes.csv, and those of UCUM that testdata/ucum.csv has and that may count units of a product or
// measure something: not the enzyme unit. {vial} is an annotation, which UCUM allows for any count (from memory).
func codes(t testing.TB) map[string][]string {
	t.Helper()
	out := map[string][]string{ucumSystem: {"{vial}"}}
	for _, r := range table(t, "testdata/fhir_codes.csv") {
		out[r[0]] = append(out[r[0]], r[1])
	}
	for _, r := range table(t, "testdata/ucum.csv") {
		if r[0] != "U" {
			out[ucumSystem] = append(out[ucumSystem], r[0])
		}
		if r[0] == "[arb'U]" && r[2] != "yes" {
			t.Errorf("%s is no arbitrary unit of UCUM", r[0])
		}
	}
	return out
}

// table is the rows of a file without its header.
func table(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// The schema refuses what it should: otherwise the tests that find nothing would prove nothing.
func TestSchema_RefusesFaults(t *testing.T) {
	s := mustR4(t)
	good := `{"resourceType":"Patient","id":"a","gender":"female","birthDate":"1980-01-31","name":[{"text":"A"}]}`
	if err := s.validate([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string][2]string{
		"unknown field": {`"gender"`, `"sex"`}, "unknown code": {`"female"`, `"f"`}, "no date": {"1980-01-31", "31.1.1980"},
		"empty text": {`"text":"A"`, `"text":""`}, "text for a list": {`[{"text":"A"}]`, `"A"`}, "a bad id": {`"id":"a"`, `"id":"a_b"`},
	} {
		if err := s.validate([]byte(strings.Replace(good, change[0], change[1], 1))); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if err := s.validate([]byte(`{"resourceType":"MedicationAdministration","id":"a","status":"completed"}`)); err == nil {
		t.Error("an administration to nobody: no error")
	}
}

// parsed is an export as plain JSON, its numbers as text.
type parsed struct {
	resources []map[string]any
	byName    map[string]map[string]any
}

func (p parsed) of(kind string) (out []map[string]any) {
	for _, r := range p.resources {
		if r["resourceType"] == kind {
			out = append(out, r)
		}
	}
	return out
}

func parse(t testing.TB, ndjson []byte) parsed {
	t.Helper()
	p := parsed{byName: map[string]map[string]any{}}
	for line := range bytes.Lines(ndjson) {
		if line[len(line)-1] != '\n' {
			t.Fatalf("a line without an end: %s", line)
		}
		d := json.NewDecoder(bytes.NewReader(line))
		d.UseNumber()
		m := map[string]any{}
		if err := d.Decode(&m); err != nil {
			t.Fatalf("%v: %s", err, line)
		}
		name := fmt.Sprintf("%v/%v", m["resourceType"], m["id"])
		if p.byName[name] != nil {
			t.Fatalf("%s stands twice", name)
		}
		p.byName[name] = m
		p.resources = append(p.resources, m)
	}
	return p
}

// get walks maps and the first items of lists.
func get(v any, path ...string) any {
	for _, name := range path {
		if list, ok := v.([]any); ok && len(list) > 0 {
			v = list[0]
		}
		m, _ := v.(map[string]any)
		v = m[name]
	}
	return v
}

func text(v any, path ...string) string {
	s, _ := get(v, path...).(string)
	return s
}

// checkRules holds an export against what the schema does not say. The rules are FHIR R4's (4.0.1), of the sections on the resources named; they are
// written from memory of the specification but for the codes, which testdata/fhir_codes.csv holds.
func checkRules(t testing.TB, p parsed) {
	t.Helper()
	known := codes(t)
	statuses := map[string][]string{
		"MedicationAdministration": known["http://terminology.hl7.org/CodeSystem/medication-admin-status"],
		"Procedure":                known["http://hl7.org/fhir/event-status"],
		"Media":                    known["http://hl7.org/fhir/event-status"],
		"Consent":                  known["http://hl7.org/fhir/consent-state-codes"],
		"MedicationRequest":        {"active", "on-hold", "cancelled", "completed", "entered-in-error", "stopped", "draft", "unknown"}, // from memory
		"Encounter": {"planned", "arrived", "triaged", "in-progress", "onleave", "finished", "cancelled",
			"entered-in-error", "unknown"}, // the schema's enumeration
	}
	for name, r := range p.byName {
		kind, _ := r["resourceType"].(string)
		if want := statuses[kind]; want != nil && !slices.Contains(want, text(r, "status")) {
			t.Errorf("%s: status %q, want one of %v", name, r["status"], want)
		}
		checkParts(t, name, r, p, known)
		switch kind {
		case "MedicationAdministration":
			checkAdministration(t, name, r)
		case "Consent":
			if get(r, "policyRule") == nil || get(r, "patient") == nil {
				t.Errorf("%s: a policy and a patient are wanted (ppc-1, ppc-5)", name)
			}
		case "AdverseEvent", "Procedure", "MedicationRequest":
			if get(r, "subject") == nil {
				t.Errorf("%s: no subject", name)
			}
		}
	}
}

// checkAdministration: effective[x], one of medication[x], and a dose in arbitrary units (mad-1).
func checkAdministration(t testing.TB, name string, r map[string]any) {
	t.Helper()
	if text(r, "effectiveDateTime") == "" {
		t.Errorf("%s: no effective[x]", name)
	}
	if (r["medicationCodeableConcept"] == nil) == (r["medicationReference"] == nil) {
		t.Errorf("%s: want one of medication[x]", name)
	}
	dose := get(r, "dosage", "dose")
	if text(dose, "code") != "[arb'U]" || text(dose, "system") != ucumSystem || text(dose, "unit") != "units" {
		t.Errorf("%s: dose %v", name, dose)
	}
	if _, ok := get(dose, "value").(json.Number); !ok {
		t.Errorf("%s: the dose is no number: %v", name, dose)
	}
}

// plainDecimal has a digit before the point and no zero after the last digit that counts, as safe-dose practice wants, and no exponent.
var plainDecimal = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]*[1-9])?$`)

// checkParts walks everything: nothing is empty (ele-1), references resolve or are logical, codes of the systems of fhir_codes.csv are theirs, days are
// days of the calendar.
func checkParts(t testing.TB, path string, v any, p parsed, known map[string][]string) {
	t.Helper()
	switch x := v.(type) {
	case map[string]any:
		if len(x) == 0 {
			t.Errorf("%s: empty", path)
		}
		if r, ok := x["reference"].(string); ok && p.byName[r] == nil {
			t.Errorf("%s: %s is not in the export", path, r)
		}
		if code, ok := x["code"].(string); ok && known[text(x, "system")] != nil && !slices.Contains(known[text(x, "system")], code) {
			t.Errorf("%s: %v is no code of %v", path, code, x["system"])
		}
		for name, part := range x {
			checkParts(t, path+"."+name, part, p, known)
		}
		if strings.HasSuffix(path, ".extension") && len(x) != 2 {
			t.Errorf("%s: an extension has a url and one value: %v", path, x)
		}
	case []any:
		if len(x) == 0 {
			t.Errorf("%s: empty", path)
		}
		for _, part := range x {
			checkParts(t, path, part, p, known)
		}
	case string:
		if strings.TrimSpace(x) == "" {
			t.Errorf("%s: blank", path)
		}
		if name := path[strings.LastIndex(path, ".")+1:]; strings.HasSuffix(name, "Date") && len(x) == len(time.DateOnly) {
			if _, err := time.Parse(time.DateOnly, x); err != nil {
				t.Errorf("%s: %v", path, err)
			}
		}
	case json.Number:
		if !plainDecimal.MatchString(x.String()) {
			t.Errorf("%s: %s is no plain decimal", path, x)
		}
	case nil:
		t.Errorf("%s: null", path)
	}
}
