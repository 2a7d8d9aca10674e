// Package sim runs many replicas and one server in one process, from a seed: the real internal/replica and internal/ledger over simulated disks and a
// simulated network, with no clock, goroutine or socket. Two runs of one schedule are the same, byte for byte.
//
// A schedule is a setting, a seed and a list of steps (Plan draws one, Parse reads one from text) and prints as a script, one step a line. Run plays it:
// tablets edit, sign, settle and sync while requests and answers are lost, repeated, delayed and tampered with, both sides crash before and after they
// store, tablets are cloned and put back, the server is restored from a backup, clocks jump, schemas differ, rights and devices come and go. In the setting
// Clinic most tablets hold some patients only, who enter and leave their scope, are handed over, and whose sessions turn out to be another's; vials are
// drawn from by several hands; photos go up in pieces, through the real internal/blob on a folder of its own. Then the faults stop, everyone syncs until
// nothing changes, and the judges look:
//
//   - convergence: every replica shows what the server holds of its scope and nothing else, knows of every other patient what must be known, calls nothing
//     lost that is there; the ledger proves itself, and a plain fold of the history gives the same state;
//   - conservation: the simulator's own list of every edit that a tablet called saved or the server acknowledged. Register by register each is visible,
//     superseded by a write whose author was looking at it, in a held edit that is listed, recovered, or left out and listed; none takes effect twice. A
//     vial's ledger is what its elements add up to, as ranges, and what is overdrawn is said. What was signed stands as it was signed, what no signer saw is
//     a late entry, and no false signature is taken. Each photo that a living tablet took can be read and is what its hash says.
//
// Agreement among replicas alone is not accepted. What is found comes with the step at which it was found; Shrink drops steps while it is still found.
//
// # Running it
//
//	go test ./internal/sim                         some hundred schedules, the pinned scripts, and each planted mistake once found
//	go test ./internal/sim -run Script             the scripts of testdata/*.txt only
//	NEEDLEBOOK_LONG=1 go test ./internal/sim -run Long -timeout 15m
//	NEEDLEBOOK_LONG=1 go test ./internal/sim -run Planted    each planted mistake, searched for from seed 1 on
//	NEEDLEBOOK_SIM_SCHEDULES=1000000               how many schedules TestLongSchedules runs over all settings, in place of 20,000
//	NEEDLEBOOK_SIM_SHOW=FILE go test ./internal/sim -run Show -v      plays a script and prints what everyone holds after each step
//	NEEDLEBOOK_SIM_SEED=7                          the first seed of both tests, in place of 1
//
// A failing seed prints its shrunk script. Saved as testdata/NAME.txt it is replayed by every run from then on.
package sim
