// Package dose holds the arithmetic of a treatment day: amounts of a named product, volumes, concentrations, and the marks at which a
// syringe's plunger stands after each injection.
//
// Use it in this order. [ParseProduct], [ParseAmount] and [ParseVolume] turn outside text into quantities. [Prepare] makes the
// [Concentration] of a vial. [PlanDraw] turns injections into syringes, marks and errors, and replans the rest from the plunger's actual
// reading. [Advise] ranks dilutions and syringes by how exactly they measure a plan. [NewHistory] sums what a patient had, with ranges where records are
// in conflict, and [Period] says from which [Day] an interval is met. Decimal and Number methods print for machines, Display methods for people.
//
// # Products never mix
//
// Units of one product are not units of another. [Amount] and [ExactAmount] are structs that carry their product in unexported fields, so
// that a+b and a<b do not compile, == is false between products, and the only ways to add or compare are methods that answer a
// [*MixedProductsError] when the products differ. A product enters an amount in one place, its constructor. [PlanDraw] checks the product of
// every injection once at its door and reckons with bare integers of that one product inside. No function turns an amount of one product
// into an amount of another.
//
// # Exact
//
// An amount is int64 thousandths of a unit, a volume int64 nanolitres, a concentration the exact pair (content, the volume it is in), and
// whatever does not come out whole is a reduced [Fraction]. Products are taken in 128 bits; what does not fit is [ErrOverflow], never a wrap.
// There is no floating point in this package, no clock, no randomness, no input or output and no state: every function is a function of its
// arguments, may be called concurrently, keeps no slice it is given and gives the same answer on every device.
//
// # Promises
//
// For a plan with one graduation g (docs/arithmetic.md has the proofs): the rounded total of each side is within g/2 of its exact total
// after every injection, over all syringes; each injection is within g of its dose; two sides with equal doses in equal order are given
// equal volumes, however the sides are interleaved; marks never rise and never fall below zero; what is delivered is the mark before less
// the mark after. These hold in later versions too.
package dose
