package photo

import (
	"encoding/binary"
	"hash/crc32"
)

const pngSignature = "\x89PNG\r\n\x1a\n"

// walkPNG goes through the chunks, leaving out those that say something beside the picture (PNG, third edition: texts, times, Exif). Chunks that nobody here
// knows are left out where the picture does without them.
func walkPNG(b []byte, whole bool) ([]byte, Info, error) {
	info := Info{MediaType: "image/png", Orientation: 1}
	out := []byte(pngSignature)
	for at := 8; ; {
		if at+12 > len(b) {
			return nil, info, cutOff(info, whole)
		}
		size, name := binary.BigEndian.Uint32(b[at:]), string(b[at+4:at+8])
		if size > 1<<31-1 || int64(at)+12+int64(size) > int64(len(b)) {
			return nil, info, cutOff(info, whole)
		}
		end := at + 12 + int(size)
		data := b[at+8 : end-4]
		switch {
		case name == "IHDR":
			if len(data) < 8 {
				return nil, info, ErrFormat
			}
			width, height := binary.BigEndian.Uint32(data), binary.BigEndian.Uint32(data[4:])
			if width > 1<<31-1 || height > 1<<31-1 {
				return nil, info, ErrFormat
			}
			info.Width, info.Height = int(width), int(height)
			if err := info.sized(); err != nil {
				return nil, info, err
			}
			out = append(out, b[at:end]...)
		case info.Width == 0:
			return nil, info, ErrFormat
		case name == "eXIf":
			orientation, only := orientationOf(data)
			info.Orientation, info.Metadata = orientation, info.Metadata || !only
			if orientation != 1 {
				out = appendChunk(out, "eXIf", tiffOf(orientation))
			}
		case isDrawn(name):
			out = append(out, b[at:end]...)
		default:
			info.Metadata = true
		}
		at = end
		if name == "IEND" {
			info.Metadata = info.Metadata || at < len(b)
			return out, info, nil
		}
	}
}

// isDrawn reports whether a chunk is needed for the picture: critical ones, and those that say how its colours are meant.
func isDrawn(name string) bool {
	switch name {
	case "tRNS", "cHRM", "gAMA", "iCCP", "sBIT", "sRGB", "cICP", "mDCV", "cLLI", "bKGD", "pHYs":
		return true
	}
	return name[0] >= 'A' && name[0] <= 'Z'
}

func appendChunk(out []byte, name string, data []byte) []byte {
	out = binary.BigEndian.AppendUint32(out, uint32(len(data)))
	start := len(out)
	out = append(append(out, name...), data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[start:]))
}
