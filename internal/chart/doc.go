// Package chart stands between the typed messages that people and clients use and the core that merges: it makes views of records, turns requests
// into the writes of an edit, and folds what a day needs from a record's elements.
//
// Use: New takes the schema; View, Conflicts, Held and History show a record as needlebook.chart.v1 has it; Edit, Settle, Sign and Void give the
// writes that a replica or the server's ledger makes an edit of; FoldVial and FoldSession sum, and the functions named ...Finding say what only a
// merge can see. The server, the replica of the command line and the tablet call the same functions.
//
// What it promises: a field in conflict is never shown as if it had one value, and never written by accident; sums over fields in conflict are
// ranges; text comes out in Unicode normalization form C. The package is pure: ids and times come from the caller. Functions keep no slice that they
// are given. A Chart is immutable and may be used concurrently.
package chart
