package export

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	recordv1 "needlebook/gen/needlebook/record/v1"
)

// Table is one of the tables that are written as CSV.
type Table string

// The tables.
const (
	Patients   Table = "patients"
	Sessions   Table = "sessions"
	Injections Table = "injections"
	Vials      Table = "vials"
	Draws      Table = "draws"
)

// Tables lists the tables, in the order of an export.
func Tables() []Table { return []Table{Patients, Sessions, Injections, Vials, Draws} }

// CSVMediaType is the media type of WriteCSV.
const CSVMediaType = "text/csv; charset=utf-8; header=present"

// ErrNoTable says that a table is not one of Tables.
var ErrNoTable = errors.New("there is no such table")

// CSVOptions says how a table is written.
type CSVOptions struct {
	// BOM puts U+FEFF first, which some spreadsheets want to take a file for UTF-8.
	BOM bool
}

// row is a record or an element as its columns.
type row map[string]string

// WriteCSV writes one table: RFC 4180 with a header, rows ended by CR LF, UTF-8, each cell as GuardCell has it. A field in conflict is an empty cell, and
// its path is in the column in_conflict. The error is ErrNoTable or the writer's.
func (x *Export) WriteCSV(w io.Writer, t Table, o CSVOptions) error {
	columns, rows := x.table(t)
	if columns == nil {
		return fmt.Errorf("%q: %w", t, ErrNoTable)
	}
	if o.BOM {
		if _, err := io.WriteString(w, "\ufeff"); err != nil {
			return fmt.Errorf("write %s: %w", t, err)
		}
	}
	out := csv.NewWriter(w)
	out.UseCRLF = true
	cells := slices.Clone(columns)
	for i := -1; i < len(rows); i++ {
		for j, column := range columns {
			if cells[j] = column; i >= 0 {
				cells[j] = GuardCell(rows[i][column])
			}
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("write %s: %w", t, err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write %s: %w", t, err)
	}
	return nil
}

func (x *Export) table(t Table) (columns []string, rows []row) {
	switch t {
	case Patients:
		return strings.Fields(patientColumns), x.patientRows()
	case Sessions:
		return strings.Fields(sessionColumns), x.sessionRows()
	case Injections:
		return strings.Fields(injectionColumns), x.injectionRows()
	case Vials:
		return strings.Fields(vialColumns), x.vialRows()
	case Draws:
		return strings.Fields(drawColumns), x.drawRows()
	}
	return nil, nil
}

// conflicts is the paths in conflict that keep holds, ascending, a space between.
func (e *entry) conflicts(keep func(path string) bool) string {
	var out []string
	for _, path := range sorted(e.conflict) {
		if keep(path) {
			out = append(out, path)
		}
	}
	return strings.Join(out, " ")
}

// person is a person of the staff by name; empty when the person is not among the views.
func (x *Export) person(id string) string {
	s, _ := x.staff(id)
	return s.m.GetName().GetFull()
}

// scaled is an optional quantity as a decimal; empty when absent.
func scaled[N int32 | int64](v *N, places int) string {
	if v == nil {
		return ""
	}
	return decimal(int64(*v), places)
}

// void fills what a row says of its void.
func (r row) void(v *recordv1.Void) {
	r["void_reason"] = v.GetReason()
	r["voided_by_id"] = v.GetBy()
	r["voided_at"] = momentText(v.GetAt())
}
