package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/device"
	"needlebook/internal/export"
)

const importCSVHelp = `
Brings in patients and what they were given before, from tables of another
system, through a server that runs and by your rights there. docs/import.md says
what the mapping holds.

  needlebook import-csv --mapping map.json --patients patients.csv \
    --treatments treatments.csv --dry-run
  needlebook import-csv --mapping map.json --patients patients.csv \
    --treatments treatments.csv --report misfits.csv \
    --server http://127.0.0.1:8740 --name lena --password-file password

Each row that does not fit is listed, none of it is brought in, and the command
fails; the others are brought in. What is there already is left as it is, so the
same tables may be brought in again when the rows that did not fit are mended.`

func importCSVCommand() command {
	return command{name: "import-csv", short: "bring in patients and past treatments from tables", long: importCSVHelp,
		usage: "--mapping FILE --patients FILE [flags]", run: runImportCSV}
}

// bringing is an import of tables.
type bringing struct {
	*importMap
	office   *office // nil where the tables are only read
	dry      bool
	by       *recordv1.Act
	order    []string // patients' ids there, as they came
	patients map[string]*chartv1.Patient
	rows     map[string]int // of each patient's id there
	misfits  []misfit
	done     broughtIn
}

// broughtIn is what came of an import of tables.
type broughtIn struct {
	DryRun            bool     `json:"dry_run"`
	Patients          int      `json:"patients_new"`
	PatientsThere     int      `json:"patients_there"`
	Treatments        int      `json:"treatments_new"`
	TreatmentsThere   int      `json:"treatments_there"`
	UnknownDoses      int      `json:"treatments_with_unknown_dose"`
	RowsThatDidNotFit []misfit `json:"rows_that_did_not_fit"`
}

func runImportCSV(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("import-csv")
	f.Init("import-csv", flag.ContinueOnError)
	mapping := f.String("mapping", "", "JSON `file` that says which column is what")
	patients := f.String("patients", "", "CSV `file` of patients")
	treatments := f.String("treatments", "", "CSV `file` of treatments; none without it")
	report := f.String("report", "", "new `file` for the rows that did not fit, as CSV")
	dry := f.Bool("dry-run", false, "do nothing; without --server the tables alone are read")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *mapping == "" || *patients == "" {
		return usagef("%s: want --mapping and --patients", f.Name())
	}
	if *report != "" {
		if err := free(f.Name(), "--report", *report); err != nil {
			return err
		}
	}
	b, err := f.bringing(ctx, e, *mapping, *dry)
	if err != nil {
		return err
	}
	err = b.run(ctx, *patients, *treatments)
	b.done.RowsThatDidNotFit = b.misfits
	return errors.Join(err, b.tell(e, f.json, *report))
}

// bringing reads the mapping and signs in, where there is something to ask or to write.
func (f *officeFlags) bringing(ctx context.Context, e env, mapping string, dry bool) (*bringing, error) {
	text, err := os.ReadFile(mapping)
	if err != nil {
		return nil, usagef("%s: --mapping: %v", f.Name(), err)
	}
	m, err := readImportMap(text)
	if err != nil {
		return nil, usagef("%s: --mapping: %v", f.Name(), err)
	}
	b := &bringing{importMap: m, dry: dry, patients: map[string]*chartv1.Patient{}, rows: map[string]int{}, done: broughtIn{DryRun: dry}}
	at := timestamppb.New(e.now().UTC().Truncate(time.Second))
	if dry && f.server == "" {
		b.by = &recordv1.Act{By: uuid.NewString(), At: at}
		return b, nil
	}
	if b.office, err = f.signIn(ctx); err != nil {
		return nil, err
	}
	b.by = &recordv1.Act{By: b.office.staff.GetId(), At: at}
	return b, nil
}

// run reads both tables before the first record is written.
func (b *bringing) run(ctx context.Context, patients, treatments string) error {
	if err := b.read("patients", patients, b.Patients, b.takePatient); err != nil {
		return err
	}
	if treatments != "" {
		if b.Treatments == nil {
			return usagef("import-csv: --mapping: has no treatments, want their columns")
		}
		if err := b.read("treatments", treatments, b.Treatments, b.takeTreatment); err != nil {
			return err
		}
	}
	for _, id := range b.order {
		if err := b.bring(ctx, b.patients[id]); err != nil {
			return fmt.Errorf("patients, row %d: %w", b.rows[id], err)
		}
	}
	return nil
}

func (b *bringing) read(name, path string, columns map[string]string, fn func(*row)) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return usagef("import-csv: --%s: %v", name, err)
	}
	s := &sheet{importMap: b.importMap, name: name, columns: columns}
	if err := s.read(text, fn); err != nil {
		return usagef("import-csv: %v", err)
	}
	b.misfits = append(b.misfits, s.misfits...)
	return nil
}

func (b *bringing) takePatient(r *row) {
	id := r.cell("id")
	if before, twice := b.rows[id]; twice && id != "" {
		r.refuse("id", id, fmt.Sprintf("each patient once; row %d has it", before))
		return
	}
	b.rows[id] = r.number
	if p := r.patient(b.by); p != nil {
		b.order, b.patients[id] = append(b.order, id), p
	}
}

