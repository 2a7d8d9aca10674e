// Package calendar reads appointments from iCalendar files (RFC 5545) and says what they would change here.
//
// Use: Read takes the bytes of a file and what is booked already, and answers a Plan: appointments to make, to change and to cancel, as parts of records
// that package chart makes edits of, and a line for everything in the file that did not fit, with the reason. Nothing is written by reading, so a plan is its
// own dry run; read again after it was carried out, the same file changes nothing.
//
// What it promises: every event of the file is in the plan once, in one of its lists or counts; none is dropped. A file that is no iCalendar is refused whole.
// An event is known again by its UID, and by its place in the series where it recurs; a later SEQUENCE replaces an earlier one and never the other way
// round. Two tablets that import one file make the same records. What the clinic cancelled by hand stays cancelled. Of a description nothing is taken: it may
// hold anything. The clock is the caller's; the zones are the machine's database.
package calendar
