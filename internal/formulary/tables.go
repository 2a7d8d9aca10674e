package formulary

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// The two tables of a clinic's edition that are no list of entries.
const (
	// editionTable has one row: label and version, and base.version with base.hash when the base is to be named.
	editionTable = "edition"
	// removedTable has a row for each entry of the base that the edition takes away: list, code, reason, by (a staff id) and at.
	removedTable = "removed"
)

// ReadTables reads a clinic's edition from tables in the form of edition/*.csv, each under its list's name, and two more: edition, and removed, which
// takes entries of the base away by their code. The error joins a *TableError for every table, row and cell that cannot be read. What it returns has an
// id for every entry and is not checked: see Check. Nothing is kept.
func ReadTables(base *Edition, tables map[string][]byte) (*formularyv1.FormularyEdition, error) {
	m := &formularyv1.FormularyEdition{}
	var faults []error
	for _, table := range slices.Sorted(maps.Keys(tables)) {
		switch table {
		case editionTable:
			faults = append(faults, readEditionTable(m, tables[table]))
		case removedTable:
			faults = append(faults, readRemovedTable(base, m, tables[table]))
		default:
			faults = append(faults, readTable(m.ProtoReflect(), table, tables[table]))
		}
	}
	return m, errors.Join(faults...)
}

// rowsOf reads a table into its columns and rows.
func rowsOf(table string, text []byte) (columns []string, records [][]string, err error) {
	rows := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	if columns, err = rows.Read(); err != nil {
		return nil, nil, &TableError{Table: table, Line: 1, Err: err}
	}
	if records, err = rows.ReadAll(); err != nil {
		return nil, nil, &TableError{Table: table, Err: err}
	}
	return columns, records, nil
}

func readEditionTable(m *formularyv1.FormularyEdition, text []byte) error {
	columns, records, err := rowsOf(editionTable, text)
	if err != nil {
		return err
	}
	if len(records) != 1 {
		return &TableError{Table: editionTable, Line: 1, Err: fmt.Errorf("read %d rows, want one", len(records))}
	}
	var faults []error
	for c, column := range columns {
		err := fmt.Errorf("the edition's table has label, version, base.version and base.hash")
		if slices.Contains([]string{"label", "version", "base.version", "base.hash"}, column) {
			err = setPath(m.ProtoReflect(), column, records[0][c])
		}
		if err != nil {
			faults = append(faults, &TableError{Table: editionTable, Line: 2, Column: column, Err: err})
		}
	}
	return errors.Join(faults...)
}

func readRemovedTable(base *Edition, m *formularyv1.FormularyEdition, text []byte) error {
	columns, records, err := rowsOf(removedTable, text)
	if err != nil {
		return err
	}
	var faults []error
	for i, record := range records {
		row := map[string]string{}
		for c, column := range columns {
			row[column] = record[c]
		}
		if column, err := removeEntry(base, m, row); err != nil {
			faults = append(faults, &TableError{Table: removedTable, Line: i + 2, Column: column, Err: err})
		}
	}
	return errors.Join(faults...)
}

// removeEntry takes away the entry of the base that a row names; of an error it says the column.
func removeEntry(base *Edition, m *formularyv1.FormularyEdition, row map[string]string) (column string, err error) {
	list, ok := listByName(row["list"])
	if !ok {
		return "list", fmt.Errorf("read %q, want the name of a list", row["list"])
	}
	old, ok := base.entry(list, row["code"])
	if !ok {
		return "code", fmt.Errorf("read %q, want an entry of the base", row["code"])
	}
	void := &recordv1.Void{Reason: row["reason"], By: row["by"]}
	if row["at"] != "" {
		at, err := time.Parse(time.RFC3339, row["at"])
		if err != nil {
			return "at", fmt.Errorf("read %q, want a time such as 2026-03-01T09:30:00Z", row["at"])
		}
		void.At = timestamppb.New(at)
	}
	entry := m.ProtoReflect().Mutable(list).List().AppendMutable().Message()
	entry.Set(entry.Descriptor().Fields().ByName("id"), protoreflect.ValueOfString(idOf(old)))
	entry.Set(entry.Descriptor().Fields().ByName("removed"), protoreflect.ValueOfMessage(void.ProtoReflect()))
	return "", nil
}

// FillIDs returns the edition with an id for each entry that has a value and none: the id that its place in any edition has.
func FillIDs(derived *formularyv1.FormularyEdition) *formularyv1.FormularyEdition {
	m := proto.CloneOf(derived)
	for _, list := range entryLists() {
		entries := m.ProtoReflect().Get(list).List()
		for i := range entries.Len() {
			entry := entries.Get(i).Message()
			if idOf(entry) == "" && valueOf(entry).IsValid() {
				id := builtinID(string(list.Name()), keyOf(valueOf(entry)))
				entry.Set(entry.Descriptor().Fields().ByName("id"), protoreflect.ValueOfString(id))
			}
		}
	}
	return m
}

func listByName(name string) (protoreflect.FieldDescriptor, bool) {
	for _, list := range entryLists() {
		if string(list.Name()) == name {
			return list, true
		}
	}
	return nil, false
}

// entry finds an entry by its list and its code or name.
func (e *Edition) entry(list protoreflect.FieldDescriptor, key string) (protoreflect.Message, bool) {
	entries := e.message.ProtoReflect().Get(list).List()
	for i := range entries.Len() {
		if entry := entries.Get(i).Message(); keyOf(valueOf(entry)) == key {
			return entry, true
		}
	}
	return nil, false
}
