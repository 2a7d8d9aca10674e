package export

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// Names of our own in the export, and of the systems that it uses of others.
const (
	own            = "urn:needlebook:"
	ucum           = "http://unitsofmeasure.org"
	terminology    = "http://terminology.hl7.org/CodeSystem/"
	languageSystem = "urn:ietf:bcp:47"
)

// builder makes the resources of one export.
type builder struct {
	*Export
	made   map[string]resource // by type and id
	refs   []*reference
	wanted map[key]bool // records that something refers to
	issues []found
}

// found is an issue with the record that it is about.
type found struct {
	about key
	path  string
	issue
}

// build makes every resource. First what is about the patients; then what that refers to, or everything when the scope is whole.
func (x *Export) build() ([]resource, []*reference) {
	b := &builder{Export: x, made: map[string]resource{}, wanted: map[key]bool{}}
	b.patients()
	b.orders()
	b.sessions()
	b.photos()
	b.adverseEvents()
	b.medications()
	b.clinics()
	b.practitioners()
	b.organization()
	b.doubts()
	b.list()
	b.resolve()
	return b.ordered(), b.refs
}

// kindOrder is the order of the resources in the file: what is referred to comes first.
func kindOrder() []string {
	return []string{
		"Organization", "Location", "Practitioner", "Patient", "Medication", "MedicationRequest", "Encounter", "Procedure",
		"MedicationAdministration", "AdverseEvent", "Consent", "Media", "Provenance", "OperationOutcome",
	}
}

func (b *builder) ordered() []resource {
	out := make([]resource, 0, len(b.made))
	for _, r := range b.made {
		out = append(out, r)
	}
	order := kindOrder()
	slices.SortFunc(out, func(p, q resource) int {
		x, y := p.head(), q.head()
		return cmp.Or(cmp.Compare(slices.Index(order, x.ResourceType), slices.Index(order, y.ResourceType)), cmp.Compare(x.ID, y.ID))
	})
	return out
}

func (b *builder) add(r resource) { b.made[r.head().ResourceType+"/"+r.head().ID] = r }

// ref is a reference to the resource of that type and id, which a record, or a part of it, becomes.
func (b *builder) ref(kind, id string, record key) *reference {
	if id == "" {
		return nil
	}
	r := &reference{Type: kind, id: id, record: record}
	b.refs = append(b.refs, r)
	b.wanted[record] = true
	return r
}

func (b *builder) patientRef(id string) *reference {
	return b.ref("Patient", id, key{optionsv1.RecordKind_RECORD_KIND_PATIENT, id})
}

func (b *builder) staffRef(id string) *reference {
	return b.ref("Practitioner", id, key{optionsv1.RecordKind_RECORD_KIND_STAFF, id})
}

func (b *builder) clinicRef(id string) *reference {
	return b.ref("Location", id, key{optionsv1.RecordKind_RECORD_KIND_CLINIC, id})
}

func (b *builder) sessionRef(id string) *reference {
	return b.ref("Encounter", id, key{optionsv1.RecordKind_RECORD_KIND_SESSION, id})
}

func (b *builder) vialRef(id string) *reference {
	return b.ref("Medication", id, key{optionsv1.RecordKind_RECORD_KIND_VIAL, id})
}

func (b *builder) organizationRef() *reference {
	if b.scope.Organisation.ID == "" {
		return nil
	}
	return b.ref("Organization", b.scope.Organisation.ID, key{})
}

// resolve fills the references: literal ones to what is in the export, logical ones, by identifier, to all else.
func (b *builder) resolve() {
	for _, r := range b.refs {
		if b.made[r.Type+"/"+r.id] != nil {
			r.Reference = r.Type + "/" + r.id
		} else {
			r.Identifier = &identifier{System: own + kindName(r.record.kind), Value: r.record.id}
		}
	}
}

// note is a remark of a person as an annotation.
func (b *builder) note(text, by string, moment string) annotation {
	return annotation{Author: b.staffRef(by), Time: moment, Text: line(text)}
}

// act is who did something and when.
func (b *builder) act(a *recordv1.Act) (who *reference, moment string) {
	return b.staffRef(a.GetBy()), momentText(a.GetAt())
}

// voidNote says why something does not count.
func (b *builder) voidNote(v *recordv1.Void) annotation {
	return b.note("Voided: "+v.GetReason(), v.GetBy(), momentText(v.GetAt()))
}

