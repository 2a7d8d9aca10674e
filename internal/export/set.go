package export

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// Errors of New, to branch on.
var (
	// ErrTwice says that one record is among the views twice.
	ErrTwice = errors.New("the record is given twice")
	// ErrNoRecord says that a view holds no record of a kind that this version knows, or one without an id.
	ErrNoRecord = errors.New("the view holds no record with an id")
)

// Organisation is who exports.
type Organisation struct {
	// ID is a UUID in lower case; empty leaves the Organization out.
	ID string
	// Name is the organisation's, for people.
	Name string
}

// Scope is what an export covers.
type Scope struct {
	Organisation Organisation
	// Patients is the ids of the patients covered, linked records of one person each by itself. None means everything among the views.
	Patients []string
}

// Export is records to be written.
type Export struct {
	scope   Scope
	records []*entry
	byKey   map[key]*entry
}

// key names a record.
type key struct {
	kind optionsv1.RecordKind
	id   string
}

func (k key) compare(o key) int { return cmp.Or(cmp.Compare(k.kind, o.kind), cmp.Compare(k.id, o.id)) }

// text is a key for people: the kind as the schema names it, and the id.
func (k key) text() string { return kindName(k.kind) + "/" + k.id }

func kindName(kind optionsv1.RecordKind) string {
	return strings.ToLower(strings.TrimPrefix(kind.String(), "RECORD_KIND_"))
}

// entry is a record with what is in doubt of it.
type entry struct {
	key
	view     *chartv1.RecordView
	message  proto.Message
	conflict map[string]*chartv1.Conflict // by path
}

// disputed reports whether any of these registers of the record has more than one value. A path is as EditRecord names it.
func (e *entry) disputed(paths ...string) bool {
	return slices.ContainsFunc(paths, func(p string) bool { return e.conflict[p] != nil })
}

// disputedWithin reports whether a register of the element at path, or of one below it, has more than one value.
func (e *entry) disputedWithin(path string) bool {
	for p := range e.conflict {
		if strings.HasPrefix(p, path+".") {
			return true
		}
	}
	return false
}

// at is the path of an element, and of a register of it where names are given.
func at(collection, id string, names ...string) string {
	path := collection + "[" + id + "]"
	for _, name := range names {
		path += "." + name
	}
	return path
}

// New takes the records to be exported, in any order. The error is ErrTwice or ErrNoRecord with the record named.
func New(scope Scope, views []*chartv1.RecordView) (*Export, error) {
	x := &Export{scope: scope, byKey: map[key]*entry{}}
	for i, view := range views {
		e, err := newEntry(view)
		if err != nil {
			return nil, fmt.Errorf("view %d: %w", i, err)
		}
		if x.byKey[e.key] != nil {
			return nil, fmt.Errorf("view %d, %s: %w", i, e.text(), ErrTwice)
		}
		x.byKey[e.key] = e
		x.records = append(x.records, e)
	}
	slices.SortFunc(x.records, func(a, b *entry) int { return a.key.compare(b.key) })
	return x, nil
}

func newEntry(view *chartv1.RecordView) (*entry, error) {
	m := view.GetRecord().ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if fd == nil {
		return nil, ErrNoRecord
	}
	inner := m.Get(fd).Message()
	id := inner.Get(inner.Descriptor().Fields().ByNumber(1)).String()
	if id == "" {
		return nil, ErrNoRecord
	}
	kind, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Record).(optionsv1.RecordKind)
	e := &entry{key: key{kind, id}, view: view, message: inner.Interface(), conflict: map[string]*chartv1.Conflict{}}
	for _, c := range view.GetConflicts() {
		e.conflict[c.GetPath()] = c
	}
	return e, nil
}

// of is the records of one kind, by id.
func of[M proto.Message](x *Export, kind optionsv1.RecordKind) (out []typed[M]) {
	for _, e := range x.records {
		if m, ok := e.message.(M); ok && e.kind == kind {
			out = append(out, typed[M]{e, m})
		}
	}
	return out
}

// typed is a record with its message.
type typed[M proto.Message] struct {
	*entry
	m M
}

