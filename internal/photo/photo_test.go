package photo_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"

	"needlebook/internal/photo"
)

func picture() image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, 17, 9))
	for y := range 9 {
		for x := range 17 {
			m.Set(x, y, color.NRGBA{uint8(x * 15), uint8(y * 28), uint8(x * y), 255})
		}
	}
	return m
}

func encoded(t testing.TB) (jpg, pic []byte) {
	t.Helper()
	var a, b bytes.Buffer
	if err := jpeg.Encode(&a, picture(), nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&b, picture()); err != nil {
		t.Fatal(err)
	}
	return a.Bytes(), b.Bytes()
}

// exif is a camera's block, little end first: its orientation, and a place.
func exif(orientation byte) []byte {
	b := []byte("II*\x00\x08\x00\x00\x00\x02\x00")
	b = append(b, 0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0)
	b = append(b, 0x25, 0x88, 4, 0, 1, 0, 0, 0, 0x26, 0, 0, 0)
	return append(b, "\x00\x00\x00\x00GPS 37.9838 N, 23.7275 E"...)
}

func segment(marker byte, data string) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(2+len(data))), data...)
}

func chunk(name, data string) []byte {
	b := append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), name...)
	b = append(b, data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// TestStrip: what a camera wrote is gone, and the standard library decodes the same picture.
func TestStrip(t *testing.T) {
	jpg, pic := encoded(t)
	told := bytes.Join([][]byte{jpg[:2], segment(0xe1, "Exif\x00\x00"+string(exif(6))), segment(0xe1, "http://ns.adobe.com/xap/1.0/\x00<x/>"),
		segment(0xfe, "Anna Vale"), jpg[2:], []byte("behind the end: Anna Vale")}, nil)
	toldPNG := bytes.Join([][]byte{pic[:33], chunk("tEXt", "Title\x00Anna Vale"), chunk("eXIf", string(exif(6))), chunk("tIME", "\x07\xea\x03\x02\x09\x00\x00"), pic[33:]}, nil)
	for name, c := range map[string]struct {
		b      []byte
		decode func(b []byte) (image.Image, error)
		want   []byte
	}{
		"JPEG": {told, func(b []byte) (image.Image, error) { return jpeg.Decode(bytes.NewReader(b)) }, jpg},
		"PNG":  {toldPNG, func(b []byte) (image.Image, error) { return png.Decode(bytes.NewReader(b)) }, pic},
	} {
		if _, err := photo.Check(c.b); !errors.Is(err, photo.ErrMetadata) {
			t.Errorf("%s: %v", name, err)
		}
		out, info, err := photo.Strip(c.b)
		if err != nil || info.Width != 17 || info.Height != 9 || info.Orientation != 6 {
			t.Fatalf("%s: %+v, %v", name, info, err)
		}
		for _, secret := range []string{"Anna", "GPS", "37.98", "adobe"} {
			if bytes.Contains(out, []byte(secret)) {
				t.Errorf("%s still says %q", name, secret)
			}
		}
		if info, err := photo.Check(out); err != nil || info.Orientation != 6 {
			t.Errorf("%s stripped: %+v, %v", name, info, err)
		}
		got, err := c.decode(out)
		want, err2 := c.decode(c.want)
		if err != nil || err2 != nil {
			t.Fatalf("%s: %v, %v", name, err, err2)
		}
		for y := range 9 {
			for x := range 17 {
				if got.At(x, y) != want.At(x, y) {
					t.Fatalf("%s: another pixel at %d, %d", name, x, y)
				}
			}
		}
	}
	for _, b := range [][]byte{jpg, pic} {
		if out, _, err := photo.Strip(b); err != nil || !bytes.Equal(out, b) {
			t.Errorf("a photo without metadata is changed: %v", err)
		}
	}
}

func TestStrip_Refuses(t *testing.T) {
	jpg, pic := encoded(t)
	wide := bytes.Clone(pic)
	copy(wide[16:], "\x00\x01\x00\x00\x00\x01\x00\x00") // 65,536 by 65,536
	for name, c := range map[string]struct {
		b    []byte
		want error
	}{
		"nothing": {nil, photo.ErrFormat}, "a text": {[]byte("Anna Vale, from the front"), photo.ErrFormat}, "half a JPEG": {jpg[:len(jpg)/2], photo.ErrFormat},
		"half a PNG": {pic[:len(pic)/2], photo.ErrFormat}, "a giant": {wide, photo.ErrTooLarge},
	} {
		if _, _, err := photo.Strip(c.b); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	if info, err := photo.CheckBeginning(jpg[:len(jpg)-20]); err != nil || info.Width != 17 {
		t.Errorf("the beginning of a JPEG: %+v, %v", info, err)
	}
	if info, err := photo.CheckBeginning(pic[:60]); err != nil || info.Width != 17 {
		t.Errorf("the beginning of a PNG: %+v, %v", info, err)
	}
}

// FuzzStrip: nothing panics; what is stripped is clean, and stripping it again changes nothing.
func FuzzStrip(f *testing.F) {
	jpg, pic := encoded(f)
	f.Add(jpg)
	f.Add(pic)
	f.Add(append(append(bytes.Clone(jpg[:2]), segment(0xe1, "Exif\x00\x00"+string(exif(3)))...), jpg[2:]...))
	f.Fuzz(func(t *testing.T, b []byte) {
		out, _, err := photo.Strip(b)
		_, _ = photo.CheckBeginning(b) // must not panic
		if err != nil {
			return
		}
		if _, err := photo.Check(out); err != nil {
			t.Fatalf("stripped, and %v", err)
		}
		again, _, err := photo.Strip(out)
		if err != nil || !bytes.Equal(again, out) {
			t.Fatalf("stripped again: %v", err)
		}
	})
}
