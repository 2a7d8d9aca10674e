package photo

import (
	"encoding/binary"
	"errors"
)

// MostPixels is the largest picture that is taken, twice what a tablet's camera makes.
const MostPixels = 64 << 20

// Reasons to branch on.
var (
	// ErrFormat: the bytes are neither a JPEG nor a PNG, or are cut off.
	ErrFormat = errors.New("is not a whole JPEG or PNG")
	// ErrTooLarge: the picture has more than MostPixels.
	ErrTooLarge = errors.New("has too many pixels")
	// ErrMetadata: the photo says more than its picture.
	ErrMetadata = errors.New("holds metadata beside the picture")
)

// Info is what is known of a photo without decoding it.
type Info struct {
	// MediaType is image/jpeg or image/png.
	MediaType     string
	Width, Height int
	// Orientation is that of TIFF, 1 to 8; 1 is upright.
	Orientation int
	// Metadata is true where the photo says more than its picture and its orientation.
	Metadata bool
}

// Strip is the photo without its metadata, in bytes of its own, and what is known of it.
func Strip(b []byte) ([]byte, Info, error) {
	out, info, err := walk(b, true)
	info.Metadata = false
	return out, info, err
}

// Check reads what is known of a whole photo, and refuses one that holds metadata with ErrMetadata.
func Check(b []byte) (Info, error) {
	_, info, err := walk(b, true)
	if err == nil && info.Metadata {
		err = ErrMetadata
	}
	return info, err
}

// CheckBeginning is Check for the first piece of a photo: it reads as far as the piece goes. A piece that ends before the size is known is ErrFormat.
func CheckBeginning(b []byte) (Info, error) {
	_, info, err := walk(b, false)
	if err == nil && info.Metadata {
		err = ErrMetadata
	}
	return info, err
}

func walk(b []byte, whole bool) ([]byte, Info, error) {
	switch {
	case len(b) > 3 && b[0] == 0xff && b[1] == 0xd8 && b[2] == 0xff:
		return walkJPEG(b, whole)
	case len(b) > 8 && string(b[:8]) == pngSignature:
		return walkPNG(b, whole)
	}
	return nil, Info{}, ErrFormat
}

// sized refuses a picture of no size or of too great a one.
func (i Info) sized() error {
	switch {
	case i.Width < 1 || i.Height < 1:
		return ErrFormat
	case i.Width > MostPixels/i.Height:
		return ErrTooLarge
	}
	return nil
}

// orientationOf reads the orientation out of an Exif block: TIFF's tag 0x0112 in its first directory (CIPA DC-008, from memory). only is true where the block
// holds nothing else.
func orientationOf(exif []byte) (orientation int, only bool) {
	if len(exif) < 8 {
		return 1, false
	}
	var order binary.ByteOrder = binary.LittleEndian
	switch string(exif[:4]) {
	case "II*\x00":
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return 1, false
	}
	at := int(order.Uint32(exif[4:]))
	if at < 8 || at > len(exif)-2 {
		return 1, false
	}
	n := int(order.Uint16(exif[at:]))
	for i := range n {
		entry := at + 2 + 12*i
		if entry+12 > len(exif) {
			return 1, false
		}
		if order.Uint16(exif[entry:]) != 0x0112 || order.Uint16(exif[entry+2:]) != 3 {
			continue
		}
		if o := int(order.Uint16(exif[entry+8:])); o >= 1 && o <= 8 {
			return o, string(exif) == string(tiffOf(o))
		}
	}
	return 1, false
}

// tiffOf is the block that holds an orientation and nothing else.
func tiffOf(orientation int) []byte {
	b := []byte("MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01")
	b = binary.BigEndian.AppendUint16(b, uint16(orientation))
	return append(b, 0, 0, 0, 0, 0, 0)
}
