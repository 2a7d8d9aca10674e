package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"needlebook/internal/anatomy"
)

// importMap says how the tables of another system are read.
type importMap struct {
	// System names the other system. With the ids there it makes the ids here, so it must stay the same from import to import.
	System string `json:"system"`
	// Separator is one character; empty means a comma.
	Separator string `json:"separator"`
	// DateFormats are tried in order, with YYYY, MM and DD, such as DD.MM.YYYY. A treatment's may lack the day, or day and month.
	DateFormats  []string `json:"date_formats"`
	DecimalComma bool     `json:"decimal_comma"`
	// Patients and Treatments are columns by field.
	Patients   map[string]string `json:"patients"`
	Treatments map[string]string `json:"treatments"`
	// Products, Regions and Sexes are the names there, and what they are here.
	Products map[string]string `json:"products"`
	Regions  map[string]string `json:"regions"`
	Sexes    map[string]string `json:"sexes"`
}

// The fields that columns may be named for.
func patientFields() []string {
	return []string{"id", "full_name", "given_name", "family_name", "birth_date", "sex", "phone", "email", "street", "postal_code", "city", "country", "language"}
}

func treatmentFields() []string {
	return []string{"id", "patient_id", "date", "product", "dose_units", "regions", "place"}
}

// readImportMap reads a mapping and refuses what it does not know, so that a mistyped field is not left out in silence.
func readImportMap(b []byte) (*importMap, error) {
	var m importMap
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("more after the mapping")
	}
	return &m, m.check()
}

func (m *importMap) check() error {
	if m.System == "" || len(m.System) > 120 {
		return fmt.Errorf("system: read %d bytes, want a name of 1 to 120", len(m.System))
	}
	if m.Separator != "" && (len(m.Separator) != 1 || strings.ContainsAny(m.Separator, "\"\r\n")) {
		return fmt.Errorf("separator: read %q, want one character", m.Separator)
	}
	if len(m.DateFormats) == 0 {
		return fmt.Errorf("date_formats: none, want at least one such as YYYY-MM-DD")
	}
	for _, f := range m.DateFormats {
		if strings.Count(f, "YYYY") != 1 || strings.Contains(f, "DD") && !strings.Contains(f, "MM") {
			return fmt.Errorf("date_formats: read %q, want YYYY, MM and DD, each once", f)
		}
	}
	if err := knownColumns("patients", m.Patients, patientFields()); err != nil {
		return err
	}
	if m.Patients["id"] == "" || m.Patients["full_name"] == "" && m.Patients["family_name"] == "" {
		return fmt.Errorf("patients: want columns for id, and for full_name or family_name")
	}
	if err := knownColumns("treatments", m.Treatments, treatmentFields()); err != nil {
		return err
	}
	if m.Treatments != nil && (m.Treatments["id"] == "" || m.Treatments["patient_id"] == "" || m.Treatments["date"] == "") {
		return fmt.Errorf("treatments: want columns for id, patient_id and date")
	}
	for there, here := range m.Regions {
		if !slices.Contains(anatomy.Regions(), anatomy.Region(here)) {
			return fmt.Errorf("regions: %s: read %q, want one of %v", there, here, anatomy.Regions())
		}
	}
	return nil
}

func knownColumns(what string, columns map[string]string, fields []string) error {
	for _, field := range slices.Sorted(maps.Keys(columns)) {
		if !slices.Contains(fields, field) || columns[field] == "" {
			return fmt.Errorf("%s: read %q for %q, want a column for one of %s", what, columns[field], field, strings.Join(fields, ", "))
		}
	}
	return nil
}

// date reads a day by the first format that fits, and how much of it the format holds: 1 the year, 2 the month, 3 the day.
func (m *importMap) date(text string) (at time.Time, parts int, ok bool) {
	for _, f := range m.DateFormats {
		layout := strings.NewReplacer("YYYY", "2006", "MM", "01", "DD", "02").Replace(f)
		at, err := time.Parse(layout, text)
		if err != nil || at.Year() < 1850 || at.Year() > 2200 {
			continue
		}
		parts = 1
		if strings.Contains(f, "MM") {
			parts++
		}
		if strings.Contains(f, "DD") {
			parts++
		}
		return at, parts, true
	}
	return time.Time{}, 0, false
}

func (m *importMap) dates() string { return "a day as " + strings.Join(m.DateFormats, " or ") }
