// Package visit holds what people do in a patient's visit: begin it, ask, explain, photograph, grade, plan, check before the needle, give, pause, go
// on, finish, sign, review; and who may do which of it when.
//
// Use: every act is a function of the records as they stand and of a Hand, which says who acts, as what and when. It answers a part of a record, with
// only what is to be written; package chart makes an edit of it, on the server and on a tablet alike. StandingOf says where a visit stands and May
// whether an act may be done there. Differences shows what was given beside what was planned; Owed what is not signed yet.
//
// What it promises: an act that may not be done is refused with a sentence and writes nothing. Where a visit stands is folded from its elements alone:
// the order in which they came does not count, so every replica that holds the same edits says the same. Nothing is copied from one
// product's dose to another's. A visit for practice stays one. The package is pure: ids and times come from the caller, what it is given is only read,
// and what it answers shares nothing with that.
package visit
