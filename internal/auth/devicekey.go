package auth

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"io"
	"math/big"
	"strings"

	"needlebook/internal/fault"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// Sizes of keys and signatures, in bytes.
const (
	// PointBytes is an uncompressed P-256 point: 04, X, Y.
	PointBytes = 65
	// SignatureBytes is r and s of ECDSA P-256, each 32 bytes big-endian, as WebCrypto makes them.
	SignatureBytes = 64
)

// spkiIntro is what stands before the point in the SubjectPublicKeyInfo of a P-256 key (RFC 5480).
var spkiIntro = []byte("\x30\x59\x30\x13\x06\x07\x2a\x86\x48\xce\x3d\x02\x01\x06\x08\x2a\x86\x48\xce\x3d\x03\x01\x07\x03\x42\x00")

// DeviceKey is the public half of a device's P-256 key: an uncompressed point on the curve. The zero value verifies nothing. It is stored as
// its 65 bytes.
type DeviceKey struct{ point [PointBytes]byte }

var errDeviceKey = errors.New("not an uncompressed P-256 public key")

// ParseDeviceKey reads a point of 65 bytes or the SubjectPublicKeyInfo of one (91 bytes), and refuses points that are not on the curve.
func ParseDeviceKey(b []byte) (DeviceKey, error) {
	if rest, ok := bytes.CutPrefix(b, spkiIntro); ok {
		b = rest
	}
	if len(b) != PointBytes {
		return DeviceKey{}, errDeviceKey
	}
	if _, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), b); err != nil {
		return DeviceKey{}, errDeviceKey
	}
	return DeviceKey{point: [PointBytes]byte(b)}, nil
}

// Bytes returns the point, 65 bytes.
func (k DeviceKey) Bytes() []byte { return bytes.Clone(k.point[:]) }

// MarshalText and UnmarshalText are the form in the store.

// MarshalText writes the point in base32.
func (k DeviceKey) MarshalText() ([]byte, error) {
	return []byte(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(k.point[:])), nil
}

// UnmarshalText reads what MarshalText writes.
func (k *DeviceKey) UnmarshalText(text []byte) error {
	b, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(string(text))
	if err != nil {
		return errDeviceKey
	}
	parsed, err := ParseDeviceKey(b)
	*k = parsed
	return err
}

// Fingerprint is for people to compare by eye: the first 80 bits of SHA-256 over the SubjectPublicKeyInfo, in Crockford's base32, four by four.
func (k DeviceKey) Fingerprint() string {
	sum := sha256.Sum256(append(bytes.Clone(spkiIntro), k.point[:]...))
	return grouped(crockford.EncodeToString(sum[:codeBytes]))
}

// Verify returns nil when the signature over SHA-256 of the message is the key's, and BAD_SIGNATURE else. r and s must be 1 to n-1; s may be
// in the upper half, because WebCrypto makes such, so a signature is no id of what it signs.
func (k DeviceKey) Verify(message, signature []byte) error {
	public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), k.point[:])
	if err != nil || len(signature) != SignatureBytes {
		return errBadSignature()
	}
	n := elliptic.P256().Params().N
	r, s := new(big.Int).SetBytes(signature[:32]), new(big.Int).SetBytes(signature[32:])
	if r.Sign() == 0 || s.Sign() == 0 || r.Cmp(n) >= 0 || s.Cmp(n) >= 0 {
		return errBadSignature()
	}
	sum := sha256.Sum256(message)
	if !ecdsa.Verify(public, sum[:], r, s) {
		return errBadSignature()
	}
	return nil
}

// SignP256 is the other side of Verify, for devices that are a Go program and for tests.
func SignP256(random io.Reader, private *ecdsa.PrivateKey, message []byte) ([]byte, error) {
	sum := sha256.Sum256(message)
	r, s, err := ecdsa.Sign(random, private, sum[:])
	if err != nil {
		return nil, err
	}
	out := make([]byte, SignatureBytes)
	r.FillBytes(out[:32])
	s.FillBytes(out[32:])
	return out, nil
}

// DeviceKeyOf returns the public half of a P-256 key; false for another curve.
func DeviceKeyOf(public *ecdsa.PublicKey) (DeviceKey, bool) {
	spki, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		return DeviceKey{}, false
	}
	k, err := ParseDeviceKey(spki)
	return k, err == nil
}

func errBadSignature() *fault.Error {
	return fault.New(faultv1.Reason_REASON_BAD_SIGNATURE, "", "", "")
}

// statement is the text of a signature for one purpose: a name that no other purpose has, and each part with its length, so that no two
// statements are alike.
func statement(purpose string, parts ...[]byte) []byte {
	var b bytes.Buffer
	b.WriteString("needlebook " + purpose + " v1\x00")
	for _, p := range parts {
		b.Write(binary.BigEndian.AppendUint32(nil, uint32(len(p))))
		b.Write(p)
	}
	return b.Bytes()
}

// grouped puts a hyphen after every fourth character.
func grouped(s string) string {
	var groups []string
	for ; len(s) > 4; s = s[4:] {
		groups = append(groups, s[:4])
	}
	return strings.Join(append(groups, s), "-")
}
