// Package demo makes an invented organisation and plays a day in it, with a recall two days later, on the real server and the real sync: to see
// what Needlebook does before anything is installed, and to prove that a whole day comes out as it should.
//
// Use: Play with a Config. It makes three clinics, their staff and years of records from a seed, opens a server on a loopback address, plays a
// day on three replicas without signal, syncs them, writes the day as a story, and returns the server that runs on. Wait serves until the context
// ends; Close stops at once.
//
// What it promises: the same seed gives the same story and the same charts, byte for byte but for the line of times; nothing in the story is
// written down beforehand, every figure is counted and every claim is checked, and a claim that does not hold is an error of Play. All records go
// through the edits and the sync that a tablet uses. (Device ids come from the machine, so the digest leaves device records out, and sizes are
// rounded: compressed, random ids differ by a few bytes.)
//
// The keys of a demo server come from its seed, and its passwords are printed. It listens on loopback alone and is no place for anybody's real
// data.
package demo
