package formulary

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Lines is the edition's canonical content: for each list of the schema in the order of its field numbers, for each entry in the order of its key,
// for each field that is set in the order of its number, one line
//
//	list/key field=value
//
// where a nested field is joined by a point, an element of a list has its index in brackets, text is quoted as Go quotes it, and an enum is its name.
// Ids of entries, and what an edition replaced or removed, are not content. The hash of an edition is SHA-256 over these lines, each ended by a line
// feed; the difference of two editions is the difference of their lines.
func (e *Edition) Lines() []string {
	var lines []string
	e.eachList(func(table string, entries protoreflect.List) {
		keys := make([]string, entries.Len())
		at := make(map[string]protoreflect.Message, entries.Len())
		for i := range entries.Len() {
			value := valueOf(entries.Get(i).Message())
			keys[i] = keyOf(value)
			at[keys[i]] = value
		}
		slices.Sort(keys)
		for _, key := range keys {
			lines = appendLines(lines, table+"/"+key+" ", at[key])
		}
	})
	return lines
}

// appendLines writes a message's set fields, each line behind prefix.
func appendLines(lines []string, prefix string, m protoreflect.Message) []string {
	fields := m.Descriptor().Fields()
	numbers := make([]protoreflect.FieldNumber, fields.Len())
	for i := range fields.Len() {
		numbers[i] = fields.Get(i).Number()
	}
	slices.Sort(numbers)
	for _, number := range numbers {
		field := fields.ByNumber(number)
		if !m.Has(field) {
			continue
		}
		name := prefix + string(field.Name())
		if !field.IsList() {
			lines = appendValue(lines, name, field, m.Get(field))
			continue
		}
		list := m.Get(field).List()
		for i := range list.Len() {
			lines = appendValue(lines, name+"["+strconv.Itoa(i)+"]", field, list.Get(i))
		}
	}
	if unknown := m.GetUnknown(); len(unknown) > 0 {
		lines = append(lines, prefix+"?="+hex.EncodeToString(unknown))
	}
	return lines
}

func appendValue(lines []string, name string, field protoreflect.FieldDescriptor, v protoreflect.Value) []string {
	switch field.Kind() {
	case protoreflect.MessageKind:
		return appendLines(lines, name+".", v.Message())
	case protoreflect.EnumKind:
		return append(lines, name+"="+enumName(field.Enum(), v.Enum()))
	case protoreflect.StringKind:
		return append(lines, name+"="+strconv.Quote(v.String()))
	case protoreflect.BytesKind:
		return append(lines, name+"="+hex.EncodeToString(v.Bytes()))
	default:
		return append(lines, fmt.Sprintf("%s=%v", name, v.Interface()))
	}
}

func enumName(enum protoreflect.EnumDescriptor, n protoreflect.EnumNumber) string {
	if value := enum.Values().ByNumber(n); value != nil {
		return string(value.Name())
	}
	return strconv.Itoa(int(n))
}

func hashOf(lines []string) [sha256.Size]byte {
	return sha256.Sum256([]byte(strings.Join(lines, "\n") + "\n"))
}

// eachList visits the edition's lists of entries in the order of their field numbers.
func (e *Edition) eachList(visit func(table string, entries protoreflect.List)) {
	m := e.message.ProtoReflect()
	for _, field := range entryLists() {
		visit(string(field.Name()), m.Get(field).List())
	}
}

// entryLists are the fields of an edition that hold entries: those whose elements have a value that can be replaced or removed.
func entryLists() []protoreflect.FieldDescriptor {
	var lists []protoreflect.FieldDescriptor
	fields := (&formularyv1.FormularyEdition{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if field.IsList() && field.Kind() == protoreflect.MessageKind && field.Message().Fields().ByName("removed") != nil {
			lists = append(lists, field)
		}
	}
	slices.SortFunc(lists, func(a, b protoreflect.FieldDescriptor) int { return int(a.Number() - b.Number()) })
	return lists
}

// valueOf is the entry's value; invalid (and empty) when the entry only removes.
func valueOf(entry protoreflect.Message) protoreflect.Message {
	return entry.Get(entry.Descriptor().Fields().ByName("value")).Message()
}

// keyOf is the name by which editions tell entries of one list apart: its code, or a product's name.
func keyOf(value protoreflect.Message) string {
	for _, name := range []protoreflect.Name{"code", "name"} {
		if field := value.Descriptor().Fields().ByName(name); field != nil {
			return value.Get(field).String()
		}
	}
	return ""
}

// builtinID is the id of a built-in entry: 128 bits of SHA-256 over its place, in the form of a UUID of version 8, so that it is the same everywhere
// and an edition that derives from the built-in one can remove it.
func builtinID(table, key string) string {
	h := sha256.Sum256([]byte("needlebook formulary\x00" + table + "\x00" + key))
	h[6] = h[6]&0x0f | 0x80
	h[8] = h[8]&0x3f | 0x80
	x := hex.EncodeToString(h[:16])
	return x[:8] + "-" + x[8:12] + "-" + x[12:16] + "-" + x[16:20] + "-" + x[20:]
}
