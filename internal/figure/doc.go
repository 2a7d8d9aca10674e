// Package figure counts what was done: an injector's cases by region, units by product and muscle over time, how many treatments were touched up, how many
// came out unlike on the two sides, and how many days lie between treatments.
//
// Fold each session into a Visit, give the visits to a Tally, and read the figures off it. Nothing in it names a patient.
//
// What it promises: units of two products are never summed; where fields are in conflict a sum is a range from the least to the most; a rate always comes
// with the counts that it is made of.
package figure
