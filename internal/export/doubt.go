package export

import (
	"fmt"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// doubts lists what is not settled in the records of the export: fields in conflict with all their values, edits that wait for a person, and entries
// after a signature. Records that are for practice, or whose patient is in conflict, are listed as left out.
func (b *builder) doubts() {
	for _, e := range b.records {
		switch {
		case !b.touches(e):
		case personal(e.kind) && e.patientOf() == "" && !b.whole(): // the rest of it may be somebody else's
			b.leave(e, "patient_id", "conflict", "warning", "The record is left out: whose it is is in conflict.")
		case b.practice(e):
			b.leave(e, "", "suppressed", "information", "a record for practice, of no real person: left out")
		default:
			b.unsettled(e)
		}
	}
}

// personal reports whether a record is about one patient.
func personal(kind optionsv1.RecordKind) bool {
	switch kind {
	case optionsv1.RecordKind_RECORD_KIND_PATIENT, optionsv1.RecordKind_RECORD_KIND_SESSION, optionsv1.RecordKind_RECORD_KIND_ORDER,
		optionsv1.RecordKind_RECORD_KIND_PHOTO, optionsv1.RecordKind_RECORD_KIND_ADVERSE_EVENT:
		return true
	}
	return false
}

// exported reports whether records of a kind become resources.
func exported(kind optionsv1.RecordKind) bool {
	switch kind {
	case optionsv1.RecordKind_RECORD_KIND_VIAL, optionsv1.RecordKind_RECORD_KIND_CLINIC, optionsv1.RecordKind_RECORD_KIND_STAFF:
		return true
	}
	return personal(kind)
}

// touches reports whether what is in doubt of a record is in doubt of the export.
func (b *builder) touches(e *entry) bool {
	switch {
	case !exported(e.kind):
		return false
	case b.whole():
		return true
	case personal(e.kind):
		who := e.patientOf()
		return slices.Contains(b.scope.Patients, who) || e.disputed("patient_id") && b.claims(e)
	}
	return b.wanted[e.key]
}

func (b *builder) unsettled(e *entry) {
	for _, c := range e.view.GetConflicts() {
		if b.shown(e, c.GetPath()) {
			b.issues = append(b.issues, found{about: e.key, path: c.GetPath(), issue: issue{
				Severity: "warning", Code: "conflict", Details: concept{Text: "The field has more than one current value and is left out until a person settles it."},
				Diagnostics: line(siblings(c)),
			}})
		}
	}
	if !personal(e.kind) && !b.whole() {
		return // what waits for a vial, a clinic or a person may name other patients
	}
	for _, h := range e.view.GetHeldEdits() {
		b.leave(e, "", "incomplete", "warning", fmt.Sprintf("An edit by %s at %s waits for a person and is left out.",
			author(h.GetAuthorship()), momentText(h.GetAuthorship().GetAuthoredAt())))
	}
	for _, l := range e.view.GetLateEntries() {
		b.leave(e, at("signatures", l.GetSignatureId()), "informational", "information", fmt.Sprintf("An entry by %s at %s came after the signature and is not countersigned.",
			author(l.GetAuthorship()), momentText(l.GetAuthorship().GetAuthoredAt())))
	}
}

// shown reports whether a conflict is listed. What a vial holds for other patients than those of the scope is not.
func (b *builder) shown(e *entry, path string) bool {
	return b.whole() || personal(e.kind) || !strings.Contains(path, "[") || strings.HasPrefix(path, "preparations[")
}

func author(a *chartv1.Authorship) string {
	if name := line(a.GetStaffName()); name != "" {
		return name
	}
	return "staff " + a.GetStaffId()
}

// siblings is the values of a field, each with who wrote it, one a line.
func siblings(c *chartv1.Conflict) string {
	var lines []string
	for _, s := range c.GetSiblings() {
		value := s.GetValueJson()
		if s.GetCleared() {
			value = "(cleared)"
		}
		var by []string
		for _, a := range s.GetAuthors() {
			by = append(by, author(a)+" at "+momentText(a.GetAuthoredAt()))
		}
		lines = append(lines, value+" by "+strings.Join(by, ", "))
	}
	return strings.Join(lines, "\n")
}
