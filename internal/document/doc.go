// Package document writes a person's records as a treatment record to read, print and file: a PDF on A4.
//
// Use: Write takes the views of the records, as package export does, and who writes it when.
//
// What it promises: the same input gives the same bytes; nothing is cut off, long words wrap; a character that the fonts lack is written as U+ and its
// number and never left out; a field with more than one current value is printed as in conflict, with every value and who wrote it, and never as settled;
// what was voided is printed as voided, with the reason; a blank says that nothing was recorded. docs/export-document.md lists what is on it.
//
// The fonts are the Go fonts of golang.org/x/image. The face is the tablet's own line drawing, kept as data in face.json.
package document
