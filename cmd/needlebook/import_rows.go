package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
)

// misfit is a cell, or a row, that did not fit. Nothing of its row is brought in.
type misfit struct {
	Table  string `json:"table"` // patients or treatments
	Row    int    `json:"row"`   // as a spreadsheet counts: the header is 1
	Column string `json:"column"`
	Read   string `json:"read"`
	Want   string `json:"want"`
}

// sheet is a table of another system while it is read.
type sheet struct {
	*importMap
	name    string
	columns map[string]string // field -> column
	at      map[string]int    // field -> place in a row
	misfits []misfit
}

// row is one row, with what did not fit of it.
type row struct {
	*sheet
	number int
	cells  []string
	bad    bool
}

func (r *row) refuse(field, read, want string) {
	r.bad = true
	r.misfits = append(r.misfits, misfit{r.name, r.number, r.columns[field], read, want})
}

// cell is what stands in the column of a field; empty when there is none.
func (r *row) cell(field string) string {
	if i, ok := r.at[field]; ok {
		return strings.TrimSpace(r.cells[i])
	}
	return ""
}

// bounded is cell, refused when it is longer than the record's field takes.
func (r *row) bounded(field string, most int) string {
	text := r.cell(field)
	if utf8.RuneCountInString(text) > most {
		r.refuse(field, text, fmt.Sprintf("at most %d characters", most))
	}
	return text
}

// read calls fn with each row that has as many cells as the header. The error is about the table as a whole.
func (s *sheet) read(text []byte, fn func(*row)) error {
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	in.FieldsPerRecord = -1
	if s.Separator != "" {
		in.Comma = rune(s.Separator[0])
	}
	head, err := in.Read()
	if err != nil {
		return fmt.Errorf("%s: the header: %w", s.name, err)
	}
	s.at = map[string]int{}
	for field, column := range s.columns {
		i := slices.Index(head, column)
		if i < 0 || slices.Contains(head[i+1:], column) {
			return fmt.Errorf("%s: read the columns %q, want %q once, for %s", s.name, head, column, field)
		}
		s.at[field] = i
	}
	for number := 2; ; number++ {
		cells, err := in.Read()
		r := &row{sheet: s, number: number, cells: cells}
		var wrong *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.As(err, &wrong):
			r.refuse("", wrong.Err.Error(), "a row as RFC 4180 has it")
		case err != nil:
			return fmt.Errorf("%s: row %d: %w", s.name, number, err)
		case len(cells) != len(head):
			r.refuse("", fmt.Sprintf("%d cells", len(cells)), fmt.Sprintf("%d, as the header has", len(head)))
		case !utf8.ValidString(strings.Join(cells, "")):
			r.refuse("", fmt.Sprintf("%q", cells), "UTF-8")
		default:
			fn(r)
		}
	}
}

// broughtID is the id here of something there: a UUID of version 8 (RFC 9562) hashed from the system, what it is and its id, so that it is found again.
func (m *importMap) broughtID(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(append([]string{"needlebook import", m.System}, parts...), "\x00")))
	id := uuid.UUID(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80
	return id.String()
}

// patient is a row as a patient; nil when something of it did not fit.
func (r *row) patient(by *recordv1.Act) *chartv1.Patient {
	number := r.bounded("id", 64)
	if number == "" {
		r.refuse("id", "", "the id of the patient there")
	}
	p := &chartv1.Patient{Id: r.broughtID("patient", number), Imported: &recordv1.ImportOrigin{System: r.System, Row: number, Imported: by}}
	full := r.bounded("full_name", 200)
	family, given := r.bounded("family_name", 100), r.bounded("given_name", 100)
	if full == "" {
		full = strings.TrimSpace(given + " " + family)
	}
	if full == "" {
		field := "full_name"
		if r.columns[field] == "" {
			field = "family_name"
		}
		r.refuse(field, "", "a name")
	}
	p.Name = &recordv1.PersonName{Full: full, Family: family, Given: given}
	r.birth(p, by)
	if sex := r.cell("sex"); sex != "" {
		here, ok := r.Sexes[sex]
		if !ok {
			r.refuse("sex", sex, "one of the mapping's sexes")
		}
		p.Sex = &here
	}
	r.contact(p)
	if language := r.bounded("language", 35); language != "" {
		p.Language = &language
	}
	p.Identifiers = []*chartv1.PatientIdentifier{{Id: r.broughtID("identifier", number), Value: &chartv1.IdentifierValue{Kind: "record_number", Issuer: r.System, Number: number}}}
	if r.bad {
		return nil
	}
	return p
}

