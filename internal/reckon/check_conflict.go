package reckon

import (
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/guard"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// register is one register in conflict of a record that guardrails read, with what each of its values makes of the record.
type register struct {
	of     recordID
	path   string
	field  string
	values []string
	// doses are the values of a register that holds a dose, -1 where one holds none; nil for other registers.
	doses []heldDose
	side  chartv1.Side
}

type heldDose struct {
	product    string
	milliunits int64
}

// readRegisters sorts the conflicts: those of the history's sessions and of treatments reported from elsewhere make ranges of sums; of all others every
// reading is judged. What no guardrail reads is left out.
func (in *checkReader) readRegisters() {
	records := in.records()
	in.conflicts = make(map[string]siblings)
	for i, p := range in.facts.GetConflicts() {
		field := "facts.conflicts[" + strconv.Itoa(i) + "]"
		id := p.GetKey().GetRecordId()
		if p.GetPath() == "" || len(p.GetValuesJson()) == 0 || len(p.GetValuesJson()) > mostSiblings {
			in.refuse(badField, field, "", "a path, and 1 to 64 values")
			continue
		}
		record := records[recordID{p.GetKey().GetKind(), id}]
		if record == nil {
			in.refuse(badField, field+".key", id, "a record of these facts")
			continue
		}
		if unread(p.GetPath()) || len(p.GetValuesJson()) < 2 {
			continue
		}
		in.doubted = append(in.doubted, p.GetKey().GetKind().String()+"/"+id+" "+p.GetPath())
		kind := p.GetKey().GetKind()
		if kind == optionsv1.RecordKind_RECORD_KIND_SESSION || kind == optionsv1.RecordKind_RECORD_KIND_PATIENT {
			if in.conflicts[id] == nil {
				in.conflicts[id] = make(siblings)
			}
			in.conflicts[id][p.GetPath()] = &conflict{field + ".values_json", p.GetValuesJson()}
		}
		if kind == optionsv1.RecordKind_RECORD_KIND_SESSION && id != in.facts.GetSession().GetId() || strings.HasPrefix(p.GetPath(), "prior_treatments[") {
			continue
		}
		in.addRegister(record, register{of: recordID{kind, id}, path: p.GetPath(), field: field + ".values_json", values: p.GetValuesJson()})
	}
}

// recordID names a record of the facts.
type recordID struct {
	kind optionsv1.RecordKind
	id   string
}

// records are the records of the facts by kind and id.
func (in *checkReader) records() map[recordID]proto.Message {
	all := make(map[recordID]proto.Message)
	if len(in.facts.GetConflicts()) == 0 {
		return all
	}
	eachRecord(in.facts, func(kind optionsv1.RecordKind, id string, m proto.Message) { all[recordID{kind, id}] = m })
	for _, s := range in.facts.GetHistory() {
		if _, is := all[recordID{optionsv1.RecordKind_RECORD_KIND_SESSION, s.GetId()}]; !is {
			all[recordID{optionsv1.RecordKind_RECORD_KIND_SESSION, s.GetId()}] = s
		}
	}
	return all
}

// eachRecord calls for every record of the facts but the history's.
func eachRecord(f *dosev1.SessionFacts, call func(kind optionsv1.RecordKind, id string, m proto.Message)) {
	if f.Session != nil {
		call(optionsv1.RecordKind_RECORD_KIND_SESSION, f.Session.GetId(), f.Session)
	}
	if f.Patient != nil {
		call(optionsv1.RecordKind_RECORD_KIND_PATIENT, f.Patient.GetId(), f.Patient)
	}
	if f.Order != nil {
		call(optionsv1.RecordKind_RECORD_KIND_ORDER, f.Order.GetId(), f.Order)
	}
	if f.Clinic != nil {
		call(optionsv1.RecordKind_RECORD_KIND_CLINIC, f.Clinic.GetId(), f.Clinic)
	}
	for _, m := range f.Vials {
		call(optionsv1.RecordKind_RECORD_KIND_VIAL, m.GetId(), m)
	}
	for _, m := range f.Lots {
		call(optionsv1.RecordKind_RECORD_KIND_LOT, m.GetId(), m)
	}
	for _, m := range f.Staff {
		call(optionsv1.RecordKind_RECORD_KIND_STAFF, m.GetId(), m)
	}
	for _, m := range f.ConsentTexts {
		call(optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT, m.GetId(), m)
	}
	for _, m := range f.Questionnaires {
		call(optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE, m.GetId(), m)
	}
}

// unread reports whether no guardrail reads the registers below a field.
func unread(path string) bool {
	name, _, _ := cutAny(path, "[.")
	switch name {
	case "notes", "settlements", "ratings", "photos", "requests", "measurements", "observations", "complications", "outcomes", "signatures", "pauses",
		"contact", "contacts_made", "photo_consents", "language", "links", "name", "paragraphs", "wastes", "temperatures", "storage_moves", "storage_places",
		"emergency", "after_care", "review", "appointment_id":
		return true
	}
	return false
}

// addRegister reads each value once, so that a value that is none is refused.
func (in *checkReader) addRegister(record proto.Message, r register) {
	for i, value := range r.values {
		trial := proto.Clone(record)
		if !setAt(trial.ProtoReflect(), r.path, value) {
			in.refuse(badField, r.field+"["+strconv.Itoa(i)+"]", "", "a value of "+lastName(r.path)+" as JSON, or null, in a register of the record")
			return
		}
		if s, ok := trial.(*chartv1.Session); ok && strings.HasPrefix(r.path, "injections[") {
			s.Injections = slices.DeleteFunc(s.Injections, func(injection *chartv1.Injection) bool {
				return !strings.HasPrefix(r.path, "injections["+injection.GetId()+"]")
			})
			in.injections(r.field+"["+strconv.Itoa(i)+"]", s)
			r.readDose(s)
		}
	}
	in.registers = append(in.registers, r)
}

// readDose notes the dose that a reading of the session has where the register is one of a dose.
func (r *register) readDose(s *chartv1.Session) {
	for _, injection := range s.GetInjections() {
		at := "injections[" + injection.GetId() + "]"
		if r.path == at+".planned" {
			r.holds(injection.GetSide(), injection.GetPlanned())
		}
		for _, g := range injection.GetGivings() {
			if r.path == at+".givings["+g.GetId()+"].given" {
				r.holds(sideIn(injection, g), g.GetGiven().GetDose())
			}
		}
	}
}

func (r *register) holds(side chartv1.Side, d *chartv1.Dose) {
	r.side = side
	r.doses = append(r.doses, heldDose{d.GetProduct(), int64(d.GetDoseMilliunits())})
}

// setAt sets the register at a path such as injections[ID].givings[ID].given to a value as JSON; null clears it. Elements that are not there are made.
// It reports whether there is such a register and the value is one of it.
func setAt(m protoreflect.Message, path, value string) bool {
	for {
		head, rest, more := strings.Cut(path, ".")
		name, id, isElement := strings.Cut(head, "[")
		field := m.Descriptor().Fields().ByName(protoreflect.Name(name))
		if field == nil {
			return false
		}
		if !isElement {
			return !more && setField(m, field, value)
		}
		id, closed := strings.CutSuffix(id, "]")
		if !closed || !more || id == "" || !field.IsList() || field.Message() == nil {
			return false
		}
		key := field.Message().Fields().ByName("id")
		if key == nil || key.Kind() != protoreflect.StringKind {
			return false
		}
		m, path = element(m.Mutable(field).List(), key, id), rest
	}
}

// element finds the element of an id, or adds it.
func element(list protoreflect.List, key protoreflect.FieldDescriptor, id string) protoreflect.Message {
	for i := range list.Len() {
		if e := list.Get(i).Message(); e.Get(key).String() == id {
			return e
		}
	}
	e := list.NewElement()
	e.Message().Set(key, protoreflect.ValueOfString(id))
	list.Append(e)
	return e.Message()
}

func setField(m protoreflect.Message, field protoreflect.FieldDescriptor, value string) bool {
	if field.Name() == "id" || field.IsList() && field.Message() != nil {
		return false
	}
	m.Clear(field)
	if value == "null" {
		return true
	}
	holder := m.New()
	if protojson.Unmarshal([]byte(`{"`+string(field.Name())+`":`+value+`}`), holder.Interface()) != nil || !holder.Has(field) {
		return false
	}
	m.Set(field, holder.Get(field))
	return true
}

// readings are the ways in which the facts may be, each as guard reads it: one where nothing is in conflict.
func (in *checkReader) readings() ([]guard.Facts, error) {
	choices, all := in.choices()
	out := make([]guard.Facts, 0, len(choices))
	for _, choice := range choices {
		facts := in.facts
		if len(choice) > 0 {
			facts = in.apply(choice)
		}
		g, err := in.factsOf(facts)
		if err != nil {
			return nil, err
		}
		g.Unread = !all
		out = append(out, g)
	}
	return out, in.refused.Err()
}

// apply is the facts with one value chosen in each register.
func (in *checkReader) apply(choice []int) *dosev1.SessionFacts {
	history, facts := in.facts.History, &dosev1.SessionFacts{}
	proto.Merge(facts, withoutHistory(in.facts))
	facts.History = history
	records := make(map[recordID]proto.Message)
	eachRecord(facts, func(kind optionsv1.RecordKind, id string, m proto.Message) { records[recordID{kind, id}] = m })
	for i, r := range in.registers {
		setAt(records[r.of].ProtoReflect(), r.path, r.values[choice[i]])
	}
	return facts
}

// withoutHistory is the facts without the history's sessions, which no register of a reading is in.
func withoutHistory(f *dosev1.SessionFacts) *dosev1.SessionFacts {
	return &dosev1.SessionFacts{Session: f.Session, Patient: f.Patient, Vials: f.Vials, Lots: f.Lots, Order: f.Order, Clinic: f.Clinic, Staff: f.Staff,
		ConsentTexts: f.ConsentTexts, Questionnaires: f.Questionnaires, Conflicts: f.Conflicts, Knowledge: f.Knowledge, Clock: f.Clock}
}

// choices are the readings to judge: which value each register takes. Every combination where they are few; else each value on its own, and all is false.
// Doses count by their ends: all least, all most, and one side most beside the other least; that covers every sum and difference.
func (in *checkReader) choices() (list [][]int, all bool) {
	if len(in.registers) == 0 {
		return [][]int{nil}, true
	}
	ends := in.doseEnds()
	n := len(ends)
	for _, r := range in.registers {
		if r.doses == nil {
			n *= len(r.values)
		}
		if n > mostReadings {
			return in.single(ends), false
		}
	}
	list = ends
	for i, r := range in.registers {
		if r.doses != nil {
			continue
		}
		var wider [][]int
		for _, choice := range list {
			for v := range r.values {
				with := slices.Clone(choice)
				with[i] = v
				wider = append(wider, with)
			}
		}
		list = wider
	}
	return list, true
}

// single takes each value of each register on its own, beside the ends of the doses.
func (in *checkReader) single(ends [][]int) [][]int {
	list := ends
	for i, r := range in.registers {
		for v := range r.values {
			if len(list) >= mostReadings+mostSingleReadings {
				return list
			}
			with := slices.Clone(ends[0])
			with[i] = v
			list = append(list, with)
		}
	}
	return list
}

// doseEnds are the choices of the registers that hold doses; those of others are zero. For each product that any of them names, its values are preferred
// once, so that a product that only one value names is judged.
func (in *checkReader) doseEnds() [][]int {
	var products []string
	for _, r := range in.registers {
		for _, d := range r.doses {
			if d.milliunits > 0 && !slices.Contains(products, d.product) {
				products = append(products, d.product)
			}
		}
	}
	if len(products) == 0 {
		return [][]int{make([]int, len(in.registers))}
	}
	most := func(chartv1.Side) bool { return true }
	least := func(chartv1.Side) bool { return false }
	right := func(s chartv1.Side) bool { return s == chartv1.Side_SIDE_RIGHT }
	left := func(s chartv1.Side) bool { return s == chartv1.Side_SIDE_LEFT }
	var ends [][]int
	for _, product := range products {
		for _, highest := range []func(chartv1.Side) bool{most, least, right, left} {
			choice := make([]int, len(in.registers))
			for i, r := range in.registers {
				choice[i] = r.end(product, highest(r.side))
			}
			ends = append(ends, choice)
		}
	}
	return ends
}

// end is the value with the most or the least of a product. Another product is none of it, and is taken only where no value names the product.
func (r *register) end(product string, highest bool) int {
	best := 0
	for i, d := range r.doses {
		b := r.doses[best]
		switch {
		case (d.product == product) != (b.product == product):
			if d.product == product == highest {
				best = i
			}
		case highest && d.milliunits > b.milliunits, !highest && d.milliunits < b.milliunits:
			best = i
		}
	}
	return best
}