func (b *bringing) takeTreatment(r *row) {
	whose, t := r.treatment(b.by)
	if t == nil {
		return
	}
	p := b.patients[whose]
	switch {
	case p == nil:
		r.refuse("patient_id", whose, "a patient of the table of patients whose row fits")
	case len(p.GetPriorTreatments()) == 200:
		r.refuse("patient_id", whose, "a patient of at most 200 treatments")
	default:
		for _, other := range p.GetPriorTreatments() {
			if other.GetId() == t.GetId() {
				r.refuse("id", r.cell("id"), "each treatment once")
				return
			}
		}
		p.PriorTreatments = append(p.PriorTreatments, t)
	}
}

// bring makes a patient's record, or adds the treatments that it lacks. What is there is left as it is: somebody may have mended it.
func (b *bringing) bring(ctx context.Context, p *chartv1.Patient) error {
	view, err := b.there(ctx, p.GetId())
	if err != nil {
		return err
	}
	mask, lacking := []string{}, []*chartv1.PriorTreatment{}
	for _, t := range p.GetPriorTreatments() {
		if has(view, t.GetId()) {
			b.done.TreatmentsThere++
			continue
		}
		b.done.Treatments++
		if t.GetReport().DoseMilliunits == nil {
			b.done.UnknownDoses++
		}
		mask, lacking = append(mask, "prior_treatments["+t.GetId()+"]"), append(lacking, t)
	}
	if view != nil {
		b.done.PatientsThere++
		p = &chartv1.Patient{Id: p.GetId(), PriorTreatments: lacking}
	} else {
		b.done.Patients++
		mask = append(mask, "name", "imported", "identifiers["+p.GetIdentifiers()[0].GetId()+"]")
		for path, set := range map[string]bool{"birth": p.Birth != nil, "sex": p.Sex != nil, "contact": p.Contact != nil, "language": p.Language != nil} {
			if set {
				mask = append(mask, path)
			}
		}
	}
	if b.dry || len(mask) == 0 {
		return nil
	}
	_, err = ask(ctx, b.office, b.office.chart.EditRecord, &chartv1.EditRecordRequest{RequestId: uuid.NewString(), Context: view.GetContext(), UpdateMask: mask,
		Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: p}}})
	return err
}

// there is the record as it is on the server; nil when there is none, or nobody is asked.
func (b *bringing) there(ctx context.Context, id string) (*chartv1.RecordView, error) {
	if b.office == nil {
		return nil, nil
	}
	resp, err := ask(ctx, b.office, b.office.chart.GetRecord, &chartv1.GetRecordRequest{Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, RecordId: id}})
	var refused *device.RefusedError
	if errors.As(err, &refused) && refused.Fault.Reason == faultv1.Reason_REASON_NOT_FOUND {
		return nil, nil
	}
	return resp.GetView(), err
}

func has(view *chartv1.RecordView, treatment string) bool {
	for _, t := range view.GetRecord().GetPatient().GetPriorTreatments() {
		if t.GetId() == treatment {
			return true
		}
	}
	return false
}

// errMisfits says that rows did not fit; the answer lists them.
var errMisfits = errors.New("rows did not fit")

// tell prints what came of it.
func (b *bringing) tell(e env, asJSON bool, report string) error {
	var err error
	if report != "" && len(b.misfits) > 0 {
		err = writeMisfits(report, b.misfits)
	}
	if asJSON {
		err = errors.Join(err, printValue(e.stdout, b.done))
	} else {
		b.print(e.stdout)
	}
	if n := len(b.misfits); n > 0 {
		err = errors.Join(err, fmt.Errorf("import-csv: %d of the cells or %w", n, errMisfits))
	}
	return err
}

func (b *bringing) print(w io.Writer) {
	did := "Brought in"
	if b.dry {
		did = "Would bring in"
	}
	d := &b.done
	fmt.Fprintf(w, "%s %s and %s, %d with a dose that is not known.\n", did, tallied(d.Patients, "patient", ""), tallied(d.Treatments, "treatment", ""), d.UnknownDoses)
	fmt.Fprintf(w, "There already: %s and %s.\n", tallied(d.PatientsThere, "patient", ""), tallied(d.TreatmentsThere, "treatment", ""))
	for _, m := range b.misfits {
		fmt.Fprintf(w, "%s, row %d, column %q: read %q, want %s\n", m.Table, m.Row, m.Column, m.Read, m.Want)
	}
}

// writeMisfits writes the rows that did not fit as a table.
func writeMisfits(path string, all []misfit) error {
	var rows [][]string
	for _, m := range all {
		rows = append(rows, []string{m.Table, strconv.Itoa(m.Row), m.Column, m.Read, m.Want})
	}
	var b bytes.Buffer
	if err := export.WriteRows(&b, []string{"table", "row", "column", "read", "want"}, rows); err != nil {
		return err
	}
	return writeNew(path, b.Bytes())
}
