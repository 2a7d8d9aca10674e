// Package formulary holds the tables that reckoning and guardrails rest on: products, presentations, dilutions, use after mixing, doses, limits,
// intervals, zones, syringes, each figure with its source and with how it was come by.
//
// Use: Builtin is the edition that is shipped, Derive lays a clinic's edition over it, and the methods of Edition look things up. Before a figure
// decides anything ask MostLevel and Clears of its provenance.
//
// # Where the built-in edition comes from
//
// From the tables in edition/*.csv, which name for every row the publication it was read in, the section, and one of: READ in the source; READ_COPY in a
// copy or a secondary account; TRADE, on a page of the trade or of low trust; MEMORY, not seen; COMMON_PRACTICE, a habit without a source; COMPUTED from
// figures that were read. No label was read from end to end. A row says READ only where the page that was read is the issuer's own. A figure that
// nobody published has no row: there is no built-in tolerance, greatest volume of an injection or touch-up window; the medical lead sets them, and
// until then an answer says so. Blanks lists them.
//
// # A clinic's own edition
//
// A clinic's edition holds what differs from the one that it derives from. ReadTables reads it from tables in the same form, Check names every problem of
// it, Diff what it changes. The anatomy (internal/anatomy) has the muscles, areas, frames and landmarks that it may name.
//
// # Tables
//
// Columns are the fields of the entry's message. Quantities stand in people's units: content_units fills content_milliunits, diluent_ml
// diluent_nanoliters, least_mm least_micrometers, lowest_celsius lowest_millicelsius. Lists are separated by semicolons.
//
// # Promises
//
// The package is pure: no clock, disk, network, randomness or state. An Edition never changes; it may be read concurrently; what its methods return is
// the edition's own and must not be changed. Its hash is a function of its content alone (Lines) and the same on every device.
package formulary
