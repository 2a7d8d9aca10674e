package tabletcore_test

import (
	"bytes"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hpke"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math/big"
	"testing"

	"github.com/google/uuid"

	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/tabletcore"
	"needlebook/internal/wire"
)

const orgID = "2c5ea4c0-4067-41e9-8bad-9b1deb4d3b7d"

// seal seals what lacks a seal, as the browser does, with keys of Go's standard library.
func (x *tablet) seal(device *ecdsa.PrivateKey, to hpke.PublicKey) int {
	x.t.Helper()
	_, statements := x.call("to_seal", `{}`)
	statements = statements[2:]
	var signatures, sealed [][]byte
	for _, s := range statements {
		sum := sha256.Sum256(s)
		r, v, err := ecdsa.Sign(rand.Reader, device, sum[:])
		if err != nil {
			x.t.Fatal(err)
		}
		signatures = append(signatures, append(r.FillBytes(make([]byte, 32)), v.FillBytes(make([]byte, 32))...))
	}
	_, texts := x.call("seal_texts", fmt.Sprintf(`{"organisation_id":%q,"device_id":%q}`, orgID, deviceID), signatures...)
	if texts = texts[2:]; len(texts) != 2*len(statements) {
		x.t.Fatalf("%d texts for %d edits", len(texts), len(statements))
	}
	for i := range statements {
		s, err := hpke.Seal(to, hpke.HKDFSHA256(), hpke.AES256GCM(), texts[2*i], texts[2*i+1])
		if err != nil {
			x.t.Fatal(err)
		}
		sealed = append(sealed, s)
	}
	x.call("sealed", `{}`, sealed...)
	return len(statements)
}

// TestSeal_TheServerOpensWhatARevokedTabletKept: two edits sealed, the wipe, and what the server's key opens, with the signature of the tablet's own key.
func TestSeal_TheServerOpensWhatARevokedTabletKept(t *testing.T) {
	device, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	server, err := hpke.DHKEM(ecdh.X25519()).GenerateKey()
	if err != nil {
		t.Fatal(err)
	}
	x := newTablet(t)
	for _, name := range []string{"Ana Quill", "Bo Marsh"} {
		x.must("edit", fmt.Sprintf(`{"staff_id":%q,"at_unix_ms":%d,"edit_id":%q,"request":{"record":{"patient":{"id":%q,"name":{"full":%q}}},"update_mask":["name"]}}`,
			staffID, int64(clockMS), uuid.Must(uuid.NewV7()), uuid.New(), name))
	}
	if n, again := x.seal(device, server.PublicKey()), x.seal(device, server.PublicKey()); n != 2 || again != 0 {
		t.Fatalf("sealed %d edits, and then %d", n, again)
	}
	raw, parts := x.call("wipe", `{}`, x.blocks...)
	var left struct {
		Edits []struct {
			Replica []byte
			Counter uint64
		}
	}
	if err := json.Unmarshal(raw, &left); err != nil || len(left.Edits) != 2 || len(parts) != 4 {
		t.Fatalf("left: %s, %d parts, %v", raw, len(parts), err)
	}
	var all []wire.Sealed
	for i, e := range left.Edits {
		dot := causal.Dot{Replica: causal.ReplicaID(e.Replica), Counter: e.Counter}
		if bytes.Contains(parts[2+i], []byte("Quill")) || bytes.Contains(parts[2+i], []byte("Marsh")) {
			t.Error("a name can be read in what is sealed")
		}
		info := wire.SealInfo(record.ID(uuid.MustParse(orgID)), record.ID(uuid.MustParse(deviceID)), dot)
		b, err := hpke.Open(server, hpke.HKDFSHA256(), hpke.AES256GCM(), info, parts[2+i])
		if err != nil {
			t.Fatal(err)
		}
		text, err := wire.ParseSealedText(b)
		if err != nil || text.Edit.Dot != dot {
			t.Fatalf("%v, %v", text.Edit.Dot, err)
		}
		sum := sha256.Sum256(text.Statement())
		r, v := new(big.Int).SetBytes(text.Signature[:32]), new(big.Int).SetBytes(text.Signature[32:])
		if !ecdsa.Verify(&device.PublicKey, sum[:], r, v) {
			t.Errorf("edit %d: its signature is not the tablet's", i)
		}
		all = append(all, wire.Sealed{Dot: dot, Bytes: parts[2+i]})
	}
	edits, _ := json.Marshal(left.Edits)
	edits = bytes.ReplaceAll(bytes.ReplaceAll(edits, []byte(`"Replica"`), []byte(`"replica"`)), []byte(`"Counter"`), []byte(`"counter"`))
	_, got := x.call("hand_in", fmt.Sprintf(`{"device_id":%q,"edits":%s}`, deviceID, edits), parts[2:]...)
	if want := auth.HandInStatement(uuid.MustParse(deviceID), sha256.Sum256(wire.HandInBytes(all))); len(got) != 3 || !bytes.Equal(got[2], want) {
		t.Error("the statement of a hand-in is not the one that the server checks")
	}
	again, err := tabletcore.New()
	if err != nil {
		t.Fatal(err)
	}
	frame := tabletcore.AppendFrame(nil, append([][]byte{[]byte("load"), []byte(`{"host":{}}`)}, x.blocks...)...)
	if parts, err := tabletcore.ParseFrame(again.Call(frame)); err != nil || len(parts) < 2 {
		t.Errorf("a store with sealed edits does not load: %s", parts[0])
	}
}

// TestSeal_RefusesWhatDoesNotFit: signatures and sealed copies are one for each edit.
func TestSeal_RefusesWhatDoesNotFit(t *testing.T) {
	x := newTablet(t)
	for _, c := range []struct {
		method, request string
		beside          [][]byte
	}{
		{"seal_texts", fmt.Sprintf(`{"organisation_id":%q,"device_id":%q}`, orgID, deviceID), [][]byte{make([]byte, 64)}},
		{"seal_texts", `{"organisation_id":"x"}`, nil},
		{"sealed", `{}`, [][]byte{{1}}},
		{"hand_in", fmt.Sprintf(`{"device_id":%q,"edits":[{"replica":"AA==","counter":1}]}`, deviceID), [][]byte{{1}}},
		{"hand_in", fmt.Sprintf(`{"device_id":%q}`, deviceID), [][]byte{{1}}},
		{"wipe", `{}`, [][]byte{{9, 9}}},
	} {
		if _, parts := x.call(c.method, c.request, c.beside...); len(parts) != 1 {
			t.Errorf("%s %s with %d pieces is taken", c.method, c.request, len(c.beside))
		}
	}
}