func (r *row) birth(p *chartv1.Patient, by *recordv1.Act) {
	text := r.cell("birth_date")
	if text == "" {
		return // unknown, which guardrails hold
	}
	at, parts, ok := r.date(text)
	if !ok || parts < 3 {
		r.refuse("birth_date", text, r.dates()+", whole, or empty when it is not known")
		return
	}
	p.Birth = &chartv1.BirthDate{Date: &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())},
		Proof: chartv1.BirthProof_BIRTH_PROOF_REFERRAL, Checked: by}
}

func (r *row) contact(p *chartv1.Patient) {
	c := &recordv1.Contact{Phone: r.bounded("phone", 64), Email: r.bounded("email", 254), Street: r.bounded("street", 200), PostalCode: r.bounded("postal_code", 20),
		City: r.bounded("city", 100), Country: r.cell("country")}
	if n := len(c.Country); n != 0 && (n != 2 || strings.ToUpper(c.Country) != c.Country) {
		r.refuse("country", c.Country, "two capital letters of ISO 3166-1, or empty")
	}
	if !proto.Equal(c, &recordv1.Contact{}) {
		p.Contact = c
	}
}

// treatment is a row as a treatment that was given there, and whose; nil when something of it did not fit. What is empty is not known, and never zero.
func (r *row) treatment(by *recordv1.Act) (patient string, t *chartv1.PriorTreatment) {
	number, whose := r.bounded("id", 64), r.cell("patient_id")
	if number == "" {
		r.refuse("id", "", "the id of the treatment there")
	}
	if whose == "" {
		r.refuse("patient_id", "", "the id of the patient there")
	}
	report := &chartv1.PriorTreatmentReport{Origin: chartv1.ReportOrigin_REPORT_ORIGIN_DOCUMENT, Taken: by}
	report.On = r.day()
	r.given(report)
	for name := range strings.SplitSeq(r.cell("regions"), ";") {
		if name = strings.TrimSpace(name); name == "" {
			continue
		}
		here, ok := r.Regions[name]
		if !ok {
			r.refuse("regions", name, "one of the mapping's regions; several are parted by semicolons")
		}
		if !slices.Contains(report.Regions, here) {
			report.Regions = append(report.Regions, here)
		}
	}
	report.Place = strings.TrimSpace(r.bounded("place", 60) + " (" + r.System + ", " + number + ")")
	if utf8.RuneCountInString(report.Place) > 200 {
		r.refuse("place", report.Place, "with the system and the id at most 200 characters")
	}
	if r.bad {
		return whose, nil
	}
	return whose, &chartv1.PriorTreatment{Id: r.broughtID("treatment", number), Report: report}
}

func (r *row) day() *recordv1.ApproximateDate {
	text := r.cell("date")
	at, parts, ok := r.date(text)
	if !ok {
		r.refuse("date", text, r.dates())
		return nil
	}
	on := &recordv1.ApproximateDate{Year: int32(at.Year())}
	if parts > 1 {
		on.Month = proto.Int32(int32(at.Month()))
	}
	if parts > 2 {
		on.Day = proto.Int32(int32(at.Day()))
	}
	return on
}

// given reads product and dose.
func (r *row) given(report *chartv1.PriorTreatmentReport) {
	name, text := r.cell("product"), r.cell("dose_units")
	if name != "" {
		product, ok := r.Products[name]
		if !ok {
			r.refuse("product", name, "one of the mapping's products, or empty when it is not known")
			return
		}
		report.Product = &product
	}
	if text == "" {
		return
	}
	if name == "" {
		r.refuse("dose_units", text, "empty, where the product is not known: units of one product are not units of another")
		return
	}
	plain := text
	if r.DecimalComma {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	if strings.Contains(plain, ".") {
		plain = strings.TrimSuffix(strings.TrimRight(plain, "0"), ".")
	}
	amount, err := dose.ParseAmount(dose.Product(*report.Product), plain)
	if err != nil || amount.Milliunits() < 1 || amount.Milliunits() > 10_000_000 {
		r.refuse("dose_units", text, "units as a number from 0.001 to 10000, or empty when the dose is not known")
		return
	}
	report.DoseMilliunits = proto.Int32(int32(amount.Milliunits()))
}