// remarks is the notes that count. A note that may be voided is left out, and listed with the conflicts.
func (b *builder) remarks(e *entry, notes []*recordv1.Note) []annotation {
	var out []annotation
	for _, n := range notes {
		if n.Void != nil || n.Text == nil || e.disputed(at("notes", n.GetId(), "void")) {
			continue
		}
		a := n.GetWritten()
		if text := line(n.GetText()); text != "" {
			out = append(out, b.note(text, a.GetBy(), momentText(a.GetAt())))
		}
	}
	return out
}

// leave lists something as left out, with why.
func (b *builder) leave(e *entry, path, code, severity, why string) {
	b.issues = append(b.issues, found{about: e.key, path: path, issue: issue{Severity: severity, Code: code, Details: concept{Text: why}}})
}

// ownConcept is a concept of our own: a code with its system, shown without underscores.
func ownConcept(system, code, text string) *concept {
	if code == "" {
		return nil
	}
	return &concept{Coding: []coding{{own + system, code, spaced(code)}}, Text: cmp.Or(line(text), spaced(code))}
}

// product is a product by its nonproprietary name. No code of a terminology of drugs is known for one, so it is text and a code of our own.
func product(name string) *concept {
	if name == "" {
		return nil
	}
	return &concept{Coding: []coding{{own + "product", name, name}}, Text: name}
}

// units is an amount of a product. [arb'U] is the arbitrary unit of UCUM: units of one product are not units of another, so it goes with the product's name.
func units(milliunits int64) *quantity {
	return &quantity{number(decimal(milliunits, unitPlaces)), "units", ucum, "[arb'U]"}
}

func millilitres(nanolitres int64) *quantity {
	return &quantity{number(decimal(nanolitres, mlPlaces)), "mL", ucum, "mL"}
}

func millimetres(micrometres int64) *quantity {
	return &quantity{number(decimal(micrometres, mmPlaces)), "mm", ucum, "mm"}
}

// site is where on the body, as text and in our own code system: the muscle or region, a full stop, the patient's own side.
func site(part, side string) *concept {
	switch {
	case part == "":
		return nil
	case side == "":
		return ownConcept("body-site", part, "")
	}
	text := side + " " + spaced(part)
	return &concept{Coding: []coding{{own + "body-site", part + "." + side, text}}, Text: text}
}

// nested is an extension of our own made of parts; nil when there are none.
func nested(name string, parts ...*extension) *extension {
	parts = slices.DeleteFunc(parts, func(e *extension) bool { return e == nil })
	if len(parts) == 0 {
		return nil
	}
	return &extension{URL: own + name, Extension: parts}
}

// said is an extension with text; nil for none. Within another extension its name stands alone.
func said(url, text string) *extension {
	if text = line(text); text == "" {
		return nil
	}
	return &extension{URL: url, String: text}
}

func measured(url string, q *quantity) *extension { return &extension{URL: url, Quantity: q} }

func pointed(url string, r *reference) *extension {
	if r == nil {
		return nil
	}
	return &extension{URL: url, Reference: r}
}

func timed(url, moment string) *extension {
	if moment == "" {
		return nil
	}
	return &extension{URL: url, DateTime: moment}
}

// pathIdentifier names the part of a record that a resource was made of.
func pathIdentifier(path string) []*identifier {
	return []*identifier{{System: own + "path", Value: path}}
}

// extend adds the extensions that there are.
func (h *header) extend(extensions ...*extension) {
	for _, e := range extensions {
		if e != nil {
			h.Extension = append(h.Extension, e)
		}
	}
}

// list puts the issues into the OperationOutcome, by record and path.
func (b *builder) list() {
	if len(b.issues) == 0 {
		return
	}
	slices.SortStableFunc(b.issues, func(p, q found) int {
		return cmp.Or(p.about.compare(q.about), cmp.Compare(p.path, q.path), cmp.Compare(p.Code, q.Code))
	})
	o := &outcome{header: header{ResourceType: "OperationOutcome"}}
	var names []string
	for _, f := range b.issues {
		f.Extension = []*extension{said(own+"record", f.about.text())}
		if f.path != "" {
			f.Extension = append(f.Extension, said(own+"path", f.path))
		}
		o.Issue = append(o.Issue, f.issue)
		names = append(names, f.about.text()+"."+f.path)
	}
	o.ID = derivedID("outcome/" + strings.Join(names, " "))
	b.add(o)
}

// jsonOf is a value as JSON without the escapes that HTML wants.
func jsonOf(v any) ([]byte, error) {
	var out strings.Builder
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return []byte(strings.TrimSuffix(out.String(), "\n")), nil
}
