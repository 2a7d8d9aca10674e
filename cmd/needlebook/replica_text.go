package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/fault"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
)

// recordText prints records for people. Doses are shown as the calculator shows them, and where one is shown the caution stands below.
type recordText struct {
	page
	doses bool
}

// write prints the page, with the caution where a dose is shown.
func (t *recordText) write(w io.Writer) error {
	if t.doses {
		t.line("")
		t.wrapped("", reckon.Caution)
	}
	return t.page.write(w)
}

// view prints a record with what needs a person.
func (t *recordText) view(key record.Key, v *chartv1.RecordView) {
	t.line(kindName(key.Kind) + " " + key.ID.String())
	if r := v.GetRecord().ProtoReflect(); r.IsValid() {
		if fd := r.WhichOneof(r.Descriptor().Oneofs().ByName("kind")); fd != nil {
			t.fields("  ", r.Get(fd).Message())
		}
	}
	t.conflicts(v.GetConflicts(), false)
	t.held(v.GetHeldEdits(), false)
	t.late(key.Kind, v.GetLateEntries())
}

// fields prints the fields of a message, elements below their collection. Ids are in the headings.
func (t *recordText) fields(indent string, m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !m.Has(fd) || fd.Number() == 1 && fd.Name() == "id" {
			continue
		}
		if !isCollection(fd) {
			t.named(indent, string(fd.Name()), t.fieldText(m, fd))
			continue
		}
		list := m.Get(fd).List()
		for n := range list.Len() {
			element := list.Get(n).Message()
			t.line(fmt.Sprintf("%s%s[%s]", indent, fd.Name(), element.Get(element.Descriptor().Fields().ByNumber(1)).String()))
			t.fields(indent+"  ", element)
		}
	}
	if len(m.GetUnknown()) > 0 {
		t.line(fmt.Sprintf("%s(%d bytes that this version does not know)", indent, len(m.GetUnknown())))
	}
}

// named prints a name and a text behind it, broken where it is long.
func (t *recordText) named(indent, name, text string) {
	t.broken(indent+pad(name, 13)+" ", indent+strings.Repeat(" ", 14), cutWords(text))
}

// longestWord is what fits beside any indent.
const longestWord = 58

// cutWords breaks words that no line could hold. Nothing is left out.
func cutWords(text string) string {
	words := strings.Split(text, " ")
	for i, w := range words {
		runes := []rune(w)
		var pieces []string
		for len(runes) > longestWord {
			pieces, runes = append(pieces, string(runes[:longestWord])), runes[longestWord:]
		}
		words[i] = strings.Join(append(pieces, string(runes)), " ")
	}
	return strings.Join(words, " ")
}

// fieldText is the value of a field on one line.
func (t *recordText) fieldText(m protoreflect.Message, fd protoreflect.FieldDescriptor) string {
	if !fd.IsList() {
		return t.valueText(fd, m.Get(fd))
	}
	list := m.Get(fd).List()
	texts := make([]string, list.Len())
	for i := range texts {
		texts[i] = t.valueText(fd, list.Get(i))
	}
	return strings.Join(texts, "; ")
}

// valueText is one value: amounts in units and millilitres, choices by their names, times in UTC.
func (t *recordText) valueText(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return t.messageText(v.Message())
	case protoreflect.EnumKind:
		return enumText(fd.Enum(), v.Enum())
	case protoreflect.BytesKind:
		return fmt.Sprintf("%d bytes", len(v.Bytes()))
	case protoreflect.BoolKind:
		return map[bool]string{true: "yes", false: "no"}[v.Bool()]
	case protoreflect.StringKind:
		return v.String()
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		return t.numberText(fd, v.Int())
	}
	return v.String()
}

// numberText is a whole number in the unit that its field's name ends with, as people read it.
func (t *recordText) numberText(fd protoreflect.FieldDescriptor, n int64) string {
	switch _, unit := splitUnit(fd); unit {
	case "milliunits":
		t.doses = true
		return units(decimalText(n, 3))
	case "nanoliters":
		return ml(decimalText(n, 6))
	case "micrometers":
		return decimalText(n, 3) + "\u00a0mm"
	case "unix_ms":
		return timeText(n)
	}
	return strconv.FormatInt(n, 10)
}

