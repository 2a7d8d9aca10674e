// Package photo takes out of a photograph what it says beside the picture: where and when it was taken, by which camera, for whom. It works on the bytes
// of a JPEG or a PNG and never decodes the picture.
//
// Use: Strip before the hash of a photo is reckoned, since a photo is known by that. Check says whether bytes hold such a thing still; the server asks it of
// what tablets send.
//
// What it promises: the picture is the same to the last pixel, and the way up too: of what a camera wrote only the orientation is kept. The size is read before
// anything else, and a picture of more than MostPixels is refused. What was stripped once is not changed by stripping it again. No input panics. The package
// is pure.
package photo
