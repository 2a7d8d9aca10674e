// Package guard holds the guardrails: what speaks against giving what a session plans, or gave.
//
// Use: fill Facts with the session and what it is judged by, and call Check with an edition of the formulary. It answers findings: holds, cautions and
// notes, each with a stable code, what it is about, the figures, the sentence that a person reads, and the source. Rules lists every code with its level and
// who may lift it; docs/guardrails.md is written from it. MayInject says whether nothing stands in the way. Where registers are in conflict, call Check for
// every reading of them and Worst over the answers.
//
// # A blank never permits
//
// What is missing is unknown and never clear: no record of the vial, no answer to a question, no date of expiry each raise a finding of their own.
// A figure that nobody published raises no finding against it, and a note says that there is none.
//
// # What a figure's source may do
//
// No finding that rests on a figure of the formulary is stronger than formulary.MostLevel of that figure: what is from memory or from a trade page is a
// note. A use-by or a dilution clears only where formulary.Clears says so. Where several ranges speak of one thing, those that may do more than note decide.
//
// # Answers
//
// A hold stays in the list when someone lifted it; the answer stands beside it. An answer stands only if the code, the level and the sentence are those that
// the person read, if she may lift that code, and if she gave the reason that is asked for: a lift of 5 units is none of 50. For that, no sentence
// holds the time of day that is judged at.
//
// # Promises
//
// The package is pure: no clock, disk, network, randomness or state. Check keeps nothing that it is given, may be called concurrently, and answers the same
// on every device for the same edition and facts. Codes are stable. A finding's id is chart.FindingID of its code, its session and what it is about.
package guard