// splitUnit is a field's name without the unit at its end, and the unit; empty for a field that has none.
func splitUnit(fd protoreflect.FieldDescriptor) (name, unit string) {
	for _, unit := range []string{"milliunits", "nanoliters", "micrometers", "unix_ms"} {
		if name, ok := strings.CutSuffix("_"+string(fd.Name()), "_"+unit); ok {
			return strings.TrimPrefix(name, "_"), unit
		}
	}
	return string(fd.Name()), ""
}

// messageText is a message on one line. A dose is its amount, then of which product.
func (t *recordText) messageText(m protoreflect.Message) string {
	switch x := m.Interface().(type) {
	case *chartv1.Dose:
		t.doses = true
		return units(decimalText(int64(x.GetDoseMilliunits()), 3)) + "\u00a0of\u00a0" + x.GetProduct()
	case interface{ AsTime() time.Time }:
		return timeText(x.AsTime().UnixMilli())
	case interface {
		GetYear() int32
		GetMonth() int32
		GetDay() int32
	}:
		return dateText(x.GetYear(), x.GetMonth(), x.GetDay())
	}
	var parts []string
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); m.Has(fd) {
			parts = append(parts, label(fd)+t.fieldText(m, fd))
		}
	}
	if len(parts) == 0 {
		return "(nothing said)"
	}
	return strings.Join(parts, ", ")
}

// label names a field within a line; what says for itself what it is needs no name.
func label(fd protoreflect.FieldDescriptor) string {
	if fd.Message() != nil && fd.Message().FullName() == (*chartv1.Dose)(nil).ProtoReflect().Descriptor().FullName() {
		return ""
	}
	name, _ := splitUnit(fd)
	if name == "" {
		return ""
	}
	return name + " "
}

// enumText is a choice without the name of what is chosen: SIDE_LEFT is left.
func enumText(d protoreflect.EnumDescriptor, n protoreflect.EnumNumber) string {
	value := d.Values().ByNumber(n)
	if value == nil {
		return strconv.Itoa(int(n))
	}
	prefix := strings.TrimSuffix(string(d.Values().Get(0).Name()), "UNSPECIFIED")
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(string(value.Name()), prefix)), "_", " ")
}

// decimalText is a whole number of the smallest steps as a decimal, without a zero at its end.
func decimalText(v int64, places int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	text := fmt.Sprintf("%0*d", places+1, v)
	whole, part := text[:len(text)-places], strings.TrimRight(text[len(text)-places:], "0")
	if part == "" {
		return sign + whole
	}
	return sign + whole + "." + part
}

func timeText(ms int64) string {
	return time.UnixMilli(ms).UTC().Format("2006-01-02\u00a015:04\u00a0UTC")
}

func dateText(year, month, day int32) string {
	switch {
	case month == 0:
		return fmt.Sprintf("%04d", year)
	case day == 0:
		return fmt.Sprintf("%04d-%02d", year, month)
	}
	return fmt.Sprintf("%04d-%02d-%02d", year, month, day)
}

// conflicts prints fields with more than one value; withKey where they are not below their record.
func (t *recordText) conflicts(list []*chartv1.Conflict, withKey bool) {
	for _, c := range list {
		t.line("")
		if withKey {
			t.line(kindName(c.GetKey().GetKind()) + " " + c.GetKey().GetRecordId())
		}
		t.wrapped("", "CONFLICT in "+cutWords(c.GetPath()))
		for _, s := range c.GetSiblings() {
			for _, a := range s.GetAuthors() {
				value := t.jsonText(c.GetKey().GetKind(), c.GetPath(), s.GetCleared(), s.GetValueJson())
				t.broken("  "+pad(dotText(a.GetDot()), 14)+" ", strings.Repeat(" ", 17), cutWords(value))
				t.broken(strings.Repeat(" ", 17), strings.Repeat(" ", 17), "by "+authorText(a))
			}
		}
	}
}

