// Package anatomy holds what is charted on: regions, areas and muscles, the frames that places are measured in, and the zones that injections
// should keep to.
//
// Use it in this order. [MuscleByCode] and [Muscle.CheckSide] say what a muscle is and which sides it has. A [Place] is a point in a [Frame],
// measured from the frame's origin; [Place.Check] refuses one that cannot be. [ZonesFor] picks the zones of a muscle and [Locate] says how far a
// place is from the edge of each. [Mirror], [DistanceBetween] and [Compare] put the two sides beside each other. [Convert] carries a place to
// another frame for a drawing; nothing is decided on a converted place.
//
// # Frames and scale
//
// The origin of a frame is at a landmark that can be felt or seen, x is toward the patient's left, y is up, lengths are [Micrometre]. A place holds
// millimetres of the patient. Landmarks are those of a generic model (the canonical face mesh, docs/anatomy.md), moved to the patient by at most one
// measured distance a place: a landmark at v on an axis that the distance scales is at v*measured/default, an exact fraction. An axis that
// nobody measured keeps the model's figure, and every answer that rests on one says so ([Reading.ByDefault]). Where the model has no landmark
// and nobody measured, there is no answer, and that is said too ([Unmeasured]): a blank never permits.
//
// # Exact
//
// There is no floating point here. Whether a place is inside a zone, and on which side of an edge, is decided on exact integers of up to 256 bits.
// Only the figure that is shown is rounded: to the nearest micrometre, a half away from zero. A margin has an exact sign beside the rounded figure.
//
// # Promises
//
// Mirroring is an involution and changes no margin. Margins change sign across an edge and are zero on it. Scaling a frame and a place by one
// factor scales exact distances by that factor. Distances are symmetric and keep the triangle inequality within one micrometre and a half. Every
// function is a function of its arguments, may be called concurrently, keeps no slice it is given, and gives slices that belong to the caller.
// These hold in later versions too; codes are never reused for something else.
package anatomy
