package formulary

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// TableError says where a table of the edition cannot be read.
type TableError struct {
	// Table is the table's name, Line its line counted from 1, Column the column's name; Line is 0 for the table as a whole.
	Table  string
	Line   int
	Column string
	Err    error
}

// Error is one line: table, line, column, what is wrong.
func (e *TableError) Error() string {
	where := e.Table + ".csv"
	if e.Line > 0 {
		where += " line " + strconv.Itoa(e.Line)
	}
	if e.Column != "" {
		where += ", " + e.Column
	}
	return where + ": " + e.Err.Error()
}

// Unwrap returns what is wrong.
func (e *TableError) Unwrap() error { return e.Err }

// readTable appends an entry for each row of a table to the list of the edition that has the table's name. The error joins a *TableError for every cell
// that cannot be read.
func readTable(edition protoreflect.Message, table string, text []byte) error {
	list := edition.Descriptor().Fields().ByName(protoreflect.Name(table))
	if list == nil || !list.IsList() || list.Message() == nil || list.Message().Fields().ByName("removed") == nil {
		return &TableError{Table: table, Err: fmt.Errorf("the edition has no list of this name")}
	}
	columns, records, err := rowsOf(table, text)
	if err != nil {
		return err
	}
	var faults []error
	for i, record := range records {
		entry := edition.Mutable(list).List().AppendMutable().Message()
		value := entry.Mutable(entry.Descriptor().Fields().ByName("value")).Message()
		for c, column := range columns {
			if err := setPath(value, column, record[c]); err != nil {
				faults = append(faults, &TableError{Table: table, Line: i + 2, Column: column, Err: err})
			}
		}
		id := builtinID(table, keyOf(value))
		entry.Set(entry.Descriptor().Fields().ByName("id"), protoreflect.ValueOfString(id))
	}
	return errors.Join(faults...)
}

// setPath sets the field that a column names, such as printed.volume_ml; an empty text leaves it absent.
func setPath(m protoreflect.Message, column, text string) error {
	if text == "" {
		return nil
	}
	head, rest, nested := strings.Cut(column, ".")
	field, decimals := fieldOf(m.Descriptor(), head)
	if field == nil {
		return fmt.Errorf("%s has no such field", m.Descriptor().Name())
	}
	if nested && (field.Kind() != protoreflect.MessageKind || field.IsList()) {
		return fmt.Errorf("%s has no fields of its own", head)
	}
	if nested {
		return setPath(m.Mutable(field).Message(), rest, text)
	}
	if field.IsList() {
		return setList(m.Mutable(field).List(), field, text)
	}
	value, err := scalar(field, text, decimals)
	if err != nil {
		return err
	}
	m.Set(field, value)
	return nil
}

// fieldOf finds a column's field, and with how many decimals people's units are written in it.
func fieldOf(d protoreflect.MessageDescriptor, column string) (protoreflect.FieldDescriptor, int) {
	if field := d.Fields().ByName(protoreflect.Name(column)); field != nil {
		return field, 0
	}
	for _, unit := range []struct {
		people, stored string
		decimals       int
	}{{"_units", "_milliunits", 3}, {"_ml", "_nanoliters", 6}, {"_mm", "_micrometers", 3}, {"_celsius", "_millicelsius", 3}} {
		if name, ok := strings.CutSuffix(column, unit.people); ok {
			return d.Fields().ByName(protoreflect.Name(name + unit.stored)), unit.decimals
		}
	}
	return nil, 0
}

// setList reads "a;b", or "0:none;1:mild" for messages of as many fields.
func setList(list protoreflect.List, field protoreflect.FieldDescriptor, text string) error {
	for part := range strings.SplitSeq(text, ";") {
		if field.Kind() != protoreflect.MessageKind {
			value, err := scalar(field, part, 0)
			if err != nil {
				return err
			}
			list.Append(value)
			continue
		}
		element := list.AppendMutable().Message()
		for i, piece := range strings.SplitN(part, ":", element.Descriptor().Fields().Len()) {
			if err := setPath(element, string(element.Descriptor().Fields().Get(i).Name()), piece); err != nil {
				return err
			}
		}
	}
	return nil
}

func scalar(field protoreflect.FieldDescriptor, text string, decimals int) (protoreflect.Value, error) {
	switch field.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(text), nil
	case protoreflect.BytesKind:
		b, err := hex.DecodeString(text)
		if err != nil {
			return protoreflect.Value{}, fmt.Errorf("read %q, want hexadecimal digits", text)
		}
		return protoreflect.ValueOfBytes(b), nil
	case protoreflect.BoolKind:
		if text != "true" {
			return protoreflect.Value{}, fmt.Errorf("read %q, want true or nothing", text)
		}
		return protoreflect.ValueOfBool(true), nil
	case protoreflect.EnumKind:
		return enumValue(field.Enum(), text)
	case protoreflect.Int32Kind:
		n, err := scaled(text, decimals, 32)
		return protoreflect.ValueOfInt32(int32(n)), err
	case protoreflect.Int64Kind:
		n, err := scaled(text, decimals, 64)
		return protoreflect.ValueOfInt64(n), err
	default:
		return protoreflect.Value{}, fmt.Errorf("a column cannot hold %s", field.Kind())
	}
}

// enumValue reads a value's name in full, or without the prefix that all values of the enum share.
func enumValue(enum protoreflect.EnumDescriptor, text string) (protoreflect.Value, error) {
	prefix := strings.TrimSuffix(string(enum.Values().Get(0).Name()), "UNSPECIFIED")
	for _, name := range []string{text, prefix + text} {
		if value := enum.Values().ByName(protoreflect.Name(name)); value != nil && value.Number() != 0 {
			return protoreflect.ValueOfEnum(value.Number()), nil
		}
	}
	return protoreflect.Value{}, fmt.Errorf("read %q, want a value of %s", text, enum.Name())
}

// scaled reads a plain decimal of at most so many decimals as a whole number of the smaller unit.
func scaled(text string, decimals, bits int) (int64, error) {
	whole, part, point := strings.Cut(text, ".")
	if len(part) > decimals || (point && (part == "" || strings.HasSuffix(part, "0"))) || strings.HasPrefix(text, "+") {
		return 0, fmt.Errorf("read %q, want a decimal of at most %d decimals and no trailing zero", text, decimals)
	}
	n, err := strconv.ParseInt(whole+part+strings.Repeat("0", decimals-len(part)), 10, bits)
	if err != nil {
		return 0, fmt.Errorf("read %q, want a decimal that fits", text)
	}
	return n, nil
}
