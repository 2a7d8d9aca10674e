// Package stock holds what people do with a vial, from the delivery to the bin: take it in by its barcode or by hand, keep it and read the thermometer, mix
// it, transfer it, waste and discard it; and what the vials of a clinic say together: what is there, what expires, who had of one.
//
// Use: every act is a function of the vial's record as it stands and of a visit.Hand; it answers a part of the record, with only what is to be written.
// Ahead, LookBack, Excursions, Left and Lacking read. VialLabel and SyringeLabel write what is stuck on.
//
// What it promises: an act that may not be done is refused with a sentence. Nothing that left a vial is ever taken back; what was mistaken is voided with a
// reason. A vial that two records stand for counts once, and the link between them can be undone. A vial for practice stays one. The package is pure: ids and
// times come from the caller, and what it is given is only read.
package stock
