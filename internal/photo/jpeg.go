package photo

import (
	"bytes"
	"encoding/binary"
)

// Markers of a JPEG (ITU-T T.81).
const (
	startOfScan = 0xda
	endOfImage  = 0xd9
	app0        = 0xe0
	app1        = 0xe1
	app2        = 0xe2
	app14       = 0xee
	app15       = 0xef
	comment     = 0xfe
)

var exifName = []byte("Exif\x00\x00")

// walkJPEG goes through the segments before the picture, leaving out those that say something beside it. What is behind the end of the image is left out.
func walkJPEG(b []byte, whole bool) ([]byte, Info, error) {
	info := Info{MediaType: "image/jpeg", Orientation: 1}
	out := []byte{0xff, 0xd8}
	var kept []byte
	for at := 2; ; {
		for at < len(b) && b[at] == 0xff && at+1 < len(b) && b[at+1] == 0xff {
			at++ // fill bytes
		}
		if at+4 > len(b) || b[at] != 0xff {
			return nil, info, cutOff(info, whole)
		}
		marker, size := b[at+1], int(binary.BigEndian.Uint16(b[at+2:]))
		if size < 2 || marker < 0xc0 || marker >= 0xd0 && marker <= 0xd9 {
			return nil, info, ErrFormat
		}
		if at+2+size > len(b) {
			return nil, info, cutOff(info, whole)
		}
		segment := b[at : at+2+size]
		switch {
		case marker == startOfScan:
			if err := info.sized(); err != nil {
				return nil, info, err
			}
			return finishJPEG(&info, out, kept, b[at:], whole)
		case isFrame(marker):
			if size < 8 {
				return nil, info, ErrFormat
			}
			info.Height, info.Width = int(binary.BigEndian.Uint16(segment[5:])), int(binary.BigEndian.Uint16(segment[7:]))
			if err := info.sized(); err != nil {
				return nil, info, err
			}
			kept = append(kept, segment...)
		case marker == app1 && bytes.HasPrefix(segment[4:], exifName) && info.Orientation == 1:
			orientation, only := orientationOf(segment[10:])
			info.Orientation, info.Metadata = orientation, info.Metadata || !only
		case isPicture(marker, segment):
			kept = append(kept, segment...)
		default:
			info.Metadata = true
		}
		at += 2 + size
	}
}

// cutOff is the error for bytes that end too early: none for a first piece of which the size is known.
func cutOff(info Info, whole bool) error {
	if !whole && info.Width > 0 {
		return nil
	}
	return ErrFormat
}

func isFrame(marker byte) bool {
	return marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc
}

// isPicture reports whether a segment is needed for the picture: its tables, and of the applications' own JFIF, the colour profile and Adobe's transform.
func isPicture(marker byte, segment []byte) bool {
	switch {
	case marker == app0:
		return bytes.HasPrefix(segment[4:], []byte("JFIF\x00"))
	case marker == app2:
		return bytes.HasPrefix(segment[4:], []byte("ICC_PROFILE\x00"))
	case marker == app14:
		return bytes.HasPrefix(segment[4:], []byte("Adobe"))
	case marker > app0 && marker <= app15, marker == comment:
		return false
	}
	return true
}

// finishJPEG puts the picture behind what was kept, up to the end of the image.
func finishJPEG(info *Info, out, kept, scan []byte, whole bool) ([]byte, Info, error) {
	if info.Orientation != 1 {
		tiff := append(bytes.Clone(exifName), tiffOf(info.Orientation)...)
		out = append(out, 0xff, app1)
		out = binary.BigEndian.AppendUint16(out, uint16(2+len(tiff)))
		out = append(out, tiff...)
	}
	end := bytes.LastIndex(scan, []byte{0xff, endOfImage})
	if end < 0 {
		if !whole {
			return nil, *info, nil
		}
		return nil, *info, ErrFormat
	}
	if first := endOf(scan); first >= 0 && first < len(scan) {
		info.Metadata = info.Metadata || whole
		end = first - 2
	}
	out = append(out, kept...)
	return append(out, scan[:end+2]...), *info, nil
}

// endOf is where the image ends in what follows the first scan: behind the first end-of-image marker outside of any segment; -1 where there is none.
func endOf(scan []byte) int {
	at := 0
	for at+1 < len(scan) {
		switch m := scan[at+1]; {
		case scan[at] != 0xff, m == 0x00, m >= 0xd0 && m <= 0xd7:
			at++
		case m == 0xff:
			at++
		case m == endOfImage:
			return at + 2
		case at+4 <= len(scan) && m >= 0xc0:
			at += 2 + int(binary.BigEndian.Uint16(scan[at+2:]))
		default:
			at += 2
		}
	}
	return -1
}
