// Package record is the model of everything that syncs: edits, the states they fold to, how states join, and what a person must still decide.
//
// A record is a protobuf message. What devices make are edits to it: an Edit writes registers (fields that merge as one whole) of the record or of its
// elements (members of a collection, merged by id). The state of a record is the residue of its edits: for every register the values that no
// edit superseded, each with the dot of the edit that wrote it, and the version vector of all edits seen.
//
// The law that everything rests on: over causally closed sets of edits, joining two states equals folding the union of their edits; so joining is
// commutative, associative and idempotent, and every replica that holds the same edits holds the same bytes.
//
// No clock decides anything. Values written by people who had not seen each other's are all kept, shown as a conflict, and settled by an edit
// that saw them. Nothing is dropped.
//
// The package is pure: no clock, no I/O, no randomness. Ids, times and dots come from the caller. Functions do not keep or change slices that they
// are given, unless they say so. What comes from outside and is wrong is an error that carries a fault reason; it never panics.
package record