// find is one record; ok is false when it is not among the views.
func find[M proto.Message](x *Export, kind optionsv1.RecordKind, id string) (t typed[M], ok bool) {
	e := x.byKey[key{kind, id}]
	if e == nil {
		return t, false
	}
	m, ok := e.message.(M)
	return typed[M]{e, m}, ok
}

// covers reports whether the scope holds a patient. One who is for practice is never held.
func (x *Export) covers(patient string) bool {
	if e := x.byKey[key{optionsv1.RecordKind_RECORD_KIND_PATIENT, patient}]; e != nil && e.marked() {
		return false
	}
	return len(x.scope.Patients) == 0 || slices.Contains(x.scope.Patients, patient)
}

// whole reports whether the scope is everything among the views.
func (x *Export) whole() bool { return len(x.scope.Patients) == 0 }

// marked reports whether a record says itself that it is for practice and of no real person, or may say so. A visit's mark decides nothing: what a real
// person had is never left out because of a slip.
func (e *entry) marked() bool {
	switch m := e.message.(type) {
	case *chartv1.Patient:
		return m.Practice != nil || e.disputed("practice")
	case *chartv1.Vial:
		return m.Practice != nil || e.disputed("practice")
	}
	return false
}

// practice reports whether a record, its patient or that of its session is for practice. Such a record is never exported.
func (x *Export) practice(e *entry) bool {
	patients := []string{e.patientOf()}
	if session := x.byKey[key{optionsv1.RecordKind_RECORD_KIND_SESSION, sessionOf(e)}]; session != nil {
		patients = append(patients, session.patientOf())
	}
	return e.marked() || slices.ContainsFunc(patients, func(id string) bool {
		whose := x.byKey[key{optionsv1.RecordKind_RECORD_KIND_PATIENT, id}]
		return whose != nil && whose.marked()
	})
}

// sessionOf is the session that a record belongs to; empty when none.
func sessionOf(e *entry) string {
	if m, ok := e.message.(interface{ GetSessionId() string }); ok {
		return m.GetSessionId()
	}
	return ""
}

// patientOf is whom a record is about; empty for records that are about nobody, or while that is in conflict.
func (e *entry) patientOf() string {
	switch m := e.message.(type) {
	case *chartv1.Patient:
		return m.GetId()
	case interface{ GetPatientId() string }:
		return m.GetPatientId()
	}
	return ""
}

// claims reports whether a record whose patient is in conflict may be about somebody whom the scope holds.
func (x *Export) claims(e *entry) bool {
	for _, s := range e.conflict["patient_id"].GetSiblings() {
		if x.covers(strings.Trim(s.GetValueJson(), `"`)) {
			return true
		}
	}
	return false
}

// visits is the sessions that the scope holds: those of its patients, none for practice.
func (x *Export) visits() []typed[*chartv1.Session] {
	return slices.DeleteFunc(of[*chartv1.Session](x, optionsv1.RecordKind_RECORD_KIND_SESSION), func(s typed[*chartv1.Session]) bool {
		return x.practice(s.entry) || !x.covers(s.m.GetPatientId())
	})
}

// people is the patients that the scope holds, none for practice.
func (x *Export) people() []typed[*chartv1.Patient] {
	return slices.DeleteFunc(of[*chartv1.Patient](x, optionsv1.RecordKind_RECORD_KIND_PATIENT), func(p typed[*chartv1.Patient]) bool {
		return x.practice(p.entry) || !x.covers(p.id)
	})
}

func (x *Export) vial(id string) (typed[*chartv1.Vial], bool) {
	return find[*chartv1.Vial](x, optionsv1.RecordKind_RECORD_KIND_VIAL, id)
}

func (x *Export) clinic(id string) (typed[*chartv1.Clinic], bool) {
	return find[*chartv1.Clinic](x, optionsv1.RecordKind_RECORD_KIND_CLINIC, id)
}

func (x *Export) staff(id string) (typed[*accessv1.Staff], bool) {
	return find[*accessv1.Staff](x, optionsv1.RecordKind_RECORD_KIND_STAFF, id)
}
