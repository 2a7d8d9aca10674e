package auth

import (
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/hex"
	"encoding/json"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func mustHex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// rfc6979Key is the P-256 key of RFC 6979 appendix A.2.5 (from memory; the signatures below would not verify if a digit were wrong).
const rfc6979Key = "04" +
	"60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6" +
	"7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299"

// rfc6979 are the SHA-256 signatures of the same appendix.
var rfc6979 = []struct{ message, r, s string }{
	{"sample", "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716", "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8"},
	{"test", "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367", "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083"},
}

func TestVerifyAgainstRFC6979(t *testing.T) {
	k, err := ParseDeviceKey(mustHex(t, rfc6979Key))
	if err != nil {
		t.Fatal(err)
	}
	n := elliptic.P256().Params().N
	for _, v := range rfc6979 {
		good := mustHex(t, v.r+v.s)
		if err := k.Verify([]byte(v.message), good); err != nil {
			t.Errorf("%s: %v", v.message, err)
		}
		r, s := new(big.Int).SetBytes(good[:32]), new(big.Int).SetBytes(good[32:])
		other := make([]byte, 64)
		r.FillBytes(other[:32])
		new(big.Int).Sub(n, s).FillBytes(other[32:])
		if err := k.Verify([]byte(v.message), other); err != nil {
			t.Errorf("%s with s in the other half, which WebCrypto may make: %v", v.message, err)
		}
		for i := range 8 * len(good) {
			bad := append([]byte(nil), good...)
			bad[i/8] ^= 1 << (i % 8)
			if k.Verify([]byte(v.message), bad) == nil {
				t.Errorf("%s: bit %d changed, accepted", v.message, i)
			}
		}
		if k.Verify([]byte(v.message+"x"), good) == nil {
			t.Errorf("%s: another message accepted", v.message)
		}
	}
}

// TestDegenerateSignatures tries the edges that public test vectors of ECDSA try: 0, 1, n-1, n, n+1, the field's prime, all ones.
func TestDegenerateSignatures(t *testing.T) {
	k, _ := ParseDeviceKey(mustHex(t, rfc6979Key))
	c := elliptic.P256().Params()
	one := big.NewInt(1)
	edges := []*big.Int{big.NewInt(0), one, new(big.Int).Sub(c.N, one), c.N,
		new(big.Int).Add(c.N, one), c.P, new(big.Int).Sub(new(big.Int).Lsh(one, 256), one)}
	sample := mustHex(t, rfc6979[0].r+rfc6979[0].s)
	edges = append(edges, new(big.Int).SetBytes(sample[:32]), new(big.Int).SetBytes(sample[32:]))
	for i, r := range edges {
		for j, s := range edges {
			sig := make([]byte, 64)
			r.FillBytes(sig[:32])
			s.FillBytes(sig[32:])
			want := i == len(edges)-2 && j == len(edges)-1
			if got := k.Verify([]byte("sample"), sig) == nil; got != want {
				t.Errorf("r=%x s=%x: accepted %v", r, s, got)
			}
		}
	}
	for _, n := range []int{0, 1, 63, 65, 70, 72, 128} {
		if k.Verify([]byte("sample"), append(append([]byte(nil), sample...), make([]byte, 64)...)[:n]) == nil {
			t.Errorf("%d bytes accepted", n)
		}
	}
	if (DeviceKey{}).Verify([]byte("sample"), sample) == nil {
		t.Error("the zero key verifies")
	}
}

func TestParseDeviceKey(t *testing.T) {
	point := mustHex(t, rfc6979Key)
	public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		t.Fatal(err)
	}
	spki, _ := x509.MarshalPKIXPublicKey(public)
	a, errA := ParseDeviceKey(point)
	b, errB := ParseDeviceKey(spki)
	if errA != nil || errB != nil || a != b || string(a.Bytes()) != string(point) {
		t.Errorf("point %v, SPKI %v", errA, errB)
	}
	off := append([]byte(nil), point...)
	off[64] ^= 1
	compressed := append([]byte{3}, point[1:33]...)
	other, _ := ecdh.X25519().GenerateKey(rand.Reader)
	big384, _ := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	spki384, _ := x509.MarshalPKIXPublicKey(&big384.PublicKey)
	for name, bad := range map[string][]byte{"empty": nil, "off the curve": off, "compressed": compressed, "infinity": {0}, "zeros": make([]byte, 65),
		"long":          append(append([]byte(nil), point...), 0),
		"another curve": other.PublicKey().Bytes(), "P-384": spki384, "SPKI cut": spki[:90], "SPKI long": append(spki, 0),
		"hybrid form": append([]byte{6}, point[1:]...)} {
		if _, err := ParseDeviceKey(bad); err == nil {
			t.Errorf("%s accepted", name)
		}
	}
	if _, ok := DeviceKeyOf(&big384.PublicKey); ok {
		t.Error("a P-384 key taken for P-256")
	}
}

func TestSignAndVerifyAgree(t *testing.T) {
	private, _ := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	k, _ := DeviceKeyOf(&private.PublicKey)
	rapid.Check(t, func(t *rapid.T) {
		message := rapid.SliceOf(rapid.Byte()).Draw(t, "message")
		sig, err := SignP256(rand.Reader, private, message)
		if err != nil || k.Verify(message, sig) != nil {
			t.Fatalf("%v", err)
		}
	})
}

// TestStatementsDiffer: no two lists of parts, and no two purposes, make the same statement.
func TestStatementsDiffer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(label string) [][]byte {
			return rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 3), 0, 3).Draw(t, label)
		}
		a, b := draw("a"), draw("b")
		same := len(a) == len(b)
		for i := 0; same && i < len(a); i++ {
			same = string(a[i]) == string(b[i])
		}
		if got := string(statement("x", a...)) == string(statement("x", b...)); got != same {
			t.Fatalf("%q and %q: same statement %v", a, b, got)
		}
	})
	if string(statement("enrol", []byte("a"))) == string(statement("refresh", []byte("a"))) {
		t.Error("two purposes make one statement")
	}
}

func FuzzParseDeviceKey(f *testing.F) {
	point, _ := hex.DecodeString(rfc6979Key)
	f.Add(point)
	f.Add(append(append([]byte(nil), spkiIntro...), point...))
	f.Fuzz(func(t *testing.T, b []byte) {
		k, err := ParseDeviceKey(b)
		if err != nil {
			return
		}
		if s := string(k.Bytes()); s != string(b) && string(spkiIntro)+s != string(b) {
			t.Errorf("%x reads as %x", b, s)
		}
		text, err := json.Marshal(k)
		var again DeviceKey
		if err != nil || json.Unmarshal(text, &again) != nil || again != k {
			t.Errorf("%s does not read back", text)
		}
	})
}