// jsonText is the value of a field, given as JSON, as the record shows it.
func (t *recordText) jsonText(kind record.Kind, path string, cleared bool, value string) string {
	if cleared {
		return "(empty on purpose)"
	}
	m, fd := fieldAt(kind, path)
	if fd == nil {
		return value
	}
	b, err := json.Marshal(map[string]json.RawMessage{string(fd.Name()): json.RawMessage(value)})
	if err != nil || protojson.Unmarshal(b, m.Interface()) != nil {
		return value
	}
	return t.fieldText(m, fd)
}

// fieldAt is an empty message of the record or element that a path leads to, and the field there; nil for a path that this version does not know.
func fieldAt(kind record.Kind, path string) (protoreflect.Message, protoreflect.FieldDescriptor) {
	var m protoreflect.Message
	for i := range kinds().Len() {
		if fd := kinds().Get(i); kindOf(fd) == kind {
			m = (&chartv1.Record{}).ProtoReflect().NewField(fd).Message()
		}
	}
	for m != nil {
		name, rest, inside := strings.Cut(path, "[")
		fd := m.Descriptor().Fields().ByName(protoreflect.Name(name))
		if fd == nil || !inside {
			return m, fd
		}
		_, after, ok := strings.Cut(rest, "].")
		if !ok || !isCollection(fd) {
			return nil, nil
		}
		m, path = m.NewField(fd).List().NewElement().Message(), after
	}
	return nil, nil
}

func authorText(a *chartv1.Authorship) string {
	who := a.GetStaffName()
	if who == "" {
		who = a.GetStaffId()
	}
	where := "the server"
	switch {
	case a.GetDeviceLabel() != "":
		where = a.GetDeviceLabel()
	case a.GetDeviceId() == "":
		where = "replica " + dotText(a.GetDot())
	}
	if a.GetAuthoredAt() == nil {
		return who + " on " + where
	}
	return who + " on " + where + ", " + timeText(a.GetAuthoredAt().AsTime().UnixMilli())
}

// held prints edits that did not take effect: why, what they would have written, and what to do.
func (t *recordText) held(list []*chartv1.HeldRecordEdit, withKey bool) {
	for _, h := range list {
		t.line("")
		if withKey {
			t.line(kindName(h.GetKey().GetKind()) + " " + h.GetKey().GetRecordId())
		}
		status := strings.ToUpper(enumText(h.GetStatus().Descriptor(), h.GetStatus().Number()))
		t.wrapped("", status+" edit "+dotText(h.GetAuthorship().GetDot())+" by "+authorText(h.GetAuthorship()))
		t.reason(fault.Name(h.GetReason()), h.GetDetail())
		for _, w := range h.GetWrites() {
			t.written(h.GetKey().GetKind(), w)
		}
	}
}

// reason prints a reason of the catalogue with what to do.
func (t *recordText) reason(name, detail string) {
	for _, entry := range fault.Entries() {
		if fault.Name(entry.Reason) != name {
			continue
		}
		t.labelled("why", entry.Meaning+" ["+name+"]")
		if detail != "" {
			t.labelled("", cutWords(detail))
		}
		t.labelled("do", entry.Fix+" Who: "+string(entry.Acts)+".")
	}
}

func (t *recordText) written(kind record.Kind, w *chartv1.PathValue) {
	t.wrapped("  ", cutWords(w.GetPath())+" = "+cutWords(t.jsonText(kind, w.GetPath(), w.GetCleared(), w.GetValueJson())))
}

// late prints what came after the newest signature.
func (t *recordText) late(kind record.Kind, list []*chartv1.LateEntry) {
	for _, l := range list {
		t.line("")
		t.wrapped("", "LATE ENTRY after signature "+l.GetSignatureId()+", by "+authorText(l.GetAuthorship()))
		for _, w := range l.GetWrites() {
			t.written(kind, w)
		}
	}
}

// summary is a few words by which people know a record in a list.
func summary(m proto.Message) string {
	t := recordText{}
	r := m.ProtoReflect()
	var parts []string
	for _, name := range []protoreflect.Name{"name", "label", "short_number", "title", "number", "on", "birth", "kind"} {
		if fd := r.Descriptor().Fields().ByName(name); fd != nil && r.Has(fd) {
			parts = append(parts, t.fieldText(r, fd))
		}
	}
	return strings.Join(parts, ", ")
}
