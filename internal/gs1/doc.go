// Package gs1 reads what the barcode on a vial's pack says: the GS1 element string of a GS1 DataMatrix, GS1-128 or GS1 QR Code symbol, as a scanner
// gives it, and the form with brackets that is printed beside the symbol.
//
// [Parse] takes the bytes of one scan and the current year, and answers [Elements]: trade item number, lot, serial, dates, and whatever else the pack
// carries. [ParseGTIN] reads a trade item number typed by hand. [Elements.ElementString] and [Elements.Bracketed] write the canonical forms,
// which Parse reads back. docs/gs1.md lists the application identifiers and the rules, with where each is from.
//
// # Faults
//
// Reading stops at the first fault. The [Error] names the application identifier, where it is and what was read; what stood before it is in the
// Elements returned beside it, and so are the bytes as they came. Elements that come with an error are for showing, never for recording.
//
// # Promises
//
// What parses, prints, and what is printed parses to the same content. Neither the order of the elements nor the form changes the content. A
// separator is written only where one is needed. No input panics. Every function is a function of its arguments, may be called concurrently, keeps
// no slice it is given, and gives slices that belong to the caller. These hold in later versions too; further application identifiers may become known.
package gs1
