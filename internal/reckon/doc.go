// Package reckon answers the messages of DoseService that need no record: it reads a request, lets internal/dose do the arithmetic, sets the
// formulary's words beside the figures, and writes the response. Server, command line and tablet call this one package, so that all give the same
// answer.
//
// Use: Prepare, PlanDraw, AdviseDilution, GetToxinHistory, CompareProducts and GetAsymmetry take an edition of the formulary and a request. A history and the view
// of asymmetry are reckoned from the facts that the request holds; where a request names a patient instead, the server fills them in first. UnmarshalJSON and
// MarshalJSON are the one form that requests and responses have as JSON.
//
// Errors are a fault.List or a fault.Error that names fields as the request does: doses[0].dose_units. The reasons are BAD_QUANTITY for a number that
// cannot be read or is out of range, UNKNOWN_PRODUCT, CANNOT_RECKON for a plan that cannot be carried out, INVALID_FIELD for the rest. All fields that
// can be read apart from each other are refused together.
//
// # What a figure's source may do
//
// A labelled dilution and a use-by are clearances: only a figure that was read, was computed from one that was, or was set by the lead gives one
// (formulary.Clears). A figure from memory or from a trade page is shown with its tag, and a note says why it permits nothing. Nobody published how far
// a delivered dose may be from its plan: every error is reported, a finding is made only against the tolerance that a clinic's own edition sets, and
// where there is none a note says so as soon as rounding changes any dose. The same holds for the greatest volume of an injection.
//
// # What is in doubt
//
// The values of a register in conflict come beside the records, each stands, and sums are ranges over all of them (docs/arithmetic.md). What is unknown is
// never zero and never clear: an unknown dose has no most, an unknown product counts against every product, an unknown day may be any up to the day asked
// about. A history always says that other clinics were not checked. Comparisons and the view of asymmetry describe: nothing turns a dose of one product
// into another's, names a side to treat or proposes a dose.
//
// # Promises
//
// The package is pure: no clock, disk, network, randomness or state. Its functions keep nothing they are given, may be called concurrently, and give
// the same bytes on every device for the same request and edition. No request makes them panic. The codes of findings are stable (codes.go).
package reckon
