// Package gather puts together what a session or a patient is judged by: it walks from one record to those that it names, over whatever holds records.
// The server and a tablet gather with this one package, so that the same records give the same findings on both.
//
// Use: a host implements Records over what it holds and what its caller may read; Session makes the facts of a CheckSessionRequest, History those of
// GetToxinHistory and GetAsymmetry, Edition finds the formulary that a session began with or that its clinic chose. reckon then answers.
//
// # What it promises
//
// A record that is not there, or that the caller may not read, is left out, which counts as unknown and never as clear; where a treatment was left out
// because it may not be read, its clinic stands among the knowledge as one that was not checked. Registers in conflict come along with all their values,
// and what any of these values names is gathered, too. What linked records of one person tell of alerts and of treatments elsewhere is laid together.
// Lots are found by number and by alias as well as by id, so that a recall counts whichever record of the lot it was entered in.
//
// The package is pure: no clock, disk, network, randomness or state. It keeps nothing and changes no view that it is given.
package gather
