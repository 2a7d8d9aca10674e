// Package export writes records in forms that other systems read: FHIR R4 (4.0.1) as a Bundle or as NDJSON, and CSV tables (RFC 4180).
//
// Use: New takes the views of the records and a Scope; Bundle, WriteNDJSON and CSV write. The caller chooses the views (a patient's own records and
// those that they name: orders, photos, adverse events, vials, clinics, staff), asks for the rights and writes the audit. What a Scope with patients
// does not cover is not written, even when it is among the views.
//
// What it promises: the same records in any order give the same bytes; quantities are exact decimals and never pass through a binary fraction; ids are
// derived from the records' own; nothing in conflict is written as if it were settled, but left out and listed; a reference either resolves inside the
// export or is a logical one, by identifier; what was voided is marked so. docs/export-fhir.md and docs/export-csv.md say it field by field.
//
// The package is pure: messages in, bytes out. An Export keeps the views that it was given and changes none; it may be used concurrently.
package export
